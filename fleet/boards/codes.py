"""Codes of the boards."""

from __future__ import annotations

from fleet.codes import Code

NO_SUCH_BOARD = Code(
    "BRD101",
    "no board of that kind",
    "Each kind of board has a data file that says which pins it has and how it takes an update.",
    "Run `tankfleet show boards` to list the kinds that are known.",
)
CODES = (NO_SUCH_BOARD,)
