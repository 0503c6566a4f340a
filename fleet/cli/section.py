"""A tank's section drawn in plain characters, with marks, overflow and reserve at their heights."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fleet.water.geometry import top_m
from fleet.water.profile import widest_m, width_m

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fleet.model.tank import Shape

ROWS = 14
COLUMNS = 30
_LABEL = 10
DRAWN_COLUMNS = _LABEL + 2 + COLUMNS + 1
"""Before the words beside the drawing."""


@dataclass(frozen=True, slots=True)
class Line:
    """A height to draw: `fill` is what it is drawn with, `spout` that water leaves there."""

    height_m: float
    label: str
    words: str
    fill: str = "- "
    spout: bool = False


def draw(shape: Shape, lines: Sequence[Line]) -> list[str]:
    """The drawing, at most 80 columns wide for words of up to 34 characters."""
    rows = _rows(shape, lines)
    drawn = [_edge(shape, 1.0)]
    for row in range(ROWS):
        line = rows.get(row)
        left, right = _walls(shape, row)
        inside = (line.fill * COLUMNS if line else " " * COLUMNS)[: right - left - 1]
        before = _wall(shape, row, left, mirrored=False)
        after = ">" if line and line.spout else _wall(shape, row, right, mirrored=True)
        body = f"{' ' * left}{before}{inside}{after}{' ' * (COLUMNS - right)}"
        label = line.label if line else ""
        drawn.append(f"{label:>{_LABEL}}  {body} {line.words if line else ''}".rstrip())
    return [*drawn, _edge(shape, 0.0)]


def _rows(shape: Shape, lines: Sequence[Line]) -> dict[int, Line]:
    """One row for each line, in order of height, as near to its true place as the others allow."""
    ordered = sorted(lines, key=lambda line: line.height_m, reverse=True)
    top = top_m(shape)
    taken: list[int] = []
    for place, line in enumerate(ordered):
        wanted = round((1 - line.height_m / top) * (ROWS - 1))
        earliest = taken[-1] + 1 if taken else 0
        latest = ROWS - (len(ordered) - place)
        taken.append(min(max(wanted, earliest), latest))
    return dict(zip(taken, ordered, strict=True))


def _depth(shape: Shape, row: int) -> float:
    return top_m(shape) * (1 - (row + 0.5) / ROWS)


def _walls(shape: Shape, row: int) -> tuple[int, int]:
    half = max(1, round(_share(shape, _depth(shape, row)) * (COLUMNS - 2) / 2))
    middle = COLUMNS // 2
    return middle - half, middle + half


def _wall(shape: Shape, row: int, at: int, *, mirrored: bool) -> str:
    """`|` where the wall goes straight down, else the slope to the row below or from the one above."""
    side = 1 if mirrored else 0
    below = _walls(shape, row + 1)[side] if row + 1 < ROWS else at
    above = _walls(shape, row - 1)[side] if row > 0 else at
    way = (below - at) or (at - above)
    if way == 0:
        return "|"
    return "\\" if way > 0 else "/"


def _edge(shape: Shape, share_of_height: float) -> str:
    row = 0 if share_of_height == 1.0 else ROWS - 1
    left, right = _walls(shape, row)
    ends = "." if share_of_height == 1.0 else "'"
    return f"{'':{_LABEL}}  {' ' * left}{ends}{'-' * (right - left - 1)}{ends}"


def _share(shape: Shape, depth: float) -> float:
    """Width at a depth, of the largest width."""
    return width_m(shape, depth) / widest_m(shape)
