"""Codes of the boards."""

from __future__ import annotations

from fleet.codes import Code

NO_SUCH_BOARD = Code(
    "BRD101",
    "no such board",
    "Each kind of board has a data file that lists its pins and how it takes an update.",
    "Run `tankfleet show boards` to list the known kinds.",
)
CODES = (NO_SUCH_BOARD,)
