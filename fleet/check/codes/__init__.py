"""Codes of parts together: INV140-179. Codes of other subjects have a module each beside this one."""

from __future__ import annotations

from fleet.check.codes import button, dry_running, electrodes, network, plausible, rulings, water, wiring
from fleet.codes import Code, Severity, codes_in
from fleet.inventory import codes as of_reading
from fleet.model import codes as of_values

NO_FLEET = Code(
    "INV140",
    "no fleet",
    "The fleet's name and domain form the vendor id, and a node takes no image without it.",
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
    "Parts refer to each other by name, and nodes are found on the network by name.",
    "Rename one of them.",
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
    "Without its site a tank has no network, no hours and no time zone.",
    "Correct the name, or add the site.",
)
NO_SUCH_TANK = Code(
    "INV145",
    "no such tank",
    "A node that serves a tank which does not exist has no marks to watch and no pump to switch.",
    "Correct the name, or add the tank.",
)
NO_SUCH_BOARD = Code(
    "INV146",
    "no such board",
    "The board decides which pins and flash there are, and how an update is taken.",
    "Correct the name; `tankfleet show board` lists the boards.",
)
NO_SUCH_MARK = Code(
    "INV147",
    "no such mark",
    "Probes and pumps refer to the marks of their tank.",
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
    "two figures of the policy contradict each other",
    "A push that follows both cannot succeed.",
    "Change one of them.",
)
NO_SUCH_TIME_ZONE = Code(
    "INV150",
    "no such time zone",
    "Windows are in the site's own time, and clocks change by the rules of its zone.",
    "Use a name of the IANA database, such as `Europe/Lisbon` or `America/Denver`.",
)
ZONE_IS_NO_PLACE = Code(
    "INV179",
    "a time zone that names no place",
    "Windows are in the site's own time. An abbreviation or an offset follows no place's clock: with "
    "summer time, windows would open an hour off, and when a country changes its rules, nobody updates "
    "it.",
    "Name the place whose time the site keeps, such as `Europe/Lisbon` or `America/Denver`, or `UTC` for "
    "hours in UTC.",
    Severity.WARNING,
    "tz database, theory.html and the files backward and etcetera: such names are kept for old systems",
)
BAD_RULE = Code(
    "INV151",
    "an invalid recurrence rule",
    "The rule says on which days a window opens, by RFC 5545's RRULE. A window that never opens lets no "
    "update in.",
    "Write it as in `FREQ=WEEKLY;BYDAY=TU,TH` or `FREQ=DAILY`.",
)
BAD_WINDOW = Code(
    "INV152",
    "a window too short or too long",
    "An update takes at least one trial, and a window of more than a week is no window.",
    "Change `length`.",
)
BOTTOM_DEPTH = Code(
    "INV153",
    "a wrong depth of a bottom or an end",
    "Cones and ellipsoids can have any depth. The form of flat, dished and hemispherical ones fixes theirs.",
    "Give `bottom_depth` (or `ends_depth`) for a cone only, and for an ellipsoid if you like.",
)
TABLE_NOT_RISING = Code(
    "INV154",
    "a strapping table that does not rise",
    "More depth means more water; otherwise one depth would stand for two volumes.",
    "Order the lines from the lowest depth up, and check the figures.",
)
MARKS_NOT_RISING = Code(
    "INV155",
    "marks that do not rise",
    "Marks are counted from the lowest up, and two at one height cannot be told apart.",
    "List them from the lowest up, at least 1 mm apart.",
)
MARK_TWICE = Code(
    "INV156",
    "a mark's name given twice",
    "Each mark has one probe, referred to by name.",
    "Rename one of them.",
)
ABOVE_TOP = Code(
    "INV157",
    "above the top of the tank",
    "Water never gets there, so the probe stays dry and never stops a filling pump.",
    "Check the height, which is measured from the lowest inside point, and the shape.",
)
ABOVE_OVERFLOW = Code(
    "INV158",
    "a mark above the overflow",
    "The water runs off before it reaches the probe, so the probe never stops a filling pump.",
    "Lower the mark, or correct the height of the overflow.",
)
RESERVE_TOO_HIGH = Code(
    "INV159",
    "a reserve that the tank never holds",
    "The reserve is the level that is never to be drawn below. The tank is never filled above its highest "
    "mark.",
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
    "A filling pump starts at a low mark and stops at a high one; a draining pump does the opposite.",
    "Swap `on_at` and `off_at`, or correct `does`.",
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
    "Without the pump's figures there is no longest run and no watch against dry running.",
    "Add `pump` to the tank, or take the pump relay out.",
)
SERVED_TWICE = Code(
    "INV164",
    "a tank served twice",
    "Two nodes would switch the same pump against each other.",
    "Let one node serve the tank.",
)
NOT_SERVED = Code(
    "INV165",
    "a tank that no node serves",
    "Nothing watches it, and nothing switches its pump.",
    "When a node is fitted, add the tank to its `serves`.",
    Severity.WARNING,
)
TWO_SITES = Code(
    "INV166",
    "a node at two sites",
    "A node belongs to one network and one set of hours.",
    "Serve the tanks of each site with nodes of that site, or correct the site of the tank.",
)
MARK_WITHOUT_PROBE = Code(
    "INV167",
    "a mark without a probe",
    "A mark that nothing reads would always count as dry.",
    "Add the probe with its pin, or take the mark out of the tank.",
)
NO_SUCH_PIN = Code(
    "INV168",
    "no such pin",
    "The firmware would be built for a pin that the board does not have.",
    "Use a name printed on the board.",
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
    "a figure too large for a node",
    "The node block stores milliseconds, seconds and millimetres in two bytes here, and a pump's times in "
    "four.",
    "Give a smaller figure.",
)
WINDOW_TOO_FAR = Code(
    "INV171",
    "a window in the past or the far future",
    "Updates go in only while a window is open. A site whose only window is over, or opens in years, gets "
    "none: its nodes keep their present firmware.",
    "Check the year of `first`, and COUNT, UNTIL and INTERVAL of the rule. Delete a window that is over, "
    "or give it a rule that continues.",
    Severity.WARNING,
    "the planner looks for the next window up to 400 days ahead",
)
NO_ROOM_IN_TRIAL = Code(
    "INV172",
    "a trial too short to finish",
    "A node on trial must start the new image, join its network, be watched for the soak and be told to "
    "keep it. If its trial ends before that, a good image falls back.",
    "Raise `trial`, or shorten `soak`.",
    source="soak + 15 s to say keep + the restart of the board, against the trial: the room the planner allows for",
)
DAY_TO_COME = Code(
    "INV173",
    "an impossible date",
    "A board cannot have been fitted in the future, nor before such boards existed. The year or the order "
    "of the figures is wrong.",
    "Check the date: year, month, day.",
    Severity.WARNING,
    "the first module with an ESP8266 was sold in 2014 (from memory)",
)
MAC_OF_NO_MAKER = Code(
    "INV174",
    "a locally administered MAC",
    "Bit 1 of the first byte marks an address made up by a phone, a virtual machine, or a board's own "
    "access point. A board's own MAC has it clear. With a wrong MAC an update reaches nobody.",
    "Read the MAC from the board: `tankfleet flash` does so and adds it.",
    Severity.WARNING,
    "IEEE 802: the second lowest bit of the first octet tells locally administered addresses from those of a maker",
)
TOO_LITTLE_FOR_NODE = Code(
    "INV175",
    "a figure too small for a node",
    "A node refuses its block if the debounce is shorter than its sampling period, and keeps all pumps "
    "off. A pump's watch of 0 s would be no watch.",
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
