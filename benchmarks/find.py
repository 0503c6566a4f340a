"""F1: nodes that announce themselves on loopback, all found: real multicast DNS, one packet for each node.

Time runs from the start of a fresh browser with an empty cache until every node's name, address, port and TXT keys
are read. The nodes are one helper process that answers for all of them, each 20 to 120 ms after the question as
RFC 6762 6 asks, so a fifth of a second is the least that this can take.
"""

from __future__ import annotations

import asyncio
import statistics
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from benchmarks.row import Row
from fleet.find.browse import browsing

RUNS = 7
DEADLINE_S = 10.0
SIZES = ((200, 1.0), (500, 1.0), (1000, 2.0))
ROOT = Path(__file__).resolve().parent.parent


@contextmanager
def announced(count: int) -> Iterator[None]:
    """`count` nodes, while the block lasts."""
    words = [sys.executable, "-m", "tests.announcer", str(count)]
    with subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, cwd=ROOT) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == b"ready\n"
        yield
        assert process.stdin is not None
        process.stdin.close()


async def found(count: int) -> tuple[int, float]:
    """How many of `count` were found, and in how many seconds."""
    wanted = {f"ridge-{i:04}" for i in range(count)}
    start_s = time.perf_counter()
    async with browsing("127.0.0.1") as browser:
        await browser.ask()
        seen: set[str] = set()
        while not seen >= wanted and time.perf_counter() - start_s < DEADLINE_S:
            await browser.news(0.02)
            seen |= {s.node for s in browser.fresh()}
        return len(seen & wanted), time.perf_counter() - start_s


def measure() -> list[Row]:
    """The median time of 7 searches, each of which must find all."""
    rows = []
    for count, target_s in SIZES:
        with announced(count):
            runs = [asyncio.run(found(count)) for _ in range(RUNS)]
        fewest = min(number for number, _ in runs)
        median_s = statistics.median(seconds for _, seconds in runs)
        longest_s = max(seconds for _, seconds in runs)
        figure = f"{fewest / count:.0%} in {median_s:.2f} s"
        ok = fewest == count and median_s <= target_s
        note = f"median of {RUNS} searches, longest {longest_s:.2f} s"
        rows.append(
            Row(f"F1 {count} nodes found on loopback", figure, f"100% in <= {target_s:g} s", ok, note)
        )
    return rows
