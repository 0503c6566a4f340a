"""Text and tables laid out for a number of columns: folded between words, every column kept. Pure."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

GAP = "  "
RULE = "─"
ASCII_RULE = "-"
_INDENT = "    "
_COLOR = re.compile(r"\x1b\[[0-9;]*m")
_WORD = re.compile(r"\s*\S+")


def columns_of(text: str) -> int:
    """Columns that a line takes on a terminal; colors take none, wide characters two."""
    plain = _COLOR.sub("", text)
    if plain.isascii():
        return len(plain)
    from rich.cells import cell_len

    return cell_len(plain)


def fold(text: str, width: int, hang: str | None = None, *, chop: bool = False) -> list[str]:
    """One line folded between words to `width` columns, the further lines with `hang` before them; by default
    the first line's own indent and two spaces. A word that is longer stays whole (a path to be copied), or is
    chopped with `chop`."""
    if columns_of(text) <= width:
        return [text]
    indent = text[: len(text) - len(text.lstrip())]
    rest = f"{indent}  " if hang is None else hang
    lines = [""]
    for word in _WORD.findall(text):
        if lines[-1] and columns_of(lines[-1] + word) > width:
            lines.append(rest)
        lines[-1] += word.lstrip() if lines[-1] == rest else word
        while chop and columns_of(lines[-1]) > width:
            fits = _fitting(lines[-1], width, len(rest) + 1)
            lines[-1:] = [lines[-1][:fits], rest + lines[-1][fits:]]
    return lines


def _fitting(line: str, width: int, least: int) -> int:
    """How many characters of a line fit, at least `least` of them."""
    fits = min(width, len(line))
    while fits > least and columns_of(line[:fits]) > width:
        fits -= 1
    return max(fits, least)


@dataclass(frozen=True, slots=True)
class Table:
    """Cells as text; every row as long as `columns`; `rule` is what a line is drawn of."""

    columns: Sequence[str]
    rows: Sequence[Sequence[str]]
    rule: str = RULE

    def piped(self) -> tuple[str, list[str]]:
        """The line of heads, and one whole record a line, whatever its length."""
        widths = self._natural()
        return _line(self.columns, widths), [_line(row, widths) for row in self.rows]

    def on_terminal(self, width: int) -> tuple[str, list[str]]:
        """The line of heads, and all lines under it: whole records side by side if they fit; else with cells
        folded between words, or with the last columns under the first ones, whichever takes fewer lines."""
        natural = self._natural()
        if _total(natural) <= width:
            return self._folded(natural)
        options = [self._folded(widths)] if (widths := self._squeezed(natural, width)) else []
        head = self._head_columns(natural, width)
        if head or not options:
            options.append(self._stacked(natural, head, width) if head else self._chopped(natural, width))
        return min(options, key=lambda option: len(option[1]))

    def _natural(self) -> list[int]:
        return [
            max(columns_of(row[i]) for row in (self.columns, *self.rows)) for i in range(len(self.columns))
        ]

    def _squeezed(self, natural: list[int], width: int) -> list[int] | None:
        """Widths at which no word is cut and the whole fits; None if there are none."""
        words = [
            max(columns_of(word) for row in (self.columns, *self.rows) for word in (row[i].split() or [""]))
            for i in range(len(self.columns))
        ]
        for cap in range(max(natural), 0, -1):
            widths = [max(least, min(most, cap)) for least, most in zip(words, natural, strict=True)]
            if _total(widths) <= width:
                return widths
        return None

    def _chopped(self, natural: list[int], width: int) -> tuple[str, list[str]]:
        """The last resort: cells cut wherever the column ends."""
        cap = max(natural)
        while cap > 1 and _total([min(most, cap) for most in natural]) > width:
            cap -= 1
        return self._folded([min(most, cap) for most in natural])

    def _head_columns(self, natural: list[int], width: int) -> int:
        """How many of the first columns fit side by side; 0 for a table of two, which is folded instead."""
        if len(natural) < 3:
            return 0
        return max((n for n in range(1, len(natural)) if _total(natural[:n]) <= width), default=0)

    def _folded(self, widths: list[int]) -> tuple[str, list[str]]:
        head, *more_heads = _row(self.columns, widths)
        lines = [*more_heads, self.rule * _total(widths)]
        for row in self.rows:
            lines += _row(row, widths)
        return head, lines

    def _stacked(self, natural: list[int], head: int, width: int) -> tuple[str, list[str]]:
        widths = natural[:head]
        lines = [self.rule * _total(widths)]
        for row in self.rows:
            lines.append(_line(row[:head], widths))
            told = zip(self.columns[head:], row[head:], strict=True)
            lines += _packed([f"{name}: {cell}" for name, cell in told if cell not in ("", "-")], width)
        return _line(self.columns[:head], widths), lines


def _packed(parts: Sequence[str], width: int) -> list[str]:
    """Indented lines of as many whole parts as fit; a part that is longer than a line is folded."""
    lines: list[str] = []
    for part in parts:
        if lines and columns_of(f"{lines[-1]}{GAP}{part}") <= width:
            lines[-1] += f"{GAP}{part}"
        else:
            lines += fold(f"{_INDENT}{part}", width, _INDENT + "  ", chop=True)
    return lines


def _total(widths: Sequence[int]) -> int:
    return sum(widths) + len(GAP) * (len(widths) - 1)


def _row(row: Sequence[str], widths: Sequence[int]) -> list[str]:
    cells = [fold(cell, width, "", chop=True) for cell, width in zip(row, widths, strict=True)]
    height = max(len(cell) for cell in cells)
    return [_line([cell[n] if n < len(cell) else "" for cell in cells], widths) for n in range(height)]


def _line(row: Sequence[str], widths: Sequence[int]) -> str:
    padded = (f"{cell}{' ' * (width - columns_of(cell))}" for cell, width in zip(row, widths, strict=True))
    return GAP.join(padded).rstrip()
