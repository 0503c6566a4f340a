"""How much water stands in a tank of a given shape up to a given depth, and back.

Depth is measured from the lowest inside point, as marks are. Closed forms (solid geometry), except for
the dished ends of a lying tank, which have none and are integrated.
"""

from __future__ import annotations

from bisect import bisect_right
from math import acos, acosh, asin, pi, sin, sqrt
from operator import itemgetter

from fleet.model.tank import Box, Ends, Frustum, HorizontalCylinder, Shape, Sphere, Strapped, VerticalCylinder
from fleet.water.dished import ASME_FLANGED_AND_DISHED, below_chord

L_PER_M3 = 1000.0
_BISECTIONS = 100


def top_m(shape: Shape) -> float:
    """Height of the highest inside point above the lowest."""
    match shape:
        case VerticalCylinder():
            return bottom_depth_m(shape) + shape.height_m
        case HorizontalCylinder() | Sphere():
            return shape.diameter_m
        case Strapped():
            return shape.table[-1].depth_m
        case _:
            return shape.height_m


def total_l(shape: Shape) -> float:
    """Volume when full to the top."""
    return volume_l(shape, top_m(shape))


def volume_l(shape: Shape, depth_m: float) -> float:
    """Volume below a depth; depths outside of the tank count as empty or full."""
    depth = min(max(depth_m, 0.0), top_m(shape))
    if isinstance(shape, Strapped):
        return _strapped_l(shape, depth)
    return L_PER_M3 * _volume_m3(shape, depth)


def depth_m(shape: Shape, volume: float) -> float:
    """Depth at which the tank holds `volume` litres.

    The inverse of `volume_l`, held to the tank's ends.
    """
    low, high = 0.0, top_m(shape)
    if volume <= 0.0:
        return low
    if volume >= total_l(shape):
        return high
    for _ in range(_BISECTIONS):
        middle = (low + high) / 2
        if middle in (low, high):
            break
        if volume_l(shape, middle) < volume:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def bottom_depth_m(shape: VerticalCylinder) -> float:
    """Depth of the bottom below the shell: as given for a cone or an ellipsoid, else what the form makes it.

    Without a given depth an ellipsoid is a 2:1 one, and a cone is as steep (D/4; a rule asks for its depth).
    """
    if shape.bottom == "flat":
        return 0.0
    if shape.bottom == "dished":
        return ASME_FLANGED_AND_DISHED.depth * shape.diameter_m
    if shape.bottom == "hemispherical":
        return shape.diameter_m / 2
    if shape.bottom_depth_m is not None:
        return shape.bottom_depth_m
    return shape.diameter_m / 4


def area_m2(shape: Shape, depth: float) -> float:
    """Surface of the water at a depth, from the slope of the volume over a millimetre."""
    low, high = max(0.0, depth - 0.0005), min(top_m(shape), depth + 0.0005)
    return (volume_l(shape, high) - volume_l(shape, low)) / L_PER_M3 / (high - low)


# ------------------------------------------------------------------ cubic metres, depth inside of the tank
def _volume_m3(shape: Shape, depth: float) -> float:
    match shape:
        case VerticalCylinder():
            return _vertical_m3(shape, depth)
        case HorizontalCylinder():
            return _horizontal_m3(shape, depth)
        case Box():
            return shape.length_m * shape.width_m * depth
        case Frustum():
            bottom, top = shape.bottom_diameter_m / 2, shape.top_diameter_m / 2
            here = bottom + (top - bottom) * depth / shape.height_m
            return pi * depth / 3 * (bottom * bottom + bottom * here + here * here)
        case Sphere():
            return pi * depth * depth * (3 * shape.diameter_m / 2 - depth) / 3
    raise TypeError(shape)


def _vertical_m3(shape: VerticalCylinder, depth: float) -> float:
    radius, bottom = shape.diameter_m / 2, bottom_depth_m(shape)
    in_bottom = min(depth, bottom)
    area = pi * radius * radius
    volume = area * (depth - in_bottom)
    if shape.bottom == "dished":
        return volume + shape.diameter_m**3 * ASME_FLANGED_AND_DISHED.upright(in_bottom / shape.diameter_m)
    if bottom > 0 and shape.bottom == "cone":
        volume += area * in_bottom**3 / (3 * bottom * bottom)
    elif bottom > 0:  # half an ellipsoid; a half sphere is one of them
        volume += area * in_bottom * in_bottom * (3 * bottom - in_bottom) / (3 * bottom * bottom)
    return volume


def _horizontal_m3(shape: HorizontalCylinder, depth: float) -> float:
    diameter = shape.diameter_m
    x = depth / diameter
    volume = segment_share(x) * pi * diameter * diameter / 4 * shape.length_m
    if shape.ends is Ends.DISHED:
        return volume + 2 * diameter**3 * ASME_FLANGED_AND_DISHED.lying(x)
    depth = ends_depth_m(shape)
    if shape.ends is Ends.CONICAL:
        return volume + pi * diameter * diameter / 6 * depth * _cone_share(x)
    return volume + pi * diameter * diameter / 3 * depth * (3 * x * x - 2 * x**3)


def ends_depth_m(shape: HorizontalCylinder) -> float:
    """How far each end of a lying cylinder stands out: as given, else what the form makes it (2:1 if open)."""
    if shape.ends is Ends.FLAT:
        return 0.0
    if shape.ends is Ends.DISHED:
        return ASME_FLANGED_AND_DISHED.depth * shape.diameter_m
    if shape.ends is Ends.HEMISPHERICAL:
        return shape.diameter_m / 2
    return shape.diameter_m / 4 if shape.ends_depth_m is None else shape.ends_depth_m


def _cone_share(x: float) -> float:
    """Share of a lying cone's volume below a height of `x` diameters of its base: the segments integrated.

    The closed form takes terms from each other that are all but the same for a film; so that is integrated.
    """
    if x > 0.5:
        return 1 - _cone_share(1 - x)
    if x == 0.5:
        return 0.5
    if x < _FILM:
        return below_chord(x, lambda _, inside: 2 * inside) * 12 / pi
    m = 1 - 2 * x
    return (acos(m) + m**3 * acosh(1 / m) - 2 * m * sqrt(1 - m * m)) / pi


_FILM = 0.02


def segment_share(x: float) -> float:
    """Share of a circle's area below a height of `x` diameters, 0 to 1."""
    if x <= 0.0:
        return 0.0
    if x > 0.5:
        return 1 - segment_share(1 - x)
    angle = 4 * asin(sqrt(x))
    return (angle - sin(angle) if angle > 0.5 else _less_its_sine(angle)) / (2 * pi)


def _less_its_sine(angle: float) -> float:
    """The angle less its sine, where they are nearly the same: the series of the sine from its second term on."""
    term = total = angle**3 / 6
    for n in (4, 6, 8, 10, 12):
        term *= -angle * angle / (n * (n + 1))
        total += term
    return total


def _strapped_l(shape: Strapped, depth: float) -> float:
    """Straight lines between the measured points, from an empty tank at depth 0."""
    points = [(p.depth_m, p.volume_l) for p in shape.table]
    if points[0][0] > 0:
        points.insert(0, (0.0, 0.0))
    at = min(max(1, bisect_right(points, depth, key=itemgetter(0))), len(points) - 1)
    (low, low_l), (high, high_l) = points[at - 1], points[at]
    return low_l + (high_l - low_l) * (depth - low) / (high - low)
