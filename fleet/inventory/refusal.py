"""What a reader of one value raises when it cannot take it."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fleet.codes import Code


class Refusal(ValueError):
    """A value that cannot be taken: the code of the finding, what is wrong, and how to put it right here."""

    def __init__(self, code: Code, what: str, fix: str = "") -> None:
        super().__init__(what)
        self.code = code
        self.what = what
        self.fix = fix
