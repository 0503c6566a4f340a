"""Shapes: a bottom has a depth where its form leaves it open; a strapping table rises."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

from fleet.check.codes import BOTTOM_DEPTH, TABLE_NOT_RISING
from fleet.finding import Finding
from fleet.inventory.parsed import subject_of
from fleet.model.tank import HorizontalCylinder, Strapped, VerticalCylinder

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleet.inventory.parsed import Parsed, ParsedPart
    from fleet.model.tank import Tank

_DEPTH_NEEDED = ("cone", "conical")
_DEPTH_ALLOWED = ("cone", "conical", "ellipsoidal")


def shapes_fit(survey: Parsed) -> Iterator[Finding]:
    """Shapes of all tanks."""
    for tank in survey.tanks:
        yield from shape_fits(tank)


def shape_fits(tank: ParsedPart[Tank]) -> Iterator[Finding]:
    """The shape of one tank."""
    shape = tank.part.shape
    if isinstance(shape, VerticalCylinder):
        yield from _depth(tank, "bottom", f"a {shape.bottom} bottom", shape.bottom, shape.bottom_depth_m)
    if isinstance(shape, HorizontalCylinder):
        yield from _depth(tank, "ends", f"a tank with {shape.ends} ends", shape.ends, shape.ends_depth_m)
    if isinstance(shape, Strapped):
        yield from _rising(tank, shape)


def _depth(
    tank: ParsedPart[Tank], key: str, noun: str, form: str, depth_m: float | None
) -> Iterator[Finding]:
    subject = subject_of(tank)
    if form in _DEPTH_NEEDED and depth_m is None:
        what = f"{noun} needs `{key}_depth`"
        yield Finding(BOTTOM_DEPTH, what, tank.value("shape", key), subject=subject)
    elif form not in _DEPTH_ALLOWED and depth_m is not None:
        what = f"{noun} has no depth of its own"
        yield Finding(BOTTOM_DEPTH, what, tank.value("shape", f"{key}_depth"), subject=subject)


def _rising(tank: ParsedPart[Tank], shape: Strapped) -> Iterator[Finding]:
    for index, (below, above) in enumerate(pairwise(shape.table)):
        for key, low, high in (
            ("depth", below.depth_m, above.depth_m),
            ("volume", below.volume_l, above.volume_l),
        ):
            if high <= low:
                what = f"the {key} does not rise from the line above it"
                place = tank.value("shape", "table", index + 1, key)
                yield Finding(TABLE_NOT_RISING, what, place, subject=subject_of(tank))
