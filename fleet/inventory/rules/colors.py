"""Colours of wires: one for each wire of a cable, and none that is protective earth's."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from fleet.finding import Finding
from fleet.inventory.codes.wiring import EARTH_COLOR, GREEN_WIRE, WIRES_OF_ONE_COLOR

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleet.inventory.survey import Survey

# As people and cables write it, with the letters of IEC 60757 (GN, YE, GNYE) and of DIN 47100 (ge).
_GREEN: Final = frozenset(
    "green gn grün gruen grun vert verte verde groen grön grøn grønn zielony zielona".split()
)
_YELLOW: Final = frozenset(
    "yellow ye yel gelb ge jaune amarillo amarilla amarelo amarela giallo gialla geel gul żółty zolty".split()
)
_BOTH: Final = frozenset(
    f"{a}{b}"
    for a, b in (("green", "yellow"), ("gn", "ye"), ("gn", "ge"), ("grün", "gelb"), ("gruen", "gelb"))
)
_REVERSED: Final = frozenset({"yellowgreen", "yegn", "gegn"})
_SAME: Final = {"grey": "gray", "purple": "violet", "bk": "black", "bn": "brown", "rd": "red", "og": "orange"} | {
    "bu": "blue", "vt": "violet", "gy": "gray", "wh": "white", "pk": "pink", "tq": "turquoise"
}  # fmt: skip
_FILLING: Final = frozenset(
    "a and with of stripe stripes striped tracer band bands ring wire core colour color und mit et y e i en og och "
    "light dark pale bright".split()
)
_SHADES: Final = frozenset("light dark pale bright".split())


def colors_fit(survey: Survey) -> Iterator[Finding]:
    """The wires of one cable, from a node to a tank, have a colour each; none of them is earth's."""
    for node in survey.nodes:
        for index, served in enumerate(node.part.serves):
            first: dict[tuple[str, ...], str] = {}
            for wire, color in served.wires.items():
                place, subject = node.value("serves", index, "wires", wire), f"tank {served.tank} wire {wire}"
                said = f"the wire `{wire}` to `{served.tank}` is {color}"
                if is_earth(color):
                    yield Finding(EARTH_COLOR, said, place, subject)
                elif is_green(color):
                    yield Finding(GREEN_WIRE, said, place, subject)
                key = color_key(color)
                if first.setdefault(key, wire) != wire:
                    what = f"the wires `{first[key]}` and `{wire}` to `{served.tank}` are both {color}"
                    yield Finding(WIRES_OF_ONE_COLOR, what, place, subject)


def is_earth(color: str) -> bool:
    """Whether these words mean green and yellow together, in either order and however they are written."""
    return _hues(color) == {"green", "yellow"}


def is_green(color: str) -> bool:
    """Whether they mean green alone."""
    return _hues(color) == {"green"}


def _words(color: str) -> list[str]:
    """`White/Blue` as `white`, `blue`."""
    return re.findall(r"[^\W\d_]+", color.casefold())


def _hues(color: str) -> set[str]:
    words = _words(color)
    if sorted(words) == ["g", "y"]:
        return {"green", "yellow"}
    hues: set[str] = set()
    for word in words:
        if word in _BOTH or word in _REVERSED:
            hues |= {"green", "yellow"}
        elif word not in _FILLING:
            hues.add("green" if word in _GREEN else "yellow" if word in _YELLOW else word)
    return hues


def color_key(color: str) -> tuple[str, ...]:
    """The same for two ways of writing one colour. White/blue and blue/white are two: pairs of telephone cables."""
    if is_earth(color):
        return ("green", "yellow")
    words = re.findall(r"[^\W_]+", color.casefold())
    named = [word for word in words if word in _SHADES or word not in _FILLING] or words
    return tuple("green" if w in _GREEN else "yellow" if w in _YELLOW else _SAME.get(w, w) for w in named)
