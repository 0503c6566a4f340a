"""Depth against volume at a chosen step, and back: what hangs beside a tank that is read with a stick."""

from __future__ import annotations

from dataclasses import dataclass
from math import floor
from typing import TYPE_CHECKING

from fleet.limits import DEPTH_ROWS
from fleet.water.filling import overflow_m
from fleet.water.geometry import depth_m, top_m, total_l, volume_l

if TYPE_CHECKING:
    from fleet.model.tank import Tank

_HAIR = 1e-9


@dataclass(frozen=True, slots=True)
class Depth:
    """Water at a depth."""

    depth_m: float
    volume_l: float
    ullage_l: float
    """What goes in still, up to the overflow."""
    share: float
    """Of the volume up to the overflow."""
    at: str = ""
    """Names of the marks that are there, `reserve`, `overflow` or `top`."""


def at_depth(tank: Tank, depth: float, at: str = "") -> Depth:
    """The water at a depth, held to the tank's ends."""
    full_l, held_l = volume_l(tank.shape, overflow_m(tank)), volume_l(tank.shape, depth)
    inside = min(max(depth, 0.0), top_m(tank.shape))
    return Depth(inside, held_l, max(0.0, full_l - held_l), held_l / full_l, at)


def rows(tank: Tank, step_m: float) -> int:
    """Rows of the table at a step, without those for marks."""
    return floor(top_m(tank.shape) / step_m + _HAIR) + 1


def depths(tank: Tank, step_m: float) -> tuple[Depth, ...]:
    """From empty to the top at every step, and at each mark, the reserve, the overflow and the top, rising.

    ValueError for a step that makes more than DEPTH_ROWS rows.
    """
    count = rows(tank, step_m)
    if count > DEPTH_ROWS:
        raise ValueError(f"{count} rows")
    named = _named(tank)
    heights = sorted({*(round(row * step_m, 6) for row in range(count)), *named})
    return tuple(at_depth(tank, height, ", ".join(named.get(height, ()))) for height in heights)


def holding(tank: Tank, volume: float) -> Depth:
    """The depth at which the tank holds `volume` litres; ValueError if it never does."""
    if not 0 <= volume <= total_l(tank.shape) * (1 + _HAIR):
        raise ValueError(f"{volume} of {total_l(tank.shape)} L")
    return at_depth(tank, depth_m(tank.shape, volume))


def _named(tank: Tank) -> dict[float, list[str]]:
    named: dict[float, list[str]] = {}
    places = [(mark.height_m, mark.name) for mark in tank.marks]
    if tank.reserve_m is not None:
        places.append((tank.reserve_m, "reserve"))
    if tank.overflow_m is not None:
        places.append((tank.overflow_m, "overflow"))
    for height, name in [*places, (top_m(tank.shape), "top")]:
        named.setdefault(round(height, 6), []).append(name)
    return named
