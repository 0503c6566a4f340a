"""Characters that no editor shows: they make two texts look alike that are not, or turn what is read around. Pure."""

from __future__ import annotations

from typing import Final
from unicodedata import category

# Unicode 15, chapter 4.5 (general category): controls, formats, surrogates, ends of lines and of paragraphs.
_CATEGORIES: Final = frozenset({"Cc", "Cf", "Cs", "Zl", "Zp"})
# Unicode 15, DerivedCoreProperties.txt, Default_Ignorable_Code_Point: what is of another category and shows nothing.
# The selectors U+FE00 to U+FE0F are left out: they choose how the character before them looks, and that is seen.
_SHOW_NOTHING: Final = frozenset("\u034f\u115f\u1160\u17b4\u17b5\u180b\u180c\u180d\u180f\u3164\uffa0")
_TAGS: Final = range(0xE0000, 0xE1000)
"""Tags and further selectors, with those of them that are not assigned yet."""
_LAYOUT: Final = "\t\n"
_NONE: Final[frozenset[str]] = frozenset()


def is_hidden(char: str) -> bool:
    """Whether the character is one of these. Tab and line feed are layout, and are not."""
    if char in _LAYOUT:
        return False
    point = ord(char)
    if point < 0x7F:
        return point < 0x20
    no_character = point & 0xFFFE == 0xFFFE or 0xFDD0 <= point <= 0xFDEF  # Unicode 15, chapter 23.7
    return no_character or point in _TAGS or char in _SHOW_NOTHING or category(char) in _CATEGORIES


def hidden_in(text: str) -> frozenset[str]:
    """Those of its characters that are hidden. Each is looked at once, however long the text is."""
    if text.isascii() and text.isprintable():
        return _NONE
    return frozenset(char for char in set(text) if is_hidden(char))
