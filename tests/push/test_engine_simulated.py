"""Simulated pushes with faults: what must never happen never does, and broken engines are caught.

Design 11, R3: 10,000 simulated pushes, 20 broken engines. The default run does 2,000; the slow one the rest.
"""

from __future__ import annotations

import json
from collections import Counter

import pytest

from fleet.push.events import Action, Outcome, Result, read_event, write_event
from fleet.push.state import NodeStatus, PushPhase
from tests.push.broken import BROKEN, broken
from tests.push.sim import Violation, simulate

PUSHES = 1_000
SEEDS_TO_CATCH = 1_500
RARE = {
    "lets partners go together": 567,
    "forgets the late": 363,
    "lets trials run out": 282,
    "believes that all was sent before it was killed": 336,
    "does not hear a late word on the image": 2_630,
}
"""A seed to try first, where the mistake shows but rarely."""


@pytest.mark.parametrize("first", range(0, PUSHES, 250))
def test_nothing_forbidden_happens(first: int) -> None:
    ends: Counter[PushPhase] = Counter()
    stands: Counter[NodeStatus] = Counter()
    for seed in range(first, first + 250):
        sim = simulate(seed)
        ends[sim.state.phase] += 1
        stands.update(node.stands for node in sim.state.nodes.values())
    assert set(ends) == {PushPhase.DONE, PushPhase.HALTED, PushPhase.STOPPED, PushPhase.ROLLED_BACK}
    assert set(stands) == {NodeStatus.KEPT, NodeStatus.PUT_BACK, NodeStatus.LOST, NodeStatus.LEFT_OUT}


@pytest.mark.slow
@pytest.mark.parametrize("first", range(PUSHES, 10_000, 1_000))
def test_nothing_forbidden_happens_in_many_more(first: int) -> None:
    for seed in range(first, first + 1_000):
        simulate(seed)


@pytest.mark.parametrize("name", BROKEN)
def test_broken_engine_is_caught(name: str) -> None:
    with broken(name) as step:
        for seed in (RARE.get(name, 0), *range(SEEDS_TO_CATCH)):
            try:
                simulate(seed, step)
            except Violation:
                return
    pytest.fail(f"{SEEDS_TO_CATCH} pushes with an engine that {name}, and nothing was noticed")


def test_an_outcome_of_before_there_was_sent_is_read() -> None:
    outcome = Outcome(1.0, "a", 3, Action.SEND, Result.BROKE, "LNK101", "no answer")
    kind, body = write_event(outcome)
    old = json.dumps({**json.loads(body), "whole": True})
    assert read_event(kind, old) == outcome


def test_events_survive_being_written_and_read() -> None:
    for seed in range(20):
        for event in simulate(seed).events:
            kind, body = write_event(event)
            again = read_event(kind, body)
            assert again == event
            assert type(again) is type(event)
            if isinstance(event, Outcome) and isinstance(again, Outcome):
                assert again.doing is event.doing
