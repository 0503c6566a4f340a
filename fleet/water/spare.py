"""Spare time: how long a tank can be left without its controller, at the worst level that its probes allow.

A node that is being updated controls nothing: its pump relay is off. A tank with a filling pump may then
be drawn down to its reserve, one with a draining pump may run over. A tank without pump goes the same way
with and without its node.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf
from typing import TYPE_CHECKING

from fleet.water.filling import between_l, flow_words, overflow_m, rising, time_s

if TYPE_CHECKING:
    from collections.abc import Collection

    from fleet.inventory.model import Mark, Tank


@dataclass(frozen=True, slots=True)
class SpareTime:
    """Seconds, inf when nothing moves the level.

    `worst_s` counts only what the tank's pump would have to prevent.
    """

    until_reserve_s: float
    until_overflow_s: float
    worst_s: float
    why: str


@dataclass(frozen=True, slots=True)
class Bounds:
    """The level is somewhere between these heights.

    `certain` is False when the probes contradict one another.
    """

    lowest_m: float
    highest_m: float
    certain: bool


def bounds(tank: Tank, wet_marks: Collection[str] | None) -> Bounds:
    """Where the level may be.

    Between the highest wet mark and the lowest dry one. None: not known yet.
    """
    ceiling = overflow_m(tank)
    if wet_marks is None:
        return Bounds(0.0, ceiling, False)
    marks = rising(tank)
    wet = [mark for mark in marks if mark.name in wet_marks]
    if tuple(wet) != marks[: len(wet)]:
        return Bounds(0.0, ceiling, False)
    lowest = wet[-1].height_m if wet else 0.0
    highest = marks[len(wet)].height_m if len(wet) < len(marks) else max(ceiling, lowest)
    return Bounds(lowest, highest, True)


def spare_time(tank: Tank, wet_marks: Collection[str] | None) -> SpareTime:
    """Spare time with these marks wet (names); None when the probes have not settled or nobody asked.

    Until the reserve (or empty) at the largest draw, from the lowest level possible; until overflow at
    the largest uncontrolled inflow, from the highest level possible. Inflow is not counted on, and
    neither is draw.
    """
    span = bounds(tank, wet_marks)
    reserve = tank.reserve_m or 0.0
    down_l = between_l(tank, span.lowest_m, reserve) if span.lowest_m > reserve else 0.0
    until_reserve = _until(down_l, tank.largest_draw_l_per_min)
    full = overflow_m(tank)
    up_l = between_l(tank, full, span.highest_m) if full > span.highest_m else 0.0
    until_overflow = _until(up_l, tank.uncontrolled_inflow_l_per_min)
    worst, what = _worst(tank, until_reserve, until_overflow)
    return SpareTime(until_reserve, until_overflow, worst, f"{what}{_from(tank, wet_marks, span)}")


def _until(volume: float, flow_l_per_min: float) -> float:
    return time_s(volume, flow_l_per_min) if flow_l_per_min > 0 else inf


def _worst(tank: Tank, until_reserve_s: float, until_overflow_s: float) -> tuple[float, str]:
    if tank.pump is None:
        return inf, "no pump: the node only watches"
    if tank.pump.does == "fill":
        if until_reserve_s == inf:
            return inf, "nothing draws from it"
        down_to = "the reserve" if tank.reserve_m else "empty"
        return until_reserve_s, f"down to {down_to} at {flow_words(tank.largest_draw_l_per_min)}"
    if until_overflow_s == inf:
        return inf, "nothing flows in"
    return until_overflow_s, f"up to the overflow at {flow_words(tank.uncontrolled_inflow_l_per_min)}"


def _from(tank: Tank, wet_marks: Collection[str] | None, span: Bounds) -> str:
    if tank.pump is None:
        return ""
    if wet_marks is None:
        return ", level not known"
    if not span.certain:
        return ", the marks contradict one another"
    edge = span.lowest_m if tank.pump.does == "fill" else span.highest_m
    return f", from {_edge(rising(tank), edge, tank.pump.does)}"


def _edge(marks: tuple[Mark, ...], height_m: float, does: str) -> str:
    for mark in marks:
        if mark.height_m == height_m:
            return f"mark {mark.name}"
    return "an empty tank" if does == "fill" else "a full tank"
