"""How often a pump starts at the worst demand: T = V / (q - i) + V / i, shortest at i = q / 2, where T = 4 V / q
(US Army EI 11C201; MIL-HDBK-1005/9A equations 1 and 2).

`q` is the pump's flow, `V` the volume between the marks at which it starts and stops, `i` what flows the other way:
the draw from a tank that is filled, the inflow of one that is drained.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf
from typing import TYPE_CHECKING, Final

from fleet.water.filling import S_PER_MIN, against_l_per_min, between_l, pump_marks
from fleet.water.slosh import G_M_PER_S2

if TYPE_CHECKING:
    from fleet.model.tank import Tank

S_PER_H: Final = 3600.0


@dataclass(frozen=True, slots=True)
class Starts:
    """The quickest cycle of a pump: `demand_l_per_min` is the flow the other way that makes it so."""

    band_l: float
    demand_l_per_min: float
    cycle_s: float
    """inf where nothing flows the other way."""
    quickest_run_s: float
    """With nothing flowing the other way."""

    @property
    def per_hour(self) -> float:
        """Starts an hour."""
        return S_PER_H / self.cycle_s if self.cycle_s > 0 else inf


def starts(tank: Tank) -> Starts | None:
    """The quickest cycle with what the inventory says is drawn or flows in at most; None without a pump."""
    pump = tank.pump
    if pump is None:
        return None
    start, stop = pump_marks(tank, pump)
    band_l = between_l(tank, start.height_m, stop.height_m)
    flow = pump.flow_l_per_min
    demand = worst_demand_l_per_min(flow, against_l_per_min(tank, pump))
    return Starts(band_l, demand, cycle_s(band_l, flow, demand), S_PER_MIN * band_l / flow)


def worst_demand_l_per_min(flow_l_per_min: float, most_l_per_min: float) -> float:
    """The demand, up to the most there is, at which a pump starts most often: half of its flow, or all there is."""
    return min(most_l_per_min, flow_l_per_min / 2)


def cycle_s(band_l: float, flow_l_per_min: float, demand_l_per_min: float) -> float:
    """Seconds from one start to the next; inf with no demand, or with one that the pump cannot meet."""
    if not 0 < demand_l_per_min < flow_l_per_min:
        return inf
    net = flow_l_per_min - demand_l_per_min
    return S_PER_MIN * (band_l / net + band_l / demand_l_per_min)


def head_m(power_kw: float, flow_l_per_min: float) -> float:
    """The height to which a power lifts a flow of water if nothing is lost: H = P / (density x g x Q)."""
    return power_kw * 1000 / (G_M_PER_S2 * flow_l_per_min / S_PER_MIN)


def control_volume_l(flow_l_per_min: float, demand_l_per_min: float, starts_per_hour: float) -> float:
    """The least volume between the marks for so many starts an hour: V = t q / 4 at a demand of half the flow."""
    one_litre_s = cycle_s(1.0, flow_l_per_min, demand_l_per_min)
    return S_PER_H / starts_per_hour / one_litre_s
