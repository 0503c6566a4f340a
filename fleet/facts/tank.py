"""What the inventory says and means of one tank.

Marks with volumes, pump, spare time per level, cautions. Pure.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import isinf
from typing import TYPE_CHECKING

from fleet.boards.board import load_board
from fleet.limits import SHOWN_IMAGE_BYTES
from fleet.water.cautions import Caution, Wired, cautions
from fleet.water.crossing import debounce_s, starting, stopping
from fleet.water.electrodes import chip_pull
from fleet.water.filling import Timed, between_l, overflow_m, pump_marks, pump_times, rising
from fleet.water.geometry import top_m, volume_l
from fleet.water.motors import allowance
from fleet.water.quantities import METRIC, Units
from fleet.water.sensing import sensing
from fleet.water.slosh import period_s
from fleet.water.spare import needed_s, spare_time, suffices
from fleet.water.starts import starts

if TYPE_CHECKING:
    from fleet.boards.board import OutageStep
    from fleet.model.inventory import Inventory
    from fleet.model.node import Node
    from fleet.model.tank import Pump, Tank
    from fleet.water.crossing import Crossing


@dataclass(frozen=True, slots=True)
class Height:
    """A height with the water below it; `share` is of the volume up to the overflow."""

    height_m: float
    volume_l: float
    share: float


@dataclass(frozen=True, slots=True)
class MarkFacts:
    """A mark: the water below and above it (up to the overflow), its probe's pin, what it does to the
    pump.
    """

    name: str
    height_m: float
    volume_l: float
    share: float
    above_l: float
    pin: str | None
    gpio: int | None
    pump: str | None
    """`starts` or `stops` the pump."""


@dataclass(frozen=True, slots=True)
class StartsFacts:
    """How often a pump starts at the worst demand, and how often its motor may (null: no table knows)."""

    demand_l_per_min: float
    cycle_s: float | None
    per_hour: float
    quickest_run_s: float
    most_per_hour: float | None
    origin: str | None


@dataclass(frozen=True, slots=True)
class CrossingFacts:
    """How far the water goes past a mark before the pump acts; `room_l` is to the overflow, the reserve or empty."""

    mark: str
    seconds: float
    past_l: float
    reached_m: float
    room_l: float


@dataclass(frozen=True, slots=True)
class PumpFacts:
    """A pump and its times; null where it never gets there."""

    name: str
    does: str
    flow_l_per_min: float
    power_kw: float | None
    phase: str
    starts_at: str
    stops_at: str
    between_l: float
    starts: StartsFacts
    stopping: CrossingFacts
    starting: CrossingFacts
    slosh_s: float
    """Period of the water's slowest swing at the highest mark."""
    debounce_s: float
    quiet_s: float
    worst_s: float | None
    keeps_up: bool
    longest_run: Timed
    no_rise: Timed
    first_rise: Timed | None
    """The same of a run that begins as the level leaves its mark; null: as `no_rise`."""
    shortest_off: Timed


@dataclass(frozen=True, slots=True)
class LevelFacts:
    """A level as the probes tell it (0: all dry): its spare time, null for without end."""

    level: int
    wet: tuple[str, ...]
    until_reserve_s: float | None
    until_overflow_s: float | None
    spare_s: float | None
    why: str
    why_at_any_level: str
    """The same without the level that it is counted from."""
    held: str
    """The condition of the tank's duty that is not met, for which it is not left alone at all."""
    may_be_updated: bool | None
    """Whether that is enough for an update; null for a tank that no node serves."""


@dataclass(frozen=True, slots=True)
class Need:
    """The spare time that an update of the tank's node takes, with the policy's margin."""

    node: str
    board: str
    image_bytes: int
    worst_outage_s: float
    margin: float
    needed_s: float
    steps: tuple[OutageStep, ...]
    """What the worst outage is made of."""
    source: str


@dataclass(frozen=True, slots=True)
class TankFacts:
    """All of one tank."""

    name: str
    site: str
    duty: str
    shape: str
    top: Height
    overflow: Height
    overflow_given: bool
    reserve: Height | None
    largest_draw_l_per_min: float
    uncontrolled_inflow_l_per_min: float
    water: str | None
    conductivity_us_per_cm: float | None
    supply_group: str | None
    stand_ins: tuple[str, ...]
    node: str | None
    marks: tuple[MarkFacts, ...]
    pump: PumpFacts | None
    need: Need | None
    levels: tuple[LevelFacts, ...]
    cautions: tuple[Caution, ...]
    notes: str


def about_tank(inventory: Inventory, name: str, units: Units = METRIC) -> TankFacts:
    """The facts of the tank of that name, their words in those units; KeyError if there is none."""
    tank = inventory.tank(name)
    node = node_of(inventory, name)
    need = update_need(inventory, node) if node else None
    return TankFacts(
        name=tank.name,
        site=tank.site,
        duty=tank.duty.value,
        shape=tank.shape.kind,
        top=_height(tank, top_m(tank.shape)),
        overflow=_height(tank, overflow_m(tank)),
        overflow_given=tank.overflow_m is not None,
        reserve=None if tank.reserve_m is None else _height(tank, tank.reserve_m),
        largest_draw_l_per_min=tank.largest_draw_l_per_min,
        uncontrolled_inflow_l_per_min=tank.uncontrolled_inflow_l_per_min,
        water=tank.water.kind if tank.water else None,
        conductivity_us_per_cm=tank.water.conductivity_us_per_cm if tank.water else None,
        supply_group=tank.supply_group,
        stand_ins=_stand_ins(inventory, tank),
        node=node.name if node else None,
        marks=_marks(tank, node),
        pump=_pump(tank, tank.pump, debounce_s(node), units) if tank.pump else None,
        need=need,
        levels=_levels(tank, need, debounce_s(node), units),
        cautions=cautions(tank, units, wired_to(tank, node) if node else None),
        notes=tank.notes,
    )


def node_of(inventory: Inventory, tank: str) -> Node | None:
    """The node that serves the tank of that name; None if none does."""
    for node in inventory.nodes:
        if any(served.tank == tank for served in node.serves):
            return node
    return None


def wired_to(tank: Tank, node: Node) -> Wired:
    """How the node is wired to a tank that it serves."""
    served = next(each for each in node.serves if each.tank == tank.name)
    pull, relay = load_board(node.board).pull_up, served.pump_relay
    current = sensing(tank, served, chip_pull(*pull.limits_ohm), pull.settle_s)
    return Wired(relay.active if relay else None, current, debounce_s(node))


def update_need(inventory: Inventory, node: Node) -> Need:
    """What an update of that node needs, for an image of SHOWN_IMAGE_BYTES."""
    board = load_board(node.board)
    policy, outage = inventory.policy, board.outage
    worst_s = outage.worst_s(SHOWN_IMAGE_BYTES, policy.trial_s)
    return Need(
        node=node.name,
        board=board.id,
        image_bytes=SHOWN_IMAGE_BYTES,
        worst_outage_s=worst_s,
        margin=policy.spare_time_margin,
        needed_s=needed_s(worst_s, policy.spare_time_margin),
        steps=outage.steps(SHOWN_IMAGE_BYTES, policy.trial_s),
        source=outage.source,
    )


def finite(seconds: float) -> float | None:
    """None for without end: JSON has no infinity."""
    return None if isinf(seconds) else seconds


def _height(tank: Tank, height_m: float) -> Height:
    volume, capacity = volume_l(tank.shape, height_m), volume_l(tank.shape, overflow_m(tank))
    return Height(height_m, volume, volume / capacity)


def _stand_ins(inventory: Inventory, tank: Tank) -> tuple[str, ...]:
    if tank.supply_group is None:
        return ()
    group = (other for other in inventory.tanks if other.supply_group == tank.supply_group)
    return tuple(other.name for other in group if other.name != tank.name)


def _marks(tank: Tank, node: Node | None) -> tuple[MarkFacts, ...]:
    probes = next((s.probes for s in node.serves if s.tank == tank.name), {}) if node else {}
    board = load_board(node.board) if node else None
    start, stop = pump_marks(tank, tank.pump) if tank.pump else (None, None)
    capacity = volume_l(tank.shape, overflow_m(tank))
    facts = []
    for mark in rising(tank):
        at = _height(tank, mark.height_m)
        pin = probes.get(mark.name)
        gpio = board.pin(pin).gpio if board and pin else None
        does = "starts" if mark == start else "stops" if mark == stop else None
        above = max(0.0, capacity - at.volume_l)
        facts.append(MarkFacts(mark.name, at.height_m, at.volume_l, at.share, above, pin, gpio, does))
    return tuple(facts)


def _pump(tank: Tank, pump: Pump, debounced_s: float, units: Units) -> PumpFacts:
    times = pump_times(tank, units, debounced_s=debounced_s)
    if times is None:
        raise ValueError(f"{tank.name} has no pump")
    start, stop = pump_marks(tank, pump)
    return PumpFacts(
        name=pump.name,
        does=pump.does,
        flow_l_per_min=pump.flow_l_per_min,
        power_kw=pump.power_kw,
        phase=pump.phase,
        starts_at=start.name,
        stops_at=stop.name,
        between_l=between_l(tank, start.height_m, stop.height_m),
        starts=_starts(tank, pump, units),
        stopping=_crossing(tank, stopping(tank, pump, debounced_s)),
        starting=_crossing(tank, starting(tank, pump, debounced_s)),
        slosh_s=period_s(tank.shape, rising(tank)[-1].height_m),
        debounce_s=debounced_s,
        quiet_s=times.quiet_fill_s,
        worst_s=finite(times.fill_s),
        keeps_up=times.keeps_up,
        longest_run=times.longest_run,
        no_rise=times.no_rise,
        first_rise=times.first_rise,
        shortest_off=times.shortest_off,
    )


def _starts(tank: Tank, pump: Pump, units: Units) -> StartsFacts:
    cycle, may = starts(tank), allowance(pump, units)
    if cycle is None:
        raise ValueError(f"{tank.name} has no pump")
    return StartsFacts(
        demand_l_per_min=cycle.demand_l_per_min,
        cycle_s=finite(cycle.cycle_s),
        per_hour=cycle.per_hour,
        quickest_run_s=cycle.quickest_run_s,
        most_per_hour=may.starts_per_hour if may else None,
        origin=may.origin if may else None,
    )


def _crossing(tank: Tank, crossing: Crossing) -> CrossingFacts:
    return CrossingFacts(
        crossing.mark.name, crossing.seconds, crossing.past_l, crossing.reached_m(tank), crossing.room_l
    )


def _levels(tank: Tank, need: Need | None, debounced_s: float, units: Units) -> tuple[LevelFacts, ...]:
    names = [mark.name for mark in rising(tank)]
    facts = []
    for level in range(len(names) + 1):
        wet = tuple(names[:level])
        spare = spare_time(tank, wet, units, debounced_s=debounced_s)
        facts.append(
            LevelFacts(
                level=level,
                wet=wet,
                until_reserve_s=finite(spare.until_reserve_s),
                until_overflow_s=finite(spare.until_overflow_s),
                spare_s=finite(spare.worst_s),
                why=spare.why,
                why_at_any_level=spare.why_at_any_level,
                held=spare.held,
                may_be_updated=None if need is None else suffices(spare.worst_s, need.needed_s),
            )
        )
    return tuple(facts)
