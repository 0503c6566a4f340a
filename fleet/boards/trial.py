"""Whether a board comes back, is watched and can be told to keep its image within a trial. Pure arithmetic: the
inventory's check and the planner both ask here."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.limits import KEEP_RESERVE_S

if TYPE_CHECKING:
    from fleet.boards.board import Outage


def room_s(trial_s: float, soak_s: float) -> float:
    """Seconds of a trial that are left for a node to come back; below 0 there is not even time to say keep."""
    return trial_s - soak_s - KEEP_RESERVE_S


def back_s(outage: Outage) -> float:
    """Seconds of its trial that a board may take until it answers: the new image's trial runs from its first start."""
    return outage.restart_s
