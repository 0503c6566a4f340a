"""A bench for first flashes: a project with one node of each kind of board, keys, a shelf, and boards to plug in."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fleet.boards.board import load_board
from fleet.build import ticket as tickets
from fleet.build.entry import ShelfEntry
from fleet.build.record import BOOT_LOADER, PARTITIONS
from fleet.build.shelf import Shelf, record_bytes
from fleet.check.load import load_inventory
from fleet.flash.contents import Load, load_of
from fleet.flash.flash import Flashed, flash
from fleet.flash.loader import Found, Line
from fleet.keys.folder import KeyFolder
from fleet.keys.networks import Network
from fleet.model.inventory import Inventory
from fleet.render.firmware_class import class_of, vendor_id
from fleet.render.wanted import wanted_crcs
from tests.flash.board_images import binary_table, esp32_image, esp8266_image
from tests.rom_loader import ESP32, ESP32C3, ESP32S2, ESP32S3, ESP8266, Chip

DOMAIN = "farm.example"
PASSPHRASE = "a passphrase of the tests"
NODES = {
    "north": "nodemcu-v2",
    "south": "esp32-devkit",
    "east": "esp32-c3-devkit",
    "west": "esp32-devkit",
    "upper": "esp32-s2-devkit",
    "lower": "esp32-s3-devkit",
}
CHIPS: dict[str, Chip] = {
    "north": ESP8266,
    "south": ESP32,
    "east": ESP32C3,
    "west": ESP32,
    "upper": ESP32S2,
    "lower": ESP32S3,
}
MACS = {
    "north": "00:00:5e:00:53:a1",
    "south": "00:00:5e:00:53:a2",
    "east": "00:00:5e:00:53:a3",
    "upper": "00:00:5e:00:53:a5",
    "lower": "00:00:5e:00:53:a6",
}
WEST = "00:00:5e:00:53:a4"
"""The only one in the inventory. All of RFC 7042's block for documentation."""
PINS = {
    "nodemcu-v2": ("D5", "D6"),
    "esp32-devkit": ("IO32", "IO33"),
    "esp32-c3-devkit": ("IO0", "IO1"),
    "esp32-s2-devkit": ("IO4", "IO5"),
    "esp32-s3-devkit": ('"4"', '"5"'),
}


def inventory_text() -> str:
    """With notes and odd spacing, all of which is to stay."""
    tanks = "".join(
        f"- name: tank-{name}   # by the {name} gate\n  site: farm\n  duty: irrigation\n"
        "  shape: {kind: box, length: 2 m, width: 1 m, height: 1 m}\n"
        "  marks: [{name: low, height: 200 mm}, {name: full, height: 800 mm}]\n"
        for name in NODES
    )
    nodes = "".join(
        f"- name:  {name}\n  board: {board}   # as bought\n"
        + (f"  mac: {WEST}\n" if name == "west" else "")
        + f"  serves: [{{tank: tank-{name}, probes: {{low: {PINS[board][0]}, full: {PINS[board][1]}}}}}]\n"
        for name, board in NODES.items()
    )
    return (
        "# The farm\nfleet: {name: farm, domain: farm.example}\n"
        f"sites:\n- {{name: farm, time_zone: Europe/Lisbon, network: farm-wifi}}\ntanks:\n{tanks}nodes:\n{nodes}"
    )


@dataclass
class Table:
    """The project. `flash` drives the real esptool against whatever is on the port."""

    folder: Path
    keys: KeyFolder
    shelf: Shelf

    @property
    def inventory_dir(self) -> Path:
        return self.folder / "inventory"

    @property
    def file(self) -> Path:
        return self.inventory_dir / "farm.yaml"

    def inventory(self) -> Inventory:
        return load_inventory(self.inventory_dir)

    def load(self, node: str) -> Load:
        inventory = self.inventory()
        return load_of(inventory, inventory.node(node), load_board(NODES[node]), self.shelf, self.keys)

    def flash(self, node: str, port: str, *, dry_run: bool = False, agree: Any = None) -> Flashed:
        def yes(found: Found, standing: object) -> None:
            del found, standing

        return flash(
            self.load(node),
            self.inventory(),
            self.inventory_dir,
            Line(port, before="no-reset", tries=1),
            agree=agree or yes,
            tell=lambda name, sent, total: None,
            dry_run=dry_run,
        )

    def block_crc(self, node: str) -> str:
        """Of the block that the inventory gives now."""
        return wanted_crcs(self.inventory(), self.keys.trust(), "board", [(node, "1.0.0")])[node, "1.0.0"]

    def put(self, node: str, image: bytes, **facts: Any) -> ShelfEntry:
        """An image with a good ticket on the shelf; the ESP32 family's with a boot loader and a partition table."""
        board = load_board(NODES[node])
        vendor = vendor_id(DOMAIN)
        firmware_class = class_of(board, "board")
        record: dict[str, Any] = {"made": "up"}
        if board.payload_format == "esp32-bin":
            boot = esp32_image(board.chip, "boot loader", 9000)
            record["beside"] = {
                BOOT_LOADER: self.shelf.put_object(boot),
                PARTITIONS: self.shelf.put_object(binary_table(board.id)),
            }
        fields = tickets.TicketFields(
            **{
                "sequence": 1_700_000_000,
                "vendor_id": vendor.bytes,
                "class_id": firmware_class.id(vendor).bytes,
                "node": node,
                "payload_format": board.payload_format,
                "size_bytes": len(image),
                "digest": hashlib.sha256(image).digest(),
                "release": "1.0.0",
                **facts,
            }
        )
        ticket = tickets.sign(fields, self.keys.signing_key())
        entry = ShelfEntry(
            node=node,
            image=hashlib.sha256(image).hexdigest(),
            ticket=hashlib.sha256(ticket).hexdigest(),
            sequence=fields.sequence,
            release="1.0.0",
            board=board.id,
            class_id=str(firmware_class.id(vendor)),
            class_name=firmware_class.name,
            target="board",
            payload_format=board.payload_format,
            size_bytes=len(image),
            built_at="2026-03-01T00:00:00Z",
            defect="",
            block_crc=self.block_crc(node),
            record=hashlib.sha256(record_bytes(record)).hexdigest(),
        )
        self.shelf.add(entry, image, ticket, record)
        return entry


def lay_table(folder: Path) -> Table:
    """The project with everything in place."""
    (folder / "inventory").mkdir(parents=True)
    (folder / "inventory" / "farm.yaml").write_text(inventory_text(), encoding="utf-8")
    (folder / "tankfleet.toml").write_text('keys = "keys"\nfind_on = "127.0.0.1"\n', encoding="utf-8")
    keys = KeyFolder.create(folder / "keys")
    keys.set_network("farm-wifi", Network("Farm", PASSPHRASE))
    table = Table(folder, keys, Shelf(folder / ".tankfleet" / "shelf"))
    for node, board in NODES.items():
        chip = load_board(board).chip
        table.put(node, esp8266_image(node) if chip == "esp8266" else esp32_image(chip, node))
    return table
