"""What others sent, made fit to be shown: printable and short, whatever it is. Pure."""

from __future__ import annotations

from fleet.limits import FOREIGN_TEXT_CHARS


def printable(text: object, chars: int = FOREIGN_TEXT_CHARS) -> str:
    """`text` on one line of at most `chars` characters, what cannot be printed written as an escape.

    Escaped are line ends and all other controls, so that no terminal obeys them; marks of direction, characters of no
    width and tags, so that what is read is what is there; and the backslash, so that no escape can be made up.
    """
    shown: list[str] = []
    left = chars
    for char in str(text)[: chars + 1]:
        piece = char if char.isprintable() and char != "\\" else char.encode("unicode_escape").decode("ascii")
        left -= len(piece)
        if left < 0:
            return "".join(shown) + "..."
        shown.append(piece)
    return "".join(shown)
