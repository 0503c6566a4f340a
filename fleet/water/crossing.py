"""How far the water goes past a mark before the pump has done something about it.

A probe is believed after the debounce time, looked at once per sample period; when the relay opens, the flow goes on
for the run-on time. A pump that must still rest from its last run starts only when the rest is over.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from fleet.limits import DEBOUNCE_MS, SAMPLE_PERIOD_MS
from fleet.water.filling import S_PER_MIN, between_l, overflow_m, pump_marks, shortest_off, time_s
from fleet.water.geometry import depth_m, volume_l

if TYPE_CHECKING:
    from fleet.model.node import Node
    from fleet.model.tank import Mark, Pump, Tank

MS: Final = 1000.0


@dataclass(frozen=True, slots=True)
class Crossing:
    """Water past a mark, up or down: for how long, at what flow, how much, and how much there is room for.

    `room_l`: to the overflow going up; going down to the reserve, or to empty where there is none.
    """

    mark: Mark
    up: bool
    seconds: float
    flow_l_per_min: float
    room_l: float

    @property
    def past_l(self) -> float:
        """Litres past the mark."""
        return self.flow_l_per_min * self.seconds / S_PER_MIN

    @property
    def fits(self) -> bool:
        """Whether there is room for them."""
        return self.past_l == 0 or self.past_l < self.room_l

    def reached_m(self, tank: Tank) -> float:
        """The height that the water reaches, within the tank."""
        at_l = volume_l(tank.shape, self.mark.height_m)
        return depth_m(tank.shape, at_l + self.past_l if self.up else at_l - self.past_l)


def debounce_s(node: Node | None) -> float:
    """A node's debounce time; the default without a node."""
    return DEBOUNCE_MS / MS if node is None or node.debounce_s is None else node.debounce_s


def debounce_ms(node: Node | None) -> int:
    """The same in whole milliseconds, as the node block holds it."""
    return round(debounce_s(node) * MS)


def delay_s(debounced_s: float) -> float:
    """From the water at a mark until the node acts."""
    return debounced_s + SAMPLE_PERIOD_MS / MS


def stopping(tank: Tank, pump: Pump, debounced_s: float) -> Crossing:
    """Past the mark at which the pump stops, at its flow and with all that helps it."""
    _, stop = pump_marks(tank, pump)
    fills = pump.does == "fill"
    helps = tank.uncontrolled_inflow_l_per_min if fills else tank.largest_draw_l_per_min
    limit_m = overflow_m(tank) if fills else 0.0
    return Crossing(
        stop,
        fills,
        delay_s(debounced_s) + pump.run_on_s,
        pump.flow_l_per_min + helps,
        between_l(tank, stop.height_m, limit_m),
    )


def starting(tank: Tank, pump: Pump, debounced_s: float) -> Crossing:
    """Past the mark at which the pump starts, at what flows the other way.

    At the worst the pump has just stopped: what its rest lasts longer than the water between its marks counts.
    """
    start, stop = pump_marks(tank, pump)
    fills = pump.does == "fill"
    flow = tank.largest_draw_l_per_min if fills else tank.uncontrolled_inflow_l_per_min
    limit_m = (tank.reserve_m or 0.0) if fills else overflow_m(tank)
    ahead = start.height_m > limit_m if fills else start.height_m < limit_m
    room_l = between_l(tank, start.height_m, limit_m) if ahead else 0.0
    lasts_s = time_s(between_l(tank, start.height_m, stop.height_m), flow)
    late_s = max(delay_s(debounced_s), shortest_off(pump).seconds - lasts_s)
    return Crossing(start, not fills, late_s, flow, room_l)
