"""Made-up but valid flash images: after the vectors of esptool's firmware-image-format.rst; both of our checks and
esptool's own reader take them. Nothing in them runs."""

from __future__ import annotations

import hashlib
import random
import struct

from fleet.boards.board import load_board
from fleet.boards.partitions import partition_table
from fleet.build.esp_image import ESP8266_APP_AT, with_bytes_at

CHIP_IDS = {"esp32": 0, "esp32-s2": 2, "esp32-c3": 5, "esp32-s3": 9}


def _noise(seed: str, size_bytes: int) -> bytes:
    return random.Random(seed).randbytes(size_bytes // 2) + bytes(size_bytes - size_bytes // 2)


def _sealed(body: bytes, segments: bytes) -> bytes:
    padded = body + bytes(-(len(body) + 1) % 16)
    checksum = 0xEF
    for byte in segments:
        checksum ^= byte
    return padded + bytes([checksum])


def esp32_image(chip: str, seed: str, size_bytes: int = 60_000, *, chip_id: int | None = None) -> bytes:
    """An image of the ESP32 family: one segment, SHA-256 appended."""
    data = _noise(seed, size_bytes)
    number = CHIP_IDS[chip] if chip_id is None else chip_id
    head = struct.pack("<BBBBI", 0xE9, 1, 2, 0x20, 0x400D0020)
    head += struct.pack("<B3xHBHH4xB", 0xEE, number, 0, 0, 99, 1)
    body = _sealed(head + struct.pack("<II", 0x3F400020, len(data)) + data, data)
    return body + hashlib.sha256(body).digest()


def esp8266_image(seed: str, size_bytes: int = 60_000) -> bytes:
    """As the Arduino core makes them: a small boot loader, then the application, with length and CRC in it."""
    boot = _noise(f"{seed} boot", 512)
    first = struct.pack("<BBBBI", 0xE9, 1, 2, 0x40, 0x4010F000)
    first = _sealed(first + struct.pack("<II", 0x4010F000, len(boot)) + boot, boot).ljust(
        ESP8266_APP_AT, b"\xaa"
    )
    data = bytes(16) + _noise(seed, size_bytes)
    head = struct.pack("<BBBBI", 0xE9, 1, 2, 0x40, 0x40100000) + struct.pack("<II", 0x40201010, len(data))
    whole = first + _sealed(head + data, data)
    return with_bytes_at(whole, "esp8266", 0x40201010 + 8, b"tank")


def binary_table(board_id: str, *, without: str = "") -> bytes:
    """The board's own table by the form of ESP-IDF's gen_esp32part.py: entries of 32 bytes, MD5, 0xFF up to 0xC00."""
    data = b"".join(
        struct.pack("<HBBII16sI", 0x50AA, *row.kind, row.at, row.size_bytes, row.name.encode(), 0)
        for row in partition_table(load_board(board_id).flash_map)
        if row.name != without
    )
    return (data + b"\xeb\xeb" + b"\xff" * 14 + hashlib.md5(data).digest()).ljust(0xC00, b"\xff")
