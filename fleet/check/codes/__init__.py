"""Codes of parts together: INV140-179. Codes of other subjects have a module each beside this one."""

from __future__ import annotations

from fleet.check.codes import button, dry_running, electrodes, network, plausible, rulings, water, wiring
from fleet.codes import Code, Severity, codes_in
from fleet.inventory import codes as of_reading
from fleet.model import codes as of_values

NO_FLEET = Code(
    "INV140",
    "no fleet",
    "The fleet's name and domain make the vendor id, without which a node takes no image.",
    "Add `fleet:` with `name` and `domain` to one of the files.",
)
SECOND_BLOCK = Code(
    "INV141",
    "a block given twice",
    "All files together are one inventory, with one fleet and one policy.",
    "Keep one of them.",
)
NAME_TWICE = Code(
    "INV142",
    "a name given twice",
    "Names are how parts find each other, and how nodes are found on the network.",
    "Give one of them another name.",
)
MAC_TWICE = Code(
    "INV143",
    "a MAC given twice",
    "One board cannot be two nodes.",
    "Read the MAC from both boards, and correct the one that is wrong.",
)
NO_SUCH_SITE = Code(
    "INV144",
    "no such site",
    "A tank without its site has no network, no hours and no time zone.",
    "Correct the name, or add the site.",
)
NO_SUCH_TANK = Code(
    "INV145",
    "no such tank",
    "A node that serves a tank which is not there has no marks to watch and no pump to switch.",
    "Correct the name, or add the tank.",
)
NO_SUCH_BOARD = Code(
    "INV146",
    "no such board",
    "The board decides about pins, flash and how an update is taken.",
    "Correct the name; `tankfleet show board` lists the boards.",
)
NO_SUCH_MARK = Code(
    "INV147",
    "no such mark",
    "Probes and pumps go by the marks of their tank.",
    "Correct the name, or add the mark to the tank.",
)
LONE_SUPPLY_GROUP = Code(
    "INV148",
    "a supply group of one tank",
    "The tanks of a supply group stand in for each other, so that they are never down together.",
    "Correct the name, or take `supply_group` out until a second tank is in it.",
    Severity.WARNING,
)
POLICY_CLASH = Code(
    "INV149",
    "two figures of the policy clash",
    "A push that follows both cannot succeed.",
    "Change one of the two.",
)
NO_SUCH_TIME_ZONE = Code(
    "INV150",
    "no such time zone",
    "Windows are in the site's own time, and clocks change by the rules of its zone.",
    "Use a name of the IANA database, such as `Europe/Lisbon` or `America/Denver`.",
)
ZONE_IS_NO_PLACE = Code(
    "INV179",
    "a time zone that is no place",
    "Windows are in the site's own time. An abbreviation or an offset follows no place's clock: where clocks change in "
    "summer, windows would open an hour off, and where a country changes its rules, nobody changes these.",
    "Name the place whose time the site keeps, such as `Europe/Lisbon` or `America/Denver`; or `UTC`, if hours in "
    "UTC are meant.",
    Severity.WARNING,
    "tz database, theory.html and the files backward and etcetera: such names are kept for old systems",
)
BAD_RULE = Code(
    "INV151",
    "a recurrence rule that cannot be used",
    "It says on which days a window opens, by RFC 5545's RRULE. A window that never opens lets no update in.",
    "Write it as in `FREQ=WEEKLY;BYDAY=TU,TH` or `FREQ=DAILY`.",
)
BAD_WINDOW = Code(
    "INV152",
    "a window of a length that cannot work",
    "An update takes at least one trial; a window of more than a week is no window.",
    "Change `length`.",
)
BOTTOM_DEPTH = Code(
    "INV153",
    "the depth of a bottom or an end",
    "Cones and ellipsoids can be of any depth; flat, dished and hemispherical ones have theirs by form.",
    "Give `bottom_depth` (or `ends_depth`) for a cone and, if you like, an ellipsoid only.",
)
TABLE_NOT_RISING = Code(
    "INV154",
    "a strapping table that does not rise",
    "With more depth there is more water; else a depth would stand for two volumes.",
    "Order the lines from the lowest depth up, and check the figures.",
)
MARKS_NOT_RISING = Code(
    "INV155",
    "marks that do not rise",
    "Marks are counted from the lowest up, everywhere; two at one height cannot be told apart.",
    "List them from the lowest up, at least 1 mm apart.",
)
MARK_TWICE = Code(
    "INV156",
    "a mark's name given twice",
    "Each mark has one probe, by its name.",
    "Give one of them another name.",
)
ABOVE_TOP = Code(
    "INV157",
    "above the top of the tank",
    "Water never gets there, so the probe stays dry and a filling pump never stops by it.",
    "Check the height, which is measured from the lowest inside point, and the shape.",
)
ABOVE_OVERFLOW = Code(
    "INV158",
    "a mark above the overflow",
    "The water runs off before it reaches the probe, so a filling pump never stops by it.",
    "Lower the mark, or correct the height of the overflow.",
)
RESERVE_TOO_HIGH = Code(
    "INV159",
    "a reserve that is never there",
    "The reserve is the level never to be drawn below; the tank is never filled above its highest mark.",
    "Lower the reserve, or raise the highest mark.",
)
PUMP_NEEDS_MARKS = Code(
    "INV160",
    "a pump without a low and a high mark",
    "With one mark a pump would start and stop at the same level, again and again.",
    "Add a second mark, with its probe.",
)
PUMP_WRONG_WAY = Code(
    "INV161",
    "a pump the wrong way round",
    "A filling pump starts at a low mark and stops at a high one; a draining pump the other way.",
    "Exchange `on_at` and `off_at`, or correct `does`.",
)
PUMP_WITHOUT_RELAY = Code(
    "INV162",
    "a pump that nothing switches",
    "The tank has a pump; the node that serves it must have a pump relay.",
    "Add `pump_relay` with its pin, or take the pump out if something else controls it.",
)
RELAY_WITHOUT_PUMP = Code(
    "INV163",
    "a pump relay that switches nothing",
    "Without the pump's figures there is no longest run and no watch for dry running.",
    "Add `pump` to the tank, or take the pump relay out.",
)
SERVED_TWICE = Code(
    "INV164",
    "a tank served twice",
    "Two nodes would switch one pump against each other.",
    "Leave the tank with one node.",
)
NOT_SERVED = Code(
    "INV165",
    "a tank that no node serves",
    "Nothing watches it, and nothing switches its pump.",
    "Add it to the `serves` of a node when one is fitted.",
    Severity.WARNING,
)
TWO_SITES = Code(
    "INV166",
    "a node at two sites",
    "A node is in one network and has one set of hours.",
    "Serve the tanks of each site with nodes of that site, or correct the site of the tank.",
)
MARK_WITHOUT_PROBE = Code(
    "INV167",
    "a mark without a probe",
    "A mark that nothing reads would count as dry for ever.",
    "Add the probe with its pin, or take the mark out of the tank.",
)
NO_SUCH_PIN = Code(
    "INV168",
    "no such pin",
    "The firmware would be built for a pin that the board does not bring out.",
    "Use a name from the board's silk screen.",
)
PIN_TWICE = Code(
    "INV169",
    "a pin used twice",
    "Two probes on one pin read the same; a relay's output drives a probe on its pin, wet or dry. A feed on the pin of "
    "a probe lifts it whenever the probes are read; a feed on a relay's pin switches the pump.",
    "Wire one of them to a free pin.",
)
TOO_LONG_FOR_NODE = Code(
    "INV170",
    "more than a node can hold",
    "The node block has two bytes for milliseconds, seconds or millimetres here, and four for a pump's times.",
    "Give a smaller figure.",
)
WINDOW_TOO_FAR = Code(
    "INV171",
    "a window that is over or far away",
    "Updates go in only while a window is open. A site whose only window is over, or opens in years, gets none: its "
    "nodes keep the firmware that they have.",
    "Check the year of `first`, and COUNT, UNTIL and INTERVAL of the rule. Take out a window that is over, or give it "
    "a rule that goes on.",
    Severity.WARNING,
    "the planner looks for the next window up to 400 days ahead",
)
NO_ROOM_IN_TRIAL = Code(
    "INV172",
    "a trial that leaves no time to come back",
    "A node on trial must start the new image, join its network, be watched for the soak and hear the word to keep it; "
    "when its trial ends before, a good image falls back.",
    "Raise `trial`, or shorten `soak`.",
    source="soak + 15 s to say keep + the restart of the board, against the trial: the room the planner reckons with",
)
DAY_TO_COME = Code(
    "INV173",
    "a day that cannot be",
    "A board that is fitted cannot have been fitted tomorrow, nor before there were such boards: the year or the order "
    "of the figures has a slip in it.",
    "Check the date: year, month, day.",
    Severity.WARNING,
    "the first module with an ESP8266 was sold in 2014 (from memory)",
)
MAC_OF_NO_MAKER = Code(
    "INV174",
    "a locally administered MAC",
    "Bit 1 of the first byte says that the address was made up on the spot: by a phone, a virtual machine, or a "
    "board's own access point. A board's own MAC has it clear; with a slip in it an update goes to nobody.",
    "Read the MAC from the board: `tankfleet flash` does and adds it.",
    Severity.WARNING,
    "IEEE 802: the second lowest bit of the first octet tells locally administered addresses from those of a maker",
)
TOO_LITTLE_FOR_NODE = Code(
    "INV175",
    "less than a node can work with",
    "A node refuses its block when the debounce is shorter than its sampling period, and keeps all pumps off. A pump's "
    "watch of 0 s would be none at all.",
    "Give a larger figure; a debounce of 1 to 5 s is good.",
    source="the node's own check of its block (core/node_block_check.cpp): a sample period of at most the debounce",
)

CODES = (
    *codes_in(globals()),
    *wiring.CODES,
    *network.CODES,
    *button.CODES,
    *electrodes.CODES,
    *water.CODES,
    *plausible.CODES,
    *dry_running.CODES,
    *rulings.CODES,
)
INVENTORY_CODES = (*of_values.CODES, *of_reading.CODES, *CODES)
"""All that `check` can find."""
