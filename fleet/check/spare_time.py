"""Whether a tank ever spares its node for as long as an update may take."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

from fleet.boards.board import board_ids, load_board
from fleet.check.codes.water import NEVER_SPARED
from fleet.finding import Figure, Finding
from fleet.inventory.parsed import subject_of
from fleet.limits import NODE_BLOCK_U16, SHOWN_IMAGE_BYTES
from fleet.model.policy import Policy
from fleet.water.crossing import debounce_s
from fleet.water.filling import rising
from fleet.water.quantities import duration
from fleet.water.spare import needed_s, spare_time, suffices

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleet.inventory.parsed import Parsed, ParsedPart
    from fleet.model.node import Node
    from fleet.model.tank import Tank
    from fleet.water.spare import SpareTime


def node_is_spared(
    survey: Parsed, tank: ParsedPart[Tank], node: ParsedPart[Node] | None
) -> Iterator[Finding]:
    """At some level that the marks of one tank can tell there is time for an update."""
    if node is None or tank.part.pump is None or node.part.board not in board_ids():
        return
    policy = survey.policies[0].part if survey.policies else Policy()
    if policy.trial_s > NODE_BLOCK_U16:
        return
    outage_s = _outage_s(node.part.board, policy.trial_s)
    wanted_s = needed_s(outage_s, policy.spare_time_margin)
    best = _at_best(tank.part, debounce_s(node.part), fills=tank.part.pump.does == "fill")
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
    yield Finding(NEVER_SPARED, what, tank.value("name"), subject_of(tank), figures=figures)


def _at_best(tank: Tank, debounced_s: float, *, fills: bool) -> SpareTime:
    """The most spare time at any level; of equal ones that of a full tank if it is filled, of an empty one else."""
    names = [mark.name for mark in rising(tank)]
    counts = range(len(names) + 1)
    levels = [
        spare_time(tank, names[:wet], debounced_s=debounced_s)
        for wet in (reversed(counts) if fills else counts)
    ]
    return max(levels, key=lambda spare: spare.worst_s)


@lru_cache(maxsize=64)
def _outage_s(board_id: str, trial_s: float) -> float:
    return load_board(board_id).outage.worst_s(SHOWN_IMAGE_BYTES, trial_s)
