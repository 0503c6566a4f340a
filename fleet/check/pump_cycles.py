"""How pumps run: whether they keep up, how often they start, how long they rest and run."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.check.codes.water import CANNOT_KEEP_UP, OFF_TOO_SHORT, RUN_TOO_SHORT, STARTS_TOO_OFTEN
from fleet.codes import Severity
from fleet.finding import Figure, Finding
from fleet.inventory.parsed import subject_of
from fleet.model.tank import Duty
from fleet.water.filling import against_l_per_min, keeps_up
from fleet.water.motors import SUBMERSIBLE_RUN_S, Allowance, allowance
from fleet.water.quantities import METRIC, duration
from fleet.water.starts import control_volume_l, starts

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleet.inventory.parsed import Parsed, ParsedPart
    from fleet.model.node import Node
    from fleet.model.tank import Pump, Tank
    from fleet.water.starts import Starts

_HAIR = 1 + 1e-9
"""What rounding in units may make of two equal figures."""


def running_fits(
    _survey: Parsed, tank: ParsedPart[Tank], _node: ParsedPart[Node] | None
) -> Iterator[Finding]:
    """The pump of one tank."""
    pump = tank.part.pump
    cycle = starts(tank.part)
    if pump is None or cycle is None:
        return
    yield from _keeps_up(tank, pump)
    may = allowance(pump)
    if may is None:
        return
    yield from _starts(tank, pump, cycle, may)
    yield from _rest(tank, pump, may)
    if may.run_s > cycle.quickest_run_s * _HAIR:
        what = (
            f"the pump `{pump.name}` moves the {METRIC.volume(cycle.band_l)} between its marks in "
            f"{duration(cycle.quickest_run_s)} at {METRIC.flow(pump.flow_l_per_min)}; a submersible motor must run at "
            f"least {SUBMERSIBLE_RUN_S:.0f} s per start"
        )
        figures = (
            Figure("run", cycle.quickest_run_s, "s"),
            Figure("least run", SUBMERSIBLE_RUN_S, "s"),
            Figure("between the marks", cycle.band_l, "L"),
        )
        yield Finding(RUN_TOO_SHORT, what, tank.value("pump", "flow"), subject_of(tank), figures=figures)


def _keeps_up(tank: ParsedPart[Tank], pump: Pump) -> Iterator[Finding]:
    against = against_l_per_min(tank.part, pump)
    if against == 0 or keeps_up(tank.part, pump):
        return
    key, takes = (
        ("largest_draw", "largest draw") if pump.does == "fill" else ("uncontrolled_inflow", "inflow")
    )
    what = (
        f"the pump `{pump.name}` {pump.does}s at {METRIC.flow(pump.flow_l_per_min)}, and the {takes} is "
        f"{METRIC.flow(against)}"
    )
    fire = tank.part.duty is Duty.FIRE_RESERVE
    figures = (Figure("pump", pump.flow_l_per_min, "L/min"), Figure(takes, against, "L/min"))
    yield Finding(
        CANNOT_KEEP_UP,
        what,
        tank.value(key),
        subject_of(tank),
        severity_here=Severity.ERROR if fire else None,
        figures=figures,
    )


def _starts(tank: ParsedPart[Tank], pump: Pump, cycle: Starts, may: Allowance) -> Iterator[Finding]:
    if cycle.per_hour <= may.starts_per_hour * _HAIR:
        return
    half = cycle.demand_l_per_min == pump.flow_l_per_min / 2
    worst = (
        "when half of that flows the other way: T = 4 V / q"
        if half
        else (
            f"when {METRIC.flow(cycle.demand_l_per_min)} flow the other way, the most there is: T = V / (q - i) + V / i"
        )
    )
    least_l = control_volume_l(pump.flow_l_per_min, cycle.demand_l_per_min, may.starts_per_hour)
    units = METRIC
    often = f"{cycle.per_hour:,.0f}" if cycle.per_hour >= 100 else f"{cycle.per_hour:.3g}"
    what = (
        f"the pump `{pump.name}` starts up to {often} times an hour ({units.volume(cycle.band_l)} between "
        f"the marks, {METRIC.flow(pump.flow_l_per_min)}; worst {worst}), its motor may {may.starts_per_hour:.3g} times "
        f"({may.origin})"
    )
    fix = f"{units.volume(least_l)} between the marks are enough. {STARTS_TOO_OFTEN.fix}"
    figures = (
        Figure("starts an hour", cycle.per_hour, "1/h"),
        Figure("most starts an hour", may.starts_per_hour, "1/h"),
        Figure("between the marks", cycle.band_l, "L"),
        Figure("volume that is enough", least_l, "L"),
    )
    yield Finding(
        STARTS_TOO_OFTEN, what, tank.value("pump", "flow"), subject_of(tank), fix_here=fix, figures=figures
    )


def _rest(tank: ParsedPart[Tank], pump: Pump, may: Allowance) -> Iterator[Finding]:
    given = pump.shortest_off
    if given is None or given.seconds >= may.off_s:
        return
    what = (
        f"`shortest_off` is {duration(given.seconds)}, and its motor must rest {duration(may.off_s)} "
        f"({may.off_origin})"
    )
    figures = (Figure("shortest off", given.seconds, "s"), Figure("least rest", may.off_s, "s"))
    yield Finding(OFF_TOO_SHORT, what, tank.value("pump", "shortest_off"), subject_of(tank), figures=figures)
