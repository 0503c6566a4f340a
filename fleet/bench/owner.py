"""Benches that end with the program that started them.

`bench up` starts a bench to stay. A program that starts one for itself (the demo, a test run) owns it: it holds the
writing end of a named pipe, whose path goes down to the bench in an environment variable, through however many
processes lie between. The kernel closes that end when the owner ends, also by SIGKILL; the bench sees the end of the
pipe, also if it came before the bench was there to look. PR_SET_PDEATHSIG (process.py) cannot do this: it looks at the
parent alone, and the parent of a bench is meant to end. A process id cannot either: it may be another's by then.
"""

from __future__ import annotations

import os
from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

VARIABLE = "TANKFLEET_BENCH_OWNER"


@contextmanager
def owning(folder: Path) -> Iterator[dict[str, str]]:
    """What to add to the environment of a command, so that a bench which it starts ends with this context or process.
    The pipe lies in `folder`. OSError if it cannot."""
    path = folder / f"owner-{os.getpid()}"
    path.unlink(missing_ok=True)
    os.mkfifo(path, 0o600)
    reading = os.open(
        path, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC
    )  # else the next open would wait for a reader
    writing = os.open(path, os.O_WRONLY | os.O_CLOEXEC)
    os.close(reading)
    try:
        yield {VARIABLE: str(path)}
    finally:
        os.close(writing)
        path.unlink(missing_ok=True)


class Owner:
    """What a bench sees of its owner. `path`: of the pipe; None: it has no owner and stays. OSError if it cannot be
    looked at."""

    def __init__(self, path: str | None) -> None:
        self._gone = False
        self._reading: int | None = None
        try:
            if path is not None:
                self._reading = os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC)
        except FileNotFoundError:  # it tidied up and ended before the bench came to look
            self._gone = True

    def gone(self) -> bool:
        """Whether the owner ended. Nothing is ever written: there is nothing to read yet, or the end."""
        if self._reading is not None:
            with suppress(BlockingIOError):
                self._gone = os.read(self._reading, 1) == b""
        if self._gone and self._reading is not None:
            os.close(self._reading)
            self._reading = None
        return self._gone
