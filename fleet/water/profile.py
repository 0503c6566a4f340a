"""A tank seen from the side: how wide it is at each depth, for drawings."""

from __future__ import annotations

from math import pi, sqrt
from typing import TYPE_CHECKING, Final

from fleet.model.tank import Box, Frustum, HorizontalCylinder, Sphere, Strapped, VerticalCylinder
from fleet.water.geometry import area_m2, bottom_depth_m, top_m

if TYPE_CHECKING:
    from fleet.model.tank import Shape

_STEPS: Final = 14
"""Depths at which a strapped tank is looked at for its widest place."""


def width_m(shape: Shape, depth: float) -> float:
    """Width at a depth: of a lying cylinder seen from its end, of a box its length, of a tank known by its
    strapping table that of a round one with the same surface."""
    match shape:
        case VerticalCylinder():
            bottom = bottom_depth_m(shape)
            if depth >= bottom:
                return shape.diameter_m
            share = depth / bottom if shape.bottom == "cone" else sqrt(1 - (1 - depth / bottom) ** 2)
            return shape.diameter_m * share
        case HorizontalCylinder() | Sphere():
            return 2 * sqrt(max(0.0, depth * (shape.diameter_m - depth)))
        case Frustum():
            low, high = shape.bottom_diameter_m, shape.top_diameter_m
            return low + (high - low) * depth / shape.height_m
        case Strapped():
            return 2 * sqrt(area_m2(shape, depth) / pi)
        case Box():
            return shape.length_m
    raise TypeError(shape)


def widest_m(shape: Shape) -> float:
    """The largest width."""
    match shape:
        case VerticalCylinder() | HorizontalCylinder() | Sphere():
            return shape.diameter_m
        case Frustum():
            return max(shape.bottom_diameter_m, shape.top_diameter_m)
        case Strapped():
            step = top_m(shape) / _STEPS
            return max(width_m(shape, step * (row + 0.5)) for row in range(_STEPS))
        case Box():
            return shape.length_m
    raise TypeError(shape)
