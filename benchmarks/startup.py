"""C1: `tankfleet --version` against `python -c pass`, whole processes, interleaved."""

from __future__ import annotations

import statistics
import subprocess
import sys
import time
from pathlib import Path

from benchmarks.row import Row

RUNS = 21


def _wall_s(words: list[str]) -> float:
    start = time.perf_counter()
    subprocess.run(words, check=True, stdout=subprocess.DEVNULL)
    return time.perf_counter() - start


def measure() -> list[Row]:
    """The ratio of the medians of 21 interleaved runs each."""
    script = Path(sys.executable).parent / "tankfleet"
    ours = [str(script)] if script.exists() else [sys.executable, "-m", "fleet"]
    bare, version = [], []
    for _ in range(RUNS):
        bare.append(_wall_s([sys.executable, "-c", "pass"]))
        version.append(_wall_s([*ours, "--version"]))
    ratio = statistics.median(version) / statistics.median(bare)
    note = f"{statistics.median(version) * 1000:.0f} ms against {statistics.median(bare) * 1000:.0f} ms"
    return [Row("C1 tankfleet --version / python -c pass", f"{ratio:.2f}x", "<= 4x", ratio <= 4, note)]
