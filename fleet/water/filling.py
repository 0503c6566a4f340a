"""Filling and draining: volumes between marks, times, and what the firmware's watchdogs are set to.

All at the worst that the inventory allows: a filling pump works against the largest draw and gets no help
from inflow; a draining pump works against the largest uncontrolled inflow and gets no help from draw.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from math import ceil, inf
from typing import TYPE_CHECKING

from fleet.limits import (
    DEBOUNCE_MS,
    FIRST_RISE_LEAST_S,
    LONGEST_RUN_FACTOR,
    NO_RISE_FACTOR,
    NODE_BLOCK_U16,
    PROBE_BAND_M,
    SAMPLE_PERIOD_MS,
    SHORTEST_OFF_S,
)
from fleet.water.geometry import top_m, volume_l
from fleet.water.motors import allowance
from fleet.water.quantities import METRIC, Units, duration
from fleet.water.slosh import wave_m

if TYPE_CHECKING:
    from collections.abc import Iterable

    from fleet.model.tank import Mark, Pump, Tank, TimeOverride

S_PER_MIN = 60.0
MS = 1000.0
FLOW_ROUNDING = 1e-9
"""Two equal figures in other units may differ by this share of them."""


@dataclass(frozen=True, slots=True)
class Timed:
    """A time in whole seconds, and how it came about; `reason` is the reason of one that was set by hand.

    `computed_s` is what it would be as the tool computes it, which `computed_from` says.
    """

    seconds: int
    origin: str
    computed_s: int
    computed_from: str
    reason: str = ""


@dataclass(frozen=True, slots=True)
class PumpTimes:
    """A pump's times.

    `fill_s`: from the mark it starts at to the one it stops at, at the worst; inf if it never gets there.
    `quiet_fill_s`: the same with no draw and no inflow. `keeps_up`: the pump moves more than the worst
    draw (or inflow) takes. If not, the watchdogs are computed from the pump's flow alone. `whole_s` is the
    longest way that a run may have to go, `stretch_s` the longest stretch of it between marks.
    """

    fill_s: float
    quiet_fill_s: float
    keeps_up: bool
    whole_s: float
    stretch_s: float
    longest_run: Timed
    no_rise: Timed
    shortest_off: Timed
    first_rise: Timed | None = None
    """How long a run that begins as the level leaves its mark may last until it is back; None: as `no_rise`."""


def rising(tank: Tank) -> tuple[Mark, ...]:
    """The marks from the lowest up: the order of the node block and of the state document."""
    return upwards(tank.marks)


def upwards(marks: Iterable[Mark]) -> tuple[Mark, ...]:
    """Marks in any order, from the lowest up."""
    return tuple(sorted(marks, key=lambda mark: mark.height_m))


def overflow_m(tank: Tank) -> float:
    """Height at which water leaves the tank: the overflow, else the top."""
    return top_m(tank.shape) if tank.overflow_m is None else tank.overflow_m


def pump_marks(tank: Tank, pump: Pump) -> tuple[Mark, Mark]:
    """The marks at which the pump starts and stops; KeyError if a name is not one of the tank's marks.

    Defaults: fill from the lowest to the highest mark, drain from the highest to the lowest.
    """
    marks = rising(tank)
    low, high = marks[0], marks[-1]
    start, stop = (low, high) if pump.does == "fill" else (high, low)
    by_name = {mark.name: mark for mark in marks}
    return by_name[pump.on_at] if pump.on_at else start, by_name[pump.off_at] if pump.off_at else stop


def between_l(tank: Tank, one_m: float, other_m: float) -> float:
    """Litres between two heights, in either order."""
    return abs(volume_l(tank.shape, one_m) - volume_l(tank.shape, other_m))


def against_l_per_min(tank: Tank, pump: Pump) -> float:
    """What the pump works against at the worst."""
    return tank.largest_draw_l_per_min if pump.does == "fill" else tank.uncontrolled_inflow_l_per_min


def keeps_up(tank: Tank, pump: Pump) -> bool:
    """Whether the pump moves more than the worst that it works against, by more than units round to."""
    return pump.flow_l_per_min > against_l_per_min(tank, pump) * (1 + FLOW_ROUNDING)


def time_s(volume: float, flow_l_per_min: float) -> float:
    """Seconds to move `volume` litres; inf when nothing moves it."""
    if volume <= 0:
        return 0.0
    return S_PER_MIN * volume / flow_l_per_min if flow_l_per_min > 0 else inf


def believe_s(debounced_s: float) -> float:
    """The longest time that a mark is passed before the node believes it: a flapping one takes two debounces, each
    looked at once a sample period (templates/firmware/core/probe.h)."""
    return 2 * (debounced_s + SAMPLE_PERIOD_MS / MS)


def pump_times(
    tank: Tank, units: Units = METRIC, *, debounced_s: float = DEBOUNCE_MS / MS
) -> PumpTimes | None:
    """The pump's times, with their origins in words of those units; None for a tank without pump.

    Longest run: LONGEST_RUN_FACTOR times the whole way that a run may have to go, which begins outside of
    the marks when the node was away: from empty for a filling pump, from the overflow for a draining one.
    No-rise watch: NO_RISE_FACTOR times the longest stretch between neighbouring marks on that way. Both and
    the time that the probe at its end takes to be believed, by a node with that debounce.
    """
    pump = tank.pump
    if pump is None:
        return None
    start, stop = pump_marks(tank, pump)
    against = against_l_per_min(tank, pump)
    keeping_up = keeps_up(tank, pump)
    net = pump.flow_l_per_min - against if keeping_up else 0.0
    flow = net if keeping_up else pump.flow_l_per_min
    way = _way(tank, pump, stop)
    whole_s = time_s(between_l(tank, way[0], way[-1]), flow)
    stretch_s = max(time_s(between_l(tank, a, b), flow) for a, b in pairwise(way))
    late_s = believe_s(debounced_s)
    at = _at(pump, against, keeping_up, units)
    believed = f"{duration(late_s)} until a probe is accepted, and"
    from_where = "empty" if pump.does == "fill" else "the overflow"
    band_l = between_l(tank, start.height_m, stop.height_m)
    no_rise = _timed(
        pump.no_rise,
        NO_RISE_FACTOR * stretch_s + late_s,
        f"{believed} {NO_RISE_FACTOR:g} x the time of the longest stretch between marks {at}",
    )
    return PumpTimes(
        fill_s=time_s(band_l, net),
        quiet_fill_s=time_s(band_l, pump.flow_l_per_min),
        keeps_up=keeping_up,
        whole_s=whole_s,
        stretch_s=stretch_s,
        longest_run=_timed(
            pump.longest_run,
            LONGEST_RUN_FACTOR * whole_s + late_s,
            f"{believed} {LONGEST_RUN_FACTOR:g} x the time from {from_where} to mark {stop.name} {at}",
        ),
        no_rise=no_rise,
        shortest_off=shortest_off(pump, units),
        first_rise=_first_rise(tank, pump, no_rise, late_s, units) if keeping_up else None,
    )


def _first_rise(tank: Tank, pump: Pump, no_rise: Timed, late_s: float, units: Units) -> Timed | None:
    """NO_RISE_FACTOR times what brings the level back to the mark that it has just left, which waves and drops on the
    probe may have held back, with what was lost meanwhile: while the probe was not yet believed, and the pump had to
    rest.

    At least FIRST_RISE_LEAST_S; None where that is no less than the no-rise watch, or more than the
    node block holds.
    """
    at_m = pump_marks(tank, pump)[0].height_m
    against = against_l_per_min(tank, pump)
    waiting_s = late_s + shortest_off(pump).seconds
    band_m = wave_m(tank.shape, at_m) / 2 + PROBE_BAND_M
    beyond_m = max(0.0, at_m - band_m) if pump.does == "fill" else min(top_m(tank.shape), at_m + band_m)
    waves_l = between_l(tank, at_m, beyond_m)
    back_s = time_s(waves_l + against * waiting_s / S_PER_MIN, pump.flow_l_per_min - against)
    computed_s = max(FIRST_RISE_LEAST_S, NO_RISE_FACTOR * back_s + late_s)
    if ceil(computed_s) >= no_rise.seconds or computed_s > NODE_BLOCK_U16:
        return None
    taken = "draw" if pump.does == "fill" else "inflow"
    lost = f" and {duration(waiting_s)} of {taken}" if against else ""
    least = "the least; " if computed_s == FIRST_RISE_LEAST_S else ""
    at = _at(pump, against, True, units)
    told = (
        f"{least}{NO_RISE_FACTOR:g} x the time to make up half a wave{lost} at the mark where it starts, {at}"
    )
    return _timed(None, computed_s, told)


def shortest_off(pump: Pump, units: Units = METRIC) -> Timed:
    """How long the node holds the pump off after a run, and after its own start."""
    return _timed(pump.shortest_off, *_off(pump, units))


def normal_stretch_s(tank: Tank, pump: Pump) -> float:
    """The longest stretch between neighbouring marks on the way from where the pump starts to where it stops."""
    start, stop = pump_marks(tank, pump)
    low, high = sorted((start.height_m, stop.height_m))
    heights = [mark.height_m for mark in rising(tank) if low <= mark.height_m <= high]
    flow = pump.flow_l_per_min
    if keeps_up(tank, pump):
        flow -= against_l_per_min(tank, pump)
    return max(time_s(between_l(tank, a, b), flow) for a, b in pairwise(heights))


def _way(tank: Tank, pump: Pump, stop: Mark) -> list[float]:
    """Heights that the level passes on its longest way to the stopping mark."""
    heights = [mark.height_m for mark in rising(tank)]
    if pump.does == "fill":
        return [0.0, *(h for h in heights if h <= stop.height_m)]
    return [max(overflow_m(tank), heights[-1]), *(h for h in reversed(heights) if h >= stop.height_m)]


def _at(pump: Pump, against: float, keeps_up: bool, units: Units) -> str:
    taken = "draw" if pump.does == "fill" else "inflow"
    flow, most = units.flow(pump.flow_l_per_min), units.flow(against)
    if not keeps_up:
        return f"at {flow}, which the largest {taken} ({most}) takes up"
    if against == 0:
        return f"at {flow}"
    return f"at {flow} less the largest {taken} ({most})"


def _off(pump: Pump, units: Units) -> tuple[float, str]:
    motor = allowance(pump, units)
    if motor is None or motor.off_s <= SHORTEST_OFF_S:
        return SHORTEST_OFF_S, "default"
    return motor.off_s, motor.off_origin


def _timed(given: TimeOverride | None, computed_s: float, origin: str) -> Timed:
    computed = ceil(computed_s)
    if given is None:
        return Timed(computed, origin, computed, origin)
    told = f"inventory: {given.reason}" if given.reason else "inventory"
    return Timed(ceil(given.seconds), told, computed, origin, given.reason)
