"""Reading drawings back: the texts of an SVG with the boxes that they take."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from xml.etree import ElementTree

SVG = "{http://www.w3.org/2000/svg}"
CHAR_EM = 0.54
"""Width of a character of its font size: the widest of the texts tried (a long name in Liberation Sans Bold, measured
with Pillow; others 0.39 to 0.51)."""
ASCENT_EM, DESCENT_EM = 0.72, 0.21
"""Capital height and depth of Liberation Sans (its OS/2 and hhea tables)."""


@dataclass(frozen=True)
class Box:
    """One text: where it stands, in units of the drawing."""

    words: str
    left: float
    top: float
    right: float
    bottom: float

    def meets(self, other: Box) -> bool:
        """Whether the two lie on each other."""
        apart_x = self.right <= other.left or other.right <= self.left
        apart_y = self.bottom <= other.top or other.bottom <= self.top
        return not (apart_x or apart_y)


def parsed(svg: str) -> ElementTree.Element:
    """The drawing, which must be well-formed XML."""
    return ElementTree.fromstring(svg)


def boxes(svg: str) -> list[Box]:
    """All texts."""
    found = []
    for text in parsed(svg).iter(f"{SVG}text"):
        words, size = text.text or "", float(text.attrib["font-size"])
        x, y, width = float(text.attrib["x"]), float(text.attrib["y"]), len(words) * size * CHAR_EM
        left = {"start": x, "middle": x - width / 2, "end": x - width}[text.attrib["text-anchor"]]
        found.append(Box(words, left, y - ASCENT_EM * size, left + width, y + DESCENT_EM * size))
    return found


def overlapping(svg: str) -> list[tuple[str, str]]:
    """Pairs of texts that lie on each other."""
    return [(one.words, other.words) for one, other in combinations(boxes(svg), 2) if one.meets(other)]


def outside(svg: str) -> list[str]:
    """Texts that reach over the drawing's edge."""
    width, height = (float(part) for part in parsed(svg).attrib["viewBox"].split()[2:])
    return [
        box.words
        for box in boxes(svg)
        if box.left < 0 or box.top < 0 or box.right > width or box.bottom > height
    ]
