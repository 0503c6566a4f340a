"""What earlier pushes say: of an image, whether it was given up; of the nodes, whether one of them is unfinished."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.errors import PushError
from fleet.limits import AUDITED_PUSHES
from fleet.push.blame import OF_THE_IMAGE
from fleet.push.codes import PUSH_UNFINISHED
from fleet.push.journal import Journal
from fleet.push.reasons import Why
from fleet.push.state import NodeStatus, PushPhase

if TYPE_CHECKING:
    from pathlib import Path

    from fleet.push.outcome import NodeOutcome

_WENT_BACK = frozenset({NodeStatus.PUT_BACK, NodeStatus.LOST})


def given_up_images(journal: Journal) -> dict[str, str]:
    """SHA-256 of an image to the id of the push that gave it up; the newest push of an image decides.

    An image is given up when its push was halted because nodes failed, or was rolled back: also for nodes
    whose turn never came, for they have the same code.
    """
    decided: dict[str, str | None] = {}
    for record in reversed(journal.pushes()[-AUDITED_PUSHES:]):
        made = journal.outcomes(record.id)
        failed = record.phase is PushPhase.HALTED and any(_tells_of_image(o) for o in made)
        given_up = failed or record.phase is PushPhase.ROLLED_BACK
        for outcome in made:
            decided.setdefault(outcome.to_image, record.id if given_up else None)
    return {image: push for image, push in decided.items() if push is not None}


def _tells_of_image(outcome: NodeOutcome) -> bool:
    """Whether what came of this node is evidence against its image: not if only its supply or its link gave way,
    nor if it went back with its wave alone."""
    if outcome.blame is not None:
        return outcome.blame in OF_THE_IMAGE
    return bool(outcome.failed) or (outcome.stands in _WENT_BACK and outcome.why is not Why.WAVE_FAILED)


def given_up_at(path: Path) -> dict[str, str]:
    """The same from the journal at that path; none if nothing was ever pushed."""
    with Journal.reading(path) as journal:
        return given_up_images(journal) if journal is not None else {}


def unfinished_at(path: Path) -> str | None:
    """The id of the push that is under way in the journal at that path, or was cut off; None if there is none."""
    with Journal.reading(path) as journal:
        return journal.unfinished() if journal is not None else None


def refuse_unfinished(path: Path) -> None:
    """PushError (PSH101) if a push in the journal at that path was cut off: its nodes may be on trial."""
    unfinished = unfinished_at(path)
    if unfinished is not None:
        raise PushError(PUSH_UNFINISHED, f"push {unfinished} is unfinished")
