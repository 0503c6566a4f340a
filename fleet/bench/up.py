"""Bringing nodes of the inventory up on the bench: image from the shelf, first flash, start."""

from __future__ import annotations

import time
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING

from fleet.bench.codes import FLASHED_ALREADY, TOO_MANY_NODES
from fleet.bench.control import BenchControl
from fleet.bench.first_flash import FirstFlash, image_for_bench, write_flash
from fleet.bench.paths import BenchPaths
from fleet.bench.scene import node_specs
from fleet.bench.start import ensure_up, start_bench
from fleet.boards.board import load_board
from fleet.errors import BenchRefused
from fleet.limits import BENCH_NODES, BENCH_TELL_S

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from fleet.build.shelf import Shelf
    from fleet.keys.folder import KeyFolder
    from fleet.model.inventory import Inventory
    from fleet.workspace import Workspace


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which nodes to bring up, and how."""

    names: tuple[str, ...]
    speed: float | None = None
    """None: that of the bench that is up, else 1."""
    blank: bool = False
    release: str | None = None
    subnet: int | None = None
    """N of the addresses 127.N.x.y; None: that of the bench that is up, else one that no other bench has."""


@dataclass(frozen=True, slots=True)
class BroughtUp:
    """What came of it, by name."""

    flashed: tuple[str, ...]
    started: tuple[str, ...]
    already_up: tuple[str, ...]
    silent: tuple[str, ...]
    """Started, but they do not answer over HTTP."""


def bring_up(
    inventory: Inventory,
    workspace: Workspace,
    shelf: Shelf,
    keys: KeyFolder,
    wanted: Wanted,
    tell: Callable[[str], None] = lambda line: None,
) -> BroughtUp:
    """Bring nodes up: a node that has no flash yet, or all with `blank`, gets its newest image first.
    BenchError or ShelfError if a node cannot be made ready; then no node was started."""
    if len(wanted.names) > BENCH_NODES:
        raise BenchRefused(
            TOO_MANY_NODES, f"{len(wanted.names)} nodes; at most {BENCH_NODES} fit on one bench"
        )
    paths = BenchPaths(workspace.bench_dir)
    control = BenchControl(paths.socket)
    is_up = control.is_up()
    there = {view.name for view in control.nodes()} if is_up else set()
    speed = wanted.speed or (control.speed() if is_up else 1.0)
    if is_up:
        ensure_up(workspace.bench_dir, speed)
    boot_loader = shelf.host_boot_loader()
    blank = [name for name in wanted.names if wanted.blank or not paths.node(name).flash.is_file()]
    if wanted.release is not None and len(blank) < len(wanted.names):
        kept = ", ".join(name for name in wanted.names if name not in blank)
        raise BenchRefused(
            FLASHED_ALREADY, f"release {wanted.release} was asked for, but flashed before: {kept}"
        )
    contents = [_contents(inventory, shelf, keys, name, wanted.release) for name in blank]
    again = sorted(there.intersection(blank))
    if again:
        control.remove(again)
    _flash(boot_loader, paths, contents, tell)
    starting = [name for name in wanted.names if name not in there or name in again]
    nodes_at = partial(node_specs, inventory, starting, workspace.bench_dir, boot_loader)
    _, silent = start_bench(workspace.bench_dir, nodes_at, speed=speed, subnet=wanted.subnet, tell=tell)
    already = tuple(name for name in wanted.names if name not in starting)
    return BroughtUp(tuple(blank), tuple(starting), already, silent)


def _flash(
    boot_loader: Path, paths: BenchPaths, contents: Sequence[FirstFlash], tell: Callable[[str], None]
) -> None:
    told_s = time.monotonic()
    for number, first in enumerate(contents, start=1):
        write_flash(boot_loader, paths.node(first.node), first)
        if time.monotonic() - told_s >= BENCH_TELL_S or number == len(contents):
            told_s = time.monotonic()
            tell(f"first flash of {number} of {len(contents)} nodes done")


def _contents(
    inventory: Inventory, shelf: Shelf, keys: KeyFolder, node: str, release: str | None
) -> FirstFlash:
    entry = image_for_bench(shelf, inventory, node, release)
    layout = load_board(inventory.node(node).board).layout
    return FirstFlash(node, layout, shelf.image(entry.image), shelf.ticket(entry.ticket), keys.node_key(node))
