"""Colours of wires: one for each wire of a cable, and none that is protective earth's or may be taken for it."""

from __future__ import annotations

import re
from functools import lru_cache
from typing import TYPE_CHECKING, Final

from fleet.check.codes.wiring import EARTH_COLOR, GREEN_WIRE, WIRES_OF_ONE_COLOR
from fleet.finding import Finding, Subject, SubjectKind

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleet.inventory.parsed import Parsed

# As people and cables write it, with the letters of IEC 60757 (GN, YE, GNYE) and of DIN 47100 (ge).
_GREEN: Final = re.compile(
    r"green|gr?n|grün|gruen|grun|verte?|verde|groen|grön|grønn?|zielon[yao]|vihreä|zelen[áýéo]"
)
_YELLOW: Final = re.compile(
    r"yellow|yel?|ylw|gelb|ge|jaune|amarill[oa]|amarel[oa]|giall[oa]|geel|gul|żółt[yao]|zolty|kelta(?:inen)?|žlut[áýéo]"
)
_BOTH: Final = re.compile(
    r"greenyellow|yellowgreen|gn(ye|ge)|(ye|ge)gn|(grün|gruen)gelb|keltavihreä|žlutozelen[áýé]|zelenožlut[áýé]"
)
_EARTH: Final = re.compile(
    r"pe|pen|earth(?:ed|ing)?|grounding|protective|bare|naked|uninsulated|erde|schutzleiter|blank|terre|nue?|tierra|"
    r"desnud[oa]|terra|nud[oa]"
)
"""Names of the protective conductor, and of a core without insulation. `ground` alone may be the board's."""
_AS_WELL: Final = frozenset({"copper", "conductor", "equipment", "tinned"})
_SHADE: Final = re.compile(r"light|dark|pale|bright")
_FILLING: Final = re.compile(
    r"an?|and|with|of|striped?|stripes|tracer|bands?|ring|wire|core|colou?r|und|mit|et|[yei]|en|o[gc]h?|mm[2²]?|sq|sqmm|awg"
)
_LETTERS: Final = {
    "grey": "gray", "purple": "violet", "bk": "black", "bn": "brown", "rd": "red", "og": "orange", "bu": "blue",
    "vt": "violet", "gy": "gray", "wh": "white", "pk": "pink", "tq": "turquoise",
}  # fmt: skip
_SPELLINGS: Final = 256
"""A fleet's wires have few colours, written in few ways: so many answers are kept."""


def colors_fit(survey: Parsed) -> Iterator[Finding]:
    """The wires of one cable, from a node to a tank, have a colour each; none of them is earth's."""
    for node in survey.nodes:
        for index, served in enumerate(node.part.serves):
            first: dict[tuple[str, ...], str] = {}
            for wire, color in served.wires.items():
                other = first.setdefault(color_key(color), wire)
                code = EARTH_COLOR if is_earth(color) else GREEN_WIRE if is_like_earth(color) else None
                if code is None and other == wire:
                    continue
                place, subject = (
                    node.value("serves", index, "wires", wire),
                    Subject(SubjectKind.TANK, served.tank, "wire", wire),
                )
                if code is not None:
                    yield Finding(code, f"the wire `{wire}` to `{served.tank}` is {color}", place, subject)
                if other != wire:
                    what = f"the wires `{other}` and `{wire}` to `{served.tank}` are both {color}"
                    yield Finding(WIRES_OF_ONE_COLOR, what, place, subject)


def is_earth(color: str) -> bool:
    """Whether these words mean protective earth: green and yellow together, in either order and however they are
    written, its name, or a bare core."""
    hues = _hues(color)
    named = {hue for hue in hues if _EARTH.fullmatch(hue)}
    return hues == {"green", "yellow"} or (bool(named) and hues - named <= {"green", "yellow", *_AS_WELL})


def is_like_earth(color: str) -> bool:
    """Whether they mean green alone or yellow alone."""
    return _hues(color) in ({"green"}, {"yellow"})


@lru_cache(maxsize=_SPELLINGS)
def color_key(color: str) -> tuple[str, ...]:
    """The same for two ways of writing one colour. White/blue and blue/white are two: pairs of telephone cables."""
    if _hues(color) == {"green", "yellow"}:
        return ("green", "yellow")
    words = re.findall(r"[^\W_]+", color.casefold())
    named = [word for word in words if not _FILLING.fullmatch(word)] or words
    return tuple(_hue(word) for word in named)


@lru_cache(maxsize=_SPELLINGS)
def _hues(color: str) -> frozenset[str]:
    """The colours in it, without shades and filling words."""
    words = re.findall(r"[^\W\d_]+", color.casefold())
    if sorted(words) == ["g", "y"]:
        return frozenset(("green", "yellow"))
    hues: set[str] = set()
    for word in words:
        if _BOTH.fullmatch(word):
            hues |= {"green", "yellow"}
        elif not (_FILLING.fullmatch(word) or _SHADE.fullmatch(word)):
            hues.add(_hue(word))
    return frozenset(hues)


def _hue(word: str) -> str:
    if _GREEN.fullmatch(word):
        return "green"
    return "yellow" if _YELLOW.fullmatch(word) else _LETTERS.get(word, word)
