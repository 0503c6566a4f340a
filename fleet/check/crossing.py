"""How far the water goes past the marks at which a pump stops and starts."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.check.codes.water import RUNS_DRY, RUNS_OVER, STARTS_TOO_LATE
from fleet.finding import Figure, Finding
from fleet.inventory.parsed import subject_of
from fleet.water.crossing import debounce_s, delay_s, starting, stopping
from fleet.water.filling import between_l, overflow_m, pump_marks, shortest_off
from fleet.water.quantities import METRIC, duration

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleet.codes import Code
    from fleet.inventory.parsed import Parsed, ParsedPart
    from fleet.model.node import Node
    from fleet.model.tank import Pump, Tank
    from fleet.water.crossing import Crossing


def crossings_fit(
    _survey: Parsed, tank: ParsedPart[Tank], node: ParsedPart[Node] | None
) -> Iterator[Finding]:
    """Overshoot and undershoot of one tank's pump."""
    part, pump = tank.part, tank.part.pump
    if pump is None:
        return
    debounced_s = debounce_s(node.part if node else None)
    stops = stopping(part, pump, debounced_s)
    if not stops.fits:
        where = "the overflow" if part.overflow_m is not None else "the top"
        to = f"{where} at {overflow_m(part):.3g} m" if stops.up else "the bottom"
        yield _finding(tank, RUNS_OVER if stops.up else RUNS_DRY, stops, f"pump `{pump.name}` stops", to)
    starts = starting(part, pump, debounced_s)
    if not starts.up and part.reserve_m is None:
        return  # a tank without a reserve may be drawn empty
    if not starts.up and part.reserve_m is not None and starts.mark.height_m <= part.reserve_m:
        return  # the mark itself is in the reserve: said elsewhere
    if not starts.fits:
        to = "the overflow" if starts.up else f"the reserve at {part.reserve_m:.3g} m"
        code = RUNS_OVER if starts.up else STARTS_TOO_LATE
        resting = _resting(part, pump) if starts.seconds > delay_s(debounced_s) else ""
        yield _finding(tank, code, starts, f"pump `{pump.name}` starts", to, resting)


def _resting(tank: Tank, pump: Pump) -> str:
    start, stop = pump_marks(tank, pump)
    band = METRIC.volume(between_l(tank, start.height_m, stop.height_m))
    rest = duration(shortest_off(pump).seconds)
    return f" (it rests {rest} after a run, longer than the {band} between its marks last)"


def _finding(
    tank: ParsedPart[Tank], code: Code, crossing: Crossing, does: str, limit: str, resting: str = ""
) -> Finding:
    mark, units = crossing.mark, METRIC
    after = f"{crossing.seconds:.3g} s" if crossing.seconds < 90 else duration(crossing.seconds)
    what = (
        f"the {does} {after} after the water is at mark `{mark.name}`{resting}; at "
        f"{METRIC.flow(crossing.flow_l_per_min)} it goes {units.volume(crossing.past_l)} past the mark, and there are "
        f"{units.volume(crossing.room_l)} to {limit}"
    )
    figures = (
        Figure("delay", crossing.seconds, "s"),
        Figure("past the mark", crossing.past_l, "L"),
        Figure("room", crossing.room_l, "L"),
    )
    index = next(i for i, other in enumerate(tank.part.marks) if other.name == mark.name)
    place = tank.value("marks", index, "height")
    return Finding(code, what, place, subject_of(tank), figures=figures)
