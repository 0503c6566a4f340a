"""The runner: does what the engine asks for, and tells it how that went. The only part of a push with
sockets.

Order of things, always: an event is committed to the journal, then the engine's commands are done. Events
that came in meanwhile are committed together.
"""

from __future__ import annotations

import asyncio
from contextlib import suppress
from typing import TYPE_CHECKING, Protocol, TypeVar

from fleet.errors import LinkError, NodeRefused, NodeUnreachable, TankfleetError
from fleet.limits import (
    INTERRUPT_GRACE_S,
    RELOCATE_AFTER_MISSES,
    RELOCATE_EVERY_S,
    REQUEST_POLL_S,
    SEND_BEGINS_S,
)
from fleet.link.codes import UNREACHABLE
from fleet.link.refusals import of_the_link
from fleet.push.engine import step
from fleet.push.events import Action, Command, Event, Outcome, Result, Sent

if TYPE_CHECKING:
    from collections.abc import Awaitable, Callable, Coroutine, Sequence

    from fleet.push.environment import Ground, Link
    from fleet.push.journal import Journal
    from fleet.push.state import PushState


T = TypeVar("T")


class Reporter(Protocol):
    """Who is told what happens. It decides nothing and never waits."""

    def begins(self, state: PushState) -> None:
        """The runner takes over a push that stands like this."""

    def happened(self, event: Event, before: PushState, after: PushState) -> None:
        """One event, committed, and how the push stood before and stands after it."""

    def progress(self, node: str, sent_bytes: int, size_bytes: int) -> None:
        """A transfer went on."""

    def interrupted(self, awaited: Sequence[str]) -> None:
        """Someone wants the runner to leave; what is under way with these nodes is waited for."""


class Aside(Protocol):
    """Calls a function that blocks, without blocking the event loop."""

    async def __call__(self, function: Callable[..., T], /, *args: object) -> T:
        """What the function returns."""


class Interrupted(Exception):
    """The runner was asked to leave, and did so at a safe point: the journal says how things stand."""


class Runner:
    """One push, from the journal's state to its end. Use once: `await run(first events)`.

    `aside` calls what blocks (disk, signatures) beside the event loop.
    """

    def __init__(
        self,
        journal: Journal,
        push: str,
        ground: Ground,
        reporter: Reporter,
        aside: Aside = asyncio.to_thread,
    ) -> None:
        self._journal = journal
        self._push = push
        self._ground = ground
        self._reporter = reporter
        self._aside = aside
        self._one_at_the_journal = asyncio.Lock()
        self._state = journal.state(push)
        self._inbox: asyncio.Queue[Event | Exception] = asyncio.Queue()
        self._tasks: dict[str, tuple[Command, asyncio.Task[None]]] = {}
        self._changing: set[str] = set()
        self._taken: list[int] = []
        self._leaving = asyncio.Event()
        self._leaving_now = asyncio.Event()
        self._misses: dict[str, int] = {}

    @property
    def state(self) -> PushState:
        """How the push stands, as far as it is committed."""
        return self._state

    def interrupt(self) -> None:
        """Leave at the next safe point; called again: at once. Safe to call from a signal handler of the
        loop."""
        if self._leaving.is_set():
            self._leaving_now.set()
            return
        self._leaving.set()
        self._reporter.interrupted(self._acting())

    async def run(self, first: Sequence[Event] = ()) -> PushState:
        """Go on until the push has ended. Interrupted if asked to leave; any other error leaves a sound
        journal.

        `first`: Resumed when a push that was under way is taken over, then what a person wants of it.
        """
        self._reporter.begins(self._state)
        helpers = [asyncio.create_task(self._watch_requests()), asyncio.create_task(self._watch_silent())]
        try:
            if first:
                await self._take_in(first)
            else:
                self._do(tuple(n.pending for n in self._state.nodes.values() if n.pending is not None))
            while not self._state.ended:
                if self._leaving.is_set():
                    await self._leave()
                events = await self._next_events()
                if events:
                    await self._take_in(events)
            return self._state
        finally:
            for helper in helpers:
                helper.cancel()
            await self._cancel_all()
            await asyncio.gather(*helpers, return_exceptions=True)

    # ---------------------------------------------------------------- events in
    async def _next_events(self) -> list[Event]:
        """All that has come in, at least one; none when it is time to leave."""
        getting = asyncio.create_task(self._inbox.get())
        leaving = asyncio.create_task(self._leaving.wait())
        try:
            await asyncio.wait({getting, leaving}, return_when=asyncio.FIRST_COMPLETED)
        finally:
            leaving.cancel()
            if not getting.done():
                getting.cancel()
        if getting.cancelled() or not getting.done():
            return []
        return self._sound([getting.result(), *self._waiting()])

    def _waiting(self) -> list[Event | Exception]:
        come: list[Event | Exception] = []
        with suppress(asyncio.QueueEmpty):
            while True:
                come.append(self._inbox.get_nowait())
        return come

    @staticmethod
    def _sound(come: Sequence[Event | Exception]) -> list[Event]:
        """The events; a fault of this program that a task met is raised here."""
        events = []
        for one in come:
            if isinstance(one, Exception):
                raise one
            events.append(one)
        return events

    async def _take_in(self, events: Sequence[Event], *, act: bool = True) -> None:
        """Fold, commit, tell, and only then act."""
        steps = []
        state = self._state
        commands: list[Command] = []
        for event in events:
            before = state
            state, wanted = step(state, event)
            steps.append((event, before, state))
            commands += wanted
        taken, self._taken = self._taken, []
        async with self._one_at_the_journal:
            await self._aside(self._journal.append, self._push, events, state, taken)
        self._state = state
        for event, before, after in steps:
            self._reporter.happened(event, before, after)
        if act:
            self._do(commands)

    # ---------------------------------------------------------------- commands out
    def _do(self, commands: Sequence[Command]) -> None:
        """Begin what still stands; end questions that nobody waits for any more.

        Someone may have asked to leave while the journal was awaited: what is pending then is begun by `resume`.
        """
        if self._leaving.is_set():
            return
        for name, (command, task) in tuple(self._tasks.items()):
            if self._state.nodes[name].pending is not command and command.doing is Action.ASK:
                task.cancel()
                del self._tasks[name]
        for command in commands:
            if self._state.nodes[command.node].pending is command:
                task = asyncio.create_task(self._perform(command))
                self._tasks[command.node] = (command, task)

    async def _perform(self, command: Command) -> None:
        """Wait until it is due, do it, and put the outcome into the inbox."""
        try:
            await asyncio.sleep(max(0.0, command.at_s - self._ground.now_s()))
            outcome = await _DOINGS[command.doing](self, command)
        except Exception as error:
            self._inbox.put_nowait(error)
            return
        if outcome is not None:
            self._inbox.put_nowait(outcome)

    async def _ask(self, command: Command) -> Outcome:
        node = command.node
        try:
            seen = await self._ground.link(node).state()
        except LinkError as error:
            self._misses[node] = self._misses.get(node, 0) + 1
            return self._broke(command, error)
        self._misses.pop(node, None)
        return Outcome(
            self._ground.now_s(),
            node,
            command.serial,
            command.doing,
            Result.OK,
            seen=seen,
            spare_s=self._ground.spare_s(node, seen),
            window_open=self._ground.window_open(node),
        )

    async def _send(self, command: Command) -> Outcome | None:
        return await self._send_cargo(command, self._ground.new_cargo, command.node)

    async def _send_old(self, command: Command) -> Outcome | None:
        """The ticket for the way back is made for the floor that the node has now, and ends with the sending."""
        try:
            seen = await self._ground.link(command.node).state()
        except LinkError as error:
            return self._broke(command, error)
        return await self._send_cargo(command, self._ground.old_cargo, command.node, seen.floor)

    async def _send_cargo(
        self, command: Command, cargo: Callable[..., tuple[bytes, bytes]], *about: object
    ) -> Outcome | None:
        node = command.node
        try:
            image, ticket = await self._aside(cargo, *about)
        except TankfleetError as error:
            return self._outcome(command, Result.REFUSED, error.code.code, error.what)

        age_s = self._ground.now_s() - self._state.nodes[node].seen_at_s
        begins = asyncio.timeout(min(SEND_BEGINS_S, max(0.0, SEND_BEGINS_S - age_s)))

        def told(sent_bytes: int, size_bytes: int) -> None:
            if not begins.expired():
                begins.reschedule(None)  # it takes bytes: the worst outage counts from here
            if sent_bytes == size_bytes and command.doing is Action.SEND:
                self._inbox.put_nowait(Sent(self._ground.now_s(), node, command.serial))
            self._reporter.progress(node, sent_bytes, size_bytes)

        try:
            async with begins:
                return await self._change(command, lambda link: link.put_image(image, ticket, told))
        except TimeoutError:
            what = f"{node}: no byte was sent within {SEND_BEGINS_S:.0f} s after it reported its tanks"
            return self._broke(command, NodeUnreachable(UNREACHABLE, what, node=node))

    async def _keep(self, command: Command) -> Outcome | None:
        return await self._change(command, lambda link: link.keep())

    async def _put_back(self, command: Command) -> Outcome | None:
        return await self._change(command, lambda link: link.put_back())

    async def _change(self, command: Command, change: Callable[[Link], Awaitable[object]]) -> Outcome | None:
        """Change something on the node, unless someone wants the runner to leave: None, and nothing was begun."""
        if self._leaving.is_set():
            return None
        self._changing.add(command.node)
        try:
            await change(self._ground.link(command.node))
        except NodeRefused as error:
            if of_the_link(error):
                self._ground.elsewhere(command.node)
            return self._outcome(command, Result.REFUSED, error.refusal, error.what)
        except LinkError as error:
            return self._broke(command, error)
        finally:
            self._changing.discard(command.node)
        return self._outcome(command, Result.OK)

    def _broke(self, command: Command, error: LinkError) -> Outcome:
        self._ground.elsewhere(command.node)
        return self._outcome(command, Result.BROKE, error.code.code, error.what)

    def _outcome(self, command: Command, result: Result, code: str = "", detail: str = "") -> Outcome:
        now_s = self._ground.now_s()
        return Outcome(now_s, command.node, command.serial, command.doing, result, code, detail)

    # ---------------------------------------------------------------- beside the push
    async def _watch_requests(self) -> None:
        """Take in what other commands ask of this push."""
        known: set[int] = set()
        while True:
            async with self._one_at_the_journal:
                requests = await self._aside(self._journal.open_requests, self._push)
            for request in requests:
                if request.id not in known:
                    known.add(request.id)
                    self._taken.append(request.id)
                    self._inbox.put_nowait(request.event)
            await asyncio.sleep(REQUEST_POLL_S)

    async def _watch_silent(self) -> None:
        """Look again for nodes that do not answer where they were found."""
        while True:
            await asyncio.sleep(RELOCATE_EVERY_S)
            silent = [node for node, misses in self._misses.items() if misses >= RELOCATE_AFTER_MISSES]
            silent = [node for node in silent if not self._state.nodes[node].settled]
            if silent:
                with suppress(TankfleetError):
                    await self._ground.relocate(silent)

    # ---------------------------------------------------------------- leaving
    def _acting(self) -> list[str]:
        """The nodes that something is being changed on right now."""
        return [name for name in self._tasks if name in self._changing]

    async def _leave(self) -> None:
        """Let what is under way end, within bounds; write down how it ended; begin nothing. Then:
        Interrupted."""
        acting = [self._tasks[name][1] for name in self._acting()]
        if acting and not self._leaving_now.is_set():
            at_once = asyncio.create_task(self._leaving_now.wait())
            ending = asyncio.create_task(asyncio.wait(acting, timeout=INTERRUPT_GRACE_S))
            await asyncio.wait({at_once, ending}, return_when=asyncio.FIRST_COMPLETED)
            at_once.cancel()
            ending.cancel()
        await self._cancel_all()
        events = self._sound(self._waiting())
        if events:
            await self._take_in(events, act=False)
        raise Interrupted

    async def _cancel_all(self) -> None:
        tasks = [task for _, task in self._tasks.values()]
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
        self._tasks.clear()


_DOINGS: dict[Action, Callable[[Runner, Command], Coroutine[object, object, Outcome | None]]] = {
    Action.ASK: Runner._ask,
    Action.SEND: Runner._send,
    Action.SEND_OLD: Runner._send_old,
    Action.KEEP: Runner._keep,
    Action.PUT_BACK: Runner._put_back,
}
