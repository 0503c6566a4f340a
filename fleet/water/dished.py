"""A dished head: part of a sphere (the dish) that a part of a torus (the knuckle) joins to the shell.

All lengths are in diameters of the shell and all volumes in their cubes, so that a tank of diameter D multiplies
by D and by D cubed. Nothing is subtracted that is nearly the same, so that a film of water has as many sound
digits as a full tank.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from math import asin, atan2, cos, pi, sin, sqrt
from typing import TYPE_CHECKING

from fleet.water.quadrature import integral

if TYPE_CHECKING:
    from collections.abc import Callable

_RADIUS = 0.5


@dataclass(frozen=True)
class DishedHead:
    """`dish` and `knuckle` are the inside radii of the two parts."""

    dish: float
    knuckle: float

    @cached_property
    def _ring(self) -> float:
        """Radius of the circle on which the knuckle's centre goes round; the circle lies in the head's rim."""
        return _RADIUS - self.knuckle

    @cached_property
    def _centre(self) -> float:
        """How far the centre of the sphere is from the plane of the rim, on the other side of the dish."""
        between = self.dish - self.knuckle
        return sqrt(between * between - self._ring * self._ring)

    @cached_property
    def _joint(self) -> float:
        """Radius at which dish and knuckle meet: on the line through their centres, where both have one tangent."""
        return self._ring * self.dish / (self.dish - self.knuckle)

    @cached_property
    def _joint_rise(self) -> float:
        """Height of that joint below the rim."""
        return self._centre * self.knuckle / (self.dish - self.knuckle)

    @cached_property
    def depth(self) -> float:
        """From the rim to the deepest point."""
        return self.dish - self._centre

    @cached_property
    def volume(self) -> float:
        """Of the whole head."""
        return self.upright(self.depth)

    def upright(self, depth: float) -> float:
        """Volume below a depth of the head of an upright tank, from 0 to its own depth: sphere, then torus."""
        in_dish = min(depth, self.depth - self._joint_rise)
        volume = pi * in_dish * in_dish * (self.dish - in_dish / 3)
        if depth > in_dish:
            volume += self._torus(self._joint_rise) - self._torus(self.depth - depth)
        return volume

    def _torus(self, rise: float) -> float:
        """Volume inside of the knuckle between the rim and a plane `rise` below it.

        Its radius there is ring + sqrt(knuckle2 - rise2); the disc's area is integrated over the rise.
        """
        ring, knuckle = self._ring, self.knuckle
        arc = rise * sqrt(knuckle * knuckle - rise * rise) + knuckle * knuckle * asin(rise / knuckle)
        return pi * ((ring * ring + knuckle * knuckle) * rise - rise**3 / 3 + ring * arc)

    def lying(self, level: float) -> float:
        """Volume of the head of a lying tank below a level from 0 to 1; above the middle by symmetry."""
        if level > 0.5:
            return self.volume - self.lying(1 - level)
        if level == 0.5:
            return self.volume / 2
        return below_chord(level, self._stands_out, self._joint)

    def _stands_out(self, radius: float, inside: float) -> float:
        """How far the head stands out from its rim at a radius, which is `inside` less than that of the shell."""
        if radius > self._joint:
            return sqrt(inside * (2 * self.knuckle - inside))
        return sqrt((self.dish - _RADIUS + inside) * (self.dish + radius)) - self._centre


ASME_FLANGED_AND_DISHED = DishedHead(dish=1.0, knuckle=0.06)
"""The usual proportions: dish radius 1 D, knuckle radius 0.06 D."""


def below_chord(level: float, stands_out: Callable[[float, float], float], joint: float = 0.0) -> float:
    """Volume below a level, from 0 to 0.5, of a round end with a level axis, that of a diameter of 1.

    The ring of radius r is under water over an angle of 2 acos(m / r), where m = 0.5 - level is the distance of the
    surface from the axis, and stands out by `stands_out(r, 0.5 - r)`; rings from m to 0.5 are added. In t, with
    r = m + level sin2 t, no root is left at either end of the integral, and it is split at a `joint` of two curves.
    """
    if level <= 0.0:
        return 0.0
    off = _RADIUS - level
    ends = [0.0, asin(sqrt(min(1.0, (joint - off) / level))), pi / 2] if joint > off else [0.0, pi / 2]

    def ring(t: float) -> float:
        above, inside = level * sin(t) ** 2, level * cos(t) ** 2
        radius = off + above
        angle = atan2(sqrt(above * (radius + off)), off)
        return radius * angle * stands_out(radius, inside) * sin(t) * cos(t)

    return 4 * level * sum(integral(ring, a, b) for a, b in pairwise(ends))
