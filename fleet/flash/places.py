"""Where in a board's flash each part lies that the first flash writes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from fleet.flash.esptool_quiet import CHIP_DEFS

if TYPE_CHECKING:
    from fleet.boards.board import Board

SECTOR_BYTES: Final = 4096
_PARTITIONS_AT: Final = 0x8000
_NOTES_AT, _NOTES_BYTES = 0xE000, 0x2000
_APP_AT: Final = 0x10000
"""ESP32 family (templates/node/partitions.csv.j2)."""
_ESP8266_CREDENTIALS_AT: Final = 0x3F7000
"""Behind the keep area, before what the Arduino core keeps at the end of 4 MiB for itself (eagle.flash.4m2m.ld)."""


@dataclass(frozen=True, slots=True)
class Places:
    """Offsets in flash. Boot loader, partition table and the boot loader's notes are apart on the ESP32 family only.

    `credentials_at` and both of `records_at` are one sector each.
    """

    application_at: int
    credentials_at: int
    records_at: tuple[int, int]
    boot_loader_at: int | None = None
    partitions_at: int = 0
    notes_at: int = 0
    notes_bytes: int = 0


def places_of(board: Board) -> Places:
    """The places on a board of that kind."""
    if board.payload_format == "esp8266-bin":
        at = _ESP8266_CREDENTIALS_AT
        return Places(0, at, (at + SECTOR_BYTES, at + 2 * SECTOR_BYTES))
    at = _APP_AT + 2 * board.slot_bytes
    return Places(
        application_at=_APP_AT,
        credentials_at=at,
        records_at=(at + SECTOR_BYTES, at + 2 * SECTOR_BYTES),
        boot_loader_at=int(CHIP_DEFS[board.chip.replace("-", "")].BOOTLOADER_FLASH_OFFSET),
        partitions_at=_PARTITIONS_AT,
        notes_at=_NOTES_AT,
        notes_bytes=_NOTES_BYTES,
    )
