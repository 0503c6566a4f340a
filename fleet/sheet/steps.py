"""Commissioning, step by step: what to do, what to read, a box to tick, a line where a figure is written down."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from fleet.limits import POWER_UP_HOLD_S
from fleet.model.tank import Duty
from fleet.sheet.care_steps import dc_contactor, dry_run, gas, isolated, module_supply, told, told_again
from fleet.sheet.expected import rising_readings
from fleet.sheet.meter import meter_steps, volt_steps
from fleet.sheet.step import Step, Steps
from fleet.sheet.words import wetted_m
from fleet.water.crossing import debounce_s
from fleet.water.geometry import depth_m, volume_l
from fleet.water.quantities import Units, duration

if TYPE_CHECKING:
    from fleet.boards.board import Board
    from fleet.facts.tank import PumpFacts, TankFacts
    from fleet.model.inventory import Inventory
    from fleet.model.node import Node, Served
    from fleet.model.tank import Tank

CONSOLE_BAUD: Final = 115_200
"""Of the ports' serial consoles (templates/firmware/ports)."""
WATCHED_S: Final = 600.0
"""As long as a person watches a level: a whole fill may take hours."""
_SOON_S: Final = 1800.0
"""A watch within this can end a trial in a bucket."""
_FIRE_INTRO: Final = (
    "Fire reserve: do this only while it is filled for the first time. If it is in service already, keep the pump "
    "isolated instead: put the probes and the common electrode into the bucket again, watch the contactor close and "
    "open, hang them back at their marks, and then put the pump back in service. Never draw the reserve down."
)
_CONFIRM_S: Final = 1.0
"""On top of the debounce, for a sample and a hand that is not quite still."""


def before_power(node: Node, board: Board, tanks: tuple[Tank, ...]) -> Steps:
    """What comes before the first volt."""
    steps = [
        Step(
            f"Board flashed (tankfleet flash {node.name}) and labelled {node.name}.",
            f"{board.title}; MAC {node.mac}" if node.mac else board.title,
            "" if node.mac else "as its MAC",
        )
    ]
    steps += told(tanks)
    steps += gas(tanks)
    if any(tank.pump is not None for tank in tanks):
        steps += [
            *isolated(tanks),
            Step(
                "Wires as in the wiring table, each pulled once by hand; no mains in the probe cable.",
                "every wire holds",
            ),
            *dc_contactor(tanks),
            Step("Node without power: the pump relay's contact is open.", "no continuity"),
        ]
    else:
        steps.append(Step("Wires as in the wiring table, each pulled once by hand.", "every wire holds"))
    return Steps("1. Before power", tuple(steps))


def first_power(inventory: Inventory, node: Node, board: Board) -> Steps:
    """The board's supply and the console, before anything is dipped. 3.0 to 3.6 V: recommended operating conditions of
    the ESP32 family's data sheets; the ESP8266's begin at 2.5 V."""
    still = ", pump still isolated" if any(served.pump_relay for served in node.serves) else ""
    steps = [
        Step(f"Power on{still}. DC volts from {board.supply} to {board.ground}.", "3.0 to 3.6 V", "V"),
        Step(
            f"Serial console at {CONSOLE_BAUD} baud: type “state”.",
            f"node {node.name}; release {inventory.fleet.release}, board {board.id}",
            console=True,
        ),
        *module_supply(node, board),
        Step("Type “faults”.", "none; away from the site's network: network away", console=True),
        Step(
            f"http://{node.name}.local/v1/state opens in a browser on the site's network.",
            '"phase":"kept"; rssi_dbm -75 or nearer to 0 (common practice)',
            "dBm",
        ),
    ]
    if board.layout == "copy-in-place":
        steps.append(
            Step("After loading over USB: power off once, then on again.", "updates over the network work")
        )
    return Steps("2. First power", tuple(steps))


def probe_steps(
    number: int,
    tank: Tank,
    node: Node,
    board: Board,
    served: Served,
    facts: TankFacts,
    units: Units,
    *,
    several: bool,
) -> Steps:
    """Every probe wet and dry in a bucket of the tank's own water, and the pump relay with them; then each at its mark,
    before the pump is on."""
    wait = duration(debounce_s(node) + _CONFIRM_S)
    relay = served.pump_relay is not None
    steps = list(meter_steps(tank, served, board))
    for reading in rising_readings(tank, relay=relay):
        if not reading.wet:
            first = "Wires on again, all probes out of the water" if steps else "All probes out of the water"
            held = f" for {duration(max(POWER_UP_HOLD_S, _off_s(facts)))} after power-on" if relay else ""
            steps.append(Step(f"{first}{held}.", reading.words, console=True))
            continue
        names = " and ".join((", ".join(reading.wet[:-1]), reading.wet[-1])) if reading.level > 1 else ""
        what = f"{names} wet" if names else f"{reading.wet[0]} wet"
        steps.append(Step(f"{what}, with the common electrode.", reading.words, console=True))
    if relay:
        steps.append(Step("At each of these: the pump relay's contact.", "closed while on, open while off"))
    volts = volt_steps(tank, served, board)
    steps += volts[:1] if volts else ()
    highest = facts.marks[-1].name
    if len(facts.marks) > 1:
        fault = "level unknown" + (", pump relay off, fault" if relay else "")
        steps.append(
            Step(
                f"{highest} wet with the common electrode, all others dry (tells crossed wires).",
                f"{fault}; “faults”: contradictory",
                console=True,
            )
        )
    steps.append(Step("All out again.", _all_out(facts.pump if relay else None), console=True))
    steps += volts[1:] if volts else ()
    steps += _hung(tank, facts, units)
    what = "the feed" if served.is_fed else "the chip's own pull-up"
    unread = "" if volts else f" The pins show no steady volts: {what} is on for moments only."
    intro = (
        f"In a bucket of the tank's own water{', pump isolated' if relay else ''}. Wait {wait} after each change, "
        f"then “state” says tank {facts.name}: and what stands here."
        f"{watch_words(facts.pump if relay else None)}{unread}"
    )
    title = "Probes and pump relay" if relay else "Probes"
    return Steps(f"{number}. {title}{f', {facts.name}' if several else ''}", tuple(steps), intro)


def _hung(tank: Tank, facts: TankFacts, units: Units) -> list[Step]:
    """Out of the bucket: a pump that is on while its probes lie in the dry runs the tank over."""
    marks = ", ".join(
        f"{mark.name} {units.tape(facts.top.height_m - mark.height_m)}" for mark in reversed(facts.marks)
    )
    under_m = wetted_m(tank.electrodes)
    lower = f"; tips {units.small_length(under_m)} lower" if under_m else ""
    return [
        Step(
            "Out of the bucket: probes and common electrode hung in the tank. From its top down to each mark:",
            f"{marks}{lower}",
            "ft, in" if units.us else "m",
            each=tuple(mark.name for mark in facts.marks),
        ),
        Step(
            "Type “state”, then “faults”.",
            "the level as the water stands; none (of no-rise, from the bucket: type “clear”)"
            if facts.pump
            else "the level as the water stands; none",
        ),
    ]


def watch_words(pump: PumpFacts | None) -> str:
    """The first of the watches that the relay may meet: a probe lifted out is a level that has just left its mark, and
    from then on the first rise counts (docs/node-interface.md 8)."""
    if pump is None or not pump.no_rise.seconds:
        return ""
    soonest = min((pump.first_rise or pump.no_rise).seconds, pump.no_rise.seconds)
    if soonest > _SOON_S:
        return ""
    return (
        f" Stay under {duration(soonest)} with the relay on: then a watch stops it with the fault no-rise, until "
        "you type “clear”."
    )


def water_steps(number: int, tank: Tank, facts: TankFacts, units: Units, *, several: bool) -> Steps | None:
    """With the pump on: start, what stops it without the node, stop; None for a tank without pump.

    What is tried while the pump runs comes before the mark at which it stops: from there on it runs again only when the
    tank was emptied (or filled) down to the other one.
    """
    pump = facts.pump
    if pump is None:
        return None
    cut_out = (
        Step(
            "Cut-out: lift the high-level float by hand while the pump runs.",
            "the pump stops although the node's relay is on",
        )
        if pump.does == "fill"
        else Step("Alarm: lift the high-level float by hand.", "the alarm sounds without the node")
    )
    steps = (
        _starts(tank, pump),
        dry_run(pump),
        cut_out,
        _unplugged(pump),
        _timed(tank, facts, pump, units),
        _stops(facts, pump, units),
        Step(
            f"Overflow: let it run over once ({_most(facts, units)}), or look through its pipe.",
            "free, screened, and it shows where it ends",
        ),
        *told_again(tank),
    )
    title = f"{number}. Pump and water{f', {facts.name}' if several else ''}"
    return Steps(title, steps, _FIRE_INTRO if tank.duty is Duty.FIRE_RESERVE else "")


def _starts(tank: Tank, pump: PumpFacts) -> Step:
    verb = "fills" if pump.does == "fill" else "drains"
    bring = f"Bring the level past mark {pump.starts_at}."
    if tank.duty is Duty.FIRE_RESERVE:
        bring = f"The level is {'below' if pump.does == 'fill' else 'above'} mark {pump.starts_at}."
    return Step(f"Pump back on. {bring}", f"the pump starts and {verb}; it turns the right way round")


def _unplugged(pump: PumpFacts) -> Step:
    """Between its marks a node that starts leaves the pump off (docs/node-interface.md 8)."""
    off = duration(max(POWER_UP_HOLD_S, pump.shortest_off.seconds))
    return Step(
        "Node's plug out while the pump runs; then in again.",
        f"the pump stops; with the level past mark {pump.starts_at} it starts {off} after",
    )


def _stops(facts: TankFacts, pump: PumpFacts, units: Units) -> Step:
    """How far past the mark the water may come to rest."""
    mark_m = _height(facts, pump.stops_at)
    past = units.small_length_at_most(abs(pump.stopping.reached_m - mark_m))
    expect = f"{past} past the mark at {units.tape(mark_m)}"
    if pump.does == "fill":
        limit = "overflow" if facts.overflow_given else "top"
        expect += f"; {limit} at {units.tape(facts.overflow.height_m)}"
    do = f"It stops at mark {pump.stops_at}. Level when the flow has ended:"
    return Step(do, expect, "ft, in" if units.us else "m")


def _timed(tank: Tank, facts: TankFacts, pump: PumpFacts, units: Units) -> Step:
    """The time of the whole way, or where that is long, how far the level goes in WATCHED_S."""
    against = "draw" if pump.does == "fill" else "inflow"
    worst = ""
    if pump.worst_s is not None and round(pump.worst_s) != round(pump.quiet_s):
        worst = f", {duration(pump.worst_s)} against the largest {against}"
    way = f"mark {pump.starts_at} to mark {pump.stops_at}"
    if pump.quiet_s <= 3 * WATCHED_S:
        do = f"Time from {way} ({units.volume(pump.between_l)})."
        return Step(do, f"{duration(pump.quiet_s)}{worst}", "min")
    sign = 1 if pump.does == "fill" else -1
    start_m = _height(facts, pump.starts_at)
    moved_l = sign * pump.flow_l_per_min * WATCHED_S / 60
    moved_m = abs(depth_m(tank.shape, volume_l(tank.shape, start_m) + moved_l) - start_m)
    word = "higher" if sign > 0 else "lower"
    do = f"Level {duration(WATCHED_S)} after the start, with no {against}."
    whole = f"{way}: {duration(pump.quiet_s)}{worst}"
    return Step(do, f"{units.small_length(moved_m)} {word} ({whole})", "in" if units.us else "mm")


def first_update(number: int, node: Node, tanks: tuple[TankFacts, ...]) -> Steps:
    """The first image over the network, while the ladder still stands."""
    when = "; ".join(
        f"{facts.name}: {words}" if len(tanks) > 1 else words for facts in tanks if (words := may_when(facts))
    )
    return Steps(
        f"{number}. First update",
        (
            Step(f"tankfleet find {node.name}", "it is found and proves who it is"),
            Step(f"tankfleet plan {node.name} --any-hour --out first.plan", "a plan; or nothing to push"),
            Step("tankfleet push first.plan, if there is one.", "it says kept"),
            Step("tankfleet audit", f"nothing to say about {node.name}"),
        ),
        intro=f"The tank can spare its node {when}." if when else "",
    )


def may_when(facts: TankFacts) -> str:
    """At which levels the tank's node may be updated, in words."""
    allowed = [level for level in facts.levels if level.may_be_updated]
    if len(allowed) == len(facts.levels):
        return "at any level"
    if not allowed:
        return "at no level that its probes tell"
    names = [mark.name for mark in facts.marks]
    first, last = allowed[0].level, allowed[-1].level
    if last == len(names):
        return f"above mark {names[first - 1]}"
    return f"below mark {names[last]}" if first == 0 else f"from mark {names[first - 1]} to {names[last]}"


def _off_s(facts: TankFacts) -> float:
    return facts.pump.shortest_off.seconds if facts.pump else 0


def _all_out(pump: PumpFacts | None) -> str:
    if pump is None:
        return "level 0; “faults”: none"
    off = duration(pump.shortest_off.seconds)
    if pump.does == "fill":
        return f"level 0, pump relay off, shortest-off; on after {off}, below-low"
    return "level 0, pump relay off, below-low"


def _height(facts: TankFacts, mark: str) -> float:
    return next(each.height_m for each in facts.marks if each.name == mark)


def _most(facts: TankFacts, units: Units) -> str:
    most = facts.uncontrolled_inflow_l_per_min
    if facts.pump is not None and facts.pump.does == "fill":
        most += facts.pump.flow_l_per_min
    return units.flow(most) if most else "nothing flows in on its own"
