"""Signs that a fleet has keys already, elsewhere: whoever then makes new ones locks himself out of every node."""

from __future__ import annotations

import secrets
from contextlib import closing
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from fleet.build.shelf import Shelf
from fleet.build.ticket import key_id_of
from fleet.find.find import find
from fleet.find.match import Status
from fleet.keys.derive import KEY_BYTES
from fleet.limits import KEYS_LOOK_S
from fleet.push.journal import Journal

if TYPE_CHECKING:
    from pathlib import Path

    from fleet.model.inventory import Inventory
    from fleet.workspace import Workspace


class Sign(StrEnum):
    """What shows it."""

    SHELF = "shelf"
    """Images there are signed. `subjects`: ids of the keys."""
    JOURNAL = "journal"
    """Nodes took images. `subjects`: the pushes."""


@dataclass(frozen=True, slots=True)
class OtherKeys:
    """One sign, and on what it rests."""

    sign: Sign
    subjects: tuple[str, ...]


def key_ids_on_shelf(path: Path) -> frozenset[str]:
    """Ids of the keys that signed each node's newest ticket on the shelf, in hex. ShelfError if one is damaged."""
    shelf = Shelf(path)
    newest = (shelf.newest(node) for node in shelf.nodes())
    return frozenset(key_id_of(shelf.ticket(entry.ticket)).hex() for entry in newest if entry is not None)


def kept_here(workspace: Workspace) -> tuple[OtherKeys, ...]:
    """Signs in the project folder."""
    signs = []
    key_ids = key_ids_on_shelf(workspace.shelf_dir)
    if key_ids:
        signs.append(OtherKeys(Sign.SHELF, tuple(sorted(key_ids))))
    journal = Journal.open_if_there(workspace.journal_path)
    if journal is not None:
        with closing(journal):
            pushes = tuple(record.id for record in journal.pushes())
        if pushes:
            signs.append(OtherKeys(Sign.JOURNAL, pushes))
    return tuple(signs)


async def answering(
    inventory: Inventory, workspace: Workspace, interface: str | None, timeout_s: float = KEYS_LOOK_S
) -> tuple[str, ...]:
    """What announces itself as a node of the inventory and answers, as `NODE at ADDRESS:PORT`: a board has its name
    from its first flash, and with it keys; any other device can say the same. They are asked under a key that no node
    has, so that each shows as not under it. UsageError as of `find`."""
    none_has = secrets.token_bytes(KEY_BYTES)
    matches = await find(
        inventory, lambda node: none_has, workspace, interface=interface, timeout_s=timeout_s
    )
    known = {node.name for node in inventory.nodes}
    there = {Status.IMPOSTOR, Status.CROWDED}
    found = [m for m in matches if m.node in known and m.status in there and m.address is not None]
    return tuple(dict.fromkeys(f"{m.node} at {m.address}:{m.port}" for m in found))
