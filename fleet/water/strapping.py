"""Slips in measured strapping tables: the one line without which a table could be of a tank.

What a convex body (cylinder, sphere, cone, dished end, all of them on one another as tanks have them) holds between two
heights has a cube root that is concave in these heights (Brunn and Minkowski): a stretch is never narrower than the
stretches on its two sides make it. A figure that is wrong makes one stretch too wide and its neighbour too narrow, and
breaks that; without its line all is well again. Where it is not, the tank really has a step, and nothing is said.
"""

from __future__ import annotations

from itertools import pairwise
from math import prod
from typing import TYPE_CHECKING, Final

from fleet.limits import TABLE_JUMP, TABLE_LACK, TABLE_MENDED, TABLE_OFF, TABLE_STEP

if TYPE_CHECKING:
    from collections.abc import Sequence

    Point = tuple[float, float]
    """Metres and litres."""

_LITRES: Final = (1.0, 3.785411784, 4.54609, 28.316846592)
_METRES: Final = (1.0, 0.0254, 0.3048)
_DECIMALS: Final = range(-3, 5)
_DEPTH_GRAIN_M: Final = 0.0254
_EXACT_M: Final = 0.001
"""Depths that are rounder than an inch were chosen, and are read as well as a stick can be."""
_VOLUME_GRAIN: Final = 0.01
"""Volumes are given to a hundredth of the whole at least."""
_NEAR: Final = 3
"""Lines on each side of the narrowest stretch among which the wrong one is."""
_HAIR: Final = 1e-6


def slipped_line(table: Sequence[Point]) -> int | None:
    """Index of the line that stands out, None if none does; depths and volumes rise. An empty tank holds nothing."""
    points = list(table) if table[0][0] == 0 else [(0.0, 0.0), *table]
    added = len(points) - len(table)
    empty = int(points[0] == (0.0, 0.0))  # no line to doubt
    depth_m = _grain([h for h, _ in points], _METRES)
    if depth_m > _DEPTH_GRAIN_M:
        depth_m = _EXACT_M
    volume_l = min(_grain([v for _, v in points], _LITRES), _VOLUME_GRAIN * points[-1][1])
    grains = depth_m, volume_l
    lack, at = _lack(points, grains)
    if lack <= TABLE_LACK:
        return None
    near = range(max(empty, at - _NEAR), min(len(points), at + _NEAR + 2))
    mend = [i for i in near if TABLE_MENDED * _lack(_without(points, i), grains)[0] < lack]
    furthest, worst = _furthest_off(points)
    curved = furthest > TABLE_OFF and _furthest_off(_without(points, worst))[0] <= furthest / 2
    stand = [i for i in mend if (curved and i == worst) or _stands_out(points, i)]
    out = [(abs(points[i][1] - by_the_others(points, i)), i) for i in stand]
    return max(out)[1] - added if out else None


def by_the_others(points: Sequence[Point], line: int) -> float:
    """Litres at a line by the lines beside it, along a straight line."""
    last = len(points) - 1
    low, high = (1, 2) if line == 0 else (last - 2, last - 1) if line == last else (line - 1, line + 1)
    (low_m, low_l), (high_m, high_l) = points[low], points[high]
    return low_l + (high_l - low_l) * (points[line][0] - low_m) / (high_m - low_m)


def _without(points: Sequence[Point], line: int) -> list[Point]:
    return [*points[:line], *points[line + 1 :]]


def _widths(points: Sequence[Point]) -> list[float]:
    """Of each stretch between two lines, litres a metre."""
    return [(b[1] - a[1]) / (b[0] - a[0]) for a, b in pairwise(points)]


def _lack(points: Sequence[Point], grains: tuple[float, float]) -> tuple[float, int]:
    """The most that a stretch is narrower than those on its two sides let it be, as a share of the width of all three,
    beyond what figures rounded to those grains (metres, litres) may make of it; and which stretch."""
    found = (0.0, 0)
    widths = _widths(points)
    for k in range(1, len(widths) - 1):
        low, high = points[k][0], points[k + 1][0]
        below, above = (points[k - 1][0] + low) / 2, (high + points[k + 2][0]) / 2
        part = (above - (low + high) / 2) / (above - below)
        least = (part * widths[k - 1] ** (1 / 3) + (1 - part) * widths[k + 1] ** (1 / 3)) ** 3
        unsure = [
            (grains[1] + width * grains[0]) / (points[j + 1][0] - points[j][0])
            for j, width in enumerate(widths[k - 1 : k + 2], start=k - 1)
        ]
        around = (points[k + 2][1] - points[k - 1][1]) / (points[k + 2][0] - points[k - 1][0])
        if around > 0:
            short = least - widths[k] - unsure[1] - part * unsure[0] - (1 - part) * unsure[2]
            found = max(found, (short / around, k))
    return found


def _stands_out(points: Sequence[Point], line: int) -> bool:
    """Whether one stretch beside it is wider than those beyond and the other narrower: a step is one of the two. At the
    ends there is one stretch alone."""
    widths = _widths(points)
    if line == 0:
        return widths[0] > TABLE_JUMP * widths[1]
    if line == len(points) - 1:
        return widths[-1] > TABLE_JUMP * widths[-2]
    wide, narrow = max(widths[line - 1 : line + 1]), min(widths[line - 1 : line + 1])
    beyond = [*widths[max(0, line - 2) : line - 1], *widths[line + 1 : line + 2]]
    return wide > max(beyond) * (1 + TABLE_STEP) and narrow < min(beyond) * (1 - TABLE_STEP)


def _furthest_off(points: Sequence[Point]) -> tuple[float, int]:
    """How far a line lies off the curve through two lines on each side, at most: in shares of the stretches beside it,
    and which line."""
    off = (0.0, 0)
    for line in range(2, len(points) - 2):
        around = [points[number] for number in (line - 2, line - 1, line + 1, line + 2)]
        beside_l = (around[2][1] - around[1][1]) / 2
        off = max(off, (abs(points[line][1] - _curve_l(around, points[line][0])) / beside_l, line))
    return off


def _curve_l(points: Sequence[Point], depth_m: float) -> float:
    """Of the polynomial through those points (Lagrange)."""
    return sum(
        volume_l * prod((depth_m - other_m) / (at_m - other_m) for other_m, _ in points if other_m != at_m)
        for at_m, volume_l in points
    )


def _grain(figures: Sequence[float], units: Sequence[float]) -> float:
    """The largest of 1, 2 or 5 times a power of ten, in any of these units, that divides all of the figures: what they
    may have been rounded to. 0 if none does."""
    grains = (unit * first * 10.0**power for unit in units for power in _DECIMALS for first in (1, 2, 5))
    return max((grain for grain in grains if all(_divides(grain, figure) for figure in figures)), default=0.0)


def _divides(grain: float, figure: float) -> bool:
    times = figure / grain
    return abs(times - round(times)) < _HAIR
