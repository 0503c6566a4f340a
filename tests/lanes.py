"""All tests in lanes: several workers of pytest at once, each in a network of its own (`.ci/lane`), because nodes of
one test must not be heard by another's. Most slow tests wait, so there is one lane more than there are cores.

    python -m tests.lanes [WORD FOR PYTEST...]      TANKFLEET_LANES=2 sets how many

Where the system gives no networks, the tests run one after the other. What must come from outside is fetched first.
Tests that measure how quickly something answers (`alone`) come last, in one lane, with nothing beside them.
As a plugin of pytest, this module has the longest files begin first, so that no lane ends long after the others.
"""

from __future__ import annotations

import os
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
LANE = ROOT / ".ci" / "lane"
MOST_LANES = 4
"""More would not end sooner: a file stays in one lane, and the longest take as long as a quarter of it all."""
LONGEST = (
    "firmware/test_emulated_chips.py",
    "push/test_push_bench.py",
    "push/test_rejoin_real.py",
    "firmware/test_firmware_power_cuts.py",
    "bench/test_two_benches.py",
    "bench/test_real_nodes.py",
    "push/test_runner_http.py",
    "firmware/test_fuzz.py",
    "build/test_fetch.py",
    "build/test_host_build.py",
    "link/test_real_node.py",
    "test_avahi.py",
    "cli/test_push_commands.py",
    "firmware/test_firmware_esp32.py",
    "firmware/test_firmware_runs.py",
    "flash/test_flash.py",
    "test_failing_disk.py",
    "find/test_find.py",
    "cli/test_bench.py",
    "bench/test_daemon.py",
)
"""Files below `tests/` whose tests take longest, in the order in which they begin; then the others with slow tests."""


def lanes() -> int:
    """How many lanes this machine takes; ValueError when TANKFLEET_LANES is no number from 1 on."""
    if asked := os.environ.get("TANKFLEET_LANES"):
        if not asked.isdecimal() or int(asked) < 1:
            raise ValueError(f"TANKFLEET_LANES={asked}: give a number from 1 on")
        return int(asked)
    return min(len(os.sched_getaffinity(0)) + 1, MOST_LANES)


def why_no_networks() -> str:
    """What hinders networks of our own here, in the system's words; empty when nothing does."""
    try:
        tried = subprocess.run([LANE, "true"], capture_output=True, text=True, check=False)
    except OSError as error:
        return str(error)
    return "" if tried.returncode == 0 else (tried.stderr.strip() or f"status {tried.returncode}")


def words_for(count: int) -> list[str]:
    """What pytest is told to run in so many lanes."""
    python = f"{shlex.quote(str(LANE))} {shlex.quote(sys.executable)}"
    return [
        *("-p", "tests.lanes", "--dist", "loadfile", "--no-loadscope-reorder"),
        *("--tx", f"{count}*popen//python={python}"),
    ]


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Files in the order of what is known of their time, the longest first; tests of a file as they stand in it."""
    slow = {item.path for item in items if item.get_closest_marker("slow")}
    turns = {ROOT / "tests" / name: turn for turn, name in enumerate(LONGEST)}

    def turn(item: pytest.Item) -> int:
        return turns.get(item.path, len(LONGEST) + (item.path not in slow))

    items.sort(key=turn)


def run(words: list[str], chosen: str, before: tuple[str | Path, ...] = ()) -> int:
    """The status of pytest for the tests with these marks; `before`: what its process is started by."""
    command = [*before, sys.executable, "-m", "pytest", "-m", chosen, "--durations", "25", *words]
    return subprocess.run(command, cwd=ROOT, check=False).returncode


def together(in_lanes: int, alone: int) -> int:
    """One status for both: the worse one. No test chosen by the words (5) counts only where both say so."""
    if pytest.ExitCode.NO_TESTS_COLLECTED in (in_lanes, alone):
        return min(in_lanes, alone)
    return max(in_lanes, alone)


def main(words: list[str]) -> int:
    """The status of `make test`."""
    count, reason = lanes(), why_no_networks()
    if reason:
        print(
            f"The tests run one after the other: no networks of their own here ({reason}).", file=sys.stderr
        )
    if reason or count == 1:
        return run(words, "slow or not slow")
    # lanes reach no archive
    subprocess.run([sys.executable, "-m", "tests.firmware.bearssl_sources"], check=False, cwd=ROOT)
    in_lanes = run([*words_for(count), *words], "not alone")
    if in_lanes == pytest.ExitCode.INTERRUPTED:
        return in_lanes
    return together(in_lanes, run(words, "alone", before=(LANE,)))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
