"""Starting a process with a log of its own, and ending it with all that it started itself."""

from __future__ import annotations

import os
import signal
import subprocess
import threading
import time
from contextlib import suppress
from typing import TYPE_CHECKING

from fleet.limits import PROGRESS_EVERY_S

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

_POLL_S = 0.01
_PAUSE = threading.Event()


def start_process(
    command: Sequence[str], folder: Path, environment: Mapping[str, str], log_path: Path, held: Sequence[int]
) -> subprocess.Popen[bytes]:
    """Start it in `folder`, in a session of its own; it gets the descriptors `held`, and all that it says goes into the
    log, which is begun anew. OSError if that cannot be."""
    log_path.parent.mkdir(parents=True, exist_ok=True)
    with log_path.open("wb") as log:
        return subprocess.Popen(
            list(command),
            cwd=folder,
            env=dict(environment),
            stdin=subprocess.DEVNULL,
            stdout=log,
            stderr=subprocess.STDOUT,
            start_new_session=True,
            pass_fds=tuple(held),
        )


def end_process(process: subprocess.Popen[bytes]) -> None:
    """End a process of ours with all that it started (it leads a session of its own), and see them gone.

    First politely, for the compiler then removes its temporary files.
    """
    for sent in (signal.SIGTERM, signal.SIGKILL):
        deadline_s = time.monotonic() + PROGRESS_EVERY_S
        with suppress(ProcessLookupError):
            os.killpg(process.pid, sent)
            while time.monotonic() < deadline_s:
                os.killpg(process.pid, 0)
                _PAUSE.wait(_POLL_S)
    process.wait()
