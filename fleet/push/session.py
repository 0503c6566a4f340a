"""Driving a push: the lock, the journal, the nodes' addresses, signals, the runner. What the commands
call."""

from __future__ import annotations

import asyncio
import os
import signal
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fleet.limits import FIND_TIMEOUT_S
from fleet.link.client import open_session
from fleet.push.context import look
from fleet.push.journal import Journal
from fleet.push.live_environment import LiveGround
from fleet.push.lock import runner_lock
from fleet.push.runner import Runner

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from fleet.find.match import Match
    from fleet.find.search import Tell
    from fleet.push.context import PushContext
    from fleet.push.events import Event
    from fleet.push.runner import Reporter
    from fleet.push.state import PushState
    from fleet.workspace import Workspace


@contextmanager
def journal_of(workspace: Workspace) -> Iterator[Journal]:
    """The project's journal, with the right to run a push. LockedError if another process has it."""
    with runner_lock(workspace.journal_path, os.getpid()), Journal.open(workspace.journal_path) as journal:
        yield journal


@dataclass(frozen=True, slots=True)
class Drive:
    """One push to be run by this process. `matches`: where its nodes are, if they were looked for already."""

    field: PushContext
    journal: Journal
    push: str
    reporter: Reporter
    tell: Tell
    clock: Callable[[], float]

    async def run(self, first: Sequence[Event] = (), matches: Sequence[Match] | None = None) -> PushState:
        """To the end, or until Ctrl-C (Interrupted). `first`: the events to begin with."""
        plan = self.journal.plan(self.push)
        if matches is None:
            matches = await self._look([node.node for _, node in plan.nodes()])
        async with open_session() as session:
            ground = LiveGround(self.field, plan, matches, session, self.clock)
            runner = Runner(self.journal, self.push, ground, self.reporter)
            with _signals(runner.interrupt):
                return await runner.run(first)

    async def _look(self, names: Sequence[str]) -> list[Match]:
        known = {node.name for node in self.field.inventory.nodes}
        return await look(self.field, [name for name in names if name in known], FIND_TIMEOUT_S, self.tell)


@contextmanager
def _signals(interrupt: Callable[[], None]) -> Iterator[None]:
    """Let Ctrl-C, and a wish to end, call `interrupt` instead of ending the program."""
    loop = asyncio.get_running_loop()
    caught = (signal.SIGINT, signal.SIGTERM)
    for number in caught:
        loop.add_signal_handler(number, interrupt)
    try:
        yield
    finally:
        for number in caught:
            loop.remove_signal_handler(number)
