"""Marks: they rise, inside of the tank and below its overflow; the reserve is below the highest of them."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

from fleet.check.codes import (
    ABOVE_OVERFLOW,
    ABOVE_TOP,
    MARK_TWICE,
    MARKS_NOT_RISING,
    RESERVE_TOO_HIGH,
    TOO_LONG_FOR_NODE,
)
from fleet.finding import Finding, Subject, SubjectKind
from fleet.inventory.parsed import subject_of
from fleet.limits import NODE_BLOCK_U16
from fleet.model.tank import height_mm
from fleet.water.geometry import top_m

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleet.inventory.parsed import Parsed, ParsedPart
    from fleet.model.tank import Tank


def marks_fit(survey: Parsed) -> Iterator[Finding]:
    """Marks, overflow and reserve of all tanks."""
    for tank in survey.tanks:
        yield from tank_marks_fit(tank)


def tank_marks_fit(tank: ParsedPart[Tank]) -> Iterator[Finding]:
    """Marks, overflow and reserve of one tank."""
    yield from _order(tank)
    yield from _inside(tank)
    yield from _reserve(tank)


def _order(tank: ParsedPart[Tank]) -> Iterator[Finding]:
    subject, marks = subject_of(tank), tank.part.marks
    for index, (below, above) in enumerate(pairwise(marks)):
        if height_mm(above.height_m) <= height_mm(below.height_m):
            what = (
                f"mark `{above.name}` at {above.height_m:g} m comes after `{below.name}` "
                f"at {below.height_m:g} m"
            )
            yield Finding(MARKS_NOT_RISING, what, tank.value("marks", index + 1, "height"), subject=subject)
    for index, mark in enumerate(marks):
        if mark.name in [other.name for other in marks[:index]]:
            place = tank.value("marks", index, "name")
            yield Finding(MARK_TWICE, f"the mark `{mark.name}` exists already", place, subject=subject)


def _inside(tank: ParsedPart[Tank]) -> Iterator[Finding]:
    subject, part = subject_of(tank), tank.part
    top = top_m(part.shape)
    levels: list[tuple[str, float, tuple[str | int, ...]]] = [
        (f"mark `{m.name}`", m.height_m, ("marks", i, "height")) for i, m in enumerate(part.marks)
    ]
    if part.overflow_m is not None:
        levels.append(("the overflow", part.overflow_m, ("overflow",)))
    for noun, level, path in levels:
        if height_mm(level) > height_mm(top):
            what = f"{noun} is at {level:g} m, but the tank is only {top:g} m high inside"
            yield Finding(ABOVE_TOP, what, tank.value(*path), subject=subject)
        elif part.overflow_m is not None and height_mm(level) > height_mm(part.overflow_m):
            what = f"{noun} is at {level:g} m, above the overflow at {part.overflow_m:g} m"
            yield Finding(ABOVE_OVERFLOW, what, tank.value(*path), subject=subject)
        elif height_mm(level) > NODE_BLOCK_U16:
            what = f"{noun} is higher than {NODE_BLOCK_U16 / 1000:g} m"
            yield Finding(TOO_LONG_FOR_NODE, what, tank.value(*path), subject=subject)


def _reserve(tank: ParsedPart[Tank]) -> Iterator[Finding]:
    part = tank.part
    highest = max(mark.height_m for mark in part.marks)
    if part.reserve_m is not None and part.reserve_m >= highest:
        what = f"the reserve at {part.reserve_m:g} m is not below the highest mark at {highest:g} m"
        yield Finding(
            RESERVE_TOO_HIGH, what, tank.value("reserve"), subject=Subject(SubjectKind.TANK, part.name)
        )
