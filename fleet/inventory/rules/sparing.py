"""Whether a tank ever spares its node for as long as an update may take."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

from fleet.boards.board import board_ids, load_board
from fleet.finding import Figure, Finding
from fleet.inventory.codes.water import NEVER_SPARED
from fleet.inventory.model import Duty, Policy
from fleet.limits import NODE_BLOCK_U16, SHOWN_IMAGE_BYTES
from fleet.water.quantities import duration
from fleet.water.spare import needed_s, spare_time, suffices

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleet.inventory.model import Node, Tank
    from fleet.inventory.survey import Entry, Survey


def node_is_spared(survey: Survey, tank: Entry[Tank], node: Entry[Node] | None) -> Iterator[Finding]:
    """At some level that the marks of one tank can tell there is time for an update."""
    if node is None or tank.part.pump is None or node.part.board not in board_ids():
        return
    policy = survey.policies[0].part if survey.policies else Policy()
    if policy.trial_s > NODE_BLOCK_U16:
        return
    outage_s = _outage_s(node.part.board, policy.trial_s)
    wanted_s = needed_s(outage_s, policy.spare_time_margin)
    # The most spare time is at one end: full for what is drawn down, empty for what runs over.
    fills = tank.part.pump.does == "fill" or tank.part.duty is Duty.FIRE_RESERVE
    best = spare_time(tank.part, [mark.name for mark in tank.part.marks] if fills else ())
    if suffices(best.worst_s, wanted_s):
        return
    what = (
        f"at best it can be left alone for {duration(best.worst_s)} ({best.why}), and an update of `{node.part.name}` "
        f"needs {duration(wanted_s)}: {policy.spare_time_margin:g} times the worst outage of its board "
        f"({duration(outage_s)})"
    )
    figures = (
        Figure("spare time at best", best.worst_s, "s"),
        Figure("needed", wanted_s, "s"),
        Figure("worst outage", outage_s, "s"),
        Figure("margin", policy.spare_time_margin),
    )
    yield Finding(NEVER_SPARED, what, tank.value("name"), f"tank {tank.part.name}", figures=figures)


@lru_cache(maxsize=64)
def _outage_s(board_id: str, trial_s: float) -> float:
    return load_board(board_id).outage.worst_s(SHOWN_IMAGE_BYTES, trial_s)
