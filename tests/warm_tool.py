"""The tool's commands, started by fork from a process that has loaded all of it once: for sweeps of a thousand starts.

What a command does is what it does in a process of its own: own arguments, environment, standard streams, end. Each
begins on the failing disk (failing_disk.c) that its environment names, or on a sound one. As a program, it is told a
command on each line of standard input, and answers with the exit status.
"""

from __future__ import annotations

import ctypes
import importlib
import json
import os
import pkgutil
import runpy
import signal
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path
from types import TracebackType
from typing import Any, Self

ROOT = Path(__file__).resolve().parent.parent
TIMEOUT_S = 240


class WarmTool:
    """Used in a `with`. `shim`: the compiled failing_disk.c."""

    def __init__(self, shim: Path) -> None:
        self._shim = shim

    def __enter__(self) -> Self:
        self._server = subprocess.Popen(
            [sys.executable, "-m", "tests.warm_tool"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            cwd=ROOT,
            env={**os.environ, "PYTHONPATH": str(ROOT), "LD_PRELOAD": str(self._shim)},
        )
        assert self._answer() == "ready"
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        assert self._server.stdin is not None
        assert self._server.stdout is not None
        self._server.stdin.close()
        self._server.stdout.close()
        self._server.wait(timeout=TIMEOUT_S)

    def run(
        self, program: str, words: Sequence[str], stdin: str = "", failing: dict[str, str] | None = None
    ) -> subprocess.CompletedProcess[str]:
        """Like `python -c program words`, or the tool itself where `program` is empty. Ended after TIMEOUT_S."""
        with tempfile.TemporaryDirectory() as folder:
            streams = [Path(folder, name) for name in ("in", "out", "err")]
            streams[0].write_text(stdin, encoding="utf-8")
            order = {
                "program": program,
                "words": list(words),
                "streams": [str(path) for path in streams],
                "environment": {**os.environ, "PYTHONPATH": str(ROOT), **(failing or {})},
            }
            assert self._server.stdin is not None
            self._server.stdin.write(json.dumps(order) + "\n")
            self._server.stdin.flush()
            status = int(self._answer())
            said = [path.read_text(encoding="utf-8") for path in streams[1:]]
        return subprocess.CompletedProcess(list(words), status, *said)

    def _answer(self) -> str:
        assert self._server.stdout is not None
        return self._server.stdout.readline().strip()


# -------------------------------------------------------------------- the process that forks
def _load() -> None:
    """All that a command may load, and what its stand-ins make once."""
    import fleet

    for module in pkgutil.walk_packages(fleet.__path__, "fleet."):
        if not module.name.endswith("__main__"):
            importlib.import_module(module.name)
    from tests.fake_platformio import elf_with_block

    elf_with_block()


def _become(order: dict[str, Any]) -> None:
    """Be that command, to its end."""
    for fd, path in enumerate(order["streams"]):
        opened = os.open(path, os.O_RDWR | os.O_CREAT | os.O_APPEND)
        os.dup2(opened, fd)
        os.close(opened)
    os.environ.clear()
    os.environ.update(order["environment"])
    signal.alarm(TIMEOUT_S)
    ctypes.CDLL(None).failing_disk_begin()
    if order["program"]:
        sys.argv = ["-c", *order["words"]]
        exec(compile(order["program"], "<string>", "exec"), {"__name__": "__main__"})
    else:
        sys.argv = ["fleet", *order["words"]]
        runpy.run_module("fleet", run_name="__main__", alter_sys=True)


def main() -> None:
    """Fork for each line, until there are no more."""
    _load()
    print("ready", flush=True)
    for line in sys.stdin:
        child = os.fork()
        if child == 0:
            _become(json.loads(line))
            return
        print(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), flush=True)


if __name__ == "__main__":
    main()
