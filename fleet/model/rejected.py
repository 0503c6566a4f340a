"""What a reader of one value raises when it cannot take it."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fleet.codes import Code
_LONGEST = 60


def shown(text: object) -> str:
    """A text as a message quotes it: on one line, all of it visible, and not longer than a message can be."""
    plain = "".join(
        c if c.isprintable() else c.encode("unicode_escape").decode() for c in str(text)[: _LONGEST + 1]
    )
    return plain if len(plain) <= _LONGEST else plain[: _LONGEST - 3] + "..."


class ValueRejected(ValueError):
    """A value that cannot be taken: the code of the finding, what is wrong, and how to put it right here."""

    def __init__(self, code: Code, what: str, fix: str = "") -> None:
        super().__init__(what)
        self.code = code
        self.what = what
        self.fix = fix
