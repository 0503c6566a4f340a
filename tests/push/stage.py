"""A runner's ground made of simulated nodes, on the jumping clock; and a reporter that remembers."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Collection, Sequence
from pathlib import Path
from typing import Any

from fleet.build.codes import NOT_ON_SHELF
from fleet.errors import NodeRefused, NodeUnreachable, ShelfError
from fleet.link.codes import REFUSED, STALLED, UNREACHABLE
from fleet.link.state import NodeState, Phase
from fleet.push.events import Event, Resumed
from fleet.push.journal import Journal
from fleet.push.plan import Plan
from fleet.push.runner import Runner
from fleet.push.state import PushState
from tests.push import jumping
from tests.push.plans import NEW, OLD
from tests.push.sim_node import Behaviour, SimNode

BEGAN_S = 1_772_352_000.0
SEND_S = 4.0


class Stage:
    """Simulated nodes by name. `clock_s` is the time of the fleet; it goes on from one runner to the next."""

    def __init__(self, plan: Plan, behaviours: dict[str, Behaviour] | None = None) -> None:
        self.plan = plan
        self.nodes = {
            n.node: SimNode(n.node, (behaviours or {}).get(n.node, Behaviour()), plan.policy.trial_s)
            for _, n in plan.nodes()
        }
        self.base_s = 0.0
        self.relocated: list[str] = []
        self.without_old = False
        self.last_bytes_arrive = False
        """Whether a transfer that is cut off has just delivered its last bytes."""
        self.asked = 0
        self.begun: list[str] = []
        """The nodes to which a transfer was begun, in order."""
        self.sent_before_asked: list[str] = []
        self.fresh_runner: set[str] = set()
        self.slow_to_begin_s: list[float] = []
        """How long the next transfers take until their first byte."""

    # ---------------------------------------------------------------- the ground
    def time_s(self) -> float:
        """Seconds of the fleet's own clock."""
        return self.base_s + asyncio.get_running_loop().time()

    def now_s(self) -> float:
        return BEGAN_S + self.time_s()

    def link(self, node: str) -> SimLink:
        return SimLink(self, self.nodes[node])

    def elsewhere(self, node: str) -> None:
        """Each is at one place."""

    async def relocate(self, nodes: Collection[str]) -> None:
        self.relocated += nodes

    def new_cargo(self, node: str) -> tuple[bytes, bytes]:
        return NEW.encode(), b"ticket"

    def old_cargo(self, node: str, floor: int) -> tuple[bytes, bytes]:
        if self.without_old:
            raise ShelfError(NOT_ON_SHELF, "gone")
        return OLD.encode(), b"ticket"

    def spare_s(self, node: str, state: NodeState) -> float | None:
        return 100.0 if self.time_s() < self.nodes[node].behaviour.spare_short_until_s else None

    def window_open(self, node: str) -> bool:
        return self.time_s() >= self.nodes[node].behaviour.window_closed_until_s


class SimLink:
    """The link to a simulated node."""

    def __init__(self, stage: Stage, node: SimNode) -> None:
        self._stage, self._node = stage, node

    def _reach(self) -> None:
        if not self._node.reachable(self._stage.time_s()):
            raise NodeUnreachable(UNREACHABLE, f"{self._node.name}: no answer", node=self._node.name)

    def _refuse(self, code: str) -> None:
        if code:
            what = f"{self._node.name}: {code}"
            raise NodeRefused(REFUSED, what, node=self._node.name, refusal=code, status=409)

    async def state(self) -> NodeState:
        await asyncio.sleep(0.05)
        self._reach()
        self._stage.asked += 1
        self._stage.fresh_runner.discard(self._node.name)
        return self._node.state(self._stage.time_s())

    async def put_image(
        self, image: bytes, ticket: bytes, on_progress: Callable[[int, int], None] | None = None
    ) -> Phase:
        self._reach()
        if self._stage.slow_to_begin_s:
            await asyncio.sleep(self._stage.slow_to_begin_s.pop(0))
        if on_progress is not None:
            on_progress(0, 4)
        self._stage.begun.append(self._node.name)
        if self._node.name in self._stage.fresh_runner:
            self._stage.sent_before_asked.append(self._node.name)
        self._refuse(self._node.behaviour.refuses if image == NEW.encode() else "")
        try:
            for quarter in range(4):
                await asyncio.sleep(SEND_S / 4)
                if on_progress is not None:
                    on_progress(quarter + 1, 4)
                self._break_off(image, (quarter + 1) / 4)
        except asyncio.CancelledError:
            if self._stage.last_bytes_arrive:
                self._node.take(image.decode(), self._stage.time_s())
            raise
        self._node.take(image.decode(), self._stage.time_s())
        await asyncio.sleep(0.05)
        return Phase.ON_TRIAL

    def _break_off(self, image: bytes, share: float) -> None:
        wrong = self._node.behaviour
        if image == NEW.encode() and wrong.cut_at is not None and share >= wrong.cut_at:
            self._node.gone = wrong.vanishes
            raise NodeUnreachable(STALLED, f"{self._node.name}: no more bytes taken", node=self._node.name)

    async def keep(self) -> Phase:
        self._reach()
        self._refuse(self._node.keep())
        await asyncio.sleep(0.05)
        return Phase.KEPT

    async def put_back(self) -> Phase:
        self._reach()
        self._refuse(self._node.put_back(self._stage.time_s()))
        await asyncio.sleep(0.05)
        return Phase.PUT_BACK


class Memory:
    """A reporter that remembers everything."""

    def __init__(self) -> None:
        self.events: list[Event] = []
        self.sent: list[tuple[str, int, int]] = []
        self.awaited: list[str] | None = None
        self.on_event: Callable[[Event, PushState], None] = lambda event, after: None

    def begins(self, state: PushState) -> None:
        self.began = state

    def happened(self, event: Event, before: PushState, after: PushState) -> None:
        self.events.append(event)
        self.on_event(event, after)

    def progress(self, node: str, sent_bytes: int, size_bytes: int) -> None:
        self.sent.append((node, sent_bytes, size_bytes))

    def interrupted(self, awaited: Sequence[str]) -> None:
        self.awaited = list(awaited)


def push(
    stage: Stage, journal: Journal, *, resume: bool = False, first: Sequence[Event] = (), **more: Any
) -> PushState:
    """Run the push of the stage's plan to its end, on a jumping clock."""
    reporter = more.pop("reporter", None) or Memory()
    act = more.pop("act", None)

    async def main() -> PushState:
        if resume:
            stage.fresh_runner = set(stage.nodes)
        start = [Resumed(stage.now_s())] if resume else []
        runner = Runner(journal, stage.plan.id, stage, reporter, jumping.inline)
        helper = asyncio.create_task(act(runner)) if act else None
        try:
            return await runner.run([*start, *first])
        finally:
            if helper is not None:
                helper.cancel()
            ran_s.append(asyncio.get_running_loop().time())

    ran_s: list[float] = []
    try:
        return jumping.run(main())
    finally:
        stage.base_s += ran_s[0] if ran_s else 0.0


def begun(stage: Stage, path: Path, on_commit: Callable[[str], None] = lambda when: None) -> Journal:
    """A journal in which the push of the stage's plan has begun."""
    journal = Journal.open(path / "journal.db", on_commit)
    journal.begin(stage.plan, BEGAN_S + stage.base_s)
    return journal
