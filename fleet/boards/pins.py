"""What a pin may be used for: whether it exists, can do it, and lets the board start.

The levels that each chip wants at reset are in the chips' data files, with their sources. A probe joins its
pin to the common electrode while it is wet, so a wet probe holds its pin LOW at reset; an external pull-up
holds a dry one HIGH.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from fleet.boards.board import Trait

if TYPE_CHECKING:
    from fleet.boards.board import Board, Pin


class Use(StrEnum):
    """What a pin is wanted for."""

    PROBE_INTERNAL = "probe-internal-pull-up"
    PROBE_EXTERNAL = "probe-external"
    RELAY = "relay"


class Answer(StrEnum):
    """How it stands."""

    ALLOWED = "allowed"
    CARE = "care"
    REFUSED = "refused"


@dataclass(frozen=True, slots=True)
class Verdict:
    """The answer, with the reason as a sentence and its source (both empty when allowed)."""

    answer: Answer
    reason: str = ""
    source: str = ""


_REFUSED = {
    Use.PROBE_INTERNAL: (
        Trait.FLASH,
        Trait.NO_PULL_UP,
        Trait.STRAP_HIGH,
        Trait.STRAP_LOW,
    ),
    Use.PROBE_EXTERNAL: (
        Trait.FLASH,
        Trait.STRAP_HIGH,
        Trait.STRAP_LOW,
    ),
    Use.RELAY: (
        Trait.FLASH,
        Trait.INPUT_ONLY,
        Trait.STRAP_HIGH,
        Trait.STRAP_LOW,
        Trait.STRAP,
        Trait.BOOT_HIGH,
        Trait.BOOT_PULSE,
    ),
}
_CARE = {
    Use.PROBE_INTERNAL: (Trait.OCTAL_FLASH, Trait.STRAP, Trait.USB, Trait.BOOT_HIGH),
    Use.PROBE_EXTERNAL: (Trait.OCTAL_FLASH, Trait.STRAP, Trait.USB, Trait.BOOT_HIGH),
    Use.RELAY: (Trait.OCTAL_FLASH, Trait.USB, Trait.BOOT_WEAK_HIGH),
}


def may(board: Board, pin: Pin, use: Use) -> Verdict:
    """Whether that pin of that board may serve that use. The first reason counts."""
    for answer, table in ((Answer.REFUSED, _REFUSED), (Answer.CARE, _CARE)):
        fact = pin.fact(*table[use])
        if fact is not None:
            label = pin.name if pin.name == f"GPIO{pin.gpio}" else f"{pin.name} (GPIO{pin.gpio})"
            return Verdict(answer, f"{label} of {board.id} {fact.what}", fact.source)
    return Verdict(Answer.ALLOWED)
