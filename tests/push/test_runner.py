"""The runner against simulated nodes on a jumping clock: no sockets, no waiting."""

from __future__ import annotations

from pathlib import Path

import pytest

from fleet.push.events import Action, Outcome, Requested, RequestKind, Result
from fleet.push.reasons import Halt, HaltedBy
from fleet.push.reporters.words import halted_words
from fleet.push.runner import Interrupted, Runner
from fleet.push.state import NodeStatus, PushPhase, Task
from tests.push.jumping import later
from tests.push.plans import NEW, OLD, plan_of, planned
from tests.push.sim_node import Behaviour
from tests.push.stage import BEGAN_S, Memory, Stage, begun, push

FOUR = plan_of([planned("a")], [planned("b"), planned("c"), planned("d")])


def stands(state: object) -> dict[str, NodeStatus]:
    return {name: node.stands for name, node in state.nodes.items()}  # type: ignore[attr-defined]


def test_a_good_update_is_kept_by_all(quick_path: Path) -> None:
    stage, memory = Stage(FOUR), Memory()
    journal = begun(stage, quick_path)
    state = push(stage, journal, reporter=memory)
    assert state.phase is PushPhase.DONE
    assert set(stands(state).values()) == {NodeStatus.KEPT}
    assert all(node.running == NEW and node.taken == {NEW: 1} for node in stage.nodes.values())
    assert [verdict.passed for verdict in state.verdicts] == [True, True]
    assert ("a", 4, 4) in memory.sent
    assert journal.state(FOUR.id) == state
    assert journal.unfinished() is None


def test_a_bad_update_is_caught_in_the_first_wave_and_put_back(quick_path: Path) -> None:
    stage = Stage(FOUR, {name: Behaviour(inverted=True) for name in "abcd"})
    state = push(stage, begun(stage, quick_path))
    assert state.phase is PushPhase.HALTED
    assert stands(state) == {
        "a": NodeStatus.PUT_BACK,
        "b": NodeStatus.LEFT_OUT,
        "c": NodeStatus.LEFT_OUT,
        "d": NodeStatus.LEFT_OUT,
    }
    assert all(node.running == OLD for node in stage.nodes.values())
    assert "marks not contradictory" in str(state.nodes["a"].reason)
    assert state.halted_by == (HaltedBy(Halt.WAVE_FAILED, 1, ("a",)),)
    assert halted_words(state.halted_by) == "wave 1 failed: a"


def test_a_later_wave_that_fails_goes_back_and_the_earlier_one_stays(quick_path: Path) -> None:
    stage = Stage(FOUR, {"c": Behaviour(crashes=True)})
    state = push(stage, begun(stage, quick_path))
    assert state.phase is PushPhase.HALTED
    assert stands(state) == {
        "a": NodeStatus.KEPT,
        "b": NodeStatus.PUT_BACK,
        "c": NodeStatus.PUT_BACK,
        "d": NodeStatus.PUT_BACK,
    }
    assert "no-healthy-boot" in str(state.nodes["c"].reason)
    assert str(state.nodes["b"].reason) == "its wave failed"


def test_a_node_that_never_comes_back_is_lost_after_its_own_fall_back_was_awaited(quick_path: Path) -> None:
    stage, memory = Stage(FOUR, {"a": Behaviour(dies=True)}), Memory()
    state = push(stage, begun(stage, quick_path), reporter=memory)
    assert state.phase is PushPhase.HALTED
    assert state.nodes["a"].stands is NodeStatus.LOST
    waited_s = state.now_s - state.nodes["a"].sent_at_s
    assert waited_s >= FOUR.policy.trial_s
    assert "a" in stage.relocated


def test_a_kept_node_without_older_image_is_sent_the_old_one(quick_path: Path) -> None:
    stage = Stage(FOUR, {"b": Behaviour(forgets_older=True)})
    journal = begun(stage, quick_path)
    push(stage, journal)
    state = push(stage, journal, first=[Requested(BEGAN_S + stage.base_s, RequestKind.ROLL_BACK, ("b",))])
    assert state.phase is PushPhase.ROLLED_BACK
    assert stands(state) == {
        "a": NodeStatus.KEPT,
        "b": NodeStatus.PUT_BACK,
        "c": NodeStatus.KEPT,
        "d": NodeStatus.KEPT,
    }
    assert stage.nodes["b"].running == OLD
    assert stage.nodes["b"].taken == {NEW: 1, OLD: 1}


def test_a_node_stays_where_it_is_when_the_old_image_is_gone(quick_path: Path) -> None:
    stage = Stage(FOUR, {"b": Behaviour(forgets_older=True)})
    stage.without_old = True
    journal = begun(stage, quick_path)
    push(stage, journal)
    state = push(stage, journal, first=[Requested(BEGAN_S + stage.base_s, RequestKind.ROLL_BACK, ("b",))])
    assert state.nodes["b"].stands is NodeStatus.KEPT
    assert "SHF" in str(state.nodes["b"].reason)
    assert stage.nodes["b"].running == NEW


def test_hold_and_go_on_through_the_journal(quick_path: Path) -> None:
    stage, memory = Stage(FOUR), Memory()
    journal = begun(stage, quick_path)
    seen: list[tuple[float, bool]] = []

    async def person(runner: Runner) -> None:
        await later(2.0)
        journal.request(FOUR.id, Requested(stage.now_s(), RequestKind.HOLD))
        await later(100.0)
        seen.append((runner.state.now_s, runner.state.held))
        assert runner.state.nodes["a"].stands is NodeStatus.KEPT
        assert runner.state.nodes["b"].stands is NodeStatus.QUEUED
        journal.request(FOUR.id, Requested(stage.now_s(), RequestKind.GO_ON))

    state = push(stage, journal, reporter=memory, act=person)
    assert seen[0][1]
    assert state.phase is PushPhase.DONE
    assert journal.open_requests(FOUR.id) == []
    sends = [e.at_s for e in memory.events if isinstance(e, Outcome) and e.doing == "send" and e.node == "b"]
    assert sends[0] > BEGAN_S + 102.0


def test_stop_brings_trials_back_and_leaves_kept_ones(quick_path: Path) -> None:
    stage = Stage(FOUR)
    journal = begun(stage, quick_path)

    async def person(runner: Runner) -> None:
        while not any(n.task is Task.SOAK for n in runner.state.in_wave(2)):
            await later(0.2)
        journal.request(FOUR.id, Requested(stage.now_s(), RequestKind.STOP))

    state = push(stage, journal, act=person)
    assert state.phase is PushPhase.STOPPED
    assert stands(state) == {
        "a": NodeStatus.KEPT,
        "b": NodeStatus.PUT_BACK,
        "c": NodeStatus.PUT_BACK,
        "d": NodeStatus.PUT_BACK,
    }
    assert {name: node.running for name, node in stage.nodes.items()} == {
        "a": NEW,
        "b": OLD,
        "c": OLD,
        "d": OLD,
    }


def test_a_node_without_spare_time_is_held_off_and_comes_at_the_end(quick_path: Path) -> None:
    plan = plan_of([planned("a"), planned("b")], [planned("c")])
    stage, memory = Stage(plan, {"b": Behaviour(spare_short_until_s=65.0)}), Memory()
    held: list[str] = []
    memory.on_event = lambda event, after: held.append(str(after.nodes["b"].reason))
    state = push(stage, begun(stage, quick_path), reporter=memory)
    assert state.phase is PushPhase.DONE
    assert set(stands(state).values()) == {NodeStatus.KEPT}
    assert "spare time 1 min 40 s, needed 10 min" in held
    assert state.nodes["b"].wave == 3
    assert state.nodes["b"].sent_at_s > state.nodes["c"].sent_at_s


def test_a_node_that_never_has_spare_time_is_left_out_in_the_end(quick_path: Path) -> None:
    plan = plan_of([planned("a"), planned("b")])
    stage = Stage(plan, {"b": Behaviour(spare_short_until_s=1e9)})
    state = push(stage, begun(stage, quick_path))
    assert state.phase is PushPhase.DONE
    assert state.nodes["b"].stands is NodeStatus.LEFT_OUT
    assert str(state.nodes["b"].reason) == "held off 6 times: spare time 1 min 40 s, needed 10 min"
    assert stage.nodes["b"].taken == {}


def test_a_send_that_is_slow_to_begin_is_begun_by_a_fresh_state(quick_path: Path) -> None:
    """The spare time was read from a state of 30 s ago at most when the first byte goes."""
    plan = plan_of([planned("a")])
    for slow_s, asked_again in ((29.0, False), (31.0, True)):
        stage, memory, path = Stage(plan), Memory(), quick_path / f"{slow_s:g}"
        path.mkdir()
        stage.slow_to_begin_s = [slow_s]
        state = push(stage, begun(stage, path), reporter=memory)
        assert stands(state) == {"a": NodeStatus.KEPT}
        assert stage.nodes["a"].taken == {NEW: 1}
        sends = [e for e in memory.events if isinstance(e, Outcome) and e.doing is Action.SEND]
        assert [send.result for send in sends] == [Result.BROKE, Result.OK][not asked_again :]
        if asked_again:
            assert "no byte was sent within 30 s" in sends[0].detail


def test_interrupted_in_a_transfer_it_waits_for_its_end_and_resume_goes_on(quick_path: Path) -> None:
    stage, memory = Stage(FOUR), Memory()
    journal = begun(stage, quick_path)

    async def person(runner: Runner) -> None:
        await later(1.0)
        runner.interrupt()
        assert memory.awaited == ["a"]

    with pytest.raises(Interrupted):
        push(stage, journal, reporter=memory, act=person)
    assert stage.nodes["a"].taken == {NEW: 1}
    assert journal.state(FOUR.id).nodes["a"].accepted == 1
    assert journal.unfinished() == FOUR.id
    state = push(stage, journal, resume=True)
    assert state.phase is PushPhase.DONE
    assert all(node.taken == {NEW: 1} for node in stage.nodes.values())


COMMITS = 24
"""Of a push of four nodes, but for the last of all: it ends then."""


@pytest.mark.parametrize("nth", range(1, COMMITS))
def test_interrupted_while_it_waits_for_the_journal_it_begins_no_transfer(quick_path: Path, nth: int) -> None:
    stage, memory = Stage(FOUR), Memory()
    begun_then: list[list[str]] = []
    runners: list[Runner] = []
    commits = 0

    def interrupt(when: str) -> None:
        nonlocal commits
        commits += when == "before" and bool(runners)
        if when == "before" and commits == nth and not begun_then:
            begun_then.append(list(stage.begun))
            runners[0].interrupt()

    async def person(runner: Runner) -> None:
        runners.append(runner)

    journal = begun(stage, quick_path, interrupt)
    with pytest.raises(Interrupted):
        push(stage, journal, reporter=memory, act=person)
    assert [stage.begun] == begun_then
    runners.clear()
    state = push(stage, journal, resume=True)
    assert state.phase is PushPhase.DONE
    assert all(node.taken == {NEW: 1} for node in stage.nodes.values())
    journal.close()


def test_interrupted_while_the_image_is_read_it_begins_no_transfer(quick_path: Path) -> None:
    stage, memory = Stage(FOUR), Memory()
    journal = begun(stage, quick_path)
    runners: list[Runner] = []

    async def person(runner: Runner) -> None:
        runners.append(runner)

    def read(node: str) -> tuple[bytes, bytes]:
        runners[0].interrupt()
        return NEW.encode(), b"ticket"

    stage.new_cargo = read  # type: ignore[method-assign]
    with pytest.raises(Interrupted):
        push(stage, journal, reporter=memory, act=person)
    assert (stage.begun, memory.awaited) == ([], [])
    del stage.new_cargo
    assert push(stage, journal, resume=True).phase is PushPhase.DONE


def test_interrupted_twice_it_leaves_at_once(quick_path: Path) -> None:
    stage = Stage(FOUR)
    journal = begun(stage, quick_path)

    async def person(runner: Runner) -> None:
        await later(1.0)
        runner.interrupt()
        runner.interrupt()

    with pytest.raises(Interrupted):
        push(stage, journal, act=person)
    assert stage.base_s == pytest.approx(1.0, abs=0.1)
    assert stage.nodes["a"].taken == {}
    state = push(stage, journal, resume=True)
    assert state.phase is PushPhase.DONE
    assert all(node.taken == {NEW: 1} for node in stage.nodes.values())


def test_resumed_after_the_trials_ran_out_it_sends_nothing_twice(quick_path: Path) -> None:
    stage = Stage(FOUR)
    journal = begun(stage, quick_path)

    async def person(runner: Runner) -> None:
        while runner.state.nodes["a"].task is not Task.SOAK:
            await later(0.2)
        runner.interrupt()

    with pytest.raises(Interrupted):
        push(stage, journal, act=person)
    stage.base_s += 3600.0
    state = push(stage, journal, resume=True)
    assert state.phase is PushPhase.HALTED
    assert "fell back on its own: trial-over" in str(state.nodes["a"].reason)
    assert stage.nodes["a"].taken == {NEW: 1}
    assert stands(state)["b"] is NodeStatus.LEFT_OUT


def test_a_fault_of_the_program_itself_is_raised_and_the_journal_is_sound(quick_path: Path) -> None:
    stage = Stage(FOUR)
    journal = begun(stage, quick_path)

    def broken(node: str) -> tuple[bytes, bytes]:
        raise ZeroDivisionError("a bug")

    stage.new_cargo = broken  # type: ignore[method-assign]
    with pytest.raises(ZeroDivisionError):
        push(stage, journal)
    del stage.new_cargo
    state = push(stage, journal, resume=True)
    assert state.phase is PushPhase.DONE
