"""Shapes: a bottom has a depth where its form leaves it open; a strapping table rises."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

from fleet.finding import Finding
from fleet.inventory.codes import BOTTOM_DEPTH, TABLE_NOT_RISING
from fleet.inventory.model import Strapped, VerticalCylinder

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleet.inventory.survey import Survey

_DEPTH_NEEDED = ("cone",)
_DEPTH_ALLOWED = ("cone", "ellipsoidal")


def shapes_fit(survey: Survey) -> Iterator[Finding]:
    """Shapes of all tanks."""
    for tank in survey.tanks:
        subject, shape = f"tank {tank.part.name}", tank.part.shape
        if isinstance(shape, VerticalCylinder):
            if shape.bottom in _DEPTH_NEEDED and shape.bottom_depth_m is None:
                what = f"a {shape.bottom} bottom needs `bottom_depth`"
                yield Finding(BOTTOM_DEPTH, what, tank.value("shape", "bottom"), subject=subject)
            elif shape.bottom not in _DEPTH_ALLOWED and shape.bottom_depth_m is not None:
                what = f"a {shape.bottom} bottom has no depth of its own"
                yield Finding(BOTTOM_DEPTH, what, tank.value("shape", "bottom_depth"), subject=subject)
        if isinstance(shape, Strapped):
            for index, (below, above) in enumerate(pairwise(shape.table)):
                for key, low, high in (
                    ("depth", below.depth_m, above.depth_m),
                    ("volume", below.volume_l, above.volume_l),
                ):
                    if high <= low:
                        what = f"the {key} does not rise from the line above it"
                        place = tank.value("shape", "table", index + 1, key)
                        yield Finding(TABLE_NOT_RISING, what, place, subject=subject)
