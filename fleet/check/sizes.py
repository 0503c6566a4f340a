"""Sizes of one tank that nobody builds: a slip of a digit or of a unit in its shape, its table or its levels."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from fleet.check.codes.plausible import (
    END_ODD,
    LEVEL_OF_OVERFLOW,
    RESERVE_ODD,
    SIZE_ODD,
    TABLE_NOT_SMOOTH,
)
from fleet.finding import Figure, Finding
from fleet.inventory.parsed import subject_of
from fleet.limits import (
    CONE_DEPTH,
    ELLIPSOID_DEPTH,
    LYING_MOST_M,
    OVERFLOW_LEAST_SHARE,
    RESERVE_LEAST_M,
    RESERVE_SHARE,
    TANK_LEAST_L,
    TANK_LEAST_M,
)
from fleet.model.tank import Box, Duty, Frustum, HorizontalCylinder, Sphere, Strapped, VerticalCylinder
from fleet.water.filling import rising
from fleet.water.geometry import L_PER_M3, top_m, total_l, volume_l
from fleet.water.quantities import METRIC
from fleet.water.strapping import by_the_others, slipped_line

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from fleet.inventory.parsed import Parsed, ParsedPart
    from fleet.model.node import Node
    from fleet.model.tank import Shape, StrapPoint, Tank

    _Size = tuple[str, float, float]
    """The key of a size, the size and the most that it may be, metres."""

_WIDEST_M: Final = {
    Duty.POTABLE: 20.0,
    Duty.IRRIGATION: 60.0,
    Duty.LIVESTOCK: 16.0,
    Duty.FIRE_RESERVE: 40.0,
    Duty.RAIN: 16.0,
    Duty.SUMP: 10.0,
    Duty.PROCESS: 20.0,
}
_HIGHEST_M: Final = {Duty.LIVESTOCK: 10.0, Duty.RAIN: 10.0}
_HIGH_M: Final = 25.0
_LEAN: Final = 2.0
_ROOM: Final = 4.0
"""A cube of the least size has at most so many times the volume of what is built within it: a cone has 3.82."""
_HAIR: Final = 1 + 1e-9


def sizes_fit(_survey: Parsed, tank: ParsedPart[Tank], _node: ParsedPart[Node] | None) -> Iterator[Finding]:
    """Shape, table, overflow and reserve of one tank."""
    yield from _sizes(tank)
    shape = tank.part.shape
    if isinstance(shape, VerticalCylinder) and shape.bottom_depth_m is not None:
        yield from _end(tank, "bottom_depth", shape.bottom, shape.bottom_depth_m, shape.diameter_m)
    elif isinstance(shape, HorizontalCylinder) and shape.ends_depth_m is not None:
        yield from _end(tank, "ends_depth", shape.ends, shape.ends_depth_m, shape.diameter_m)
    elif isinstance(shape, Strapped):
        yield from _table(tank, shape.table)
    yield from _overflow(tank)
    yield from _reserve(tank)


# ------------------------------------------------------------------ size
def _sizes(tank: ParsedPart[Tank]) -> Iterator[Finding]:
    duty, shape = tank.part.duty, tank.part.shape
    sizes = _most(shape, duty)
    for key, size_m, most_m in sizes:
        if size_m * _HAIR >= TANK_LEAST_M and size_m <= most_m * _HAIR:
            continue
        kind = f"a {shape.kind} for {duty.value} water has" if size_m > most_m else "a tank has"
        what = f"`{key}` is {size_m:.3g} m; {kind} {TANK_LEAST_M:g} to {most_m:g} m"
        figures = (Figure(key, size_m, "m"), Figure("most", most_m, "m"))
        yield Finding(SIZE_ODD, what, tank.value("shape", key), subject_of(tank), figures=figures)
        return
    if isinstance(shape, Frustum):
        lean = abs(shape.top_diameter_m - shape.bottom_diameter_m) / 2 / shape.height_m
        if lean > _LEAN:
            what = f"its sides lean {lean:.2g} m out for each metre up; they lean {_LEAN:g} at most"
            place = tank.value("shape", "bottom_diameter")
            yield Finding(SIZE_ODD, what, place, subject_of(tank), figures=(Figure("lean", lean),))
            return
    if sizes and min(size_m for _, size_m, _ in sizes) ** 3 > _ROOM * TANK_LEAST_L / L_PER_M3:
        return  # it holds more, whatever its form
    holds_l = total_l(shape)
    if holds_l < TANK_LEAST_L:
        what = f"the whole tank holds {holds_l:.3g} L, less than {TANK_LEAST_L:g} L"
        figures = (Figure("holds", holds_l, "L"), Figure("least", TANK_LEAST_L, "L"))
        yield Finding(SIZE_ODD, what, tank.key("shape"), subject_of(tank), figures=figures)


def _most(shape: Shape, duty: Duty) -> tuple[_Size, ...]:
    wide, high = _WIDEST_M[duty], _HIGHEST_M.get(duty, _HIGH_M)
    match shape:
        case VerticalCylinder():
            return ("diameter", shape.diameter_m, wide), ("height", shape.height_m, high)
        case HorizontalCylinder():
            return ("diameter", shape.diameter_m, LYING_MOST_M), ("length", shape.length_m, 2 * high)
        case Box():
            return (
                ("length", shape.length_m, wide),
                ("width", shape.width_m, wide),
                ("height", shape.height_m, high),
            )
        case Frustum():
            return (
                ("bottom_diameter", shape.bottom_diameter_m, wide),
                ("top_diameter", shape.top_diameter_m, wide),
                ("height", shape.height_m, high),
            )
        case Sphere():
            return (("diameter", shape.diameter_m, high),)
        case _:
            return ()


# ------------------------------------------------------------------ ends
def _end(tank: ParsedPart[Tank], key: str, form: str, depth_m: float, diameter_m: float) -> Iterator[Finding]:
    least, most = CONE_DEPTH if form in ("cone", "conical") else ELLIPSOID_DEPTH
    share = depth_m / diameter_m
    if least / _HAIR <= share <= most * _HAIR:
        return
    what = (
        f"`{key}` is {depth_m:.3g} m, {share:.2g} x the diameter; {form} ones are {least:g} to {most:g} x as deep, "
        f"{least * diameter_m:.2g} to {most * diameter_m:.3g} m here"
    )
    figures = (Figure("depth", depth_m, "m"), Figure("share of the diameter", share))
    yield Finding(END_ODD, what, tank.value("shape", key), subject_of(tank), figures=figures)


# ------------------------------------------------------------------ strapping table
def _table(tank: ParsedPart[Tank], table: Sequence[StrapPoint]) -> Iterator[Finding]:
    """The line that stands out most, if any does."""
    points = [(point.depth_m, point.volume_l) for point in table]
    line = slipped_line(points)
    if line is None:
        return
    point, wanted_l = table[line], by_the_others(points, line)
    what = (
        f"line {line + 1} of the table, {point.depth_m:.4g} m, has {point.volume_l:,.6g} L; the lines around it "
        f"make it about {METRIC.volume(wanted_l)}"
    )
    figures = (Figure("volume", point.volume_l, "L"), Figure("by the lines around it", wanted_l, "L"))
    place = tank.value("shape", "table", line, "volume")
    yield Finding(TABLE_NOT_SMOOTH, what, place, subject_of(tank), figures=figures)


# ------------------------------------------------------------------ levels
def _overflow(tank: ParsedPart[Tank]) -> Iterator[Finding]:
    part = tank.part
    if part.overflow_m is None or part.overflow_m >= OVERFLOW_LEAST_SHARE * top_m(part.shape):
        return
    what = (
        f"the overflow is at {part.overflow_m:.3g} m, and the tank is {top_m(part.shape):.3g} m high inside"
    )
    figures = (Figure("overflow", part.overflow_m, "m"), Figure("top", top_m(part.shape), "m"))
    yield Finding(LEVEL_OF_OVERFLOW, what, tank.value("overflow"), subject_of(tank), figures=figures)


def _reserve(tank: ParsedPart[Tank]) -> Iterator[Finding]:
    part = tank.part
    highest = rising(part)[-1]
    if not part.reserve_m or RESERVE_LEAST_M <= part.reserve_m < highest.height_m / 2:
        return
    share = volume_l(part.shape, part.reserve_m) / volume_l(part.shape, highest.height_m)
    if part.reserve_m < RESERVE_LEAST_M / _HAIR:
        what = f"the reserve is {1000 * part.reserve_m:.2g} mm above the lowest inside point of the tank"
    elif share > RESERVE_SHARE * _HAIR and part.duty is not Duty.FIRE_RESERVE:
        what = (
            f"the reserve at {part.reserve_m:.3g} m is {share:.0%} of the water below mark `{highest.name}`"
        )
    else:
        return
    figures = (Figure("reserve", part.reserve_m, "m"), Figure("share below the highest mark", share))
    yield Finding(RESERVE_ODD, what, tank.value("reserve"), subject_of(tank), figures=figures)
