"""The first load of a node: identify the board, write and read back every part, start it, claim its MAC.

The inventory is changed last, and only after everything was read back: a board that was cut off in the middle leaves it
as it was. The person is asked between looking and writing (`agree`).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from fleet.check.load import read_texts
from fleet.durable import write_durably
from fleet.errors import FlashError
from fleet.flash.codes import FLASH_TOO_SMALL, MAC_DIFFERS, MAC_OF_ANOTHER, WRONG_CHIP
from fleet.flash.loader import connected
from fleet.inventory.claim import claim

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from fleet.flash.contents import Load
    from fleet.flash.loader import Found, Line, Tell
    from fleet.inventory.claim import Claim
    from fleet.model.inventory import Inventory


class MacStatus(StrEnum):
    """What the inventory says of the board's MAC."""

    KNOWN = "known"
    """It is this node's."""
    CLAIMED = "claimed"
    """The node had none: this one is added to the inventory."""


@dataclass(frozen=True, slots=True)
class Flashed:
    """What was found and done. `claimed` is None where the MAC was known; `wrote` is false after a dry run."""

    found: Found
    standing: MacStatus
    claimed: Claim | None
    wrote: bool


def flash(
    load: Load,
    inventory: Inventory,
    folder: Path,
    line: Line,
    *,
    agree: Callable[[Found, MacStatus], None],
    tell: Tell,
    dry_run: bool = False,
) -> Flashed:
    """Do it. `agree` raises to leave the board as it is. FlashError, or UsageError (INV180), when it cannot be done."""
    with connected(line, load.board) as loader:
        if loader.chip != load.board.chip:
            wanted = f"{load.node.name} is {load.board.title}, with an {load.board.chip}"
            what = f"this board has an {loader.chip}; {wanted}"
            raise FlashError(WRONG_CHIP, f"{line.port}: {what}")
        found = loader.identify()
        _check_flash(found, load, line)
        standing = _standing(found, load, inventory)
        claimed = (
            claim(folder, load.node.name, found.mac, read_texts) if standing is MacStatus.CLAIMED else None
        )
        if not dry_run:
            agree(found, standing)
            loader.write(load.parts, tell)
            loader.read_back(load.parts, tell)
        loader.start()
    if claimed is not None and not dry_run:
        _write(claimed)
    return Flashed(found, standing, claimed, not dry_run)


def _check_flash(found: Found, load: Load, line: Line) -> None:
    if found.flash_bytes is None or found.flash_bytes < load.board.flash_bytes:
        size = "a flash of unknown size" if found.flash_bytes is None else _mib(found.flash_bytes)
        what = f"{line.port}: {size}; {load.board.title} has {_mib(load.board.flash_bytes)}"
        raise FlashError(FLASH_TOO_SMALL, what)


def _mib(size_bytes: int) -> str:
    return f"{size_bytes / 2**20:g} MiB of flash"


def _standing(found: Found, load: Load, inventory: Inventory) -> MacStatus:
    owner = next((node.name for node in inventory.nodes if node.mac == found.mac), None)
    if owner is not None and owner != load.node.name:
        raise FlashError(
            MAC_OF_ANOTHER, f"the board {found.mac} is {owner} in the inventory, not {load.node.name}"
        )
    if load.node.mac is None:
        return MacStatus.CLAIMED
    if load.node.mac != found.mac:
        raise FlashError(
            MAC_DIFFERS, f"{load.node.name} is {load.node.mac} in the inventory; this is {found.mac}"
        )
    return MacStatus.KNOWN


def _write(claimed: Claim) -> None:
    if claimed.path.read_bytes() != claimed.before:
        raise claimed.changed_meanwhile()
    try:
        write_durably([(claimed.path, claimed.after)], mode=claimed.path.stat().st_mode & 0o777)
    except OSError as error:
        raise claimed.not_written(error) from error
