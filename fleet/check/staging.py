"""The policy for pushes: a trial in which a board can come back, a soak that shows something, a gate that holds."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.boards.board import board_ids, load_board
from fleet.boards.trial import back_s, room_s
from fleet.check.codes import NO_ROOM_IN_TRIAL
from fleet.check.codes.plausible import FIRST_WAVE_LARGE, GATE_OPEN, PILOT_BLIND, SOAK_SHORT, TIME_ODD
from fleet.finding import Figure, Finding, Subject, SubjectKind
from fleet.limits import (
    FAILURES_MOST,
    FIRST_WAVE_OF,
    FIRST_WAVE_SHARE,
    KEEP_RESERVE_S,
    NODE_BLOCK_U16,
    PILOT_SHARE_MOST,
    SOAK_LEAST_S,
    TRIAL_MOST_S,
)
from fleet.water.quantities import duration

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleet.codes import Code
    from fleet.inventory.parsed import Parsed, ParsedPart
    from fleet.model.policy import Policy


def staging_fits(survey: Parsed) -> Iterator[Finding]:
    """The policy, with the nodes that there are."""
    for entry in survey.policies[:1]:
        policy = entry.part
        if policy.soak_s < policy.trial_s:  # else it is spoken of already
            yield from _room(survey, entry, policy)
        yield from _watched(entry, policy)
        yield from _waves(survey, entry, policy)


def _finding(entry: ParsedPart[Policy], code: Code, key: str, what: str, *figures: Figure) -> Finding:
    return Finding(code, what, entry.value(key), Subject(SubjectKind.POLICY, part=key), figures=figures)


def _room(survey: Parsed, entry: ParsedPart[Policy], policy: Policy) -> Iterator[Finding]:
    """As the planner computes it, with the slowest of the boards that are there."""
    left_s = room_s(policy.trial_s, policy.soak_s)
    kinds = sorted({node.part.board for node in survey.nodes} & set(board_ids()))
    slowest = max((load_board(kind) for kind in kinds), key=lambda board: back_s(board.outage), default=None)
    wanted_s = back_s(slowest.outage) if slowest is not None else 0.0
    if left_s >= wanted_s:
        return
    of_it = f"a trial of {duration(policy.trial_s)} with a soak of {duration(policy.soak_s)} and {KEEP_RESERVE_S:g} s "
    if left_s < 0:
        what = f"{of_it}to say keep is {-left_s:g} s too short, even before a board has restarted"
    else:
        board = slowest.id if slowest is not None else ""
        what = f"{of_it}to say keep leaves {left_s:g} s to come back, and a {board} takes {wanted_s:g} s to restart"
    key = "soak" if "soak_s" in policy.model_fields_set else "trial"
    figures = (Figure("left to come back", left_s, "s"), Figure("restart", wanted_s, "s"))
    yield _finding(entry, NO_ROOM_IN_TRIAL, key, what, *figures)


def _watched(entry: ParsedPart[Policy], policy: Policy) -> Iterator[Finding]:
    if policy.soak_s < SOAK_LEAST_S:
        what = f"a new image is watched for {duration(policy.soak_s)}; {duration(SOAK_LEAST_S)} is the useful minimum"
        figures = (Figure("soak", policy.soak_s, "s"), Figure("least", SOAK_LEAST_S, "s"))
        yield _finding(entry, SOAK_SHORT, "soak", what, *figures)
    if TRIAL_MOST_S < policy.trial_s <= NODE_BLOCK_U16:
        what = (
            f"a trial of {duration(policy.trial_s)}: for that long an image may control nothing before its "
            f"node falls back"
        )
        figures = (Figure("trial", policy.trial_s, "s"), Figure("most", TRIAL_MOST_S, "s"))
        yield _finding(entry, TIME_ODD, "trial", what, *figures)
    if policy.failures_allowed >= FAILURES_MOST:
        what = f"{policy.failures_allowed:.0%} of a wave may fail before it is rolled back"
        figures = (Figure("failures allowed", policy.failures_allowed), Figure("less than", FAILURES_MOST))
        yield _finding(entry, GATE_OPEN, "failures_allowed", what, *figures)
    if not 0 < policy.pilot_share_found < PILOT_SHARE_MOST:
        what = f"the pilot is to show faults of {policy.pilot_share_found:.0%} of the fleet"
        figures = (Figure("pilot share", policy.pilot_share_found), Figure("less than", PILOT_SHARE_MOST))
        yield _finding(entry, PILOT_BLIND, "pilot_share_found", what, *figures)


def _waves(survey: Parsed, entry: ParsedPart[Policy], policy: Policy) -> Iterator[Finding]:
    nodes = len(survey.nodes)
    if not survey.whole or nodes < FIRST_WAVE_OF or policy.first_wave <= FIRST_WAVE_SHARE * nodes:
        return
    what = f"the first wave has {policy.first_wave} nodes, and the fleet has {nodes}"
    figures = (Figure("first wave", policy.first_wave), Figure("nodes", nodes))
    yield _finding(entry, FIRST_WAVE_LARGE, "first_wave", what, *figures)
