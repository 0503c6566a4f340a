"""How long an update of one node takes, at worst and as expected."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

from fleet.boards.board import Outage
from fleet.limits import EXPECTED_SHARE_OF_WORST, RETURN_WITHIN_MIN_S

if TYPE_CHECKING:
    from fleet.boards.board import Board

HOST_OUTAGE: Final = Outage(
    send_bytes_per_s=1_000_000.0,
    erase_s_per_sector=0.0,
    program_s_per_sector=0.001,
    restart_s=6.0,
    copies_to_new=1,
    copies_back=1,
    source="own allowance for a virtual node on a busy machine; its flash is a file",
)


@dataclass(frozen=True, slots=True)
class Times:
    """Seconds. `worst_s`: the longest that the node may control nothing (design 5.3); `weak_s`: where its supply gives
    way in the trial, which each start begins anew."""

    worst_s: float
    weak_s: float
    send_s: float
    return_within_s: float
    fall_back_within_s: float
    expected_s: float


def outage_of(board: Board, target: Literal["board", "host"]) -> Outage:
    """What an update of such a node takes at its slowest: the board's own figures, but for virtual nodes."""
    return HOST_OUTAGE if target == "host" else board.outage


def times(outage: Outage, size_bytes: int, trial_s: float) -> Times:
    """The times of one update with an image of that size."""
    update_s = outage.update_s(size_bytes)
    send_s = outage.send_s(size_bytes)
    return Times(
        worst_s=outage.worst_s(size_bytes, trial_s),
        weak_s=outage.worst_s(size_bytes, trial_s, weak=True),
        send_s=send_s,
        return_within_s=max(RETURN_WITHIN_MIN_S, update_s - send_s),
        fall_back_within_s=max(RETURN_WITHIN_MIN_S, outage.fall_back_s(size_bytes)),
        expected_s=(update_s - send_s + outage.usual_send_s(size_bytes)) * EXPECTED_SHARE_OF_WORST,
    )
