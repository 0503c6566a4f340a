"""The runner against stand-ins for nodes over real HTTP with real signatures, tickets and a shelf."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable
from contextlib import AsyncExitStack, asynccontextmanager, suppress
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from fleet.build.sequence import next_sequence
from fleet.find.match import Match, Status
from fleet.find.sighting import Sighting
from fleet.link.client import open_session
from fleet.push.context import PushContext
from fleet.push.events import Event, Requested, RequestKind
from fleet.push.journal import Journal
from fleet.push.live_environment import LiveGround
from fleet.push.plan import Plan
from fleet.push.runner import Runner
from fleet.push.state import NodeStatus, PushPhase, PushState, Task
from tests.fake_node import FakeNode
from tests.push.plans import plan_of, planned
from tests.push.stage import Memory
from tests.push.yard import class_id, inverted_under, lay_out, stand_in

NAMES = ["n1", "n2", "n3"]
DEADLINE_S = 60.0


class Yard:
    """A yard, a plan for it in two waves, and what a test does to its stand-ins."""

    def __init__(self, path: Path, **policy: Any) -> None:
        self.field = lay_out(path, NAMES)
        self.path = path
        self.plan = _plan(self.field, **policy)
        self.nodes = {name: stand_in(self.field, name) for name in NAMES}
        self.memory = Memory()
        self.act: Callable[[Runner, Journal], Any] | None = None
        self.between: dict[str, int] = {}
        """Nodes that are found at the place of somebody who passes on so many bytes of each connection, and cuts it off
        then; they themselves are found second."""

    def push(self, first: tuple[Event, ...] = ()) -> PushState:
        journal = Journal.open(self.path / "journal.db")
        try:
            if not journal.has(self.plan.id):
                journal.begin(self.plan, 1_772_352_000.0)
            state = asyncio.run(self._run(journal, first))
            assert journal.state(self.plan.id) == state
            return state
        finally:
            journal.close()

    async def _run(self, journal: Journal, first: tuple[Event, ...]) -> PushState:
        async with AsyncExitStack() as stack:
            matches = []
            for name, node in self.nodes.items():
                await stack.enter_async_context(node)
                found = _match(node)
                if name in self.between:
                    found = await stack.enter_async_context(passed_on(found, self.between[name]))
                matches.append(found)
            session = await stack.enter_async_context(open_session())
            ground = LiveGround(self.field, self.plan, matches, session)
            runner = Runner(journal, self.plan.id, ground, self.memory)
            act = asyncio.create_task(self.act(runner, journal)) if self.act else None
            async with asyncio.timeout(DEADLINE_S):
                state = await runner.run(first)
            if act is not None:
                await act
            return state


def _match(node: FakeNode) -> Match:
    return Match(node.name, Status.FOUND, node.address, node.port)


@asynccontextmanager
async def passed_on(found: Match, most_bytes: int) -> AsyncIterator[Match]:
    """As that node, at the place of somebody in between; its own place is the other one."""

    async def passes(reader: asyncio.StreamReader, writer: asyncio.StreamWriter, most: int | None) -> None:
        passed = 0
        with suppress(ConnectionError):
            while (data := await reader.read(4096)) and (most is None or passed < most):
                passed += len(data)
                writer.write(data)
                await writer.drain()
        writer.close()

    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        from_node, to_node = await asyncio.open_connection(found.address, found.port)
        both = (passes(reader, to_node, most_bytes), passes(from_node, writer, None))
        with suppress(ConnectionError):
            await asyncio.wait([asyncio.ensure_future(one) for one in both], return_when="FIRST_COMPLETED")
        for end in (writer, to_node):
            end.close()

    assert found.address is not None and found.port is not None
    server = await asyncio.start_server(serve, "127.0.0.1", 0)
    async with server:
        port = server.sockets[0].getsockname()[1]
        yield replace(found, port=port, also_at=(Sighting(found.node, found.address, found.port),))


def _plan(field: PushContext, **policy: Any) -> Plan:
    waves: list[list[dict[str, Any]]] = [[], []]
    for i, name in enumerate(NAMES):
        old, new = field.shelf.entries(name)
        waves[min(i, 1)].append(
            planned(
                name,
                site=f"site-{i}",
                class_id=class_id(),
                from_image=old.image,
                to_image=new.image,
                ticket_sha256=new.ticket,
                sequence=new.sequence,
                size_bytes=new.size_bytes,
                spare_needed_s=60.0,
                return_within_s=3.0,
                fall_back_within_s=2.0,
                expected_s=1.0,
                tanks=[
                    {
                        "tank": f"tank-{name}",
                        "volumes_l": [80_000.0, 360_000.0],
                        "inflow_l_per_min": 0.0,
                        "draw_l_per_min": 30.0,
                        "pump_does": "fill",
                        "pump_l_per_min": 400.0,
                        "pump_on_mark": 0,
                        "pump_off_mark": 1,
                    }
                ],
            )
        )
    return plan_of(*waves, **{"soak_s": 0.5, "trial_s": 60.0, **policy})


def stands(state: PushState) -> dict[str, str]:
    return {name: node.stands.value for name, node in state.nodes.items()}


def releases(yard: Yard) -> dict[str, str]:
    return {name: node.slots.running.release for name, node in yard.nodes.items()}


def test_a_good_update(tmp_path: Path) -> None:
    yard = Yard(tmp_path)
    state = yard.push()
    assert state.phase is PushPhase.DONE, state.halted_by
    assert releases(yard) == dict.fromkeys(NAMES, "1.1.0")
    assert all(node.slots.phase == "kept" for node in yard.nodes.values())
    assert all(len(node.images_taken) == 1 for node in yard.nodes.values())
    assert {name for name, sent, size in yard.memory.sent if sent == size} == set(NAMES)


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """What a push waits between two tries, made short."""
    for name in ("UNSURE_SETTLE_S", "RETURN_POLL_S", "READY_RETRY_S", "KEEP_RETRY_S"):
        monkeypatch.setattr(f"fleet.push.update_steps.{name}", 0.05)


@pytest.mark.usefixtures("quick")
def test_a_forged_refusal_ends_no_push(tmp_path: Path) -> None:
    """Somebody in between holds the first signed requests back and says no in the node's place."""
    yard = Yard(tmp_path)
    node = yard.nodes["n1"]
    node.faults.lets_through = False

    async def heal(runner: Runner, journal: Journal) -> None:
        async with asyncio.timeout(DEADLINE_S):
            while len(node.held_back) < 2:
                await asyncio.sleep(0.01)
        node.faults.lets_through = True

    yard.act = heal
    state = yard.push()
    assert state.phase is PushPhase.DONE, state.halted_by
    assert stands(state) == dict.fromkeys(NAMES, "kept")
    assert len(node.images_taken) == 1


@pytest.mark.usefixtures("quick")
def test_after_a_broken_transfer_the_next_goes_to_the_other_place_of_the_node(tmp_path: Path) -> None:
    """Somebody passes its answers on, truly signed, so that both places prove to be the node; but no image comes by."""
    yard = Yard(tmp_path)
    yard.between["n1"] = 20_000
    state = yard.push()
    assert stands(state) == dict.fromkeys(NAMES, "kept")
    assert state.nodes["n1"].sends == 2
    assert len(yard.nodes["n1"].images_taken) == 1


@pytest.mark.usefixtures("quick")
def test_a_place_that_answers_nothing_any_more_is_left_for_the_other(tmp_path: Path) -> None:
    yard = Yard(tmp_path)
    yard.between["n1"] = 0
    state = yard.push()
    assert stands(state) == dict.fromkeys(NAMES, "kept")
    assert state.nodes["n1"].sends == 1


@pytest.mark.usefixtures("quick")
def test_forged_refusals_without_end_are_given_up_and_named(tmp_path: Path) -> None:
    yard = Yard(tmp_path)
    node = yard.nodes["n1"]
    node.faults.lets_through = False
    state = yard.push()
    assert state.phase is PushPhase.HALTED
    assert len(node.held_back) == 3 and node.images_taken == []
    assert "the transfer was interrupted 3 times" in str(state.nodes["n1"].reason)
    assert "this refusal is not signed" in str(state.nodes["n1"].reason)


@pytest.mark.usefixtures("quick")
def test_a_bad_update_is_told_to_go_back(tmp_path: Path) -> None:
    yard = Yard(tmp_path)
    for node in yard.nodes.values():
        inverted_under(node, "1.1.0")
    state = yard.push()
    assert state.phase is PushPhase.HALTED
    assert stands(state) == {"n1": "put-back", "n2": "left-out", "n3": "left-out"}
    assert "marks not contradictory: tank-n1: full wet low dry" in str(state.nodes["n1"].reason)
    assert yard.nodes["n1"].slots.last_reason == "told"
    assert yard.nodes["n2"].images_taken == []
    assert releases(yard) == dict.fromkeys(NAMES, "1.0.0")


@pytest.mark.slow
def test_a_node_that_does_not_come_back_falls_back_by_itself(tmp_path: Path) -> None:
    yard = Yard(tmp_path, trial_s=6.0)
    yard.nodes["n2"].slots.trial_s = 6.0

    def vanish(node: FakeNode) -> None:
        node.faults.silent = node.slots.running.release == "1.1.0"

    yard.nodes["n2"].on_boot = vanish
    state = yard.push()
    assert state.phase is PushPhase.HALTED
    assert stands(state) == {"n1": "kept", "n2": "put-back", "n3": "put-back"}
    assert "returned in time: no answer" in str(state.nodes["n2"].reason)
    assert yard.nodes["n2"].slots.last_reason == "trial-over"


@pytest.mark.slow
def test_a_node_that_is_gone_is_lost(tmp_path: Path) -> None:
    yard = Yard(tmp_path, trial_s=3.0)
    yard.nodes["n1"].faults.never_returns = True
    state = yard.push()
    assert stands(state) == {"n1": "lost", "n2": "left-out", "n3": "left-out"}
    assert "LNK101" in str(state.nodes["n1"].reason) or "no answer" in str(state.nodes["n1"].reason)


@pytest.mark.slow
def test_put_back_refused_the_old_image_is_sent_again_with_a_new_ticket(tmp_path: Path) -> None:
    yard = Yard(tmp_path)
    yard.push()
    node = yard.nodes["n3"]
    node.slots.older = None
    floor = node.slots.floor
    state = yard.push((Requested(1_772_352_100.0, RequestKind.ROLL_BACK, ("n3",)),))
    assert state.phase is PushPhase.ROLLED_BACK
    assert stands(state) == {"n1": "kept", "n2": "kept", "n3": "put-back"}
    assert node.slots.running.release == "1.0.0"
    assert node.slots.phase == "kept"
    assert node.slots.floor == floor + 1
    assert len(node.images_taken) == 2


@pytest.mark.slow
def test_the_ticket_for_the_way_back_ends_with_the_push(tmp_path: Path) -> None:
    """Tickets do not expire, so that none that leads back to an older image may be left on the shelf; and an image that
    is built later must still be taken: its sequence is the time of its build (RFC 9124)."""
    yard = Yard(tmp_path)
    yard.push()
    shelf, node = yard.field.shelf, yard.nodes["n3"]
    node.slots.older = None
    objects = sorted((shelf.path / "objects").rglob("*"))
    entries = shelf.entries("n3")
    state = yard.push((Requested(1_772_352_100.0, RequestKind.ROLL_BACK, ("n3",)),))
    assert stands(state)["n3"] == "put-back"
    assert node.slots.running.release == "1.0.0"
    assert shelf.entries("n3") == entries
    assert sorted((shelf.path / "objects").rglob("*")) == objects
    assert node.slots.floor < next_sequence(shelf, "n3", now_s=1_772_352_200)


@pytest.mark.slow
def test_a_transfer_that_is_cut_off_is_begun_again(tmp_path: Path) -> None:
    yard = Yard(tmp_path)
    node = yard.nodes["n1"]
    node.faults.cut_after_bytes = 20_000

    async def heal(runner: Runner, journal: Journal) -> None:
        async with asyncio.timeout(DEADLINE_S):
            while runner.state.nodes["n1"].task is not Task.UNSURE:
                await asyncio.sleep(0.02)
        node.faults.cut_after_bytes = None

    yard.act = heal
    state = yard.push()
    assert state.phase is PushPhase.DONE, state.halted_by
    assert state.nodes["n1"].sends == 2
    assert len(node.images_taken) == 1


@pytest.mark.slow
def test_an_image_that_was_taken_without_a_word_is_not_sent_again(tmp_path: Path) -> None:
    yard = Yard(tmp_path)
    yard.nodes["n1"].faults.take_and_vanish = True
    state = yard.push()
    assert state.phase is PushPhase.DONE, state.halted_by
    assert state.nodes["n1"].sends == 1
    assert len(yard.nodes["n1"].images_taken) == 1


@pytest.mark.slow
def test_an_impostor_is_not_believed(tmp_path: Path) -> None:
    yard = Yard(tmp_path)
    yard.nodes["n1"].faults.bad_signature = True
    state = yard.push()
    assert stands(state)["n1"] == "left-out"
    assert str(state.nodes["n1"].reason).startswith("unreachable: ")
    assert yard.nodes["n1"].images_taken == []


@pytest.mark.slow
def test_a_refused_ticket_is_a_failure_with_its_code(tmp_path: Path) -> None:
    yard = Yard(tmp_path)
    yard.nodes["n1"].slots.floor = 1_000
    state = yard.push()
    assert state.phase is PushPhase.HALTED
    assert stands(state) == dict.fromkeys(NAMES, "left-out")
    assert "took the image: it refused: old-sequence" in str(state.nodes["n1"].reason)
    assert state.nodes["n1"].failed


@pytest.mark.slow
def test_hold_go_on_and_stop_from_another_process(tmp_path: Path) -> None:
    yard = Yard(tmp_path)

    async def person(runner: Runner, journal: Journal) -> None:
        other = Journal.open(tmp_path / "journal.db")
        async with asyncio.timeout(DEADLINE_S):
            while runner.state.nodes["n1"].stands is not NodeStatus.ON_TRIAL:
                await asyncio.sleep(0.02)
            other.request(yard.plan.id, Requested(1.0, RequestKind.HOLD))
            while not (runner.state.held and runner.state.nodes["n1"].stands is NodeStatus.KEPT):
                await asyncio.sleep(0.02)
            assert runner.state.nodes["n2"].stands is NodeStatus.QUEUED
            other.request(yard.plan.id, Requested(2.0, RequestKind.GO_ON))
            while runner.state.nodes["n2"].stands is not NodeStatus.ON_TRIAL:
                await asyncio.sleep(0.02)
            other.request(yard.plan.id, Requested(3.0, RequestKind.STOP))
        other.close()

    yard.act = person
    state = yard.push()
    assert state.phase is PushPhase.STOPPED
    assert stands(state)["n1"] == "kept"
    assert releases(yard) == {"n1": "1.1.0", "n2": "1.0.0", "n3": "1.0.0"}
