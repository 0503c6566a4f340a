"""How long a pump that moves nothing runs before its node stops it, and how long the water lasts meanwhile.

Two cases, both with the largest draw (or inflow) against it: dead from its start, as of a well that has run dry; and
dying on its way with nothing drawn, so that no mark tells of it before the no-rise watch does.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf
from typing import TYPE_CHECKING

from fleet.water.filling import against_l_per_min, between_l, overflow_m, pump_marks, time_s

if TYPE_CHECKING:
    from fleet.model.tank import Pump, Tank
    from fleet.water.filling import PumpTimes


@dataclass(frozen=True, slots=True)
class DryRunning:
    """Seconds; inf: without end.

    `from_start_s`: a pump dead from its start, as the level leaves its mark. `on_the_way_s`: one that dies on its way.
    `water_s`: from that mark to the reserve (or empty) of a tank that is filled, to the overflow of one that is
    drained.
    """

    from_start_s: float
    on_the_way_s: float
    water_s: float


def dry_running(tank: Tank, pump: Pump, times: PumpTimes) -> DryRunning:
    """Of a tank's pump with these times."""
    on_the_way_s = min(times.no_rise.seconds or inf, times.longest_run.seconds or inf)
    first_s = times.first_rise.seconds if times.first_rise and times.no_rise.seconds else inf
    start_m = pump_marks(tank, pump)[0].height_m
    end_m = min(start_m, tank.reserve_m or 0.0) if pump.does == "fill" else max(start_m, overflow_m(tank))
    against = against_l_per_min(tank, pump)
    water_s = time_s(between_l(tank, start_m, end_m), against) if against > 0 else inf
    return DryRunning(min(first_s, on_the_way_s), on_the_way_s, water_s)
