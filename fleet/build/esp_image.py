"""Flash images of the ESP chips: read, checked, written into and sealed again, by our own reader.

The form is that of esptool's documentation (firmware-image-format.rst) and of ESP-IDF's esp_app_format.h: a head
of 8 bytes (24 from the ESP32 on), segments of address, length and bytes, zeros, one checksum byte at the end of a
block of 16 (the XOR of all bytes of all segments, from 0xEF), and from the ESP32 on, where byte 23 says so, the
SHA-256 of all before it. What the Arduino core for the ESP8266 makes are two such images, one behind the other:
its boot loader, filled up with 0xAA to 4096 bytes, and the application, with the length and a CRC-32 of the whole
file in the first two words of its first segment; checksum and CRC are those of the file with zeros there (the
core's tools/elf2bin.py).

`esptool image-info` ends with 0 on a wrong checksum, and its reader lets a wrong digest, chip or trailing bytes
pass: everything is compared here.
"""

from __future__ import annotations

import hashlib
import zlib
from dataclasses import dataclass
from functools import reduce
from operator import xor
from struct import pack_into, unpack_from
from typing import Final

from fleet.boards.board import chip_id
from fleet.build.codes import BAD_IMAGE, IMAGE_TOO_BIG
from fleet.errors import BuildError
from fleet.limits import ESP_SEGMENTS

ESP8266: Final = "esp8266"
ESP8266_APP_AT: Final = 0x1000
"""Where the application's own image begins in a file of the Arduino core for the ESP8266."""
_CRC_WORDS_AT: Final = ESP8266_APP_AT + 16
_MAGIC: Final = 0xE9
_CHECKSUM_SEED: Final = 0xEF
_SHORT_HEAD: Final = 8
_LONG_HEAD: Final = 24
_DIGEST_BYTES: Final = 32
_APP_DESC_MAGIC: Final = 0xABCD5432
_ELF_DIGEST_AT: Final = 144
"""Of the ELF file's SHA-256 in esp_app_desc_t (ESP-IDF, esp_app_desc.h)."""
_REVERSED: Final = bytes(int(f"{byte:08b}"[::-1], 2) for byte in range(256))


@dataclass(frozen=True, slots=True)
class Segment:
    """Bytes that the boot loader puts, or the cache maps, to `address`; they lie at `at` in the file."""

    address: int
    at: int
    size_bytes: int


@dataclass(frozen=True, slots=True)
class EspImage:
    """One image: it begins at `start` in its file, its checksum is at `checksum_at`, it ends before `end`.

    `chip_id` is None on the ESP8266; `digest_at` None where no SHA-256 is appended.
    """

    start: int
    entry: int
    chip_id: int | None
    segments: tuple[Segment, ...]
    checksum_at: int
    digest_at: int | None
    end: int

    def place_of(self, address: int, size_bytes: int) -> int:
        """Where in the file these addresses lie; BuildError (BLD108) unless one segment holds them all."""
        for segment in self.segments:
            offset = address - segment.address
            if offset >= 0 and offset + size_bytes <= segment.size_bytes:
                return segment.at + offset
        raise _bad(f"no segment holds the {size_bytes} bytes at 0x{address:08X}")

    def checksum(self, data: bytes) -> int:
        """The checksum that the segments' bytes should have."""
        parts = (data[one.at : one.at + one.size_bytes] for one in self.segments)
        return reduce(xor, (_xor_of(part) for part in parts), _CHECKSUM_SEED)


def read_image(data: bytes, chip: str, start: int = 0) -> EspImage:
    """The image that begins at `start`; its form only. BuildError (BLD108) if it is none, or cut short."""
    head_bytes = _SHORT_HEAD if chip == ESP8266 else _LONG_HEAD
    if len(data) < start + head_bytes:
        raise _bad(f"cut short: no whole head at {start}")
    magic, count, entry = data[start], data[start + 1], unpack_from("<I", data, start + 4)[0]
    if magic != _MAGIC:
        raise _bad(f"begins with 0x{magic:02X} at {start}, not with 0x{_MAGIC:02X}")
    if not 1 <= count <= ESP_SEGMENTS:
        raise _bad(f"has {count} segments; 1 to {ESP_SEGMENTS} are possible")
    marked = None if chip == ESP8266 else unpack_from("<H", data, start + 12)[0]
    at, segments = start + head_bytes, []
    for number in range(count):
        if len(data) < at + 8:
            raise _bad(f"cut short: no head of segment {number + 1} of {count}")
        address, size = unpack_from("<II", data, at)
        if size > len(data) - at - 8:
            raise _bad(
                f"cut short: segment {number + 1} of {count} has {size} bytes, but the file ends before"
            )
        segments.append(Segment(address, at + 8, size))
        at += 8 + size
    checksum_at = start + ((at - start) | 15)
    has_digest = chip != ESP8266 and data[start + 23] == 1
    end = checksum_at + 1 + (_DIGEST_BYTES if has_digest else 0)
    if len(data) < end:
        raise _bad(f"cut short: {len(data)} bytes, {end} are needed")
    return EspImage(
        start, entry, marked, tuple(segments), checksum_at, checksum_at + 1 if has_digest else None, end
    )


def check_image(data: bytes, chip: str, slot_bytes: int) -> EspImage:
    """A whole application file for that chip and slot: the application's image, once everything was found right.

    BuildError: BLD106 if it is larger than the slot, BLD108 for wrong magic, chip, checksum, digest, CRC, or
    bytes behind its end.
    """
    if len(data) > slot_bytes:
        raise BuildError(IMAGE_TOO_BIG, f"{len(data)} bytes; the board's slot takes {slot_bytes}")
    if chip == ESP8266:
        boot = read_image(data, chip)
        _check_sums(data, boot)
        if boot.end > ESP8266_APP_AT:
            raise _bad(
                f"the boot loader ends at {boot.end}, after the application's place at {ESP8266_APP_AT}"
            )
        image = read_image(data, chip, ESP8266_APP_AT)
        _check_sums(_without_core_crc(data), image)
    else:
        image = read_image(data, chip)
        wanted = chip_id(chip)
        if image.chip_id != wanted:
            raise _bad(f"made for chip {image.chip_id}; the {chip} is {wanted}")
        if image.digest_at is None:
            raise _bad("no SHA-256 is appended")
        _check_sums(data, image)
    if len(data) != image.end:
        raise _bad(f"{len(data) - image.end} bytes behind the end")
    if chip == ESP8266:
        _check_core_crc(data)
    return image


def with_bytes_at(data: bytes, chip: str, address: int, new: bytes, elf_digest: bytes = b"") -> bytes:
    """The same file with `new` at that address of the chip, and every checksum made anew.

    `elf_digest`, the SHA-256 of the ELF file that it then is the image of, goes into the application's
    description where it has one (ESP32 family).
    """
    image = read_image(data, chip, ESP8266_APP_AT if chip == ESP8266 else 0)
    made = bytearray(data)
    at = image.place_of(address, len(new))
    made[at : at + len(new)] = new
    first = image.segments[0].at
    if elf_digest and chip != ESP8266 and unpack_from("<I", made, first)[0] == _APP_DESC_MAGIC:
        made[first + _ELF_DIGEST_AT : first + _ELF_DIGEST_AT + _DIGEST_BYTES] = elf_digest
    if chip == ESP8266:
        made = bytearray(_without_core_crc(bytes(made)))
    made[image.checksum_at] = image.checksum(bytes(made))
    if image.digest_at is not None:
        digest = hashlib.sha256(made[image.start : image.digest_at]).digest()
        made[image.digest_at : image.digest_at + _DIGEST_BYTES] = digest
    if chip == ESP8266:
        pack_into("<II", made, _CRC_WORDS_AT, len(made), _core_crc(bytes(made)))
    return bytes(made)


def _check_sums(data: bytes, image: EspImage) -> None:
    wanted, found = image.checksum(data), data[image.checksum_at]
    if wanted != found:
        raise _bad(f"the checksum is 0x{found:02X}, but its bytes make 0x{wanted:02X}")
    if image.digest_at is not None:
        digest = hashlib.sha256(data[image.start : image.digest_at]).digest()
        if data[image.digest_at : image.digest_at + _DIGEST_BYTES] != digest:
            raise _bad("the appended SHA-256 is not that of its bytes")


def _check_core_crc(data: bytes) -> None:
    size, crc = unpack_from("<II", data, _CRC_WORDS_AT)
    if size != len(data):
        raise _bad(f"says that it has {size} bytes, and has {len(data)}")
    if crc != _core_crc(data):
        raise _bad("its CRC-32 is not that of its bytes")


def _without_core_crc(data: bytes) -> bytes:
    return data[:_CRC_WORDS_AT] + bytes(8) + data[_CRC_WORDS_AT + 8 :]


def _core_crc(data: bytes) -> int:
    """The core's CRC over the whole file, its own two words as zeros: polynomial 0x04C11DB7, first bit first, from all
    ones, as it stands. zlib's takes the last bit first and turns the outcome over, hence the turning."""
    reflected = zlib.crc32(_without_core_crc(data).translate(_REVERSED)) ^ 0xFFFFFFFF
    return int(f"{reflected:032b}"[::-1], 2)


def _xor_of(data: bytes) -> int:
    """All bytes XORed; by halves, as whole numbers, for a megabyte a byte at a time takes its while."""
    while len(data) > 1:
        half = (len(data) + 1) // 2
        folded = int.from_bytes(data[:half], "little") ^ int.from_bytes(data[half:], "little")
        data = folded.to_bytes(half, "little")
    return data[0] if data else 0


def _bad(what: str) -> BuildError:
    return BuildError(BAD_IMAGE, what)
