"""What is written to a new board: every part, its place, and the checks before a board is touched."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from fleet.boards.partitions import SECTOR_BYTES, TABLE_AT
from fleet.build.codes import BAD_TICKET
from fleet.build.esp_image import check_image
from fleet.build.older import older_images
from fleet.build.record import BOOT_LOADER, PARTITIONS
from fleet.build.ticket import verify
from fleet.errors import BuildError, FlashError, ShelfError
from fleet.flash.codes import NO_BOOT_LOADER, NO_IMAGE, OLDER_INVENTORY, OTHER_TICKET
from fleet.flash.places import Places, esp8266_places, places_in
from fleet.flash.records import credentials_record, trial_record
from fleet.render.firmware_class import class_of, vendor_id

if TYPE_CHECKING:
    from fleet.boards.board import Board
    from fleet.build.entry import ShelfEntry
    from fleet.build.shelf import Shelf
    from fleet.build.ticket import TicketFields
    from fleet.keys.folder import KeyFolder
    from fleet.model.inventory import Inventory
    from fleet.model.node import Node


@dataclass(frozen=True, slots=True)
class Part:
    """Bytes that go to a place in flash. Some are secret: they are never shown."""

    name: str
    at: int
    data: bytes = field(repr=False)


@dataclass(frozen=True, slots=True)
class Load:
    """All that is written for one node, in the order of writing."""

    node: Node
    board: Board
    entry: ShelfEntry
    network: str
    """Name of the WiFi credentials that the board gets."""
    parts: tuple[Part, ...]


def load_of(
    inventory: Inventory, node: Node, board: Board, shelf: Shelf, keys: KeyFolder, *, as_built: bool = False
) -> Load:
    """The load of a node; with `as_built` also of an image that was built from an older inventory.

    FlashError (FLA130-135), ShelfError, BuildError (BLD106, 108) or KeyFolderError.
    """
    class_id = str(class_of(board, "board").id(vendor_id(inventory.fleet.domain)))
    entry = shelf.newest(node.name, class_id)
    if entry is None:
        fix = NO_IMAGE.fix.replace("NODE", node.name)
        raise FlashError(NO_IMAGE, f"the shelf has no image of {node.name} for {board.title}", fix=fix)
    image, ticket = shelf.image(entry.image), shelf.ticket(entry.ticket)
    _check(image, board.chip, board.slot_bytes, f"image {entry.image[:16]} of {node.name}", node.name)
    fields = _fields(ticket, entry, keys)
    older = older_images(shelf, inventory, keys.trust(), "board", [entry])
    if older and not as_built:
        fix = OLDER_INVENTORY.fix.replace("NODE", node.name)
        raise FlashError(OLDER_INVENTORY, f"{node.name}: {older[node.name]}", fix=fix)
    network = inventory.site_of(node).network
    credentials = credentials_record(keys.node_key(node.name), keys.network(network))
    before, places = _before_the_image(shelf, entry, board)
    parts = (
        *before,
        Part("application", places.application_at, image),
        Part("trial record", places.records_at[0], _sector(trial_record(board.layout, fields, ticket))),
        Part("trial record, second", places.records_at[1], _sector(b"")),
        Part("credentials", places.credentials_at[0], _sector(credentials)),
        Part("credentials, second", places.credentials_at[1], _sector(b"")),
        *_runs(places),
    )
    return Load(node, board, entry, network, parts)


def _check(image: bytes, chip: str, room_bytes: int, what: str, node: str) -> None:
    try:
        check_image(image, chip, room_bytes)
    except BuildError as error:
        fix = f"Run `tankfleet build {node} --target board`, then this command again."
        raise BuildError(error.code, f"{what}: {error.what}", fix=fix) from error


def _fields(ticket: bytes, entry: ShelfEntry, keys: KeyFolder) -> TicketFields:
    try:
        fields = verify(ticket, keys.trust())
    except ShelfError as error:
        if error.code is not BAD_TICKET:
            raise
        raise _other(entry, error.what) from error
    if (fields.node, fields.digest.hex()) != (entry.node, entry.image):
        raise _other(entry, "it is for another image")
    return fields


def _other(entry: ShelfEntry, why: str) -> FlashError:
    fix = OTHER_TICKET.fix.replace("NODE", entry.node)
    return FlashError(OTHER_TICKET, f"ticket {entry.sequence} of {entry.node}: {why}", fix=fix)


def _before_the_image(shelf: Shelf, entry: ShelfEntry, board: Board) -> tuple[list[Part], Places]:
    """ESP32 family: boot loader, partition table, and the boot loader's notes, empty, so that slot a is started."""
    if board.payload_format == "esp8266-bin":
        return [], esp8266_places()
    beside = shelf.record(entry.record).get("beside", {})
    if not {BOOT_LOADER, PARTITIONS} <= set(beside):
        fix = NO_BOOT_LOADER.fix.replace("NODE", entry.node)
        raise FlashError(NO_BOOT_LOADER, f"image {entry.image[:16]} of {entry.node}", fix=fix)
    boot_loader, partitions = shelf.image(beside[BOOT_LOADER]), shelf.image(beside[PARTITIONS])
    what = f"the boot loader beside image {entry.image[:16]}"
    _check(boot_loader, board.chip, TABLE_AT - board.boot_loader_at, what, entry.node)
    places, notes = places_in(partitions, board.slot_bytes)
    parts = [
        Part("boot loader", board.boot_loader_at, boot_loader),
        Part("partitions", TABLE_AT, partitions),
        Part("boot loader's notes", notes.at, b"\xff" * notes.size_bytes),
    ]
    return parts, places


def _runs(places: Places) -> list[Part]:
    """The record of runs, empty: faults of the node that this board was before are not this one's."""
    return (
        [] if places.runs is None else [Part("run record", places.runs.at, b"\xff" * places.runs.size_bytes)]
    )


def _sector(record: bytes) -> bytes:
    return record.ljust(SECTOR_BYTES, b"\xff")
