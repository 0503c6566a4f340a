"""Pumps that move nothing: whether their node stops them while there is water, and before they are burnt."""

from __future__ import annotations

from math import isfinite
from typing import TYPE_CHECKING

from fleet.check.codes.dry_running import DIES_UNSEEN, WATER_GOES_FIRST
from fleet.finding import Figure, Finding
from fleet.inventory.parsed import subject_of
from fleet.limits import DIES_UNSEEN_S, DRY_RUN_MOST_S
from fleet.water.crossing import debounce_s
from fleet.water.dry_running import dry_running
from fleet.water.filling import against_l_per_min, believe_s, pump_marks, pump_times
from fleet.water.quantities import METRIC, duration

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleet.inventory.parsed import Parsed, ParsedPart
    from fleet.model.node import Node
    from fleet.model.tank import Pump, Tank
    from fleet.water.dry_running import DryRunning
    from fleet.water.filling import PumpTimes


def dry_pumps_stop(
    _survey: Parsed, tank: ParsedPart[Tank], node: ParsedPart[Node] | None
) -> Iterator[Finding]:
    """The watches of one tank's pump: dead from its start, and on its way. A ruling on one leaves the other."""
    pump = tank.part.pump
    debounced_s = debounce_s(node.part if node else None)
    times = pump_times(tank.part, debounced_s=debounced_s)
    if pump is None or times is None:
        return
    dry = dry_running(tank.part, pump, times)
    starts_s = (
        believe_s(debounced_s) + times.shortest_off.seconds
    )  # at the latest, after the level left the mark
    # One that starts in the reserve, or at the overflow, is spoken of elsewhere.
    if dry.water_s > 0 and dry.from_start_s > min(dry.water_s - starts_s, DRY_RUN_MOST_S):
        yield _water_goes_first(tank, pump, dry)
    if dry.on_the_way_s > DIES_UNSEEN_S:
        yield _dies_unseen(tank, pump, times, dry)


def _flows(tank: Tank, pump: Pump) -> str:
    taken = "drawn" if pump.does == "fill" else "flowing in"
    flow, against = METRIC.flow(pump.flow_l_per_min), METRIC.flow(against_l_per_min(tank, pump))
    return f"{flow} with up to {against} {taken}"


def _water_goes_first(tank: ParsedPart[Tank], pump: Pump, dry: DryRunning) -> Finding:
    mark = pump_marks(tank.part, pump)[0].name
    end = "the overflow" if pump.does == "drain" else "the reserve" if tank.part.reserve_m else "empty"
    lasts = f"; from mark {mark} to {end} it takes {duration(dry.water_s)}" if isfinite(dry.water_s) else ""
    flows, after = _flows(tank.part, pump), _after(dry.from_start_s)
    what = f"the pump `{pump.name}`, {flows}, is {after} if it moves nothing{lasts}"
    figures = [Figure("stopped after", _figure(dry.from_start_s), "s")]
    figures += [Figure("water lasts", dry.water_s, "s")] if isfinite(dry.water_s) else []
    place, subject = tank.value("pump", "flow"), subject_of(tank)
    return Finding(WATER_GOES_FIRST, what, place, subject, figures=tuple(figures))


def _dies_unseen(tank: ParsedPart[Tank], pump: Pump, times: PumpTimes, dry: DryRunning) -> Finding:
    what = (
        f"the pump `{pump.name}` is {_after(dry.on_the_way_s)} if it fails between two marks: the longest stretch "
        f"takes {duration(times.stretch_s)} at the worst"
    )
    figures = (
        Figure("stopped after", _figure(dry.on_the_way_s), "s"),
        Figure("stretch", times.stretch_s, "s"),
    )
    return Finding(
        DIES_UNSEEN,
        what,
        tank.value("pump", "flow"),
        subject_of(tank),
        figures=figures,
    )


def _after(seconds: float) -> str:
    return f"stopped only after {duration(seconds)}" if isfinite(seconds) else "never stopped"


def _figure(seconds: float) -> float:
    return seconds if isfinite(seconds) else 0.0
