"""What a code is: the stable name of a finding or an error, with its standing explanation.

Each area keeps its codes in its own `codes.py`; `fleet/explain.py` gathers them.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum, StrEnum
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Mapping

RULED_FROM: Final = "INV400"
RULED_BEFORE: Final = "INV700"


class Severity(StrEnum):
    """How bad a finding is; the names are SARIF 2.1.0's levels."""

    ERROR = "error"
    WARNING = "warning"
    NOTE = "note"


class Exit(IntEnum):
    """What the exit status of every command means."""

    OK = 0
    PROBLEMS = 1
    """Checked and found problems, or a push was halted."""
    USAGE = 2
    """The command line or the inventory is wrong; nothing was done."""
    UNREACHABLE = 3
    """Done, but some nodes could not be reached."""
    LOCKED = 4
    """Another run of the tool holds the lock."""
    INTERNAL = 70
    """A fault of the tool itself."""
    INTERRUPTED = 130


@dataclass(frozen=True, slots=True)
class Code:
    """One stable code. `why` and `fix` are plain text of one to three sentences.

    `source` names where its figures come from: a standard, a handbook, a maker's sheet; empty if it has none.
    """

    code: str
    title: str
    why: str
    fix: str
    severity: Severity = Severity.ERROR
    source: str = ""

    @property
    def ruled(self) -> bool:
        """Whether a person may rule on it in the inventory: wiring, networks, water, electrodes: INV400 to INV699.

        The others are about what cannot be read or built at all, which no ruling changes.
        """
        return RULED_FROM <= self.code < RULED_BEFORE


def codes_in(names: Mapping[str, object]) -> tuple[Code, ...]:
    """The codes that a module defines, in its order: `CODES = codes_in(globals())` at its end."""
    return tuple(
        value for name, value in names.items() if isinstance(value, Code) and not name.startswith("_")
    )
