"""Codes of water and pumps, INV500-530: what would not work, or would hurt, by the figures of the inventory."""

from __future__ import annotations

from fleet.codes import Code, Severity, codes_in
from fleet.limits import DRINKING_SOURCE, DRINKING_US_PER_CM

CANNOT_KEEP_UP = Code(
    "INV500",
    "a pump that cannot keep up",
    "During the worst draw or inflow the level moves the wrong way although the pump runs. The longest "
    "run then stops the pump, and the tank runs dry or over.",
    "Check the pump's flow and the largest draw (or the uncontrolled inflow). If they are right, fit a "
    "larger pump. If the tank exists to buffer that short peak, say so in a ruling.",
    Severity.WARNING,
    "balance of flows, t = V / (q in - q out)",
)
STARTS_TOO_OFTEN = Code(
    "INV501",
    "a pump that starts too often",
    "Each start heats the winding as much as minutes of running do. A motor started too often burns out.",
    "Set the marks at which the pump starts and stops further apart, or give the motor's own figure as `motor: "
    "{most_starts_per_hour: ...}`.",
    Severity.WARNING,
    "V = t q / 4: US Army EI 11C201, MIL-HDBK-1005/9A; limits: NEMA MG 10 table 2-3 (made for polyphase motors, and "
    "taken for single-phase ones too), Franklin Electric's table of starts",
)
OFF_TOO_SHORT = Code(
    "INV502",
    "a rest too short for the motor",
    "Between two starts a motor must cool down. The node holds the pump off for `shortest_off` and no "
    "longer.",
    "Raise `shortest_off`, or delete it: then it is calculated.",
    Severity.WARNING,
    "NEMA MG 10 table 2-3, column C; Franklin Electric: 15 minutes between starts from 6 inches on",
)
RUN_TOO_SHORT = Code(
    "INV503",
    "a submersible pump that runs too briefly",
    "The motor of a submersible pump loses the heat of its start only while water flows past it.",
    "Set the marks at which the pump starts and stops further apart. For a sump pump whose maker allows shorter runs, "
    "say so in a ruling.",
    Severity.WARNING,
    "Franklin Electric, submersible well motors: at least 1 minute per start",
)
RUN_ENDS_EARLY = Code(
    "INV504",
    "a longest run that is shorter than the fill",
    "The node would stop the pump with a fault during an ordinary fill from one mark to the other.",
    "Raise `longest_run`, or delete it: then it is calculated.",
    source="longest run = 2 x the time of the whole way (common practice: 1.5 to 2)",
)
NO_RISE_EARLY = Code(
    "INV505",
    "a no-rise watch that is shorter than the stretch between two marks",
    "The node would take a working pump for one that runs dry, and stop it with a fault.",
    "Raise `no_rise`, or delete it: then it is calculated.",
    source="no-rise watch = 1.5 x the longest stretch between marks (own choice)",
)
NO_REASON = Code(
    "INV506",
    "an override without a reason",
    "A time set by hand still applies after the tank or the pump changes, and nobody will know why it was "
    "set.",
    "Delete it, or write the reason: `{is: 40 min, reason: the bore recovers slowly}`.",
    Severity.WARNING,
    "common practice: a setting that differs from the design is kept with its reason",
)
NOTHING_AGAINST = Code(
    "INV507",
    "a pump without a draw or an inflow",
    "The flow that empties a filled tank, or fills a drained one, decides how often the pump starts, "
    "whether it keeps up, and how long the tank can be left alone. Without it none of these is checked.",
    "Give the worst flow: `largest_draw` of a tank that is filled, `uncontrolled_inflow` of one that is "
    "drained. Or correct `does`.",
    Severity.WARNING,
    "balance of flows, t = V / (q in - q out)",
)
POWER_AND_FLOW = Code(
    "INV508",
    "a pump whose figures contradict one another",
    "Power, flow, phase and height depend on one another. If they do not match, one of them has a wrong "
    "unit, and all that is calculated from it is wrong.",
    "Check `power`, `flow` and `phase` against the plate. If the water arrives under pressure or from a "
    "higher place, say so in a ruling.",
    Severity.WARNING,
    "hydraulic power P = density x g x Q x H, at an efficiency of 1; single-phase: Franklin Electric's table of starts",
)
WATCH_TOO_LATE = Code(
    "INV509",
    "a watch that comes too late",
    "The longest run and the no-rise watch stop a pump that runs dry or cannot fill. Set this long, they "
    "let it burn.",
    "Delete the time: then it is calculated. Or set it nearer to the calculated one.",
    Severity.WARNING,
    "own allowance: 5 x the computed time, itself 1.5 to 2 x the time of the way (common practice)",
)
RUNS_OVER = Code(
    "INV510",
    "the tank overflows before the pump stops it",
    "From the water at the mark until the flow ends, the debounce time, a sample period and the pump's "
    "run-on pass. A draining pump that has just run must rest before it starts. The marks must leave room "
    "for what flows meanwhile.",
    "Set the mark further from the overflow, or shorten `debounce` of the node.",
    source="volume = flow x (debounce + sample period + run-on, or what is left of the pump's rest)",
)
RUNS_DRY = Code(
    "INV511",
    "a pump that runs dry before it stops",
    "From the water at the mark until the pump stands still, the debounce time, a sample period and the "
    "run-on pass. A draining pump then draws air.",
    "Set the mark at which it stops higher, or shorten `debounce` of the node.",
    source="volume = flow x (debounce + sample period + run-on)",
)
STARTS_TOO_LATE = Code(
    "INV512",
    "a pump that starts too late",
    "The level falls into the reserve before the pump starts: the debounce time passes first, and a pump "
    "that has just run must rest.",
    "Set the mark at which it starts higher, or correct `reserve`.",
    Severity.WARNING,
    "volume = draw x (debounce + sample period, or what is left of the pump's rest)",
)
MARKS_TOO_CLOSE = Code(
    "INV513",
    "marks closer than the height of a wave",
    "The surface moves while water flows in. With marks this close, a wave wets both or none, and the "
    "pump stops and starts by it.",
    "Set the marks further apart.",
    Severity.WARNING,
    "own allowance: a wave from trough to crest of 2 % of the surface's width, at least 10 mm for the probe's tip "
    "and at most 150 mm",
)
PASSED_TOO_FAST = Code(
    "INV514",
    "a level that passes two marks within the debounce time",
    "The node may then accept the higher mark before the lower one, and report that as a fault of the "
    "probes.",
    "Set the marks further apart, or shorten `debounce` of the node.",
    Severity.WARNING,
    "time = volume between the marks / flow",
)
SLOSH = Code(
    "INV515",
    "a debounce shorter than the water's swing",
    "A swinging surface wets and leaves a probe once per period. A shorter debounce accepts each swing.",
    "Raise `debounce` of the node: two to three periods are good. Or put the probes into a stilling pipe, "
    "and say so in a ruling.",
    Severity.WARNING,
    "first mode of sloshing by linear theory (from memory); makers of level relays: 0.1 to 10 s, 2 to 4 s "
    "against splashing",
)
DEBOUNCE_SHORT = Code(
    "INV516",
    "a debounce of less than a second",
    "Splashes and drops on a probe last longer than that.",
    "Leave `debounce` out (2 s), or set it to 1 to 5 s.",
    Severity.WARNING,
    "common practice of level relays: 2 to 4 s against splashing",
)
NAMES_UPSIDE_DOWN = Code(
    "INV517",
    "marks whose names are upside down",
    "Heights count upwards from the lowest inside point of the tank. A `full` below an `empty` was "
    "measured from the top: the pump would start and stop at the wrong levels.",
    "Measure from the bottom, or rename the marks.",
    Severity.WARNING,
    "common meaning of the names empty, low, half, high and full",
)
DEBOUNCE_LONG = Code(
    "INV518",
    "a debounce longer than waves need",
    "It delays all that the node does: it stops the pump later, starts it later, and sees a fault later.",
    "Leave `debounce` out (2 s), or set it to 1 to 5 s, or to two periods of the water's swing.",
    Severity.NOTE,
    "makers of level relays: 0.1 to 10 s",
)
AT_THE_BOTTOM = Code(
    "INV519",
    "a mark at the very bottom",
    "The last centimetre of a tank holds sludge and residue. A probe there stays wet, so the tank never "
    "counts as empty, and a pump that waits for that never acts.",
    "Check the unit, or set the mark higher.",
    Severity.WARNING,
    "own allowance: 10 mm, as for the drop at a probe's tip",
)
FIRE_REFILL = Code(
    "INV520",
    "a fire reserve that takes too long to refill",
    "After a fire the reserve must be back within 8 hours.",
    "Fit a larger pump, or name the second supply in a ruling.",
    Severity.WARNING,
    "NFPA 22 4.2.1.4: refilled within 8 h",
)
FIRE_NO_RESERVE = Code(
    "INV521",
    "a fire tank without a reserve",
    "Without it nobody knows how much water must always be there, so neither an update nor a draw can be "
    "held off for it.",
    "Add `reserve`: the height below which the water belongs to the fire brigade.",
    Severity.WARNING,
    "MIL-HDBK-1008: fire storage is additive, and available at all times",
)
FIRE_DRAWN = Code(
    "INV522",
    "a fire reserve that others can draw from",
    "The reserve must always be there. Whatever draws from the same tank must not be able to go below it.",
    "Let only the fire brigade draw from it, or put other outlets above the reserve and say so in a ruling.",
    Severity.WARNING,
    "MIL-HDBK-1008: fire storage is additive to the domestic one",
)
BELOW_RESERVE = Code(
    "INV523",
    "a pump that works within the reserve",
    "A filling pump that starts only below the reserve lets it be used up first. A draining pump that "
    "stops below it empties it.",
    "Set the mark above the reserve, or correct `reserve`.",
    Severity.WARNING,
    "own rule: the reserve is never to be drawn; fire storage is available at all times (MIL-HDBK-1008)",
)
NOT_DRINKING = Code(
    "INV524",
    "drinking water that is not drinkable",
    "Grey and brackish water are not for drinking, so one of the two keys is wrong.",
    "Correct `duty` or `water`.",
    source=f"drinking water: 50 to 1,500 uS/cm (Maine DHHS); {DRINKING_US_PER_CM:,.0f} uS/cm: {DRINKING_SOURCE}; "
    "brackish: from 1,000 uS/cm up (datastream.org)",
)
NEVER_SPARED = Code(
    "INV530",
    "a node that can never be updated",
    "This node can never be updated: at no level that its tank's marks show is there time for the worst "
    "outage of an update. It would be held off for ever.",
    "Raise the mark at which the pump starts; lower the reserve or the draw if they are too cautious; "
    "shorten the policy's `trial`; or plan to update over USB.",
    Severity.WARNING,
    "spare time against the worst outage of the board times the policy's margin",
)

CODES = codes_in(globals())
