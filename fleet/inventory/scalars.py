"""What an unquoted text in YAML stands for.

A strict core schema (YAML 1.2.2, section 10.3, made narrower): `true` and `false`, `null`, `~` and
nothing, decimal numbers without leading zeros, signs other than `-`, or separators. All else is text:
`NO`, `off`, `012`, `0x1f`, `1_000`, `10:20:30:40:50:10`, `2025-03-14`.
"""

from __future__ import annotations

import re
from typing import Any, Final

_WORDS: Final[dict[str, Any]] = {"true": True, "false": False, "null": None, "~": None, "": None}
_NUMBER_STARTS: Final = frozenset("-0123456789")
_INTEGER: Final = re.compile(r"-?(?:0|[1-9][0-9]{0,17})")
_DECIMAL: Final = re.compile(r"-?(?:0|[1-9][0-9]{0,17})(?:\.[0-9]{1,30})?(?:[eE][+-]?[0-9]{1,3})?")


def plain(text: str) -> Any:
    """None, a bool, an int, a float or the text itself."""
    if text in _WORDS:
        return _WORDS[text]
    if text[0] in _NUMBER_STARTS:
        if _INTEGER.fullmatch(text):
            return int(text)
        if _DECIMAL.fullmatch(text):
            return float(text)
    return text
