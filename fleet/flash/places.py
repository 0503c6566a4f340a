"""Where in a board's flash each part lies that the first flash writes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from fleet.boards.partitions import CREDENTIALS, OTADATA_BYTES, RECORDS, RUNS, RUNS_BYTES, SECTOR_BYTES
from fleet.flash import table

_ESP8266_CREDENTIALS_AT: Final = (0x3F7000, 0x3FA000)
_ESP8266_RECORDS_AT: Final = (0x3F8000, 0x3F9000)
_ESP8266_RUNS: Final = table.Area(0x3E0000, RUNS_BYTES)
"""As in templates/firmware/ports/esp8266/chip_flash.h; a test compares the two."""


@dataclass(frozen=True, slots=True)
class Places:
    """Offsets in flash; each of `credentials_at` and `records_at` is one sector. `runs`: None for an image from before
    there was a record of runs, whose table has no place for it."""

    application_at: int
    credentials_at: tuple[int, int]
    records_at: tuple[int, int]
    runs: table.Area | None


def esp8266_places() -> Places:
    """On an ESP8266 of 4 MiB."""
    return Places(0, _ESP8266_CREDENTIALS_AT, _ESP8266_RECORDS_AT, _ESP8266_RUNS)


def places_in(partitions: bytes, slot_bytes: int) -> tuple[Places, table.Area]:
    """On a board of the ESP32 family with that table, and the boot loader's notes. FlashError (FLA134)."""
    found = table.areas(partitions)
    credentials = table.area(found, CREDENTIALS, "credentials", 2 * SECTOR_BYTES).at
    records = table.area(found, RECORDS, "trial records", 2 * SECTOR_BYTES).at
    places = Places(
        table.area(found, table.APPLICATION, "application", slot_bytes).at,
        (credentials, credentials + SECTOR_BYTES),
        (records, records + SECTOR_BYTES),
        found.get(RUNS),
    )
    return places, table.area(found, table.NOTES, "boot loader's notes", OTADATA_BYTES)
