"""Partition tables: their rules, and the published ones that ours come from."""

from __future__ import annotations

import hashlib
import re
import struct
from dataclasses import replace
from itertools import pairwise

import pytest

from fleet.boards.board import board_ids, load_board
from fleet.boards.partitions import (
    CREDENTIALS,
    LATER,
    LATER_BYTES,
    RECORDS,
    RUNS,
    RUNS_BYTES,
    SECTOR_BYTES,
    Partition,
    partition_table,
    table_faults,
)
from fleet.flash.table import areas
from tests.firmware.firmware_build import ROOT

FOUR_MIB = 4 * 1024 * 1024
SLOT = 0x1E0000
ESP32_BOARDS = [b for b in board_ids() if load_board(b).payload_format == "esp32-bin"]
# arduino-esp32 tools/partitions/min_spiffs.csv and default_8MB.csv, all but the file system: offset, size.
PUBLISHED = {
    "two-slot-4mb": {
        "nvs": (0x9000, 0x5000), "otadata": (0xE000, 0x2000), "app0": (0x10000, 0x1E0000),
        "app1": (0x1F0000, 0x1E0000), "coredump": (0x3F0000, 0x10000),
    },
    "two-slot-8mb": {
        "nvs": (0x9000, 0x5000), "otadata": (0xE000, 0x2000), "app0": (0x10000, 0x330000),
        "app1": (0x340000, 0x330000), "coredump": (0x7F0000, 0x10000),
    },
}  # fmt: skip
FILE_SYSTEMS = {"two-slot-4mb": (0x3D0000, 0x20000), "two-slot-8mb": (0x670000, 0x180000)}


def faults(table: tuple[Partition, ...], flash_bytes: int = FOUR_MIB, slot_bytes: int = SLOT) -> list[str]:
    return list(table_faults(table, flash_bytes, slot_bytes))


def changed(row_name: str, /, **what: object) -> tuple[Partition, ...]:
    return tuple(
        replace(row, **what) if row.name == row_name else row for row in partition_table("two-slot-4mb")
    )  # type: ignore[arg-type]


@pytest.mark.parametrize("name", PUBLISHED)
def test_tables_are_the_published_ones_with_ours_in_place_of_the_file_system(name: str) -> None:
    table = partition_table(name)
    ours = {row.name: (row.at, row.size_bytes) for row in table if row.type in ("app", "data")}
    assert ours == PUBLISHED[name]
    at, size = FILE_SYSTEMS[name]
    own = [row for row in table if row.type == "0x40"]
    assert [row.kind for row in own] == [CREDENTIALS, RECORDS, RUNS, LATER]
    assert own[0].at == at
    assert all(at <= row.at and row.end <= at + size for row in own)


@pytest.mark.parametrize("board_id", ESP32_BOARDS)
def test_each_board_has_a_table_that_keeps_the_rules(board_id: str) -> None:
    board = load_board(board_id)
    assert faults(board.partitions, board.flash_bytes, board.slot_bytes) == []


def test_other_boards_have_none() -> None:
    assert load_board("d1-mini").partitions == ()


@pytest.mark.parametrize(
    ("table", "fault"),
    [
        (changed("app1", at=0x1F1000), "not aligned"),
        (changed("otadata", at=0xE800), "not aligned"),
        (changed("app0", size_bytes=0x1E0800), "not aligned"),
        (changed("coredump", size_bytes=0), "not aligned"),
        (changed("nvs", at=0x8000), "before 0x9000"),
        (changed("app1", at=0x1E0000), "before 0x1f0000"),
        (changed("coredump", size_bytes=0x11000), "the flash has 0x400000"),
        (changed("coredump", name="a-name-of-17-bytes"), "not a name"),
        (changed("coredump", name="nvs"), "one name"),
        (changed("coredump", subtype="nvs"), "one type and subtype"),
        (changed("app1", size_bytes=0x1D0000), "two slots"),
        (changed("app1", subtype="ota_2"), "two slots"),
        (changed("app0", type="data", subtype="0x80"), "two slots"),
        (changed("otadata", size_bytes=0x1000), "otadata"),
        (changed("tank_key", subtype="0x02"), "credentials"),
        (changed("tank_trial", size_bytes=0x1000), "trial record"),
        (changed("tank_run", size_bytes=0xF000), "record of runs"),
        (changed("tank_later", subtype="0x04"), "kept free"),
        (
            tuple(Partition(f"p{n}", "0x41", str(n), 0x9000 + n * 0x1000, 0x1000) for n in range(96)),
            "96 entries",
        ),
    ],
)
def test_what_breaks_a_rule_is_named(table: tuple[Partition, ...], fault: str) -> None:
    """esp-idf docs/en/api-guides/partition-tables.rst and gen_esp32part.py: alignment, order, sizes, names."""
    assert any(fault in said for said in faults(table)), faults(table)


def test_a_board_whose_table_does_not_fit_is_not_loaded(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("fleet.boards.board.partition_table", lambda _: changed("app1", at=0x1F1000))
    load_board.cache_clear()
    with pytest.raises(ValueError, match="esp32-devkit: partition table two-slot-4mb: app1 is not aligned"):
        load_board("esp32-devkit")
    load_board.cache_clear()


def test_the_first_flash_finds_the_places_in_the_binary_form() -> None:
    """Entries of 32 bytes as esp_flash_partitions.h lays them out; the MD5 row of gen_esp32part.py."""
    table = partition_table("two-slot-4mb")
    data = b"".join(
        struct.pack("<HBBII16sI", 0x50AA, *row.kind, row.at, row.size_bytes, row.name.encode(), 0)
        for row in table
    )
    whole = (data + b"\xeb\xeb" + b"\xff" * 14 + hashlib.md5(data).digest()).ljust(0xC00, b"\xff")
    assert dict(areas(whole)) == {row.kind: (row.at, row.size_bytes) for row in table}


def test_the_firmware_looks_for_the_same_types() -> None:
    text = (ROOT / "templates" / "firmware" / "ports" / "esp32" / "flash_map.h").read_text(encoding="utf-8")
    numbers = {
        name: int(value, 0) for name, value in re.findall(r"constexpr uint8_t k(\w+) = (0x\w+);", text)
    }
    kind = numbers["TankPartitionType"]
    assert (kind, numbers["CredentialsSubtype"]) == CREDENTIALS
    assert (kind, numbers["RecordsSubtype"]) == RECORDS
    assert (kind, numbers["RunsSubtype"]) == RUNS
    assert (kind, numbers["LaterSubtype"]) == LATER


def test_flash_map_test_of_the_firmware_has_the_same_table() -> None:
    text = (ROOT / "tests" / "firmware" / "flash_map_test.cpp").read_text(encoding="utf-8")
    for row in partition_table("two-slot-4mb"):
        if row.name not in ("nvs", "coredump"):
            assert f'0x{row.at:X}, 0x{row.size_bytes:X}, "{row.name}"' in text, row.name


def test_the_firmware_has_the_same_sizes_for_the_record_of_runs_and_for_what_is_kept_free() -> None:
    text = (ROOT / "templates" / "firmware" / "core" / "partition.h").read_text(encoding="utf-8")
    sectors = {name: int(n) for name, n in re.findall(r"k(Runs|Later)Bytes = (\d+) \* kSectorBytes", text)}
    assert sectors == {"Runs": RUNS_BYTES // SECTOR_BYTES, "Later": LATER_BYTES // SECTOR_BYTES}


@pytest.mark.parametrize("name", ["kHostTwoSlot", "kHostCopyInPlace"])
def test_no_two_areas_of_a_virtual_node_overlap(name: str) -> None:
    text = (ROOT / "templates" / "firmware" / "core" / "partition.h").read_text(encoding="utf-8")
    words = {"kSectorBytes": 0x1000, "kRunsBytes": 16 * 0x1000, "kLaterBytes": 8 * 0x1000}
    body = text.split(f"{name} = {{")[1].split("};")[0]
    found = [
        (int(at, 0), words[size] if size in words else int(size, 0))
        for at, size in re.findall(r"\{(\w+), (\w+)\}", body)
    ]
    areas = sorted((at, at + size) for at, size in found if size)
    assert all(one[1] <= two[0] for one, two in pairwise(areas))
    assert areas[-1][1] == int(re.findall(r"kHostFlashBytes = (0x\w+)", text)[0], 0)
