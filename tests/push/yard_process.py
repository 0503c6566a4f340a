"""The stand-ins of yard.py in a process of their own, steered from a test."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parent.parent.parent


class YardProcess:
    """Tells the stand-ins what to do, and reads what they took."""

    def __init__(self, folder: Path, process: subprocess.Popen[str]) -> None:
        self.folder, self._process = folder, process

    def tell(self, *words: str) -> None:
        """A fault and its value for all, `inverted RELEASE`, or `report`."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(" ".join(words) + "\n")
        self._process.stdin.flush()
        assert self._process.stdout.readline() == "ok\n"

    def report(self) -> dict[str, dict[str, Any]]:
        """Per node: `taken`, `release`, `phase`, `puts`."""
        self.tell("report")
        made: dict[str, dict[str, Any]] = json.loads(
            (self.folder / "report.json").read_text(encoding="utf-8")
        )
        return made


@contextmanager
def stand_ins(folder: Path, *names: str) -> Iterator[YardProcess]:
    """Announced stand-ins for the nodes of the project in that folder, until the block ends."""
    process = subprocess.Popen(
        [sys.executable, "-m", "tests.push.yard", str(folder), *names],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        cwd=ROOT,
    )
    try:
        assert process.stdout is not None
        assert process.stdout.readline() == "ready\n"
        yield YardProcess(folder, process)
    finally:
        assert process.stdin is not None
        process.stdin.close()
        process.wait(timeout=20)
        if process.stdout is not None:
            process.stdout.close()
