"""A board's two rows of pins, as they are printed on it, with a wire and words at each one that is used."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from fleet.sheet.svg import INK, PALE, Pen, fits, joined, shortened

if TYPE_CHECKING:
    from collections.abc import Sequence

WIDTH: Final = 900.0
_LEFT_X, _RIGHT_X = 392.0, 508.0
"""Edges of the board."""
_FIRST_Y: Final = 30.0
_ROW: Final = 15.5
_WIRE: Final = 34.0
_SIZE: Final = 16.0
"""Of the words beside a wire."""
_NAME: Final = 12.5
"""Of the names of the pins."""
_PAD: Final = 9.0
_ROOM: Final = _LEFT_X - _WIRE - 12


@dataclass(frozen=True, slots=True)
class UsedPin:
    """A pin with a wire: what for, and what more there is room for."""

    pin: str
    words: str
    more: str
    wire: str | None = None
    """CSS colour."""


@dataclass(frozen=True, slots=True)
class DrawnBoard:
    """A board: the names of its pins in the two rows on it, from the top down."""

    title: str
    left: tuple[str, ...]
    right: tuple[str, ...]
    used: tuple[UsedPin, ...]


def height_of(board: DrawnBoard) -> float:
    """Units that the drawing is high."""
    return _FIRST_Y + _ROW * max(len(board.left), len(board.right), 3) + 26


def draw_board(board: DrawnBoard) -> str:
    """The drawing as one `<svg>` element."""
    height = height_of(board)
    pen = Pen(WIDTH, height, f"pins of {board.title}", css="board")
    pen.rect(_LEFT_X, 18, _RIGHT_X - _LEFT_X, height - 38, fill="#f4f4f4")
    title = shortened(board.title, fits(WIDTH, 13))
    pen.text(WIDTH / 2, 12, title, size=13, anchor="middle", bold=True)
    used = {use.pin: use for use in board.used}
    _row(pen, board.left, used, at=_LEFT_X, way=-1)
    _row(pen, board.right, used, at=_RIGHT_X, way=1)
    said = "all pins in the order of the two rows: turn the board until the names printed on it agree"
    pen.text(WIDTH / 2, height - 6, said, size=12, anchor="middle")
    return pen.done()


def _row(pen: Pen, names: Sequence[str], used: dict[str, UsedPin], *, at: float, way: int) -> None:
    """One row of pins at an edge; `way` is -1 for words to the left, 1 to the right. A wire to a name that several
    pins have, such as GND, is drawn at the first of them, and taken out of `used`."""
    inside, outside = ("start", "end") if way < 0 else ("end", "start")
    for place, name in enumerate(names):
        y = _FIRST_Y + _ROW * place + 4
        use = used.pop(name, None)
        x = at + way * _WIRE
        if use is not None:
            pen.wire([(at, y), (x, y)], use.wire)
            _words(pen, x + way * 7, y, use, outside)
        pen.circle(at - way * _PAD, y, 4.6, fill=INK if use else "#fff", width=1)
        shade = INK if use else PALE
        pen.text(at - way * (_PAD + 8), y + 4, name, size=_NAME, anchor=inside, bold=bool(use), fill=shade)


def _words(pen: Pen, x: float, y: float, use: UsedPin, anchor: str) -> None:
    """What it is for is never cut short for the sake of `more`."""
    room = fits(_ROOM, _SIZE)
    words = shortened(use.words, room)
    left = room - len(words) - 3
    if use.more and left > 3:
        words = joined((words, shortened(use.more, left)))
    pen.text(x, y + 5, words, size=_SIZE, anchor=anchor, bold=True)
