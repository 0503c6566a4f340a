"""C1, C2: `tankfleet --version`, and `tankfleet check` of the demo's inventory, against `python -c pass`: whole
processes, interleaved.
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import time
from pathlib import Path

from benchmarks.row import Row

RUNS = 21
ROOT = Path(__file__).resolve().parent.parent


def _wall_s(words: list[str]) -> float:
    start = time.perf_counter()
    subprocess.run(words, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    return time.perf_counter() - start


def measure() -> list[Row]:
    """The ratios of the medians of 21 interleaved runs each."""
    script = Path(sys.executable).parent / "tankfleet"
    ours = [str(script)] if script.exists() else [sys.executable, "-m", "fleet"]
    commands = {
        "bare": [sys.executable, "-c", "pass"],
        "--version": [*ours, "--version"],
        "check": [*ours, "--project", str(ROOT), "check"],
    }
    runs = [{name: _wall_s(words) for name, words in commands.items()} for _ in range(RUNS)]
    median_s = {name: statistics.median(run[name] for run in runs) for name in commands}
    rows = []
    for name, what, most in (
        ("--version", "C1 tankfleet --version", 4),
        ("check", "C2 tankfleet check of the demo", 12),
    ):
        ratio = median_s[name] / median_s["bare"]
        note = f"{median_s[name] * 1000:.0f} ms against {median_s['bare'] * 1000:.0f} ms"
        rows.append(Row(f"{what} / python -c pass", f"{ratio:.2f}x", f"<= {most}x", ratio <= most, note))
    return rows
