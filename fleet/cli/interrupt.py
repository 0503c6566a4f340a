"""Ctrl-C: a word at once, whatever the command is doing; then the usual KeyboardInterrupt leads out."""

from __future__ import annotations

import os
import signal
from contextlib import contextmanager
from typing import IO, TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator
    from types import FrameType

_WORD = b"interrupted: leaving at a safe point; Ctrl-C again leaves at once\n"


@contextmanager
def heard_at_once(stderr: IO[str]) -> Iterator[None]:
    """Say a word to Ctrl-C before anything is ended or cleaned up. Outside of the main thread nothing changes."""
    try:
        before = signal.getsignal(signal.SIGINT)
        signal.signal(signal.SIGINT, lambda number, frame: _heard(stderr, number, frame))
    except ValueError:
        yield
        return
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


def _heard(stderr: IO[str], number: int, frame: FrameType | None) -> None:
    """Written past the stream's own buffer: the signal may have come in the middle of a write to it."""
    try:
        os.write(stderr.fileno(), _WORD)
    except (OSError, ValueError):
        stderr.write(_WORD.decode())
    raise KeyboardInterrupt
