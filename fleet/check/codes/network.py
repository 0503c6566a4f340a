"""Codes of the network, INV450-465: what keeps boards from joining it, and its access points."""

from __future__ import annotations

from fleet.codes import Code, Severity, codes_in

_COUNTRY = (
    'IDF v4.4.7 wifi.rst, "Wi-Fi Country Code": channels 1 to 11 are asked on, 12 to 14 only listened on, and '
    "listening finds no hidden network; the same for the ESP8266: ESP8266_NONOS_SDK issue 109"
)

CANNOT_JOIN = Code(
    "INV450",
    "a board that cannot join its site's network",
    "The ESP8266 does not support WPA3: it never joins, and a node that is given such a network returns "
    "to the old one.",
    "Set the access point to WPA2 and WPA3 together (its mixed mode), or fit a board of the ESP32 family "
    "there.",
    source="esp8266/Arduino issue 4862: WPA3 is for the SDK underneath, and that of core 3.1.2, NONOS 2.2.x, knows "
    "WPA2 at most",
)
HIDDEN_NETWORK = Code(
    "INV451",
    "a hidden network",
    "Hiding the name keeps nobody out. It makes each node send the name wherever it searches, and a node "
    "finds the network only on channels where it may ask.",
    "Let the access point broadcast its name. A good passphrase protects it.",
    Severity.NOTE,
    _COUNTRY,
)
HIGH_CHANNELS = Code(
    "INV452",
    "a network on channels 12 to 14",
    "Boards only listen on these channels, so they find the network later and miss it more often, and on "
    "14 not at all unless they were built for it. In many countries the channels are not open to WiFi, or "
    "only at low power, and phones do not see them.",
    "Set the access point to channel 1, 6 or 11, and turn its automatic choice off.",
    Severity.WARNING,
    _COUNTRY,
)
HIDDEN_ON_HIGH_CHANNELS = Code(
    "INV453",
    "a hidden network on channels 12 to 14",
    "A hidden network answers only devices that ask for it, and on these channels boards only listen. A "
    "board without firmware built for it never finds it, so new and spare boards stay out. On channel 14 "
    "none finds it.",
    "Let the access point broadcast its name, or set it to channel 1, 6 or 11.",
    Severity.WARNING,
    f"{_COUNTRY}; espressif/esp-idf issue 18307: on 12 and 13 visible networks are joined, hidden ones are not",
)
NO_80211N = Code(
    "INV454",
    "a network on which 802.11n does not work",
    "Nodes use only 802.11b and g there. An access point set to take only 802.11n, or newer, rejects them "
    "permanently.",
    "Let the access point take 802.11b, g and n. Update its firmware, and delete this if 802.11n then works.",
    Severity.NOTE,
    "esp8266/Arduino issues 7965 (no 802.11n since core 2.6, no joining where there is nothing else) and 8677 (links "
    "that drop under n and hold under g)",
)
TRAITS_DIFFER = Code(
    "INV455",
    "one network described in two ways",
    "Sites that name the same network share its name and passphrase, and usually its settings. One of "
    "these two sites builds its nodes for a network that does not exist.",
    "Write the same at both, or give the networks two names.",
    Severity.WARNING,
    "common practice",
)
TRAIT_TWICE = Code(
    "INV456",
    "a trait given twice",
    "The second was probably meant to be another trait.",
    "Keep one of them, or write the trait that was meant.",
    Severity.WARNING,
    "common practice",
)
NO_SUCH_ACCESS_POINT = Code(
    "INV457",
    "no such access point",
    "The site lists its access points, and this is none of them. A node on the wrong one would go "
    "unnoticed, and transfers would be counted at the wrong one.",
    "Use a name from `access_points` of the site, or add the access point there with its BSSID.",
    source="common practice",
)
BSSID_TWICE = Code(
    "INV458",
    "a BSSID given twice",
    "A BSSID is one radio of one access point. If two have it, nobody knows which one a node uses.",
    "Look it up at the access point itself. Each network name and each radio has its own.",
    source="IEEE 802.11: the BSSID is an address of its own",
)
BSSID_OF_NODE = Code(
    "INV460",
    "a node's MAC given as a BSSID",
    "A node never opens a network, so it has no BSSID: the two addresses were mixed up.",
    "Look the BSSID up at the access point itself.",
    source="docs/node-interface.md 10",
)
WPA3_ALONE = Code(
    "INV461",
    "a network that takes WPA3 only",
    "Nodes there are built to join WPA3 and nothing less. While they are still on a WPA2 network, such an "
    "image does not come back, and its push is rolled back.",
    "Move the nodes to the network first (`tankfleet rejoin`), then build and push. Or set the access "
    "point to WPA2 and WPA3 together, and delete this.",
    Severity.NOTE,
    "IDF v4.4.7 wifi.rst: a station joins nothing less than `threshold.authmode`, and with `pmf_cfg.required` nothing "
    "without protected management frames",
)

CODES = codes_in(globals())
