"""What a push may send, and whether the shelf has it byte for byte: looked at before the first byte is sent."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.build.codes import DAMAGED_CARGO
from fleet.errors import ShelfError
from fleet.push.state import PushPhase, RollbackCause

if TYPE_CHECKING:
    from collections.abc import Collection

    from fleet.build.shelf import Shelf
    from fleet.push.plan import Plan
    from fleet.push.state import PushState


def left_to_send(state: PushState) -> list[str]:
    """The nodes that the push may yet send their new image to. Pure."""
    if state.phase is not PushPhase.RUNNING:
        return []
    return [
        n.node for n in state.nodes.values() if not (n.settled or n.accepted) and n.back is RollbackCause.NO
    ]


def left_to_bring_back(state: PushState) -> list[str]:
    """The nodes that go back, and are sent their old image if they do not hold it any more. Pure."""
    return [n.node for n in state.nodes.values() if n.back is not RollbackCause.NO and not n.settled]


def refuse_damaged(shelf: Shelf, plan: Plan, nodes: Collection[str], *, then: str) -> None:
    """ShelfError (SHF105) unless the shelf has the planned image and ticket of these nodes. `then`: what is to be done
    once they are built again."""
    bad = []
    for _, node in plan.nodes():
        cargo = (node.to_image, node.size_bytes), (node.ticket_sha256, None)
        if node.node in nodes and not all(shelf.is_whole(sha, size) for sha, size in cargo):
            bad.append(node.node)
    if bad:
        what = f"plan {plan.id} cannot be sent: the shelf's image or ticket of {', '.join(bad)} is damaged or missing"
        fix = f"Run `tankfleet build {' '.join(bad)}`, which makes the same bytes again; then {then}."
        raise ShelfError(DAMAGED_CARGO, what, fix=fix)


def without_old(shelf: Shelf, plan: Plan, nodes: Collection[str]) -> list[str]:
    """Those of the nodes whose old image, or its ticket, is not whole on the shelf. None of it stops their way back:
    most of them hold that image, and are only told to go back to it."""
    return [
        node.node
        for _, node in plan.nodes()
        if node.node in nodes and not _has_old(shelf, node.node, node.from_image)
    ]


def _has_old(shelf: Shelf, node: str, image: str) -> bool:
    try:
        entry = shelf.entry_for_image(node, image)
    except ShelfError:  # an entry that cannot be read
        return False
    return entry is not None and shelf.can_be_sent(entry)
