"""A tank in section: water up to its marks, probes, overflow, reserve and pump, with what stands at each height.

Heights are to scale; widths are where that fits on the paper, and the drawing says when they are not.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, pi
from typing import TYPE_CHECKING, Final, Literal

from fleet.sheet.svg import INK, PALE, WATER, Pen, fits, shortened, spread
from fleet.water.geometry import top_m
from fleet.water.profile import widest_m, width_m

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fleet.model.tank import Shape
    from fleet.sheet.svg import Point

WIDTH: Final = 680.0
HEIGHT: Final = 350.0
_TOP_Y, _BOTTOM_Y = 74.0, 318.0
_MIDDLE_X = 340.0
_WIDEST, _NARROWEST = 244.0, 110.0
_LEFT_X, _RIGHT_X = 184.0, 496.0
"""Where the words to the left end and those to the right begin."""
_ROW = 30.0
_SLICES = 48
_HEAD_Y = 46.0
"""Of the plate that the probes hang from."""


@dataclass(frozen=True, slots=True)
class Level:
    """A height with words to the left (name, height) and right (volumes), each with a second, smaller line."""

    height_m: float
    left: tuple[str, str]
    right: tuple[str, str]
    kind: Literal["top", "overflow", "mark", "reserve", "bottom"]
    wire: str | None = None
    """CSS colour of a mark's wire, where the inventory gives it."""
    tip_m: float | None = None
    """Where a mark's rod ends, under the mark; None: at the mark."""


@dataclass(frozen=True, slots=True)
class DrawnPump:
    """The pump beside the tank."""

    does: Literal["fill", "drain"]
    words: tuple[str, str, str]
    """Name, what it does, motor."""


@dataclass(frozen=True, slots=True)
class Scale:
    """From metres to units of the drawing."""

    shape: Shape
    y_per_m: float
    x_per_m: float

    @property
    def true(self) -> bool:
        """Whether widths are to the same scale as heights."""
        return abs(self.x_per_m - self.y_per_m) < 1e-9

    def y(self, height_m: float) -> float:
        """Down the paper; above the top of the tank it stays there."""
        return _BOTTOM_Y - min(max(height_m, 0.0), top_m(self.shape)) * self.y_per_m

    def half(self, height_m: float) -> float:
        """Half of the width at a height, in units."""
        return width_m(self.shape, min(max(height_m, 0.0), top_m(self.shape))) * self.x_per_m / 2

    def walls(self, low_m: float, high_m: float) -> list[Point]:
        """Around what lies between two heights: up the left wall, down the right one."""
        steps = [(1 - cos(pi * i / _SLICES)) / 2 for i in range(_SLICES + 1)]  # closer where ends are round
        heights = [low_m + (high_m - low_m) * step for step in steps]
        left = [(_MIDDLE_X - self.half(h), self.y(h)) for h in heights]
        right = [(_MIDDLE_X + self.half(h), self.y(h)) for h in reversed(heights)]
        return [*left, *right]


def scale_of(shape: Shape) -> Scale:
    """Heights fill the drawing; widths follow, held to what there is room for."""
    per_m = (_BOTTOM_Y - _TOP_Y) / top_m(shape)
    wide = widest_m(shape)
    return Scale(shape, per_m, min(max(wide * per_m, _NARROWEST), _WIDEST) / wide)


def draw_tank(
    title: str, shape: Shape, levels: Sequence[Level], pump: DrawnPump | None, common_wire: str | None
) -> str:
    """The drawing as one `<svg>` element; `levels` from the top down, `common_wire` a CSS colour."""
    scale = scale_of(shape)
    pen = Pen(WIDTH, HEIGHT, f"{title} in section", css="tank")
    _water(pen, scale, levels)
    pen.shape(scale.walls(0.0, top_m(shape)), width=2.4)
    _probes(pen, scale, [level for level in levels if level.kind == "mark"], common_wire)
    _labels(pen, scale, levels)
    if pump is not None:
        (_filling if pump.does == "fill" else _draining)(pen, scale, pump)
    said = "heights and widths to scale" if scale.true else "heights to scale, widths not"
    pen.text(_MIDDLE_X, HEIGHT - 8, said, size=9, anchor="middle", fill=PALE)
    return pen.done()


def _water(pen: Pen, scale: Scale, levels: Sequence[Level]) -> None:
    """Water up to the highest mark; the reserve hatched."""
    marks = [level.height_m for level in levels if level.kind == "mark"]
    pen.shape(scale.walls(0.0, max(marks)), fill=WATER, width=0)
    for level in levels:
        half, y = scale.half(level.height_m), scale.y(level.height_m)
        if level.kind == "reserve":
            _hatch(pen, scale, level.height_m)
        if level.kind in ("mark", "reserve"):
            dash = "7 3" if level.kind == "mark" else "2 3"
            pen.line([(_MIDDLE_X - half, y), (_MIDDLE_X + half, y)], width=1.1, dash=dash)


def _hatch(pen: Pen, scale: Scale, height_m: float) -> None:
    """Level strokes, closer than anything else in the drawing: they survive any printer."""
    y = scale.y(height_m) + 4
    while y < _BOTTOM_Y:
        half = scale.half((_BOTTOM_Y - y) / scale.y_per_m)
        pen.line([(_MIDDLE_X - half, y), (_MIDDLE_X + half, y)], stroke=PALE, width=0.5)
        y += 4


def _probes(pen: Pen, scale: Scale, marks: Sequence[Level], common_wire: str | None) -> None:
    """A rod to each mark or as far past it as it is wetted there, and the common one (C) to below the lowest: in the
    middle, where every tank is deep."""
    rising = sorted(marks, key=lambda mark: mark.height_m)
    tips = [mark.height_m if mark.tip_m is None else max(0.0, mark.tip_m) for mark in rising]
    rods = [(tip, mark.wire, str(n)) for n, (mark, tip) in enumerate(zip(rising, tips, strict=True), start=1)]
    rods = [*reversed(rods), (tips[0] * 0.6, common_wire, "C")]
    step = 12.0
    left = _MIDDLE_X - step * (len(rods) - 1)
    pen.rect(left - 7, _HEAD_Y, step * (len(rods) - 1) + 14, 8, fill="#ddd")
    for place, (height_m, color, name) in enumerate(rods):
        x, tip = left + step * place, scale.y(height_m)
        pen.wire([(x, _HEAD_Y + 8), (x, tip)], color)
        pen.circle(x, tip, 3.4, fill=INK)
        pen.text(x, _HEAD_Y - 5, name, size=11, anchor="middle", bold=True)


def _labels(pen: Pen, scale: Scale, levels: Sequence[Level]) -> None:
    rows = spread([scale.y(level.height_m) for level in levels], _ROW, _TOP_Y - 8, _BOTTOM_Y)
    for level, row in zip(levels, rows, strict=True):
        y, half = scale.y(level.height_m), scale.half(level.height_m)
        if level.kind == "overflow":
            _spout(pen, _MIDDLE_X + half, y)
        lead = {"stroke": PALE, "width": 0.7}
        pen.line([(_MIDDLE_X - half, y), (_LEFT_X + 28, y), (_LEFT_X + 5, row)], **lead)  # type: ignore[arg-type]
        pen.line([(_MIDDLE_X + half, y), (_RIGHT_X - 28, y), (_RIGHT_X - 5, row)], **lead)  # type: ignore[arg-type]
        bold = level.kind == "mark"
        _words(pen, _LEFT_X, row, level.left, "end", bold)
        _words(pen, _RIGHT_X, row, level.right, "start", bold)


def _words(pen: Pen, x: float, y: float, words: tuple[str, str], anchor: str, bold: bool) -> None:
    first, second = words
    pen.text(x, y + 4, shortened(first, fits(_LEFT_X, 13)), size=13, anchor=anchor, bold=bold)
    if second:
        pen.text(x, y + 15, shortened(second, fits(_LEFT_X, 10)), size=10, anchor=anchor)


def _spout(pen: Pen, x: float, y: float) -> None:
    """The overflow: a pipe out of the wall, bent down."""
    pen.line([(x, y), (x + 15, y), (x + 15, y + 14)], width=5)
    pen.line([(x - 1, y), (x + 15, y), (x + 15, y + 14.5)], stroke="#fff", width=2.6)


def _filling(pen: Pen, scale: Scale, pump: DrawnPump) -> None:
    y = 20.0
    inlet = _MIDDLE_X + 36.0
    down = scale.y(_roof_m(scale, inlet - _MIDDLE_X)) + 10
    pen.line([(464.0, y), (inlet, y), (inlet, down)], width=2)
    _arrow(pen, inlet, down)
    _symbol(pen, 472.0, y, turned=True)
    _pump_words(pen, y, pump)


def _draining(pen: Pen, scale: Scale, pump: DrawnPump) -> None:
    height_m = top_m(scale.shape) * 0.06
    x, bottom = _MIDDLE_X + min(40.0, scale.half(height_m) * 0.7), scale.y(height_m)
    pen.line([(x, bottom), (x, 20.0), (470.0, 20.0)], width=2)
    pen.shape([(482, 20), (470, 15), (470, 25)], fill=INK)
    _symbol(pen, x, bottom - 6, turned=False)
    _pump_words(pen, 20.0, pump)


def _roof_m(scale: Scale, from_middle: float) -> float:
    """The highest place that is as wide as that to both sides of the middle; the top if none is."""
    top = top_m(scale.shape)
    heights = [top * (1 - i / _SLICES) for i in range(_SLICES)]
    return next((height for height in heights if scale.half(height) >= from_middle), top)


def _symbol(pen: Pen, x: float, y: float, *, turned: bool) -> None:
    """A pump: a circle with the triangle of its flow, to the left when turned, else upwards."""
    pen.circle(x, y, 10)
    if turned:
        pen.shape([(x - 10, y), (x + 5, y - 8.6), (x + 5, y + 8.6)], fill=INK, width=0)
    else:
        pen.shape([(x, y - 10), (x - 8.6, y + 5), (x + 8.6, y + 5)], fill=INK, width=0)


def _arrow(pen: Pen, x: float, y: float) -> None:
    pen.shape([(x, y + 6), (x - 4.5, y - 3), (x + 4.5, y - 3)], fill=INK, width=0)


def _pump_words(pen: Pen, y: float, pump: DrawnPump) -> None:
    for line, words in enumerate(pump.words):
        size = 10 if line else 12
        short = shortened(words, fits(WIDTH - _RIGHT_X, size))
        pen.text(_RIGHT_X, y - 4 + 12 * line, short, size=size, bold=line == 0)
