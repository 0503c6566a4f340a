"""What a person's request to a push comes to: which push it is for, whether it changes anything, who hears it. Facts
from the journal; the commands say them."""

from __future__ import annotations

import time
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from fleet.errors import PushError
from fleet.limits import REQUEST_POLL_S, REQUEST_TAKEN_S
from fleet.push.codes import NO_SUCH_PUSH, NOT_IN_PUSH, PUSH_UNFINISHED
from fleet.push.events import Requested, RequestKind, Resumed
from fleet.push.journal import Journal
from fleet.push.lock import runner_pid
from fleet.push.preview import with_requests
from fleet.push.state import NodeStatus

# The commands import this module alone, late, and find here what they need of the journal and the events.
__all__ = ["Journal", "RequestKind", "Requested"]

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path


class Heard(StrEnum):
    """What became of a request."""

    BY_RUNNER = "by-runner"
    LATER = "later"
    """The process that runs the push has it, and has not taken it in yet."""
    BY_NOBODY = "by-nobody"
    """No process runs a push."""
    WRITTEN_DOWN = "written-down"
    """It is taken in when the push is resumed."""
    NO_PUSH = "no-push"
    """No push is under way."""
    SO_ALREADY = "so-already"
    """The push is held already, or it is not."""


@dataclass(frozen=True, slots=True)
class Hearing:
    """What became of a request; `push` it is for, and the process `pid` that runs it, where there is one."""

    heard: Heard
    push: str = ""
    pid: int = 0

    @property
    def has_runner(self) -> bool:
        """Whether a process that runs the push does what was asked."""
        return self.heard in (Heard.BY_RUNNER, Heard.LATER)

    @property
    def is_late(self) -> bool:
        """Whether that process has not taken it in yet."""
        return self.heard is Heard.LATER


@dataclass(frozen=True, slots=True)
class Waiting:
    """How long a runner is waited for, and by what clock."""

    for_s: float = REQUEST_TAKEN_S
    pause: Callable[[float], None] = time.sleep
    clock: Callable[[], float] = time.monotonic


def hold_or_go_on(path: Path, said: Requested, waiting: Waiting) -> Hearing:
    """Ask it of the push that is under way: of its runner, or for when it is resumed."""
    with Journal.reading(path) as journal:
        push = journal.unfinished() if journal is not None else None
        if journal is None or push is None:
            return Hearing(Heard.NO_PUSH)
        if will_be_held(journal, push) is (said.word is RequestKind.HOLD):
            return Hearing(Heard.SO_ALREADY, push)
        hearing = ask_runner(path, said, waiting)
        if hearing.has_runner:
            return hearing
        if not hearing.push:  # else it was written down for a runner that ended before it took it in
            journal.request(push, said)
    return Hearing(Heard.WRITTEN_DOWN, push)


def will_be_held(journal: Journal, push: str) -> bool:
    """Whether the push is held, once what was asked for already is taken in."""
    asked = [request.event for request in journal.open_requests(push)]
    return with_requests(journal.state(push), asked).held


def ask_runner(path: Path, said: Requested, waiting: Waiting) -> Hearing:
    """Ask the process that runs the push, if one does, and wait until it has taken it in."""
    pid = runner_pid(path)
    if pid is None:
        return Hearing(Heard.BY_NOBODY)
    with Journal.reading(path) as journal:
        push = journal.unfinished() if journal is not None else None
        if journal is None or push is None:
            return Hearing(Heard.BY_NOBODY)
        number = journal.request(push, said)
        until_s = waiting.clock() + waiting.for_s
        while waiting.clock() < until_s:
            if journal.is_taken(number):
                return Hearing(Heard.BY_RUNNER, push, pid)
            if runner_pid(path) is None:
                heard = Heard.BY_RUNNER if journal.is_taken(number) else Heard.BY_NOBODY
                return Hearing(heard, push, pid)
            waiting.pause(REQUEST_POLL_S / 5)
    return Hearing(Heard.LATER, push, pid)


def target(journal: Journal, said: Requested, push: str | None) -> str | None:
    """The push that a request is for. A roll-back: of the push named, of the one under way, or of the last one.
    PushError if the one named is not there, or another one is unfinished."""
    unfinished = journal.unfinished()
    if said.word is not RequestKind.ROLL_BACK:
        return unfinished
    if push:
        if not journal.has(push):
            raise PushError(NO_SUCH_PUSH, f"there is no push {push!r}")
        if unfinished not in (None, push):
            raise PushError(PUSH_UNFINISHED, f"push {unfinished} is unfinished")
        return push
    records = journal.pushes()
    return unfinished or (records[-1].id if records else None)


def to_bring_back(journal: Journal, push: str, said: Requested) -> list[str]:
    """The nodes that a roll-back brings back. PushError for a node that was not updated."""
    state = journal.state(push)
    back = [n.node for n in state.nodes.values() if n.accepted and n.stands is not NodeStatus.PUT_BACK]
    others = [name for name in said.nodes if name not in back and name not in state.nodes]
    if others:
        raise PushError(NOT_IN_PUSH, f"push {push} did not update {', '.join(others)}")
    return [name for name in back if not said.nodes or name in said.nodes]


def first_events(journal: Journal, push: str, said: Requested, now_s: float) -> list[Resumed | Requested]:
    """What this process begins with when it does itself what was asked: an unfinished push is taken over first."""
    return [Resumed(now_s), said] if journal.unfinished() == push else [said]
