"""How long the water of a tank takes to swing to and fro once: the first mode, by linear theory (from memory; in any
text on liquid sloshing).

Along a box of length L: f = sqrt(pi g / L tanh(pi h / L)) / 2 pi. Across an upright cylinder of radius R:
f = sqrt(1.841 g / R tanh(1.841 h / R)) / 2 pi. Other shapes count as one of the two, with the size of their surface.
"""

from __future__ import annotations

from math import pi, sqrt, tanh
from typing import TYPE_CHECKING, Final

from fleet.model.tank import Box, HorizontalCylinder
from fleet.water.profile import width_m

if TYPE_CHECKING:
    from fleet.model.tank import Shape

G_M_PER_S2: Final = 9.80665
FIRST_ROOT: Final = 1.8412
"""Where the slope of the Bessel function J1 is nought for the first time."""
PERIODS_WANTED: Final = 2.0
WAVE_SHARE: Final = 0.02
"""From trough to crest of a wave, by the width of the surface: own allowance for a tank that is being
filled or drunk from, not for one on wheels."""
WAVE_MOST_M: Final = 0.15
"""Across a pond or a very wide tank waves are no higher, for they come from the inlet and the wind (own allowance)."""


def rectangular_period_s(length_m: float, depth_m: float) -> float:
    """Period of the first mode along a box; inf without water."""
    return _period_s(pi / length_m, depth_m)


def round_period_s(radius_m: float, depth_m: float) -> float:
    """Period of the first mode across an upright cylinder; inf without water."""
    return _period_s(FIRST_ROOT / radius_m, depth_m)


def _period_s(per_m: float, depth_m: float) -> float:
    swing = G_M_PER_S2 * per_m * tanh(per_m * depth_m)
    return 2 * pi / sqrt(swing) if swing > 0 else float("inf")


def surface_m(shape: Shape, depth_m: float) -> float:
    """The longest way across the surface of the water at a depth."""
    if isinstance(shape, Box):
        return max(shape.length_m, shape.width_m)
    if isinstance(shape, HorizontalCylinder):
        return max(shape.length_m, width_m(shape, depth_m))
    return width_m(shape, depth_m)


def period_s(shape: Shape, depth_m: float) -> float:
    """Period of the slowest swing with the water at a depth."""
    across = surface_m(shape, depth_m)
    if across <= 0:
        return 0.0
    if isinstance(shape, (Box, HorizontalCylinder)):
        return rectangular_period_s(across, depth_m)
    return round_period_s(across / 2, depth_m)


def wave_m(shape: Shape, depth_m: float) -> float:
    """From the trough to the crest of the wave that is allowed for."""
    return min(WAVE_SHARE * surface_m(shape, depth_m), WAVE_MOST_M)
