"""What a plan says of boards that copy a new image in place: when a power cut costs a ladder and a cable. Pure."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable

    from fleet.boards.board import Board
    from fleet.push.plan import Plan

_NAMES_SHOWN = 6


def copy_risks(plan: Plan, load_board: Callable[[str], Board]) -> tuple[str, ...]:
    """One sentence for each kind of board that has the weakness; none for the bench, whose boot loader has not."""
    if plan.target != "board":
        return ()
    by_board = defaultdict(list)
    for _, node in plan.nodes():
        if load_board(node.board).layout == "copy-in-place":
            by_board[node.board].append(node)
    risks = []
    for board_id, nodes in sorted(by_board.items()):
        copy_s = max(load_board(board_id).outage.copy_s(node.size_bytes) for node in nodes)
        names = sorted(node.node for node in nodes)
        more = f" and {len(names) - _NAMES_SHOWN} more" if len(names) > _NAMES_SHOWN else ""
        risks.append(
            f"{board_id} copies a new image in place ({', '.join(names[:_NAMES_SHOWN])}{more}): a power cut while its "
            f"boot loader copies, up to {copy_s:.0f} s of each update and of each way back, leaves a node that needs "
            "a USB cable; push while the power is steady"
        )
    return tuple(risks)
