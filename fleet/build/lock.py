"""One build at a time in one project folder, and one fetch at a time in one folder of compilers."""

from __future__ import annotations

import fcntl
import os
from contextlib import contextmanager
from typing import TYPE_CHECKING

from fleet.build.codes import BUILD_LOCKED
from fleet.errors import LockedError

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path


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
