"""One runner per journal: a lock file that the kernel frees however its holder ends."""

from __future__ import annotations

import fcntl
import os
import time
from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING

from fleet.errors import LockedError
from fleet.limits import LOCK_RETRY_S, LOCK_TRIES
from fleet.push.codes import LOCKED

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path


def lock_path(journal_path: Path) -> Path:
    """The lock file of that journal."""
    return journal_path.with_suffix(".lock")


@contextmanager
def runner_lock(journal_path: Path, pid: int, pause: Callable[[float], None] = time.sleep) -> Iterator[None]:
    """Be the one runner of that journal. LockedError, naming the holder's process id, if another one is; whoever only
    looks who it is (`runner_pid`) is gone after a moment."""
    path = lock_path(journal_path)
    path.parent.mkdir(parents=True, exist_ok=True)
    handle = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
    try:
        for left in reversed(range(LOCK_TRIES)):
            try:
                fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
                break
            except BlockingIOError as error:
                if left == 0:
                    what = f"process {_read_pid(handle)} is working with the nodes and holds {path}"
                    raise LockedError(LOCKED, what) from error
            pause(LOCK_RETRY_S)
        os.ftruncate(handle, 0)
        os.pwrite(handle, f"{pid}\n".encode("ascii"), 0)
        yield
    finally:
        os.close(handle)


def runner_pid(journal_path: Path) -> int | None:
    """The process id of the runner that is alive now; None if there is none."""
    try:
        handle = os.open(lock_path(journal_path), os.O_RDONLY | os.O_CLOEXEC)
    except FileNotFoundError:
        return None
    try:
        with suppress(BlockingIOError):
            fcntl.flock(handle, fcntl.LOCK_SH | fcntl.LOCK_NB)
            return None
        return _read_pid(handle)
    finally:
        os.close(handle)


def _read_pid(handle: int) -> int:
    said = os.pread(handle, 20, 0).strip()
    return int(said) if said.isdigit() else 0
