"""What a plan says of boards that copy a new image in place: when a power cut costs a ladder and a cable. Pure."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

from fleet.push.plan import CopyRisk
from fleet.water.quantities import duration

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Mapping

    from fleet.boards.board import Outage
    from fleet.push.plan import PlannedNode

_NAMES_SHOWN = 6


def copy_risks(
    nodes: Iterable[PlannedNode], in_place: Collection[str], outages: Mapping[str, Outage]
) -> tuple[CopyRisk, ...]:
    """One for each kind of board that is `in_place`; `outages` by board."""
    by_board = defaultdict(list)
    for node in nodes:
        if node.board in in_place:
            by_board[node.board].append(node)
    risks = []
    for board, found in sorted(by_board.items()):
        copy_s = max(outages[board].copy_s(node.size_bytes) for node in found)
        names = tuple(sorted(node.node for node in found))
        risks.append(
            CopyRisk(board=board, nodes=names, copy_s=round(copy_s, 1), text=_text(board, names, copy_s))
        )
    return tuple(risks)


def _text(board: str, names: tuple[str, ...], copy_s: float) -> str:
    more = f" and {len(names) - _NAMES_SHOWN} more" if len(names) > _NAMES_SHOWN else ""
    return (
        f"{board} copies a new image in place ({', '.join(names[:_NAMES_SHOWN])}{more}): a power cut while its "
        f"boot loader copies, up to {duration(copy_s)} of each update and of each rollback, leaves a node "
        f"that needs a USB cable; push while the power is steady"
    )
