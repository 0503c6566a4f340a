"""kill -9 at every commit of the journal, before and after it: resume finishes, nothing is pushed twice or
forgotten.

At every fifth commit of fifty nodes' push, or with TANKFLEET_EVERY_COMMIT=1 at every one of them too (two minutes).
Design 11, R2. Here the process "dies" inside the commit: tasks are dropped and the journal is opened anew.
Real kill -9 of a real process is in test_killed_process.py.
"""

from __future__ import annotations

import os
from itertools import count
from pathlib import Path

import pytest

from fleet.push.journal import Journal
from fleet.push.plan import Plan
from fleet.push.state import NodeStatus, PushPhase, PushState
from tests.push.plans import NEW, OLD, plan_of, planned
from tests.push.sim_node import Behaviour
from tests.push.stage import Stage, begun, push

GOOD = plan_of([planned("a")], [planned("b")], soak_s=1.0)
STEP = 1 if os.environ.get("TANKFLEET_EVERY_COMMIT") == "1" else 5
"""Neither even nor a multiple of three: what turns with the commit's number takes its turns with fewer of them too."""
BAD = plan_of([planned("a"), planned("b")], [planned("c")], soak_s=1.0)


class Killed(BaseException):
    """The process is gone."""


class Killer:
    """Kills at the n-th commit, before or after it. Counts what happened."""

    def __init__(self, at: int, when: str) -> None:
        self.left, self.when = at, when
        self.struck = False

    def __call__(self, when: str) -> None:
        if when == self.when and not self.struck:
            if self.left == 0:
                self.struck = True
                raise Killed
            self.left -= 1


def killed_once(stage: Stage, path: Path, killer: Killer) -> PushState | None:
    """Run until killed, then resume from the file alone. None if the push ended before the kill."""
    journal = begun(stage, path)
    journal.close()
    journal = Journal.open(path / "journal.db", killer)
    try:
        push(stage, journal)
    except Killed:
        pass
    else:
        return None
    finally:
        journal.close()
    reopened = Journal.open(path / "journal.db")
    try:
        state = push(stage, reopened, resume=True) if reopened.unfinished() else reopened.state(stage.plan.id)
        assert reopened.state(stage.plan.id) == state, "the fold is not the state"
        assert reopened.unfinished() is None
        assert [o.stands for o in reopened.outcomes(stage.plan.id)] == [
            state.nodes[name].stands for wave in state.waves for name in wave
        ]
        return state
    finally:
        reopened.close()


@pytest.mark.parametrize(
    ("when", "arrives"),
    [
        ("after", False),
        pytest.param("before", True, marks=pytest.mark.slow),
        pytest.param("before", False, marks=pytest.mark.slow),
        pytest.param("after", True, marks=pytest.mark.slow),
    ],
)
def test_good_push_killed_at_every_commit(quick_path: Path, when: str, arrives: bool) -> None:
    for at in count():
        stage = Stage(GOOD)
        stage.last_bytes_arrive = arrives
        state = killed_once(stage, quick_path / str(at), Killer(at, when))
        if state is None:
            assert at > 15, "too few commits to mean anything"
            return
        assert state.phase is PushPhase.DONE, f"killed {when} commit {at}: {state.halted_by}"
        assert all(node.taken == {NEW: 1} for node in stage.nodes.values()), f"killed {when} commit {at}"
        assert all(node.stands is NodeStatus.KEPT for node in state.nodes.values())
        assert stage.sent_before_asked == []


@pytest.mark.parametrize("when", ["after", pytest.param("before", marks=pytest.mark.slow)])
def test_bad_push_killed_at_every_commit(quick_path: Path, when: str) -> None:
    for at in count():
        stage = Stage(BAD, {name: Behaviour(inverted=True) for name in "abc"})
        stage.last_bytes_arrive = at % 2 == 0
        state = killed_once(stage, quick_path / str(at), Killer(at, when))
        if state is None:
            return
        assert state.phase is PushPhase.HALTED
        assert all(node.running == OLD for node in stage.nodes.values()), f"killed {when} commit {at}"
        assert all(node.taken.get(NEW, 0) <= 1 for node in stage.nodes.values())
        assert stage.nodes["c"].taken == {}
        assert stage.sent_before_asked == []


@pytest.mark.slow
def test_fifty_nodes_killed_at_commits_all_along(quick_path: Path) -> None:
    plan = fifty()
    for at in count(0, STEP):
        stage = Stage(plan)
        stage.last_bytes_arrive = at % 2 == 0
        state = killed_once(stage, quick_path / str(at), Killer(at, "before" if at % 3 else "after"))
        if state is None:
            assert at > 50
            return
        assert state.phase is PushPhase.DONE, f"killed at commit {at}: {state.halted_by}"
        assert all(node.taken == {NEW: 1} for node in stage.nodes.values()), f"killed at commit {at}"


def fifty() -> Plan:
    """Fifty nodes in four waves, eight transfers at once."""
    nodes = [planned(f"n{i:02}", site=f"site-{i % 5}") for i in range(50)]
    return plan_of(nodes[:2], nodes[2:8], nodes[8:26], nodes[26:], soak_s=1.0, trial_s=240.0)
