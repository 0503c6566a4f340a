"""Spare time: how long a tank can be left without its controller, at the worst level that its probes allow.

The one place that decides it: `show`, `check`, plans and pushes all come here.

A node that is being updated controls nothing: its pump relay is off. A tank with a filling pump may then
be drawn down to its reserve, one with a draining pump may run over. A tank without pump goes the same way
with and without its node.

Not all of that is there for the outage. A mark may be passed before the node says so, for a probe is believed only
after a while. And a node that is back holds the pump off until it has rested since the node's own start, its probes are
believed once more, and the pump has run up. Those are taken off (`taking_over_s`), so that a margin of 1 is true:
tests/water/random_outages.py.

Two duties ask for more. A fire reserve is left alone only while its marks show that it is all there: at or above the
reserve, or the mark at which its pump starts. A tank of drinking water that a pump serves only while its level is
known, even if nothing is said to be drawn from it. Else their spare time is nought.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf
from typing import TYPE_CHECKING

from fleet.limits import DEBOUNCE_MS, POWER_UP_HOLD_S, PUMP_RUN_UP_S, SAMPLE_PERIOD_MS
from fleet.model.tank import Duty
from fleet.water.filling import (
    MS,
    believe_s,
    between_l,
    overflow_m,
    pump_marks,
    rising,
    shortest_off,
    time_s,
    upwards,
)
from fleet.water.quantities import METRIC, Units, duration

if TYPE_CHECKING:
    from collections.abc import Collection

    from fleet.model.tank import Mark, Pump, Tank


@dataclass(frozen=True, slots=True)
class SpareTime:
    """Seconds, inf when nothing moves the level.

    `worst_s` counts only what the tank's pump would have to prevent.
    """

    until_reserve_s: float
    until_overflow_s: float
    worst_s: float
    limit: str
    """What it lasts for, in words, whatever the level."""
    start: str = ""
    """From where it is counted, in words."""
    less: str = ""
    """What is taken off, in words."""
    held: str = ""
    """The condition of the tank's duty that is not met, for which it is not left alone at all."""

    @property
    def why(self) -> str:
        """All of it in words."""
        return f"{self.limit}{self.start}{self.less}"

    @property
    def why_at_any_level(self) -> str:
        """The same without the level that it is counted from."""
        return f"{self.limit}{self.less}"


@dataclass(frozen=True, slots=True)
class Bounds:
    """The level is somewhere between these heights.

    `certain` is False when the probes contradict one another.
    """

    lowest_m: float
    highest_m: float
    certain: bool


def bounds(tank: Tank, wet_marks: Collection[str] | None, watched: Collection[Mark] | None = None) -> Bounds:
    """Where the level may be.

    Between the highest wet mark and the lowest dry one. None: not known yet. `watched`: the marks that the
    node has probes at, where they are not those of the inventory.
    """
    ceiling = overflow_m(tank)
    if wet_marks is None:
        return Bounds(0.0, ceiling, False)
    marks = _watched(tank, watched)
    wet = [mark for mark in marks if mark.name in wet_marks]
    if tuple(wet) != marks[: len(wet)]:
        return Bounds(0.0, ceiling, False)
    lowest = wet[-1].height_m if wet else 0.0
    highest = marks[len(wet)].height_m if len(wet) < len(marks) else max(ceiling, lowest)
    return Bounds(lowest, highest, True)


def spare_time(
    tank: Tank,
    wet_marks: Collection[str] | None,
    units: Units = METRIC,
    *,
    watched: Collection[Mark] | None = None,
    debounced_s: float = DEBOUNCE_MS / MS,
) -> SpareTime:
    """Spare time with these marks wet (names); None when the probes have not settled or nobody asked.

    `watched`: the marks that the node has probes at, where they are not those of the inventory.

    Until the reserve (or empty) at the largest draw, from the lowest level possible; until overflow at
    the largest uncontrolled inflow, from the highest level possible. Inflow is not counted on, and
    neither is draw. `worst_s` is less what the node with that debounce takes to see the level and to take over
    again. Its words are in those units.
    """
    span = bounds(tank, wet_marks, watched)
    reserve = tank.reserve_m or 0.0
    down_l = between_l(tank, span.lowest_m, reserve) if span.lowest_m > reserve else 0.0
    until_reserve = _until(down_l, tank.largest_draw_l_per_min)
    full = overflow_m(tank)
    up_l = between_l(tank, full, span.highest_m) if full > span.highest_m else 0.0
    until_overflow = _until(up_l, tank.uncontrolled_inflow_l_per_min)
    held = _held(tank, span, units)
    if held:
        return SpareTime(until_reserve, until_overflow, 0.0, held, held=held)
    worst, limit = _worst(tank, until_reserve, until_overflow, units)
    if tank.pump is None:
        return SpareTime(until_reserve, until_overflow, worst, limit)
    start, less = _from(_watched(tank, watched), tank.pump, wet_marks, span), ""
    if 0 < worst < inf:
        late_s = believe_s(debounced_s) + taking_over_s(tank.pump, debounced_s)
        worst = max(0.0, worst - late_s)
        less = f"; less {duration(late_s)} until its probes are accepted and its pump has rested and run up"
    return SpareTime(until_reserve, until_overflow, worst, limit, start, less)


def taking_over_s(pump: Pump, debounced_s: float) -> float:
    """From the start of a node with that debounce until its pump moves water again, at the most.

    The pump rests (templates/firmware/core/pump.cpp counts from the node's start), the node holds all pumps off after
    power-up, its probes settle, in whole samples; the mark at which the pump starts may have been passed just before
    that ended, and is not believed yet; the pump runs up.
    """
    held_s = max(shortest_off(pump).seconds, POWER_UP_HOLD_S, debounced_s)
    return held_s + SAMPLE_PERIOD_MS / MS + believe_s(debounced_s) + PUMP_RUN_UP_S


def needed_s(worst_outage_s: float, margin: float) -> float:
    """The spare time that an update takes: the worst outage times the policy's margin."""
    return worst_outage_s * margin


def suffices(spare_s: float | None, wanted_s: float) -> bool:
    """Whether a node may be updated with that much spare time; None and inf are without end."""
    return spare_s is None or spare_s >= wanted_s


def _held(tank: Tank, span: Bounds, units: Units) -> str:
    if tank.duty is Duty.FIRE_RESERVE:
        kept = fire_floor_m(tank)
        if not span.certain or span.lowest_m < kept:
            return f"the fire reserve is not certain: the water may be below {units.length(kept)}"
    if tank.duty is Duty.POTABLE and tank.pump is not None and not span.certain:
        return "drinking water, and its level is not known or the marks contradict one another"
    return ""


def fire_floor_m(tank: Tank) -> float:
    """The level that a fire reserve holds: its reserve, or where its pump starts, or its lowest mark."""
    if tank.reserve_m is not None:
        return tank.reserve_m
    if tank.pump is not None and tank.pump.does == "fill":
        return pump_marks(tank, tank.pump)[0].height_m
    return rising(tank)[0].height_m


def _until(volume: float, flow_l_per_min: float) -> float:
    return time_s(volume, flow_l_per_min) if flow_l_per_min > 0 else inf


def _worst(tank: Tank, until_reserve_s: float, until_overflow_s: float, units: Units) -> tuple[float, str]:
    if tank.pump is None:
        return inf, "no pump: the node only watches"
    if tank.pump.does == "fill":
        if until_reserve_s == inf:
            return inf, "nothing draws from it"
        down_to = "the reserve" if tank.reserve_m else "empty"
        return until_reserve_s, f"down to {down_to} at {units.flow(tank.largest_draw_l_per_min)}"
    if until_overflow_s == inf:
        return inf, "nothing flows in"
    return until_overflow_s, f"up to the overflow at {units.flow(tank.uncontrolled_inflow_l_per_min)}"


def _watched(tank: Tank, watched: Collection[Mark] | None) -> tuple[Mark, ...]:
    return rising(tank) if watched is None else upwards(watched)


def _from(marks: tuple[Mark, ...], pump: Pump, wet_marks: Collection[str] | None, span: Bounds) -> str:
    if wet_marks is None:
        return ", level not known"
    if not span.certain:
        return ", the marks contradict one another"
    edge = span.lowest_m if pump.does == "fill" else span.highest_m
    return f", from {_edge(marks, edge, pump.does)}"


def _edge(marks: tuple[Mark, ...], height_m: float, does: str) -> str:
    for mark in marks:
        if mark.height_m == height_m:
            return f"mark {mark.name}"
    return "an empty tank" if does == "fill" else "a full tank"
