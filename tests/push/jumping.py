"""An event loop whose clock jumps to the next timer instead of waiting for it. For code without sockets."""

from __future__ import annotations

import asyncio
import selectors
from collections.abc import Coroutine
from typing import Any, TypeVar

T = TypeVar("T")


class _Selector(selectors.SelectSelector):
    """Never waits: where it would, the loop's clock is moved on."""

    def __init__(self) -> None:
        super().__init__()
        self.skipped_s = 0.0

    def select(self, timeout: float | None = None) -> list[tuple[selectors.SelectorKey, int]]:
        ready = super().select(0)
        if not ready:
            if timeout is None:
                raise RuntimeError("everything waits, and nothing will ever happen")
            self.skipped_s += max(0.0, timeout)
        return ready


class JumpingLoop(asyncio.SelectorEventLoop):
    """Starts at time 0."""

    def __init__(self) -> None:
        self._jumps = _Selector()
        super().__init__(self._jumps)

    def time(self) -> float:
        """Seconds jumped over so far."""
        return self._jumps.skipped_s


def run(main: Coroutine[Any, Any, T]) -> T:
    """Run to the end, without waiting."""
    with asyncio.Runner(loop_factory=JumpingLoop) as runner:
        return runner.run(main)


async def inline(function: Any, /, *args: object) -> Any:
    """`aside` of a runner in tests: call it here and now."""
    return function(*args)


async def later(seconds: float) -> None:
    """Let the loop's clock jump on by that much; nothing waits."""
    await asyncio.sleep(seconds)
