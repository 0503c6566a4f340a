"""Starting the process of a virtual node: it dies with the bench, whatever ends the bench."""

from __future__ import annotations

import ctypes
import os
import signal
import subprocess
from typing import TYPE_CHECKING

from fleet.limits import BENCH_NODE_LOG_BYTES

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

_PR_SET_PDEATHSIG = 1
"""prctl(2)"""


def start_process(words: Sequence[str], log_path: Path) -> subprocess.Popen[bytes]:
    """Start `words` with its words appended to the log; SIGKILL reaches it when this process dies. OSError
    if it cannot.

    Only for a thread that lives as long as the process: prctl(2) ties the child to the thread that started it. A node
    could watch the end of a pipe instead, but not while it hangs, as the bench's defects have it do.
    """
    if log_path.exists() and log_path.stat().st_size > BENCH_NODE_LOG_BYTES:
        log_path.replace(log_path.with_suffix(".log.1"))
    with log_path.open("ab") as log:
        return subprocess.Popen(
            list(words),
            stdin=subprocess.DEVNULL,
            stdout=log,
            stderr=subprocess.STDOUT,
            cwd=log_path.parent,
            preexec_fn=die_with_parent(),
        )


def die_with_parent() -> Callable[[], None]:
    """For `preexec_fn`: the child gets SIGKILL when the thread ends that started it, so also when this process does."""
    parent_pid = os.getpid()
    prctl = ctypes.CDLL(None, use_errno=True).prctl

    def prepare() -> None:
        """Runs in the child, before exec."""
        if prctl(_PR_SET_PDEATHSIG, signal.SIGKILL, 0, 0, 0) != 0 or os.getppid() != parent_pid:
            os._exit(127)

    return prepare
