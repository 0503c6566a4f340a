"""What a reader of one value raises when it cannot take it."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fleet.codes import Code
_LONGEST = 60


def shown(text: object) -> str:
    """A text as a message quotes it: on one line, and not longer than a message can be."""
    plain = str(text).replace("\n", "\\n").replace("\t", "\\t")
    return plain if len(plain) <= _LONGEST else plain[: _LONGEST - 3] + "..."


class Refusal(ValueError):
    """A value that cannot be taken: the code of the finding, what is wrong, and how to put it right here."""

    def __init__(self, code: Code, what: str, fix: str = "") -> None:
        super().__init__(what)
        self.code = code
        self.what = what
        self.fix = fix
