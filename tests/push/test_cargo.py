"""What a plan wants to send is checked before the first byte is sent; and a floor that lies ahead of the clock is no
end."""

from __future__ import annotations

import asyncio
import errno
import hashlib
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from fleet.build.codes import DAMAGED, DAMAGED_CARGO
from fleet.build.sequence import next_sequence
from fleet.build.ticket import SEQUENCE_MAX, verify
from fleet.cli import push_summary as pushing
from fleet.cli.app import run
from fleet.codes import Exit
from fleet.errors import ShelfError
from fleet.find.match import Match, Status
from fleet.link.state import NodeState
from fleet.push import context as fieldwork
from fleet.push.cargo import left_to_bring_back, left_to_send, refuse_damaged
from fleet.push.context import PlanOptions, PushContext, plan_push
from fleet.push.engine import fold
from fleet.push.events import Action, Began, Outcome, Requested, RequestKind
from fleet.push.history import given_up_images
from fleet.push.journal import Journal
from fleet.push.plan import Plan, write_plan
from fleet.push.reasons import Why
from fleet.push.state import NodeStatus, fresh
from tests.push import yard
from tests.push.plans import plan_of, state_of
from tests.push.plans import planned as a_node
from tests.push.stage import BEGAN_S, Memory, Stage, begun, push
from tests.push.yard import class_id, image_of, lay_out, tank_of

NAMES = ["cargo-a", "cargo-b", "cargo-c"]
NOW = datetime(2026, 3, 1, 8, 0, tzinfo=UTC)


@pytest.fixture
def field(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> PushContext:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    return lay_out(tmp_path / "project", NAMES, "growth: 3.0")


def state(name: str, **changes: Any) -> NodeState:
    old = hashlib.sha256(image_of(name, "1.0.0")).hexdigest()
    about = {"site": "site-0", "class": class_id(), "image": old, "tanks": [tank_of(name)]}
    return state_of(name, **{**about, **changes})


def planned(field: PushContext, monkeypatch: pytest.MonkeyPatch, **of_a: Any) -> Plan:
    """The plan when all answer; `of_a` is what the first node says otherwise."""

    async def look(*_: object) -> list[Match]:
        states = [state(NAMES[0], **of_a), *(state(name) for name in NAMES[1:])]
        return [Match(s.node, Status.FOUND, "127.0.0.1", 80, state=s) for s in states]

    monkeypatch.setattr(fieldwork, "look", look)
    wishes = PlanOptions((), "board", any_hour=True)
    return asyncio.run(plan_push(field, wishes, NOW, 1.0, lambda *_: None))


def spoil(field: PushContext, sha: str, how: str) -> None:
    path = field.shelf.path / "objects" / sha[:2] / sha
    data = path.read_bytes()
    if how == "gone":
        path.unlink()
    else:
        path.write_bytes(data[:-1] if how == "short" else bytes([data[0] ^ 1]) + data[1:])


@pytest.mark.parametrize("how", ["a bit", "short", "gone"])
@pytest.mark.parametrize("what", ["image", "ticket"])
def test_a_plan_leaves_out_whose_image_is_damaged(
    field: PushContext, monkeypatch: pytest.MonkeyPatch, what: str, how: str
) -> None:
    assert [node.node for _, node in planned(field, monkeypatch).nodes()] == NAMES
    entry = field.shelf.newest("cargo-b")
    assert entry is not None
    spoil(field, getattr(entry, what), how)
    made = planned(field, monkeypatch)
    assert [node.node for _, node in made.nodes()] == ["cargo-a", "cargo-c"]
    (out,) = made.left_out
    assert (out.node, out.reason) == ("cargo-b", "damaged-image")
    assert "`tankfleet build cargo-b`" in out.detail


def test_a_push_refuses_before_it_begins(
    field: PushContext, monkeypatch: pytest.MonkeyPatch, capsys: Any
) -> None:
    made = planned(field, monkeypatch)
    refuse_damaged(field.shelf, made, NAMES, then="push")
    spoil(field, made.planned("cargo-c").to_image, "a bit")
    refuse_damaged(field.shelf, made, NAMES[:2], then="push")
    with pytest.raises(ShelfError, match="of cargo-c is damaged") as caught:
        refuse_damaged(field.shelf, made, NAMES, then="push")
    assert caught.value.code is DAMAGED_CARGO
    assert "`tankfleet build cargo-c`" in caught.value.fix
    path = field.workspace.root / "the.plan"
    path.write_text(write_plan(made), encoding="utf-8")
    for words in (["--dry-run"], ["--yes"]):
        assert run(["--project", str(field.workspace.root), "push", str(path), *words]) == Exit.PROBLEMS
        err = capsys.readouterr().err
        assert "SHF105" in err
        assert "asking" not in err, "no node was asked"


def ask(field: PushContext, *words: str) -> int:
    return run(["--project", str(field.workspace.root), *words])


def test_resume_refuses_before_it_begins(
    field: PushContext, monkeypatch: pytest.MonkeyPatch, capsys: Any
) -> None:
    made = planned(field, monkeypatch)
    with Journal.open(field.workspace.journal_path) as journal:
        journal.begin(made, NOW.timestamp())
    assert ask(field, "resume", "--dry-run") == Exit.OK
    spoil(field, made.planned("cargo-c").to_image, "a bit")
    spoil(field, made.planned("cargo-b").ticket_sha256, "gone")
    capsys.readouterr()
    for words in (["resume", "--dry-run"], ["resume"], ["resume", "--json"]):
        assert ask(field, *words) == Exit.PROBLEMS
        printed = capsys.readouterr()
        assert "SHF105" in printed.err
        assert "of cargo-b, cargo-c is damaged" in printed.err
        assert "searching for" not in printed.err, "no node was asked"
        assert printed.out == ""
    with Journal.open(field.workspace.journal_path) as journal:
        assert len(journal.events(made.id)) == 1, "nothing was begun"
    assert ask(field, "stop", "--dry-run") == Exit.OK, "which sends none of them, and is the way out"


def test_a_damaged_old_image_is_told_of_before_anything_goes_back(
    field: PushContext, monkeypatch: pytest.MonkeyPatch, capsys: Any
) -> None:
    """It stops nobody's way back: a node that holds the old image is only told to go back to it."""
    monkeypatch.setattr(yard, "image_of", lambda name, release: b"old")  # of which plans.OLD is the digest
    old = {name: yard.shelve(field, name, "1.0.0", 50) for name in NAMES}
    stage = Stage(plan_of([a_node(name) for name in NAMES]))
    with begun(stage, field.workspace.journal_path.parent) as journal:
        push(stage, journal)
    gone_on = []
    monkeypatch.setattr(pushing, "run_to_end", lambda *args, **more: gone_on.append(args))
    orders = (["roll-back", "--dry-run"], ["roll-back", "--yes"])
    for words in orders:
        ask(field, *words)
        assert "SHF105" not in capsys.readouterr().err
    spoil(field, old["cargo-b"].ticket, "a bit")
    (field.shelf.path / "nodes" / "cargo-c" / f"{50:019d}.json").write_text("{")
    gone_on.clear()
    for words in orders:
        ask(field, *words)
        assert "of cargo-b, cargo-c is damaged or missing (SHF105)" in capsys.readouterr().err
    assert len(gone_on) == 1
    ask(field, "roll-back", "cargo-a", "--dry-run")
    assert "SHF105" not in capsys.readouterr().err


class Sent(Memory):
    """A reporter that knows to whom a transfer ended."""

    def after(self, n: int) -> set[str]:
        """From event n on."""
        sends = [e for e in self.events[n:] if isinstance(e, Outcome) and e.doing is Action.SEND]
        return {e.node for e in sends}


def test_what_is_left_to_send_is_what_is_then_sent(quick_path: Path) -> None:
    """The oracle is the push itself: after each event, those that it goes on to send to."""
    plan = plan_of([a_node("a")], [a_node("b"), a_node("c")], [a_node("d")])
    stage, memory = Stage(plan), Sent()
    with begun(stage, quick_path) as journal:
        push(stage, journal, reporter=memory)
    assert memory.after(0) == {"a", "b", "c", "d"}
    stands = fold(fresh(plan), [Began(BEGAN_S)])
    for n, event in enumerate(memory.events, start=1):
        assert set(left_to_send(stands)) == memory.after(n - 1), n
        stands = fold(stands, [event])
    assert left_to_send(stands) == []


def test_who_goes_back_is_sent_nothing_new_and_may_be_sent_the_old(quick_path: Path) -> None:
    plan = plan_of([a_node("a")], [a_node("b"), a_node("c")], [a_node("d")])
    stage = Stage(plan)
    with begun(stage, quick_path) as journal:
        done = push(stage, journal)
    assert left_to_bring_back(done) == []
    back = fold(done, [Requested(done.now_s, RequestKind.ROLL_BACK, ("b", "d"))])
    assert left_to_bring_back(back) == ["b", "d"]
    assert left_to_send(back) == []


# -------------------------------------------------------------------- a floor ahead of the clock
AHEAD = int(NOW.timestamp()) + 10 * 365 * 86_400


def test_a_floor_ahead_of_the_clock_gets_a_ticket_above_it(
    field: PushContext, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The node took a ticket from a machine whose clock was ten years ahead."""
    made = planned(field, monkeypatch, floor=AHEAD)
    one = made.planned("cargo-a")
    assert one.sequence == AHEAD + 1
    ticket = field.shelf.ticket(one.ticket_sha256)
    assert verify(ticket, field.keys.trust()).sequence == AHEAD + 1
    assert made.planned("cargo-b").sequence == 100, "the others keep theirs"
    again = planned(field, monkeypatch, floor=AHEAD)
    assert again.planned("cargo-a").ticket_sha256 == one.ticket_sha256, "once is enough"
    assert next_sequence(field.shelf, "cargo-a", int(NOW.timestamp())) == AHEAD + 2, (
        "so `build` goes on above it"
    )


def test_the_highest_floor_of_all_is_said_as_it_is(
    field: PushContext, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A ticket's number has 63 bits (ticket.py), so nothing is above that."""
    made = planned(field, monkeypatch, floor=SEQUENCE_MAX)
    (out,) = made.left_out
    assert out.reason == "ticket-too-old"
    assert "load it over USB" in out.detail
    assert "build again" not in out.detail


def test_a_damaged_image_under_an_old_ticket_stops_no_plan(
    field: PushContext, monkeypatch: pytest.MonkeyPatch
) -> None:
    entry = field.shelf.newest("cargo-a")
    assert entry is not None
    spoil(field, entry.image, "a bit")
    made = planned(field, monkeypatch, floor=AHEAD)
    assert [out.reason for out in made.left_out] == ["damaged-image"]


def test_what_was_not_sent_was_not_refused_by_the_node(quick_path: Path) -> None:
    """An image that is damaged in the middle of a push: the words blame the shelf, not the node."""

    class Spoilt(Stage):
        def new_cargo(self, node: str) -> tuple[bytes, bytes]:
            raise ShelfError(DAMAGED, "objects/ab does not match its name")

    stage = Spoilt(plan_of([a_node("a")]))
    with begun(stage, quick_path) as journal:
        node = push(stage, journal).nodes["a"]
        given_up = given_up_images(journal)
    assert str(node.reason).startswith("it was not sent: SHF101")
    assert (node.stands, node.reason.why) == (NodeStatus.LEFT_OUT, Why.NOT_SENT)
    assert (node.failed, node.blame) == ((), None)
    assert given_up == {}, "a disk of ours that fails says nothing of the image"


def test_an_image_that_the_disk_does_not_give_is_a_fault_of_the_shelf(field: PushContext) -> None:
    """An error of the disk, or a file that is no longer ours to read."""
    entry = field.shelf.newest("cargo-a")
    assert entry is not None
    path = field.shelf.path / "objects" / entry.image[:2] / entry.image

    def unread(self: Path) -> bytes:
        raise OSError(errno.EIO, "Input/output error", str(self))

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Path, "read_bytes", unread)
        with pytest.raises(ShelfError, match="cannot be read: Input/output error") as caught:
            field.shelf.image(entry.image)
    assert caught.value.code is DAMAGED
    assert str(path) in caught.value.what
