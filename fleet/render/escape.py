"""Text on its way into source code: every value must pass one of these, or rendering stops."""

from __future__ import annotations

import re
from typing import Any

from fleet.errors import RenderError
from fleet.render.codes import BAD_TEMPLATE

_SIMPLE = {"\\": "\\\\", '"': '\\"', "\n": "\\n", "\r": "\\r", "\t": "\\t", "?": "\\?"}
_PLAIN = re.compile(r"[A-Za-z0-9 _.,:/@+=()-]*")


class Escaped(str):
    """Text that may go into a rendered file."""

    __slots__ = ()


def cpp_string(text: str) -> Escaped:
    """A C++ string literal with its quotes: ASCII alone, other bytes (UTF-8) as three octal digits.

    Octal escapes end after three digits (ISO C++ [lex.ccon]), so that a following digit cannot join them; `?`
    is escaped against trigraphs.
    """
    parts = []
    for byte in text.encode():
        char = chr(byte)
        if char in _SIMPLE:
            parts.append(_SIMPLE[char])
        else:
            parts.append(char if 0x20 <= byte < 0x7F else f"\\{byte:03o}")
    return Escaped(f'"{"".join(parts)}"')


def cpp_bytes(data: bytes) -> Escaped:
    """A braced initialiser of bytes."""
    return Escaped("{" + ", ".join(f"0x{byte:02X}" for byte in data) + "}")


def plain(text: object) -> Escaped:
    """Names and numbers that mean nothing special in a settings file or in Markdown; anything else is
    refused."""
    shown = str(text)
    if not _PLAIN.fullmatch(shown):
        raise RenderError(
            BAD_TEMPLATE, f"{shown!r} has characters that must not stand in a rendered file unescaped"
        )
    return Escaped(shown)


def only_escaped(value: Any) -> Any:
    """Jinja2's `finalize`: integers and escaped text pass, bare text stops the rendering."""
    if isinstance(value, (Escaped, int)):
        return value
    raise RenderError(
        BAD_TEMPLATE, f"a template puts out {type(value).__name__} {value!r} without an escaper"
    )
