"""One build at a time in one project folder, and one fetch at a time in one folder of compilers."""

from __future__ import annotations

import fcntl
import os
from contextlib import contextmanager
from typing import TYPE_CHECKING

from fleet.build.codes import BUILD_LOCKED
from fleet.errors import LockedError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

LOCK = "lock"
"""The lock file's name in a build folder."""


@contextmanager
def locked(path: Path) -> Iterator[int]:
    """Hold the lock file; its descriptor. LockedError if another holds it.

    The kernel frees the lock however this process ends. A compiler that was handed the descriptor, and outlives a tool
    that was killed, holds it until it ends as well: no later build runs into its files.
    """
    handle = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
    try:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            raise LockedError(BUILD_LOCKED, f"another build holds {path}") from error
        yield handle
    finally:
        os.close(handle)


def wait_until_free(path: Path, pause: Callable[[], None]) -> None:
    """Return once nobody holds the lock file, neither a build nor compilers that outlive one; `pause` is called between
    two looks."""
    while path.exists():
        try:
            with locked(path):
                return
        except LockedError:
            pause()
