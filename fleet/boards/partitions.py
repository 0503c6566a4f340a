"""Partition tables of the ESP32 family: one data file each (`data/partitions/*.toml`), and the rules that they keep.

A node's own partitions have a type of their own: the credentials (node key, network) and the trial record, two sectors
each, the record of runs, and a place that is kept free (templates/firmware/ports/esp32/flash_map.h finds them by type
and subtype).
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

TABLE_AT: Final = 0x8000
TABLE_BYTES: Final = 0x1000
MOST_ENTRIES: Final = 95
NAME_BYTES: Final = 15
"""esp-idf docs/en/api-guides/partition-tables.rst: 0xC00 bytes, 32 each, one for the MD5; names end in a NUL."""
SECTOR_BYTES: Final = 0x1000
APP_ALIGNMENT: Final = 0x10000
OTADATA_BYTES: Final = 0x2000
CREDENTIALS: Final = (0x40, 0x00)
RECORDS: Final = (0x40, 0x01)
RUNS: Final = (0x40, 0x02)
LATER: Final = (0x40, 0x03)
RUNS_BYTES: Final = 16 * SECTOR_BYTES
LATER_BYTES: Final = 8 * SECTOR_BYTES
"""As in templates/firmware/core/partition.h; a test compares the two."""
_TYPES: Final = {"app": 0x00, "data": 0x01}
_SUBTYPES: Final = {
    "app": {"factory": 0x00, **{f"ota_{n}": 0x10 + n for n in range(16)}},
    "data": {"ota": 0x00, "phy": 0x01, "nvs": 0x02, "coredump": 0x03},
}


@dataclass(frozen=True, slots=True)
class Partition:
    """One row; `type` and `subtype` are the words of the CSV form, or numbers as text."""

    name: str
    type: str
    subtype: str
    at: int
    size_bytes: int

    @property
    def kind(self) -> tuple[int, int]:
        """Type and subtype as numbers. ValueError for a word that is none."""
        number = _TYPES[self.type] if self.type in _TYPES else int(self.type, 0)
        words = _SUBTYPES.get(self.type, {})
        return number, words[self.subtype] if self.subtype in words else int(self.subtype, 0)

    @property
    def end(self) -> int:
        """The first byte behind it."""
        return self.at + self.size_bytes


@cache
def partition_table(name: str) -> tuple[Partition, ...]:
    """The rows of the table of that name, by their place."""
    path = files("fleet.boards") / "data" / "partitions" / f"{name}.toml"
    rows = tomllib.loads(path.read_text(encoding="utf-8"))["partition"]
    return tuple(Partition(r["name"], r["type"], r["subtype"], r["at"], r["bytes"]) for r in rows)


def table_faults(table: Sequence[Partition], flash_bytes: int, slot_bytes: int) -> Iterator[str]:
    """What is wrong with a table, in words: the rules of ESP-IDF, then what a node needs."""
    if len(table) > MOST_ENTRIES:
        yield f"{len(table)} entries; at most {MOST_ENTRIES} fit"
    end = TABLE_AT + TABLE_BYTES
    for row in table:
        alignment = APP_ALIGNMENT if row.type == "app" else SECTOR_BYTES
        if row.at % alignment or row.size_bytes % SECTOR_BYTES or row.size_bytes == 0:
            yield f"{row.name} is not aligned: it begins at {row.at:#x} and has {row.size_bytes:#x} bytes"
        if row.at < end:
            yield f"{row.name} begins at {row.at:#x}, before {end:#x} where what comes before it ends"
        if not 0 < len(row.name.encode()) <= NAME_BYTES:
            yield f"{row.name!r} is not a name of 1 to {NAME_BYTES} bytes"
        end = row.end
    if end > flash_bytes:
        yield f"it ends at {end:#x}; the flash has {flash_bytes:#x} bytes"
    if len({row.name for row in table}) < len(table) or len({row.kind for row in table}) < len(table):
        yield "two partitions have one name, or one type and subtype"
    yield from _needs(table, slot_bytes)


def _needs(table: Sequence[Partition], slot_bytes: int) -> Iterator[str]:
    sizes = {row.kind: row.size_bytes for row in table}
    slots = [row.size_bytes for row in table if row.type == "app"]
    if slots != [slot_bytes, slot_bytes] or (0, 0x10) not in sizes or (0, 0x11) not in sizes:
        yield f"it does not have two slots of {slot_bytes:#x} bytes, ota_0 and ota_1, and no other application"
    for kind, size_bytes, what in (
        ((1, 0), OTADATA_BYTES, "the boot loader's notes (otadata)"),
        (CREDENTIALS, 2 * SECTOR_BYTES, "the credentials"),
        (RECORDS, 2 * SECTOR_BYTES, "the trial record"),
        (RUNS, RUNS_BYTES, "the record of runs"),
        (LATER, LATER_BYTES, "what is kept free"),
    ):
        if sizes.get(kind) != size_bytes:
            yield f"it does not have {size_bytes:#x} bytes for {what}"
