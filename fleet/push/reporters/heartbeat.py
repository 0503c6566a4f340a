"""Says what is awaited whenever nothing was said for a while: off a terminal, where nothing is drawn."""

from __future__ import annotations

import threading
from typing import TYPE_CHECKING

from fleet.limits import HEARTBEAT_LOOK_S, HEARTBEAT_S
from fleet.push.reporters.words import awaited_words

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from types import TracebackType

    from fleet.push.events import Event
    from fleet.push.state import PushState


class Heartbeat:
    """A reporter beside one that writes lines. `write` is for both: hand the other one `heartbeat.write`.

    Use as a context manager, which looks at the clock in a thread of its own; or call `beat` now and then.
    """

    def __init__(self, write: Callable[[str], None], now_s: Callable[[], float]) -> None:
        self._write = write
        self._now_s = now_s
        self._said_s = now_s()
        self._state: PushState | None = None
        self._ended = threading.Event()
        self._one_at_a_time = threading.Lock()
        self._thread = threading.Thread(target=self._beat_on, name="heartbeat", daemon=True)

    def __enter__(self) -> Heartbeat:
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._ended.set()
        self._thread.join()

    def write(self, line: str) -> None:
        """Write a line, and note when."""
        with self._one_at_a_time:
            self._said_s = self._now_s()
            self._write(line)

    def beat(self) -> None:
        """Name what is awaited, if nothing was said for HEARTBEAT_S."""
        state, now_s = self._state, self._now_s()
        if state is not None and not state.ended and now_s - self._said_s >= HEARTBEAT_S:
            self.write(awaited_words(state, now_s))

    def _beat_on(self) -> None:
        while not self._ended.wait(HEARTBEAT_LOOK_S):
            self.beat()

    # ---------------------------------------------------------------- what is told
    def begins(self, state: PushState) -> None:
        """How the push stands."""
        self._state = state

    def happened(self, event: Event, before: PushState, after: PushState) -> None:
        """How it stands now."""
        self._state = after

    def progress(self, node: str, sent_bytes: int, size_bytes: int) -> None:
        """A transfer goes on; what is awaited stays the same."""

    def interrupted(self, awaited: Sequence[str]) -> None:
        """The other reporter says so."""
