"""Reading a partition table of the ESP32 family: what is written goes where the table on the board says.

Form: 32 bytes an entry (0xAA 0x50, type, subtype, offset, size, label, flags), then one that begins EB EB with the
MD5 of the entries before it (ESP-IDF, esp_flash_partitions.h and gen_esp32part.py).
"""

from __future__ import annotations

import hashlib
import struct
from typing import TYPE_CHECKING, Final, NamedTuple

from fleet.errors import FlashError
from fleet.flash.codes import BAD_TABLE

if TYPE_CHECKING:
    from collections.abc import Mapping

_ENTRY: Final = struct.Struct("<HBBII16sI")
_ENTRY_MAGIC: Final = 0x50AA
_MD5_START: Final = b"\xeb\xeb" + b"\xff" * 14
APPLICATION: Final = (0x00, 0x10)
"""Slot a: an application, `ota_0`."""
NOTES: Final = (0x01, 0x00)
"""The boot loader's notes: data, `ota`."""


class Area(NamedTuple):
    """A stretch of flash."""

    at: int
    size_bytes: int


def areas(table: bytes) -> Mapping[tuple[int, int], Area]:
    """Each partition by type and subtype. FlashError (FLA134) if this is no table, or its MD5 is wrong."""
    found: dict[tuple[int, int], Area] = {}
    for start in range(0, len(table) - _ENTRY.size + 1, _ENTRY.size):
        row = table[start : start + _ENTRY.size]
        if row.startswith(_MD5_START):
            if row[16:] != hashlib.md5(table[:start], usedforsecurity=False).digest():
                raise FlashError(BAD_TABLE, "the MD5 of the partition table is not that of its entries")
            return found
        magic, kind, subtype, at, size, _, _ = _ENTRY.unpack(row)
        if magic != _ENTRY_MAGIC:
            break
        found.setdefault((kind, subtype), Area(at, size))
    raise FlashError(BAD_TABLE, "the partition table has no end")


def area(table: Mapping[tuple[int, int], Area], which: tuple[int, int], name: str, least_bytes: int) -> Area:
    """One of them, at least so large. FlashError (FLA134) if it is not there."""
    found = table.get(which)
    if found is None or found.size_bytes < least_bytes:
        raise FlashError(BAD_TABLE, f"the partition table has no {least_bytes} bytes for the {name}")
    return found
