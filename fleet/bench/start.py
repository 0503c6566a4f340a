"""Starting a bench in the background, and waiting until its nodes answer."""

from __future__ import annotations

import asyncio
import subprocess
import sys
import time
from typing import TYPE_CHECKING

from fleet.bench.codes import NOT_STARTED, OTHER_SPEED
from fleet.bench.control import BenchControl
from fleet.bench.paths import BenchPaths
from fleet.errors import BenchError, BenchRefused, LinkError
from fleet.limits import BENCH_READY_TIMEOUT_S, BENCH_SPEED, BENCH_START_TIMEOUT_S, BENCH_TELL_S

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    import aiohttp

    from fleet.bench.message import NodeView
    from fleet.bench.spec import NodeSpec
    from fleet.link.state import NodeState

_DAEMON = "fleet.bench.daemon"
_POLL_S = 0.1
_NAMES_SHOWN = 5


def start_bench(
    folder: Path,
    nodes_at: Callable[[int], Sequence[NodeSpec]],
    *,
    speed: float = 1.0,
    subnet: int | None = None,
    tell: Callable[[str], None] = lambda line: None,
    ready_timeout_s: float = BENCH_READY_TIMEOUT_S,
) -> tuple[BenchControl, tuple[str, ...]]:
    """A running bench with these nodes (flash files made before, first_flash.py), and the names of those
    that do not answer over HTTP within the time. `nodes_at` is given N of the addresses 127.N.x.y: `subnet`, or else
    one that no other bench has. `tell` hears a line of progress at least every 2 s.
    BenchError if it cannot be."""
    was_up = BenchControl(BenchPaths(folder).socket).is_up()
    control = ensure_up(folder, speed)
    try:
        nodes = nodes_at(control.subnet(subnet))
        control.add(nodes)
    except BenchError:
        if not was_up:
            control.down()
        raise
    return control, wait_until_ready(control, [node.name for node in nodes], tell, ready_timeout_s)


def ensure_up(folder: Path, speed: float) -> BenchControl:
    """The bench of that folder, started if none is up. BenchRefused if one is up at another speed."""
    if not 0 < speed <= BENCH_SPEED:
        raise BenchRefused(
            OTHER_SPEED,
            f"a speed of {speed:g} is not above 0 and at most {BENCH_SPEED:g}",
            fix=f"Choose a speed from 1 to {BENCH_SPEED:g}.",
        )
    paths = BenchPaths(folder)
    control = BenchControl(paths.socket)
    if control.is_up():
        there = control.speed()
        if there != speed:
            raise BenchRefused(OTHER_SPEED, f"the bench is up at speed {there:g}, not {speed:g}")
        return control
    folder.mkdir(0o700, parents=True, exist_ok=True)
    folder.chmod(0o700)
    try:
        done = subprocess.run(
            [sys.executable, "-m", _DAEMON, str(folder.resolve()), f"{speed:g}"],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
            timeout=BENCH_START_TIMEOUT_S,
            check=False,
        )
    except subprocess.TimeoutExpired as error:
        raise BenchError(
            NOT_STARTED, f"it did not open its socket in {BENCH_START_TIMEOUT_S:g} s; log: {paths.log}"
        ) from error
    if done.returncode != 0:
        raise BenchError(NOT_STARTED, f"{done.stderr.strip() or 'it ended at once'}; log: {paths.log}")
    return control


def wait_until_ready(
    control: BenchControl, names: Sequence[str], tell: Callable[[str], None], timeout_s: float
) -> tuple[str, ...]:
    """Wait until these nodes answer over HTTP; the names of those that do not. Bricks and nodes without
    power are not waited for, and without a name nothing is."""
    if not names:
        return ()
    waiting = set(names)
    deadline_s = time.monotonic() + timeout_s
    told_s = 0.0
    while waiting and time.monotonic() < deadline_s:
        views = [view for view in control.nodes() if view.name in waiting]
        answered = states_of([view for view in views if view.power == "running"])
        waiting -= {name for name, state in answered.items() if state is not None}
        hopeless = {view.name for view in views if view.power in ("brick", "off")}
        if waiting <= hopeless:
            break
        if time.monotonic() - told_s >= BENCH_TELL_S:
            told_s = time.monotonic()
            tell(_progress(names, waiting))
        if waiting:
            time.sleep(_POLL_S)
    tell(_progress(names, waiting))
    return tuple(name for name in names if name in waiting)


def _progress(names: Sequence[str], waiting: set[str]) -> str:
    line = f"{len(names) - len(waiting)} of {len(names)} nodes answer"
    shown = [name for name in names if name in waiting][:_NAMES_SHOWN]
    more = f" and {len(waiting) - len(shown)} more" if len(waiting) > len(shown) else ""
    return f"{line}; waiting for {', '.join(shown)}{more}" if waiting else line


def states_of(views: Sequence[NodeView]) -> dict[str, NodeState | None]:
    """What each of these nodes says of itself, all asked at the same time; None where none does."""
    return asyncio.run(_states_of(views)) if views else {}


async def _states_of(views: Sequence[NodeView]) -> dict[str, NodeState | None]:
    from fleet.link.client import open_session

    async with open_session() as session:
        states = await asyncio.gather(*(_state_of(view, session) for view in views))
    return {view.name: state for view, state in zip(views, states, strict=True)}


async def _state_of(view: NodeView, session: aiohttp.ClientSession) -> NodeState | None:
    from fleet.link.client import Timeouts, read_unconfirmed_state

    try:
        quick = Timeouts(connect_s=1.0, answer_s=1.0)
        return await read_unconfirmed_state(view.address, view.port, session=session, timeouts=quick)
    except LinkError:
        return None
