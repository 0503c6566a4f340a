"""Several reporters of one push at the same time."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fleet.push.events import Event
    from fleet.push.runner import Reporter
    from fleet.push.state import PushState


class Several:
    """Tells each of them, in order."""

    def __init__(self, *reporters: Reporter) -> None:
        self._reporters = reporters

    def begins(self, state: PushState) -> None:
        """The runner takes over a push that stands like this."""
        for reporter in self._reporters:
            reporter.begins(state)

    def happened(self, event: Event, before: PushState, after: PushState) -> None:
        """One event."""
        for reporter in self._reporters:
            reporter.happened(event, before, after)

    def progress(self, node: str, sent_bytes: int, size_bytes: int) -> None:
        """A transfer went on."""
        for reporter in self._reporters:
            reporter.progress(node, sent_bytes, size_bytes)

    def interrupted(self, awaited: Sequence[str]) -> None:
        """Someone wants the runner to leave."""
        for reporter in self._reporters:
            reporter.interrupted(awaited)
