"""The water of one tank over simulated time. Pure arithmetic; litres are conserved."""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from fleet.bench.pattern import chance, draw_share, inflow_share

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fleet.bench.spec import TankSpec

FIRST_HOUR_S = 6.5 * 3600
"""Simulated time of day at which a bench starts: before the morning's draw."""
_STEP_S = 60.0
_CLEAR_SHARE = 0.005
"""A condition is over when the volume is this share of the capacity away from it: no chatter at the
edge."""


class Happening(StrEnum):
    """What can befall a tank."""

    OVERFLOWED = "overflowed"
    BELOW_RESERVE = "below-reserve"
    RAN_DRY = "ran-dry"


@dataclass(frozen=True, slots=True)
class TankEvent:
    """The start of a happening, at a simulated time of day and level."""

    what: Happening
    tank: str
    at_s: float
    level_m: float


@dataclass(slots=True)
class Totals:
    """Litres since the start. start volume + inflow + pumped_in - drawn - pumped_out - spilled = volume."""

    inflow_l: float = 0.0
    pumped_in_l: float = 0.0
    drawn_l: float = 0.0
    pumped_out_l: float = 0.0
    spilled_l: float = 0.0
    lacked_l: float = 0.0
    """What was to be drawn or pumped out, and was not there."""
    pump_run_s: float = 0.0
    overflow_s: float = 0.0
    below_reserve_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Vessel:
    """Level (m) against volume (l), by straight lines between the points of a rising table."""

    heights_m: tuple[float, ...]
    volumes_l: tuple[float, ...]

    def level_m(self, volume_l: float) -> float:
        """Level at a volume; held to the ends of the table."""
        return _between(self.volumes_l, self.heights_m, volume_l)

    def volume_l(self, level_m: float) -> float:
        """Volume at a level; held to the ends of the table."""
        return _between(self.heights_m, self.volumes_l, level_m)


class TankWorld:
    """One tank's water. `speed` is simulated seconds per real second; time is seconds after a first
    midnight."""

    def __init__(self, spec: TankSpec, speed: float) -> None:
        self.spec = spec
        self.vessel = Vessel(spec.heights_m, spec.volumes_l)
        self.capacity_l = self.vessel.volume_l(spec.overflow_m)
        self.totals = Totals()
        self.at_s = FIRST_HOUR_S
        self.fixed_draw_l_per_min: float | None = None
        self._speed = speed
        self._marks_l = tuple(self.vessel.volume_l(probe.height_m) for probe in spec.probes)
        self._reserve_l = None if spec.reserve_m is None else self.vessel.volume_l(spec.reserve_m)
        self._floor_l = self.vessel.volumes_l[0]
        self.volume_l = self._first_volume_l()
        self._going_on: set[Happening] = set()
        self._spilling = self._lacking = False

    # ------------------------------------------------------------------ what is
    @property
    def level_m(self) -> float:
        """Level above the lowest inside point."""
        return self.vessel.level_m(self.volume_l)

    @property
    def share(self) -> float:
        """Volume over the capacity up to the overflow."""
        return self.volume_l / self.capacity_l

    def wet(self) -> tuple[bool, ...]:
        """Per mark, from the lowest up: whether the water reaches it."""
        return tuple(self.volume_l >= mark_l for mark_l in self._marks_l)

    def draw_l_per_min(self) -> float:
        """What is being drawn now."""
        if self.fixed_draw_l_per_min is not None:
            return self.fixed_draw_l_per_min
        return self.spec.largest_draw_l_per_min * draw_share(self.spec.duty, self.spec.name, self.at_s)

    def inflow_l_per_min(self) -> float:
        """What comes in now without a pump."""
        return self.spec.largest_inflow_l_per_min * inflow_share(self.spec.duty, self.spec.name, self.at_s)

    # ------------------------------------------------------------------ what changes it
    def set_share(self, share: float) -> None:
        """Put the water at a share (0 to 1) of the capacity, as if by hand; the totals say where it came
        from."""
        wanted_l = max(self._floor_l, min(1.0, share) * self.capacity_l)
        change_l = wanted_l - self.volume_l
        if change_l >= 0:
            self.totals.inflow_l += change_l
        else:
            self.totals.drawn_l -= change_l
        self.volume_l = wanted_l

    def advance(self, real_s: float, *, pump_on: bool) -> list[TankEvent]:
        """Let `real_s` seconds of real time pass; what began to happen."""
        events: list[TankEvent] = []
        left_s = real_s * self._speed
        while left_s > 0:
            step_s = min(_STEP_S, left_s)
            left_s -= step_s
            self._step(step_s, pump_on)
            self.at_s += step_s
            events += self._began()
        return events

    # ------------------------------------------------------------------ inside
    def _first_volume_l(self) -> float:
        """Somewhere between the marks, the same each time for the same tank."""
        low_l, high_l = (
            (self._marks_l[0], self._marks_l[-1]) if len(self._marks_l) > 1 else (0.0, self._marks_l[0])
        )
        pump = self.spec.pump
        lowest, highest = (0.1, 0.6) if pump is not None and pump.does == "drain" else (0.35, 0.9)
        if self.spec.duty == "fire-reserve":
            lowest = highest = 0.97
        share = lowest + (highest - lowest) * chance(f"level:{self.spec.name}")
        return max(self._floor_l, min(self.capacity_l, low_l + share * (high_l - low_l)))

    def _step(self, step_s: float, pump_on: bool) -> None:
        minutes = step_s / 60
        totals = self.totals
        inflow_l = self.inflow_l_per_min() * minutes
        draw_l = self.draw_l_per_min() * minutes
        pump_l = self.spec.pump.flow_l_per_min * minutes if pump_on and self.spec.pump else 0.0
        filling = self.spec.pump is not None and self.spec.pump.does == "fill"
        there_l = self.volume_l + inflow_l + (pump_l if filling else 0.0) - self._floor_l
        drawn_l = min(draw_l, there_l)
        out_l = 0.0 if filling else min(pump_l, there_l - drawn_l)
        after_l = self._floor_l + there_l - drawn_l - out_l
        spilled_l = max(0.0, after_l - self.capacity_l)
        self.volume_l = after_l - spilled_l
        totals.inflow_l += inflow_l
        totals.pumped_in_l += pump_l if filling else 0.0
        totals.drawn_l += drawn_l
        totals.pumped_out_l += out_l
        totals.spilled_l += spilled_l
        totals.lacked_l += draw_l - drawn_l + (0.0 if filling else pump_l - out_l)
        totals.pump_run_s += step_s if pump_l > 0 else 0.0
        totals.overflow_s += step_s if spilled_l > 0 else 0.0
        if self._reserve_l is not None and self.volume_l < self._reserve_l:
            totals.below_reserve_s += step_s
        self._spilling, self._lacking = spilled_l > 0, draw_l - drawn_l > 1e-9

    def _began(self) -> list[TankEvent]:
        away_l = _CLEAR_SHARE * self.capacity_l
        reserve_l = self._reserve_l
        state = (
            (Happening.OVERFLOWED, self._spilling, self.volume_l < self.capacity_l - away_l),
            (
                Happening.BELOW_RESERVE,
                reserve_l is not None and self.volume_l < reserve_l,
                reserve_l is not None and self.volume_l > reserve_l + away_l,
            ),
            (Happening.RAN_DRY, self._lacking, self.volume_l > self._floor_l + away_l),
        )
        began = []
        for what, now, over in state:
            if now and what not in self._going_on:
                self._going_on.add(what)
                began.append(TankEvent(what, self.spec.name, self.at_s, self.level_m))
            elif over:
                self._going_on.discard(what)
        return began


def _between(xs: Sequence[float], ys: Sequence[float], x: float) -> float:
    if x <= xs[0]:
        return ys[0]
    if x >= xs[-1]:
        return ys[-1]
    i = bisect_right(xs, x)
    return ys[i - 1] + (ys[i] - ys[i - 1]) * (x - xs[i - 1]) / (xs[i] - xs[i - 1])
