"""Codes of figures that nobody's tank has, and of groups that protect nothing, INV531-599: slips of a digit, a unit or
a name, and choices that undo what they are for."""

from __future__ import annotations

from fleet.codes import Code, Severity, codes_in

ON_ONE_NODE = Code(
    "INV531",
    "a supply group on one node",
    "The tanks of a supply group stand in for each other, so that they are never down together. Tanks on "
    "one node are down together whenever it is updated or fails.",
    "Give each tank of the group a node of its own, or take `supply_group` out.",
    Severity.WARNING,
    "the purpose of the group: nodes of one group are updated one after the other",
)
GROUP_ACROSS_SITES = Code(
    "INV532",
    "a supply group over two sites",
    "A tank stands in for another that it can supply; a tank at another site has other pipes. The nodes "
    "of both sites would wait for each other without need.",
    "Name one group per site, or correct `site`.",
    Severity.WARNING,
    "the purpose of the group: water that can be had from the other tank",
)
GROUP_OF_TWO_WATERS = Code(
    "INV533",
    "a supply group of waters that do not mix",
    "A tank that is drained supplies nobody, and waste water never stands in for clean water. The group "
    "protects neither of them.",
    "Take one of them out of the group. If a pipe really joins waste and drinking water, separate them.",
    Severity.WARNING,
    "EN 1717: a fluid of category 5, such as waste water, must never flow back into drinking water (from memory)",
)
SIZE_ODD = Code(
    "INV534",
    "a tank far larger or smaller than usual for its kind",
    "One wrong digit or unit in a size changes all volumes, times and watches of the tank.",
    "Check the figures and their units against the tank. If it really has that size, say so in a ruling.",
    Severity.WARNING,
    "own allowances beyond what is built: largest tanks carried on a road are about 4.5 m across, stock "
    "troughs about 10 m, farm tanks of bolted steel about 40 m (common practice)",
)
TABLE_NOT_SMOOTH = Code(
    "INV535",
    "an outlier in a strapping table",
    "Between two depths a tank is about as wide as just above and below. A line whose width jumps and "
    "jumps back has a wrong digit, and each volume near it is wrong.",
    "Check the line against the table that was measured.",
    Severity.WARNING,
    "Brunn and Minkowski: the cube root of what a convex body holds between two heights is concave in them; own "
    "allowances: 7 % of a stretch beyond rounding, and a third of that without the line",
)
FLOW_ODD = Code(
    "INV536",
    "an implausible flow",
    "The draw and the inflow decide how long the tank can be left alone, how often its pump starts and "
    "when its watches act. A wrong unit in one of them makes all of these wrong.",
    "Give the worst flow, not the mean, and check its unit (L/min, L/h, m3/h).",
    Severity.WARNING,
    "own allowances: a pipe of 400 mm carries 20,000 L/min at 2.7 m/s; a full tank is not empty or full in 30 s, nor "
    "lasts 90 days at the worst draw, nor takes 14 days to fill",
)
POWER_ODD = Code(
    "INV537",
    "an implausible power",
    "The power decides how often the motor may start and how long it must rest.",
    "Check the figure, its unit and `phase` against the plate.",
    Severity.WARNING,
    "own allowances: pumps that a node switches through a contactor have 1 W to 200 kW, those on direct current at "
    "most 22 kW",
)
END_ODD = Code(
    "INV538",
    "an implausible bottom or end",
    "The depth of a cone or an end affects each volume and the height of the whole tank.",
    "Check `bottom_depth` or `ends_depth`: it is how far the end stands out, not how high the tank is.",
    Severity.WARNING,
    "own allowances: cones from 0.03 to 1.5 x the diameter deep, ellipsoidal ends from 0.1 to 0.5 x (2:1 ends have "
    "0.25 x, hemispheres 0.5 x)",
)
MOTOR_ODD = Code(
    "INV539",
    "an implausible motor",
    "The motor's own figures override all tables. If one is wrong, the pump starts too often, or a sound "
    "pump is reported.",
    "Check the figure against the plate or the sheet of the motor: starts per hour, not per day; inertia in its unit.",
    Severity.WARNING,
    "own allowances: submersible motors from 60 mm across; 0.04 to 120 starts an hour (Franklin Electric: 50 to 300 a "
    "day, NEMA MG 10: 1.8 to 34 an hour); load inertia up to 20,000 lb ft2",
)
RESERVE_ODD = Code(
    "INV540",
    "an implausible reserve",
    "A reserve of a few millimetres keeps nothing. One just under the highest mark leaves nothing to use, "
    "so the node can hardly ever be updated.",
    "Check `reserve`: the height below which the water is never to be drawn.",
    Severity.WARNING,
    "own allowances: at least 10 mm; except in fire tanks at most 90 % of the water below the highest mark",
)
SOAK_SHORT = Code(
    "INV541",
    "a new image that is hardly watched",
    "The soak is the time in which a new image shows whether it holds. Without it, one answer after the "
    "restart is all that is seen before the image is kept, and faults that need a minute spread over the "
    "fleet.",
    "Set `soak` to a minute or more (2 min by default).",
    Severity.WARNING,
    "own rule: at least 30 s, as much as marks take to settle after a start (10 s of hold and a debounce) three times",
)
GATE_OPEN = Code(
    "INV542",
    "a gate that stops nothing",
    "The gate halts a push when more nodes of a wave fail than are allowed. With half of a wave or more "
    "allowed, an image that breaks most nodes reaches the whole fleet.",
    "Set `failures_allowed` to 0 % (the default), or to a few percent for a large fleet.",
    Severity.WARNING,
    "own rule: less than 50 %",
)
TOO_SALTY = Code(
    "INV543",
    "water that may be too salty for its purpose",
    "Water this salty is advised against for stock, or severely restricted for irrigation. An adviser can "
    "say which animals and which crops tolerate it. The unit may also be wrong.",
    "Check the conductivity and its unit. If they are right, ask an adviser. If the stock or crop "
    "tolerates it, say so in a ruling.",
    Severity.WARNING,
    "irrigation: severe restriction on use above 3.0 dS/m = 3,000 uS/cm (FAO Irrigation and Drainage Paper 29, Ayers "
    "and Westcot 1985, table 1); livestock: not recommended above 10,000 mg/L (Texas A&M and New Mexico State "
    "extension guides after the US National Research Council), 16,000 uS/cm at 640 mg/L for 1,000 uS/cm",
)
TIME_ODD = Code(
    "INV544",
    "an implausible time",
    "A wrong unit turns seconds into milliseconds, or minutes into hours.",
    "Check the figure and its unit.",
    Severity.WARNING,
    "own allowances: a pump runs on for at most a minute; without its network a node looks for it for 1 min to 7 days; "
    "a trial lasts at most 4 h",
)
FIRST_WAVE_LARGE = Code(
    "INV545",
    "a first wave that is most of the fleet",
    "The first wave exists to find a bad image with few nodes. When it is most of the fleet, a bad image "
    "is everywhere before the gate can act.",
    "Set `first_wave` to one or two nodes, or a tenth of a large fleet.",
    Severity.WARNING,
    "own rule: at most half of a fleet of ten nodes or more",
)
PILOT_BLIND = Code(
    "INV546",
    "a pilot that finds only widespread faults",
    "`pilot_share_found` is the share of the fleet with a fault that the first waves should show. At half "
    "or more, faults of fewer nodes pass the pilot unseen. At 0 % no pilot is large enough.",
    "Set it to 10 % (the default), or from 1 to 30 %.",
    Severity.WARNING,
    "own rule: more than 0 % and less than 50 %",
)
CABLE_ODD = Code(
    "INV547",
    "an implausible cable length",
    "The length decides whether a probe is read in time and how much its insulation leaks.",
    "Check `cable_length` and its unit.",
    Severity.WARNING,
    "own allowance: 500 m",
)
LEVEL_OF_OVERFLOW = Code(
    "INV548",
    "an overflow near the bottom",
    "Water runs off at the overflow. One in the lower third leaves most of the tank always empty. Often "
    "it was measured from the top.",
    "Measure `overflow` from the lowest inside point up.",
    Severity.WARNING,
    "own allowance: an overflow below a third of the tank's height",
)
CODES = codes_in(globals())
