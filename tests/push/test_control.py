"""What becomes of a person's request: by the journal and by who holds the runner's lock; no clock, no process."""

from __future__ import annotations

from contextlib import ExitStack
from pathlib import Path

import pytest

from fleet.errors import PushError
from fleet.push.codes import NO_SUCH_PUSH, NOT_IN_PUSH
from fleet.push.control import (
    Heard,
    Hearing,
    Waiting,
    ask_runner,
    first_events,
    hold_or_go_on,
    target,
    to_bring_back,
)
from fleet.push.events import Requested, RequestKind, Resumed
from fleet.push.journal import Journal
from fleet.push.lock import runner_lock
from tests.push.plans import plan_of, planned

AT_S = 1_772_352_000.0
PLAN = plan_of([planned("a")])
HOLD = Requested(AT_S, RequestKind.HOLD)
PID = 4711


@pytest.fixture
def path(tmp_path) -> Path:
    """A journal with a push that is under way."""
    path = tmp_path / "journal.db"
    with Journal.open(path) as journal:
        journal.begin(PLAN, AT_S)
    return path


def asked(path: Path) -> list[Requested]:
    with Journal.open(path) as journal:
        return [request.event for request in journal.open_requests(PLAN.id)]


def ticking() -> list[float]:
    """Seconds that pass with each pause, and no real ones."""
    return [0.0]


def waiting(now_s: list[float], happens=lambda: None) -> Waiting:
    def pause(for_s: float) -> None:
        now_s[0] += for_s
        happens()

    return Waiting(1.0, pause, lambda: now_s[0])


def test_without_a_runner_it_is_written_down_once(path) -> None:
    assert hold_or_go_on(path, HOLD, waiting(ticking())) == Hearing(Heard.WRITTEN_DOWN, PLAN.id)
    assert asked(path) == [HOLD]
    assert hold_or_go_on(path, HOLD, waiting(ticking())) == Hearing(Heard.SO_ALREADY, PLAN.id)
    assert asked(path) == [HOLD]


def test_without_a_push_there_is_nothing_to_hold(tmp_path) -> None:
    assert hold_or_go_on(tmp_path / "journal.db", HOLD, waiting(ticking())) == Hearing(Heard.NO_PUSH)


def test_a_runner_that_does_not_answer_has_it_all_the_same(path) -> None:
    with runner_lock(path, PID):
        hearing = hold_or_go_on(path, HOLD, waiting(ticking()))
    assert hearing == Hearing(Heard.LATER, PLAN.id, PID)
    assert hearing.has_runner
    assert hearing.is_late
    assert asked(path) == [HOLD]


def test_a_runner_that_takes_it_in_is_waited_for(path) -> None:
    def take() -> None:
        with Journal.open(path) as journal:
            journal.append(
                PLAN.id,
                [HOLD],
                journal.state(PLAN.id),
                [request.id for request in journal.open_requests(PLAN.id)],
            )

    with runner_lock(path, PID):
        assert ask_runner(path, HOLD, waiting(ticking(), take)) == Hearing(Heard.BY_RUNNER, PLAN.id, PID)
    assert asked(path) == []


def test_a_runner_that_ends_before_it_takes_it_in_leaves_it_written_down_once(path) -> None:
    with ExitStack() as runner:
        runner.enter_context(runner_lock(path, PID))
        assert hold_or_go_on(path, HOLD, waiting(ticking(), runner.close)).heard is Heard.WRITTEN_DOWN
    assert asked(path) == [HOLD]


def test_a_roll_back_is_for_the_push_named_or_the_one_under_way(path) -> None:
    back = Requested(AT_S, RequestKind.ROLL_BACK)
    with Journal.open(path) as journal:
        assert target(journal, back, None) == PLAN.id
        assert target(journal, back, PLAN.id) == PLAN.id
        with pytest.raises(PushError) as caught:
            target(journal, back, "0" * 12)
        assert caught.value.code == NO_SUCH_PUSH
        assert to_bring_back(journal, PLAN.id, back) == []
        with pytest.raises(PushError) as caught:
            to_bring_back(journal, PLAN.id, Requested(AT_S, RequestKind.ROLL_BACK, ("stranger",)))
        assert caught.value.code == NOT_IN_PUSH
        assert first_events(journal, PLAN.id, back, AT_S) == [Resumed(AT_S), back]
