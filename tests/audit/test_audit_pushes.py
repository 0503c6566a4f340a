"""What the audit takes from a real journal: each node's last push, halted images, the push under way."""

from __future__ import annotations

from contextlib import closing
from dataclasses import replace
from pathlib import Path

from fleet.audit.pushes import journal_facts
from fleet.push.events import Resumed
from fleet.push.journal import Journal
from fleet.push.plan import Plan
from fleet.push.reasons import Reason, Why
from fleet.push.state import NodeStatus, PushPhase, PushState, fresh
from tests.push.plans import image_of, plan_of, planned

BAD = image_of("bad")


def ended(plan: Plan, at_s: float, phase: PushPhase, **stands: NodeStatus) -> PushState:
    """How a push ended, by node."""
    state = fresh(plan)
    nodes = {
        name: replace(p, stands=stands[name], reason=Reason(Why.FAILED, f"{name} did"))
        for name, p in state.nodes.items()
    }
    return replace(state, nodes=nodes, phase=phase, now_s=at_s)


def write(path: Path, plan: Plan, at_s: float, after: PushState | None) -> None:
    """A push in the journal; `after` None: it is still under way."""
    with closing(Journal.open(path)) as journal:
        journal.begin(plan, at_s)
        if after is not None:
            journal.append(plan.id, [Resumed(at_s)], after)


def test_nothing_was_ever_pushed(tmp_path: Path) -> None:
    facts = journal_facts(tmp_path / "journal.db")
    assert (dict(facts.last), dict(facts.halted_images), facts.unfinished) == ({}, {}, None)
    assert not (tmp_path / "journal.db").exists(), "an audit makes no journal"


def test_the_newest_push_that_touched_a_node_counts(tmp_path: Path) -> None:
    path = tmp_path / "journal.db"
    first = plan_of([planned("a"), planned("b")], soak_s=1.0)
    write(path, first, 100.0, ended(first, 160.0, PushPhase.DONE, a=NodeStatus.KEPT, b=NodeStatus.KEPT))
    bad = {"to_image": BAD, "to_release": "1.2.0"}
    second = plan_of([planned("a", **bad)], [planned("b", **bad)], soak_s=2.0)
    write(
        path,
        second,
        200.0,
        ended(second, 260.0, PushPhase.HALTED, a=NodeStatus.PUT_BACK, b=NodeStatus.LEFT_OUT),
    )
    facts = journal_facts(path)
    assert (facts.last["a"].push, facts.last["a"].stands, facts.last["a"].release) == (
        second.id,
        "put-back",
        "1.2.0",
    )
    assert facts.last["a"].at == "1970-01-01T00:04:20Z"
    assert facts.last["a"].reason == "a did"
    assert (facts.last["b"].push, facts.last["b"].stands) == (first.id, "kept")
    assert facts.halted_images == {BAD: second.id}


def test_an_image_that_was_pushed_again_and_kept_is_not_halted(tmp_path: Path) -> None:
    path = tmp_path / "journal.db"
    first, again = plan_of([planned("a")], soak_s=1.0), plan_of([planned("a")], soak_s=2.0)
    write(path, first, 100.0, ended(first, 160.0, PushPhase.HALTED, a=NodeStatus.PUT_BACK))
    write(path, again, 200.0, ended(again, 260.0, PushPhase.DONE, a=NodeStatus.KEPT))
    assert journal_facts(path).halted_images == {}


def test_a_push_under_way(tmp_path: Path) -> None:
    path = tmp_path / "journal.db"
    plan = plan_of([planned("a")], [planned("b")])
    write(path, plan, 100.0, None)
    facts = journal_facts(path)
    assert facts.unfinished == plan.id
    assert facts.unfinished_nodes == {"a", "b"}
    assert facts.last == {}, "nothing was done to a node yet"
