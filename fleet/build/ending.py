"""Ending a process that was started, with all that it started itself."""

from __future__ import annotations

import os
import signal
import threading
import time
from contextlib import suppress
from typing import TYPE_CHECKING

from fleet.limits import PROGRESS_EVERY_S

if TYPE_CHECKING:
    import subprocess

_POLL_S = 0.01
_PAUSE = threading.Event()


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
