"""A small pen for SVG: elements with rounded coordinates, text escaped by the XML library.

The same calls give the same bytes. Nothing refers to anything outside of the drawing, so that it lives inside of
an HTML page for ever. Colours are never alone in saying something: prints are often black and white.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final
from xml.etree import ElementTree

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

INK: Final = "#111"
PALE: Final = "#444"
WATER: Final = "#cfe6f5"
CHAR_EM: Final = 0.56
"""Width of a character of a sans-serif font, of its size: over the 0.39 to 0.54 that such texts measure in Liberation
Sans, regular and bold."""

Point = tuple[float, float]


class Pen:
    """One drawing of `width` x `height` units; `label` is what a screen reader says of it."""

    def __init__(self, width: float, height: float, label: str, *, css: str) -> None:
        self._root = ElementTree.Element(
            "svg",
            {
                "xmlns": "http://www.w3.org/2000/svg",
                "viewBox": f"0 0 {_number(width)} {_number(height)}",
                "role": "img",
                "aria-label": label,
                "class": css,
            },
        )

    def line(self, points: Sequence[Point], *, stroke: str = INK, width: float = 1, dash: str = "") -> None:
        """A line through these points."""
        self.shape(points, closed=False, stroke=stroke, width=width, dash=dash)

    def shape(
        self,
        points: Sequence[Point],
        *,
        closed: bool = True,
        fill: str = "none",
        stroke: str = INK,
        width: float = 1,
        dash: str = "",
    ) -> None:
        """A polygon, or an open line."""
        attributes = {
            "points": " ".join(f"{_number(x)},{_number(y)}" for x, y in points),
            "fill": fill,
            "stroke": stroke,
            "stroke-width": _number(width),
            "stroke-linejoin": "round",
        }
        if dash:
            attributes["stroke-dasharray"] = dash
        ElementTree.SubElement(self._root, "polygon" if closed else "polyline", attributes)

    def wire(self, points: Sequence[Point], color: str | None) -> None:
        """A wire: its colour with dark edges, so that a white or yellow one shows on paper too."""
        self.line(points, width=5)
        self.line(points, stroke=color or "#fff", width=2.6)

    def rect(self, x: float, y: float, width: float, height: float, *, fill: str = "none") -> None:
        """A rectangle with thin edges."""
        self.shape([(x, y), (x + width, y), (x + width, y + height), (x, y + height)], fill=fill, width=0.8)

    def circle(self, x: float, y: float, radius: float, *, fill: str = "#fff", width: float = 1.4) -> None:
        """A circle."""
        attributes = {
            "cx": _number(x),
            "cy": _number(y),
            "r": _number(radius),
            "fill": fill,
            "stroke": INK,
            "stroke-width": _number(width),
        }
        ElementTree.SubElement(self._root, "circle", attributes)

    def text(
        self,
        x: float,
        y: float,
        words: str,
        *,
        size: float = 11,
        anchor: str = "start",
        bold: bool = False,
        fill: str = INK,
    ) -> None:
        """One line of text with its baseline at `y`."""
        attributes = {
            "x": _number(x),
            "y": _number(y),
            "font-size": _number(size),
            "text-anchor": anchor,
            "fill": fill,
        }
        if bold:
            attributes["font-weight"] = "bold"
        ElementTree.SubElement(self._root, "text", attributes).text = words

    def done(self) -> str:
        """The drawing as one `<svg>` element."""
        return ElementTree.tostring(self._root, encoding="unicode")


def spread(wanted: Sequence[float], gap: float, low: float, high: float) -> list[float]:
    """Places for labels that want to be at `wanted` (rising), each at least `gap` from the next, within low..high.

    As near to what they want as that allows. ValueError if they do not fit at all.
    """
    count = len(wanted)
    if count and (count - 1) * gap > high - low + 1e-9:
        raise ValueError(f"{count} labels {gap:g} apart do not fit into {high - low:g}")
    groups: list[
        tuple[float, int]
    ] = []  # the sum of first places that its members want, and how many they are
    for place, want in enumerate(wanted):
        groups.append((want - place * gap, 1))
        while len(groups) > 1 and _mean(groups[-2]) >= _mean(groups[-1]):
            (total, number), (other, more) = groups[-2:]
            groups[-2:] = [(total + other, number + more)]
    starts = [_mean(group) for group in groups for _ in range(group[1])]
    room = high - max(0, count - 1) * gap
    return [min(max(start, low), room) + place * gap for place, start in enumerate(starts)]


def shortened(words: str, most: int) -> str:
    """At most that many characters, with the middle left out."""
    if len(words) <= most:
        return words
    head = (most - 1) // 2
    return f"{words[:head]}…{words[len(words) - (most - 1 - head) :]}"


def fits(width: float, size: float) -> int:
    """How many characters of a font size fit into a width."""
    return max(3, int(width / (size * CHAR_EM)))


def joined(parts: Iterable[str | None]) -> str:
    """The parts that say something, with middle dots between them."""
    return " · ".join(part for part in parts if part)


def _mean(group: tuple[float, int]) -> float:
    return group[0] / group[1]


def _number(value: float) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".")
