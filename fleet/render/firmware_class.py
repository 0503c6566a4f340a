"""Firmware classes and the ids of vendor and class (docs/node-interface.md 5; RFC 9124; RFC 9562 UUID version
5)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal
from uuid import NAMESPACE_DNS, UUID, uuid5

if TYPE_CHECKING:
    from fleet.boards.board import Board
    from fleet.boards.data_file import PayloadFormat

Target = Literal["host", "board"]
DEFECTS: Final = {
    "crash-at-boot": 1,
    "hang-after-minute": 2,
    "probes-inverted": 3,
    "no-network": 4,
    "pump-stuck-on": 5,
    "leaks-memory": 6,
}
"""Compile-time defects of the bench, with the number that TN_BENCH_DEFECT gets."""


BLOCK_SECTIONS: Final = {
    "host": ".tank_node_block",
    "esp8266": ".irom.text.tank_node_block",
    "esp32": ".rodata_custom_desc.tank_node_block",
}
"""Section of the node block, by port: where the chip's linker script puts it into memory that is mapped from flash.

ESP8266: eagle.app.v6.common.ld of the Arduino core (`*(.irom.text.*)` into `.irom0.text`; a section of any other name
would not be in the image at all). ESP32 family: sections.ld of ESP-IDF 4.4 (`.rodata_custom_desc.*` into
`.flash.appdesc`, behind the application's description; in `.rodata.*` the assembler wants no writable constants).
"""
SIZES: Final = {
    "esp8266": (
        ("TN_CONNECTIONS", 2),
        ("TN_ANSWER_ROOMS", 1),
        ("TN_SHA256_BYTES", 112),
    ),
}
"""Room sizes of the core (templates/firmware/core/limits.h) by port, where the chip has little RAM."""

SHARED: Final = {"host": ("bearssl",), "esp8266": ("bearssl",)}
"""Folders under `firmware/ports` that a port has in common with others and takes as they are, by port."""


def vendor_id(domain: str) -> UUID:
    """The fleet's vendor id, from its DNS name."""
    return uuid5(NAMESPACE_DNS, domain)


@dataclass(frozen=True, slots=True, order=True)
class FirmwareClass:
    """All nodes whose code is the same but for their node block. Features are those chosen when compiling."""

    board: str
    layout: str
    target: Target
    features: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        """`BOARD/FEATURES/LAYOUT/TARGET`; `base` when no feature is chosen."""
        return f"{self.board}/{'+'.join(self.features) or 'base'}/{self.layout}/{self.target}"

    def id(self, vendor: UUID) -> UUID:
        """The class id of this class among that vendor's."""
        return uuid5(vendor, self.name)


def how_to_say(target: str) -> str:
    """What a person does where a command looked at the other target."""
    return f'set TANKFLEET_TARGET={target}, or `target = "{target}"` in tankfleet.toml'


def class_of(board: Board, target: Target) -> FirmwareClass:
    """The class of the nodes with that board. All of today's code is in every image: no features yet."""
    return FirmwareClass(board.id, board.layout, target)


def payload_format(board: Board, target: Target) -> Literal["host-elf"] | PayloadFormat:
    """What the image is: `host-elf`, or the board's own form."""
    return "host-elf" if target == "host" else board.payload_format


def port_name(board: Board, target: Target) -> str:
    """The folder under `firmware/ports` with the code for that target: `host`, `esp8266`, `esp32`."""
    return "host" if target == "host" else board.payload_format.removesuffix("-bin")
