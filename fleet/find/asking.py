"""Asking places who is there, a bounded number at a time, in turns."""

from __future__ import annotations

import asyncio
from functools import partial
from typing import TYPE_CHECKING

from fleet.find.sighting import AskResult, Confirmation
from fleet.find.turns import Turns

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Coroutine

    from fleet.find.sighting import Sighting

    Confirm = Callable[[Sighting], Coroutine[None, None, Confirmation]]
    Told = Callable[[Confirmation], None]


class Asking:
    """Asks with `confirm`, at most `at_once` at a time, and tells what came of each, as soon as it does."""

    def __init__(self, confirm: Confirm, expected: Collection[str], at_once: int, told: Told) -> None:
        self._confirm = confirm
        self._at_once = at_once
        self._told = told
        self._turns = Turns(expected)
        self._wanted: set[Sighting] = set()
        """Asked now, or waiting for it."""
        self._running: dict[Sighting, tuple[asyncio.Task[Confirmation], float]] = {}
        """Asked now, and since when."""
        self._broken: BaseException | None = None

    @property
    def busy(self) -> bool:
        """Whether anything is asked or waits for it."""
        return bool(self._wanted)

    def ask(self, at: Sighting) -> None:
        """Ask at that place, as soon as it is its turn."""
        if at not in self._wanted:
            self._wanted.add(at)
            self._turns.add(at)
            self._fill()

    def go_on(self) -> None:
        """Let whoever had its turn make room, if others wait. Raises what an asking raised."""
        if self._broken is not None:
            raise self._broken
        now_s = _now_s()
        for at, (task, since_s) in [*self._running.items()]:
            if not task.done() and self._turns.over(at, now_s - since_s):
                del self._running[at]
                task.cancel()
                self._turns.add(at)
                self._fill()

    def end(self) -> list[Confirmation]:
        """Ask no more. What is to be told of those that are not through."""
        for task, _ in self._running.values():
            task.cancel()
        left = [self._not_through(at) for at in self._wanted]
        self._wanted.clear()
        self._running.clear()
        return left

    def _not_through(self, at: Sighting) -> Confirmation:
        if self._turns.had(at):
            return Confirmation(at, AskResult.UNREACHABLE, why="no proof of identity in time")
        return Confirmation(at, AskResult.NOT_ASKED)

    def _fill(self) -> None:
        while len(self._running) < self._at_once and (at := self._turns.next()) is not None:
            task = asyncio.ensure_future(self._confirm(at))
            self._running[at] = task, _now_s()
            task.add_done_callback(partial(self._ended, at))

    def _ended(self, at: Sighting, task: asyncio.Task[Confirmation]) -> None:
        if self._running.get(at, (None,))[0] is not task:
            return  # it made room, or all is over
        del self._running[at]
        self._wanted.discard(at)
        if task.cancelled():
            return
        self._broken = task.exception() or self._broken
        if self._broken is None:
            self._told(task.result())
            self._fill()


def _now_s() -> float:
    return asyncio.get_running_loop().time()
