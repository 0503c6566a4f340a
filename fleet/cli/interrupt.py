"""Ctrl-C: a word at once, whatever the command is doing; then the usual KeyboardInterrupt leads out."""

from __future__ import annotations

import os
import signal
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator
    from types import FrameType

    from fleet.cli.output import Output

_WORD = b"interrupted: leaving at a safe point; Ctrl-C again leaves at once\n"


@contextmanager
def heard_at_once(output: Output) -> Iterator[None]:
    """Say a word to Ctrl-C before anything is ended or cleaned up. Outside of the main thread nothing changes."""
    try:
        before = signal.getsignal(signal.SIGINT)
        signal.signal(signal.SIGINT, lambda number, frame: _heard(output, number, frame))
    except ValueError:
        yield
        return
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


def _heard(output: Output, number: int, frame: FrameType | None) -> None:
    """Written past the stream's own buffer: the signal may have come in the middle of a write to it. On a terminal
    below the `^C` and the line of progress that it stands in."""
    word = b"\n" + _WORD if output.stderr.isatty() else _WORD
    try:
        os.write(output.stderr.fileno(), word)
    except (OSError, ValueError):
        output.stderr.write(word.decode())
    raise KeyboardInterrupt
