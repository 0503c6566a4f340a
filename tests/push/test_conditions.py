"""Nodes in a weak condition during a push: what is put down to supply or memory, and what to the image."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from fleet.codes import Exit
from fleet.limits import SEND_TRIES
from fleet.link.refusals import SPOILT
from fleet.push.blame import Blame
from fleet.push.engine import step
from fleet.push.events import Began, Sent
from fleet.push.gate import CheckName
from fleet.push.history import given_up_images
from fleet.push.journal import Journal
from fleet.push.outcome import NodeOutcome, code_of, exit_of, outcomes, read_outcomes, write_outcomes
from fleet.push.reasons import Halt, HaltedBy, Reason, Why
from fleet.push.reporters.lines import LinesReporter
from fleet.push.reporters.plain import PlainReporter
from fleet.push.reporters.words import halted_words
from fleet.push.runner import Interrupted, Runner
from fleet.push.state import NodeStatus, PushPhase, PushState, evolve, fresh
from tests.push.jumping import later
from tests.push.plans import NEW, plan_of, planned
from tests.push.sim_node import BROWN_OUT_TRIES, Behaviour
from tests.push.stage import BEGAN_S, Memory, Stage, begun, push

BACK = Behaviour(brown_outs=BROWN_OUT_TRIES + 1)
THROUGH = Behaviour(brown_outs=BROWN_OUT_TRIES)


def pushed(path: Path, waves: list[str], **behaviours: Behaviour) -> tuple[PushState, Journal, Memory]:
    """A push of these waves, one letter for a node; every node counts its brown-outs."""
    stage = Stage(plan_of(*([planned(name) for name in wave] for wave in waves)), behaviours)
    for node in stage.nodes.values():
        node.brown_outs = 7
    journal, memory = begun(stage, path), Memory()
    return push(stage, journal, reporter=memory), journal, memory


def of(state: PushState, node: str) -> NodeOutcome:
    return next(one for one in outcomes(state) if one.node == node)


def test_brown_outs_alone_do_not_stop_a_push_of_many_nodes(quick_path: Path) -> None:
    """One of three in the pilot, two of six in the next wave: never more than half, so it is their supply."""
    state, journal, _ = pushed(quick_path, ["abc", "defghi"], b=BACK, e=BACK, f=BACK)
    assert state.phase is PushPhase.DONE
    stands = {one.node: one.stands for one in outcomes(state)}
    assert {name for name, how in stands.items() if how is NodeStatus.PUT_BACK} == {"b", "e", "f"}
    assert {name for name, how in stands.items() if how is NodeStatus.KEPT} == set("acdghi")
    one = of(state, "b")
    assert one.blame is Blame.SUPPLY
    assert [name for name, _ in one.failed] == [CheckName.SUPPLY]
    assert "4 brown-outs in its trial" in one.reason
    assert (of(state, "a").blame, of(state, "a").brown_outs, one.brown_outs) == (None, 0, 4)
    code = code_of(state)
    assert code is not None
    assert code.code == "PSH130"
    assert exit_of(state) is Exit.PROBLEMS
    assert given_up_images(journal) == {}
    last = state.verdicts[-1]
    assert (last.supply, last.failed, last.of, last.passed) == (("e", "f"), (), 4, True)


def test_brown_outs_at_more_than_half_are_put_down_to_the_image(quick_path: Path) -> None:
    state, journal, _ = pushed(quick_path, ["abc", "def"], a=BACK, c=BACK)
    assert state.phase is PushPhase.HALTED
    assert {one.node: one.stands for one in outcomes(state)} == {
        "a": NodeStatus.PUT_BACK, "b": NodeStatus.PUT_BACK, "c": NodeStatus.PUT_BACK,
        "d": NodeStatus.LEFT_OUT, "e": NodeStatus.LEFT_OUT, "f": NodeStatus.LEFT_OUT,
    }  # fmt: skip
    assert (of(state, "a").blame, of(state, "b").blame, of(state, "c").blame) == (
        Blame.DRAW,
        None,
        Blame.DRAW,
    )
    code = code_of(state)
    assert code is not None
    assert code.code == "PSH131"
    assert given_up_images(journal) == {NEW: state.plan.id}
    assert state.verdicts[-1].draws_too_much


def test_one_after_another_is_noticed_too(quick_path: Path) -> None:
    """Waves of one and two nodes of which one fails each time: two of three, then no more."""
    state, _, _ = pushed(quick_path, ["ab", "c", "d"], a=BACK, c=BACK)
    assert (state.phase, of(state, "d").stands) == (PushPhase.HALTED, NodeStatus.LEFT_OUT)
    assert (of(state, "a").blame, of(state, "c").blame) == (Blame.DRAW, Blame.DRAW)
    assert of(state, "b").stands is NodeStatus.KEPT, "its own wave had passed"


def test_a_pilot_that_tells_nothing_of_the_image_does_not_give_it_up(quick_path: Path) -> None:
    state, journal, _ = pushed(quick_path, ["a", "bc"], a=BACK)
    code = code_of(state)
    assert (state.phase, of(state, "a").blame) == (PushPhase.HALTED, Blame.SUPPLY)
    assert code is not None
    assert code.code == "PSH110"
    assert given_up_images(journal) == {}


def test_a_node_that_comes_through_is_soaked_in_full_and_kept(quick_path: Path) -> None:
    state, _, memory = pushed(quick_path, ["ab"], a=THROUGH)
    assert (state.phase, of(state, "a").stands, of(state, "a").brown_outs) == (
        PushPhase.DONE,
        NodeStatus.KEPT,
        3,
    )
    kept = next(e for e in memory.events if getattr(e, "doing", None) == "keep" and e.node == "a")
    seen = state.nodes["a"].returned
    assert seen is not None
    assert seen.boots == 7 + 1 + 3
    assert kept.at_s - BEGAN_S >= 3 * 1.0 + state.plan.policy.soak_s, (
        "three starts of a second, then the soak"
    )


def test_a_crash_after_a_brown_out_is_the_image(quick_path: Path) -> None:
    state, _, _ = pushed(quick_path, ["ab"], a=Behaviour(brown_outs=1, watchdog_at_s=1.5))
    assert (state.phase, of(state, "a").blame) == (PushPhase.HALTED, Blame.IMAGE)


def test_a_fault_that_came_up_since_the_plan_keeps_the_node_out(quick_path: Path) -> None:
    state, _, _ = pushed(quick_path, ["ab"], a=Behaviour(latched=True))
    assert (of(state, "a").stands, of(state, "b").stands) == (NodeStatus.LEFT_OUT, NodeStatus.KEPT)
    assert "`tankfleet clear-fault a`" in of(state, "a").reason


def test_a_node_without_memory_for_the_ticket_is_left_out_and_stops_nobody(quick_path: Path) -> None:
    """503 no-memory says nothing of the image (docs/node-interface.md 2)."""
    state, journal, _ = pushed(quick_path, ["abc"], b=Behaviour(refuses="no-memory"))
    assert (state.phase, of(state, "b").stands, of(state, "b").blame) == (
        PushPhase.DONE,
        NodeStatus.LEFT_OUT,
        None,
    )
    assert "held off 6 times: it has too little contiguous memory" in of(state, "b").reason
    assert [of(state, name).stands for name in "ac"] == [NodeStatus.KEPT, NodeStatus.KEPT]
    assert given_up_images(journal) == {}


# ------------------------------------------------- a broken link
CUT = Behaviour(cut_at=0.5)


def test_transfers_that_break_say_nothing_of_the_image(quick_path: Path) -> None:
    """One of three: it is left out, the others are kept, and the image is as good as before."""
    state, journal, _ = pushed(quick_path, ["abc"], b=CUT)
    assert state.phase is PushPhase.DONE
    assert (of(state, "b").stands, of(state, "b").blame) == (NodeStatus.LEFT_OUT, Blame.LINK)
    assert [name for name, _ in of(state, "b").failed] == [CheckName.LINK]
    assert "the transfer was interrupted 3 times" in of(state, "b").reason
    assert [of(state, name).stands for name in "ac"] == [NodeStatus.KEPT, NodeStatus.KEPT]
    code = code_of(state)
    assert code is not None
    assert code.code == "PSH111"
    assert given_up_images(journal) == {}
    last = state.verdicts[-1]
    assert (last.link, last.failed, last.of, last.passed) == (("b",), (), 2, True)
    assert "1 node more could not be sent to, which says nothing of the image" in last.text


def test_a_node_that_is_busy_is_held_off_and_no_evidence(quick_path: Path) -> None:
    """It speaks of its own trouble, and took not a byte (docs/node-interface.md 2)."""
    state, journal, _ = pushed(quick_path, ["abc"], b=Behaviour(refuses="busy"))
    assert (state.phase, state.halted_by) == (PushPhase.DONE, ())
    assert [of(state, name).stands for name in "abc"] == [
        NodeStatus.KEPT,
        NodeStatus.LEFT_OUT,
        NodeStatus.KEPT,
    ]
    one = of(state, "b")
    assert (one.blame, one.why, one.failed) == (None, Why.HELD_OFF_TOO_OFTEN, ())
    assert one.reason.startswith("held off 6 times: it takes no image now: b: busy")
    assert state.verdicts[-1].failed == ()
    code = code_of(state)
    assert code is not None
    assert (code.code, exit_of(state)) == ("PSH111", Exit.PROBLEMS)
    assert given_up_images(journal) == {}
    (quick_path / "alone").mkdir()
    alone, _, _ = pushed(quick_path / "alone", ["b", "c"], b=Behaviour(refuses="busy"))
    assert alone.halted_by == (HaltedBy(Halt.NO_PILOT, 1),)


def test_busy_since_a_transfer_was_cut_off_is_put_down_to_the_link(quick_path: Path) -> None:
    """The node may still hold the connection that broke."""
    stage = Stage(plan_of([planned("a"), planned("b")]), {"b": CUT})
    journal, memory = begun(stage, quick_path), Memory()

    def busy_from_now_on(event: object, after: PushState) -> None:
        if after.nodes["b"].cut_off:
            stage.nodes["b"].behaviour = Behaviour(refuses="busy")

    memory.on_event = busy_from_now_on
    state = push(stage, journal, reporter=memory)
    one = of(state, "b")
    assert (one.blame, [name for name, _ in one.failed]) == (Blame.LINK, [CheckName.LINK])
    assert "after an interrupted transfer" in one.reason


def test_many_broken_transfers_stop_the_push_and_not_the_image(quick_path: Path) -> None:
    """Two of three in a wave: the network is broken. What is on trial goes back, the next wave is not begun."""
    state, journal, _ = pushed(quick_path, ["abc", "d"], a=CUT, c=CUT)
    assert state.phase is PushPhase.HALTED
    assert {one.node: (one.stands, one.blame) for one in outcomes(state)} == {
        "a": (NodeStatus.LEFT_OUT, Blame.LINK),
        "b": (NodeStatus.PUT_BACK, None),
        "c": (NodeStatus.LEFT_OUT, Blame.LINK),
        "d": (NodeStatus.LEFT_OUT, None),
    }
    code = code_of(state)
    assert code is not None
    assert (code.code, exit_of(state)) == ("PSH132", Exit.PROBLEMS)
    assert "transfers broke at too many nodes" in halted_words(state.halted_by)
    assert given_up_images(journal) == {}, "not by those that went back with their wave either"


def test_a_bad_image_is_given_up_beside_broken_transfers(quick_path: Path) -> None:
    state, journal, _ = pushed(quick_path, ["abcd"], a=CUT, b=Behaviour(crashes=True))
    code = code_of(state)
    assert code is not None
    assert (state.phase, of(state, "b").blame, code.code) == (PushPhase.HALTED, Blame.IMAGE, "PSH105")
    assert given_up_images(journal) == {NEW: state.plan.id}


@pytest.mark.parametrize(("cut_at", "blame"), [(0.5, Blame.LINK), (1.0, Blame.IMAGE)])
def test_a_node_that_is_silent_after_a_broken_transfer(quick_path: Path, cut_at: float, blame: Blame) -> None:
    """Only if it may have got all of the image is its silence evidence against it."""
    state, _, _ = pushed(quick_path, ["abc"], b=Behaviour(cut_at=cut_at, vanishes=True))
    assert (of(state, "b").stands, of(state, "b").blame) == (NodeStatus.LOST, blame)
    assert "the transfer was interrupted, and no answer since" in of(state, "b").reason


class Killed(BaseException):
    """The process is gone."""


@pytest.mark.parametrize(("share", "blame"), [(0.5, Blame.LINK), (1.0, Blame.IMAGE)])
def test_a_node_that_is_silent_after_the_tool_was_killed(
    quick_path: Path, share: float, blame: Blame
) -> None:
    """In the middle of its transfer, or just after the last byte left: only then its silence tells of the image."""
    stage, memory = Stage(plan_of([planned("a"), planned("b"), planned("c")], at_once=1)), Memory()
    journal = begun(stage, quick_path)

    async def kill(runner: Runner) -> None:
        while ("b", int(4 * share), 4) not in memory.sent:
            await later(0.01)
        if share < 1.0:
            stage.nodes["b"].gone = True
            runner.interrupt()
            runner.interrupt()

    def gone(event: object, after: PushState) -> None:
        if isinstance(event, Sent) and event.node == "b":
            stage.nodes["b"].gone = True
            raise Killed

    memory.on_event = gone
    with pytest.raises((Killed, Interrupted)):
        push(stage, journal, reporter=memory, act=kill)
    state = push(stage, journal, resume=True)
    assert (of(state, "b").stands, of(state, "b").blame) == (NodeStatus.LOST, blame)
    assert state.phase is (PushPhase.DONE if blame is Blame.LINK else PushPhase.HALTED)
    assert given_up_images(journal) == ({} if blame is Blame.LINK else {NEW: state.plan.id})


def test_its_own_word_on_the_image_comes_late_and_counts(quick_path: Path) -> None:
    """Nobody knew that it had the whole image: it says so once it went back from it by itself."""
    stage, memory = (
        Stage(plan_of([planned("a"), planned("b"), planned("c")]), {"b": Behaviour(never_returns=True)}),
        Memory(),
    )
    stage.last_bytes_arrive = True
    journal = begun(stage, quick_path)

    async def kill(runner: Runner) -> None:
        while ("b", 2, 4) not in memory.sent:
            await later(0.01)
        runner.interrupt()
        runner.interrupt()

    with pytest.raises(Interrupted):
        push(stage, journal, reporter=memory, act=kill)
    assert stage.nodes["b"].taken == {NEW: 1}
    state = push(stage, journal, resume=True)
    assert (of(state, "b").stands, of(state, "b").blame) == (NodeStatus.PUT_BACK, Blame.IMAGE)
    assert [name for name, _ in of(state, "b").failed] == [CheckName.IMAGE]
    assert "trial-over" in of(state, "b").reason
    assert (state.phase, given_up_images(journal)) == (PushPhase.HALTED, {NEW: state.plan.id})


@pytest.mark.parametrize("code", sorted(SPOILT))
def test_refusals_that_the_link_brings_about_are_tried_again_and_blame_it(
    quick_path: Path, code: str
) -> None:
    """docs/node-interface.md 2: whoever changes a length or a bit gets them signed from an honest node."""
    state, journal, memory = pushed(quick_path, ["abc"], b=Behaviour(refuses=code))
    sends = [e for e in memory.events if getattr(e, "doing", None) == "send" and e.node == "b"]
    assert len(sends) == SEND_TRIES
    assert (of(state, "b").stands, of(state, "b").blame) == (NodeStatus.LEFT_OUT, Blame.LINK)
    assert "a device on the way changes what is sent" in of(state, "b").reason
    assert given_up_images(journal) == {}


@pytest.mark.parametrize("code", ["old-sequence", "bad-ticket", "other-class", "flash-failed"])
def test_a_nodes_own_word_still_counts(quick_path: Path, code: str) -> None:
    state, _, _ = pushed(quick_path, ["abc"], b=Behaviour(refuses=code))
    assert (state.phase, of(state, "b").blame) == (PushPhase.HALTED, Blame.IMAGE)


# ------------------------------------------------- reasons are facts
def test_a_node_that_was_held_off_and_then_did_not_answer_is_unreachable(quick_path: Path) -> None:
    """DEVELOPERS.md: exit status 3 where nodes were not reached; why it waited before is no reason for that."""
    plan = plan_of([planned("a"), planned("b")])
    stage, memory = Stage(plan, {"b": Behaviour(spare_short_until_s=1e9)}), Memory()
    waited: list[Why] = []

    def on_event(event: object, after: PushState) -> None:
        if after.nodes["b"].stands is NodeStatus.HELD_OFF and not waited:
            waited.append(after.nodes["b"].reason.why)
            stage.nodes["b"].gone = True

    memory.on_event = on_event
    state = push(stage, begun(stage, quick_path), reporter=memory)
    assert waited == [Why.SPARE_TIME]
    assert (of(state, "b").stands, of(state, "b").why) == (NodeStatus.LEFT_OUT, Why.UNREACHABLE)
    assert of(state, "b").reason.startswith("unreachable: ")
    assert exit_of(state) is Exit.UNREACHABLE


def test_no_sentence_decides_the_exit_status(quick_path: Path) -> None:
    """A reason whose detail begins as another's sentence does."""
    state, _, _ = pushed(quick_path, ["ab"])
    node = evolve(
        state.nodes["b"], stands=NodeStatus.LEFT_OUT, reason=Reason(Why.FAILED, "unreachable: or so")
    )
    assert exit_of(evolve(state, nodes={**state.nodes, "b": node})) is Exit.PROBLEMS


@pytest.mark.parametrize("why", Why)
def test_every_kind_of_reason_has_its_sentence(why: Why) -> None:
    said = str(Reason(why, "DETAIL"))
    assert (said == "") == (why is Why.NONE)
    assert said.count("DETAIL") <= 1
    assert "{}" not in said


def test_outcomes_of_before_there_were_kinds_of_reasons_are_read(quick_path: Path) -> None:
    state, _, _ = pushed(quick_path, ["abc"], b=CUT)
    old = json.loads(write_outcomes(outcomes(state)))
    for one in old:
        del one["why"]
        one["reason"] = "unreachable: no answer"
    read = read_outcomes(json.dumps(old))
    assert {(one.why, one.reason) for one in read} == {(None, "unreachable: no answer")}


def test_a_board_that_is_short_of_memory_is_held_off_before_anything_is_sent(quick_path: Path) -> None:
    stage = Stage(plan_of([planned("a", in_place=True), planned("b")]))
    poor = stage.nodes["a"]
    poor._base = poor._base.model_copy(update={"largest_block": 6_263})
    state = push(stage, begun(stage, quick_path))
    assert (of(state, "a").stands, of(state, "b").stands) == (NodeStatus.LEFT_OUT, NodeStatus.KEPT)
    assert "6263 bytes of contiguous memory, 6264 needed" in of(state, "a").reason
    assert not poor.taken


def test_reporters_name_it(quick_path: Path) -> None:
    state, _, memory = pushed(quick_path, ["abc"], b=BACK)
    lines: list[str] = []
    words: list[str] = []
    reporters: list[Any] = [LinesReporter(lines.append), PlainReporter(words.append)]
    now = fresh(state.plan)
    for event in (Began(BEGAN_S), *memory.events):
        after, _ = step(now, event)
        for reporter in reporters:
            reporter.happened(event, now, after)
        now = after
    documents = [json.loads(line) for line in lines]
    assert {d["blame"] for d in documents if d["kind"] == "node" and d["node"] == "b"} == {None, "supply"}
    (end,) = [d for d in documents if d["kind"] == "end"]
    assert [(n["node"], n["blame"], n["brown_outs"]) for n in end["nodes"]] == [
        ("a", None, 0),
        ("b", "supply", 4),
        ("c", None, 0),
    ]
    (verdict,) = [d for d in documents if d["kind"] == "verdict"]
    assert (verdict["supply"], verdict["draws_too_much"], verdict["passed"]) == (["b"], False, True)
    assert any("b: FAILED for its supply: " in line for line in words)


@pytest.mark.parametrize("failed", [(), (("runs the expected image", "it runs another"),)])
def test_outcomes_of_before_blames_were_told_apart_blame_the_image(failed: Any) -> None:
    one = NodeOutcome("a", 1, NodeStatus.PUT_BACK, "", NEW, "1", NEW, "2", failed)
    old = [
        {k: v for k, v in json.loads(write_outcomes((one,)))[0].items() if k not in ("blame", "brown_outs")}
    ]
    (read,) = read_outcomes(json.dumps(old))
    assert read.blame is (Blame.IMAGE if failed else None)
    assert read_outcomes(write_outcomes((read,))) == (read,)
