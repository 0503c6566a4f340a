"""Dry runs: what is foretold is what then happens, and foretelling changes nothing."""

from __future__ import annotations

from pathlib import Path

from fleet.push.engine import fold
from fleet.push.events import Began, Event, Requested, RequestKind, Resumed
from fleet.push.preview import preview, with_requests
from fleet.push.state import NodeStatus, PushState, fresh
from tests.push.plans import plan_of, planned
from tests.push.stage import BEGAN_S, Memory, Stage, begun, push

PLAN = plan_of([planned("a")], [planned("b"), planned("c")], [planned("d")])


def states(path: Path) -> list[PushState]:
    """How a good push stood after each event."""
    stage, memory = Stage(PLAN), Memory()
    push(stage, begun(stage, path), reporter=memory)
    events: list[Event] = [Began(BEGAN_S), *memory.events]
    return [fold(fresh(PLAN), events[:n]) for n in range(1, len(events) + 1)]


def would(state: PushState, word: RequestKind, *nodes: str) -> dict[str, str]:
    event = Requested(state.now_s, word, nodes)
    return {one.node: one.would for one in preview(state, event)}


def test_stop_in_the_second_wave(quick_path: Path) -> None:
    state = next(s for s in states(quick_path) if s.nodes["b"].stands is NodeStatus.ON_TRIAL)
    told = would(state, RequestKind.STOP)
    assert told["a"] == "stay unchanged; it has 1.1.0"
    assert told["b"].startswith("go back to 1.0.0")
    assert told["d"] == "not be updated; it has 1.0.0"
    assert state.nodes["b"].stands is NodeStatus.ON_TRIAL, "foretelling changes nothing"


def test_roll_back_of_all_and_of_one(quick_path: Path) -> None:
    state = states(quick_path)[-1]
    assert all(one.startswith("go back to 1.0.0") for one in would(state, RequestKind.ROLL_BACK).values())
    told = would(state, RequestKind.ROLL_BACK, "c")
    assert told["c"].startswith("go back to 1.0.0")
    assert told["a"] == "stay unchanged; it has 1.1.0"


def test_resume_asks_first(quick_path: Path) -> None:
    state = next(s for s in states(quick_path) if s.nodes["b"].stands is NodeStatus.SENDING)
    told = {one.node: one.would for one in preview(state, Resumed(state.now_s))}
    assert told["a"] == "stay unchanged"
    assert told["b"] == "be asked what it runs, then continue from there"
    assert told["d"] == "follow in its turn"


def test_what_was_asked_for_meanwhile_counts(quick_path: Path) -> None:
    state = states(quick_path)[0]
    assert not state.held
    assert with_requests(state, [Requested(state.now_s, RequestKind.HOLD)]).held
