"""First flash of a virtual node: its boot loader makes a fresh flash file, as a first load over USB
would."""

from __future__ import annotations

import subprocess
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

from fleet.bench.codes import NO_HOST_IMAGE, NOT_FLASHED
from fleet.bench.paths import NodePaths
from fleet.boards.board import load_board
from fleet.errors import BenchError
from fleet.limits import BENCH_FLASH_TIMEOUT_S
from fleet.render.block_of import release_text
from fleet.render.firmware_class import class_of, vendor_id

if TYPE_CHECKING:
    from fleet.build.entry import ShelfEntry
    from fleet.build.shelf import Shelf
    from fleet.model.inventory import Inventory


@dataclass(frozen=True, slots=True)
class FirstFlash:
    """What goes into a fresh flash file. The node key stays out of files and argument lists."""

    node: str
    layout: str
    image: bytes
    ticket: bytes
    node_key: bytes


def image_for_bench(shelf: Shelf, inventory: Inventory, node: str, release: str | None) -> ShelfEntry:
    """The newest host image of that node; without a release named, defective ones do not count. BenchError
    if none."""
    class_id = str(
        class_of(load_board(inventory.node(node).board), "host").id(vendor_id(inventory.fleet.domain))
    )
    for entry in reversed(shelf.entries(node)):
        if entry.class_id == class_id and _is_wanted(entry, release):
            return entry
    what = f"no image of {node} for the target host" + (f" with release {release}" if release else "")
    raise BenchError(NO_HOST_IMAGE, f"the shelf has {what}")


def _is_wanted(entry: ShelfEntry, release: str | None) -> bool:
    if release is None:
        return not entry.defect
    return entry.release in (release, release_text(release, entry.defect))


def write_flash(boot_loader: Path, paths: NodePaths, first: FirstFlash) -> None:
    """Make the node's flash file anew. BenchError with the boot loader's words if it refuses."""
    paths.folder.mkdir(parents=True, exist_ok=True)
    paths.flash.unlink(missing_ok=True)
    with TemporaryDirectory(dir=paths.folder) as folder:
        image, ticket = Path(folder, "image"), Path(folder, "ticket")
        image.write_bytes(first.image)
        ticket.write_bytes(first.ticket)
        words = [str(boot_loader), "load", "--flash", str(paths.flash), "--layout", first.layout]
        words += ["--image", str(image), "--ticket", str(ticket)]
        try:
            done = subprocess.run(
                words,
                input=first.node_key.hex() + "\n",
                capture_output=True,
                text=True,
                timeout=BENCH_FLASH_TIMEOUT_S,
                check=False,
            )
        except (OSError, subprocess.TimeoutExpired) as error:
            raise BenchError(NOT_FLASHED, f"{first.node}: {error}") from error
    if done.returncode != 0 or not paths.flash.is_file():
        said = (done.stderr or done.stdout).strip() or "nothing"
        raise BenchError(NOT_FLASHED, f"{first.node}: exit {done.returncode}, it said: {said}")
