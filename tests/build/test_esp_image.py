"""Images of the ESP chips: our reader beside esptool's own, which lets pass what ours must catch.

The small images are built from the fields of the formats' own pages (esptool, firmware-image-format.rst; ESP-IDF,
esp_app_format.h and esp_app_desc.h); esptool.bin_image.LoadFirmwareImage is the other party.
"""

from __future__ import annotations

import hashlib
from struct import pack, unpack_from

import pytest
from esptool.bin_image import LoadFirmwareImage
from hypothesis import given
from hypothesis import strategies as st

from fleet.build.esp_image import ESP8266_APP_AT, check_image, read_image, with_bytes_at
from fleet.errors import BuildError

SLOT_BYTES = 0x100000
CHIP_IDS = {"esp32": 0, "esp32-s2": 2, "esp32-c3": 5, "esp32-s3": 9}
"""ESP-IDF, esp_app_format.h."""
ESPTOOL_NAMES = {"esp32": "esp32", "esp32-s2": "esp32s2", "esp32-c3": "esp32c3", "esp32-s3": "esp32s3"}
ESP8266_MIN = (
    bytes.fromhex("e9010240 04001040 00001040 10000000") + bytes([1, 2, 3, 4]) * 4 + bytes(15) + b"\xef"
)
"""One segment, checked with esptool 5.6: 48 bytes, checksum 0xEF."""


def _xor(data: bytes, start: int = 0xEF) -> int:
    for byte in data:
        start ^= byte
    return start


def _esp32_image(chip: str, segments: list[tuple[int, bytes]]) -> bytes:
    """Written from the format's page, a byte at a time."""
    head = bytes([0xE9, len(segments), 2, 0x20]) + pack("<I", 0x40080000) + b"\xee\0\0\0"
    head += pack("<HBHH", CHIP_IDS[chip], 0, 0, 0xFFFF) + bytes(4) + b"\x01"
    body = b"".join(pack("<II", address, len(data)) + data for address, data in segments)
    whole = head + body
    whole += bytes(15 - len(whole) % 16) + bytes([_xor(b"".join(data for _, data in segments))])
    return whole + hashlib.sha256(whole).digest()


def _app_desc(elf: bytes) -> bytes:
    return pack("<I", 0xABCD5432) + bytes(140) + hashlib.sha256(elf).digest() + bytes(80)


def _esp8266_part(segments: list[tuple[int, bytes]]) -> bytes:
    head = bytes([0xE9, len(segments), 2, 0x40]) + pack("<I", 0x40100000)
    whole = head + b"".join(pack("<II", address, len(data)) + data for address, data in segments)
    return whole + bytes(15 - len(whole) % 16) + bytes([_xor(b"".join(data for _, data in segments))])


def slow_crc(data: bytes) -> int:
    """CRC-32 with 0x04C11DB7, first bit first, from all ones, as it stands: a bit at a time."""
    crc = 0xFFFFFFFF
    for byte in data:
        crc ^= byte << 24
        for _ in range(8):
            crc = (crc << 1 ^ 0x04C11DB7 if crc & 0x80000000 else crc << 1) & 0xFFFFFFFF
    return crc


def _esp8266_file(irom: bytes, iram: bytes = b"\x5a" * 64) -> bytes:
    """As the core's tools/elf2bin.py goes about it: checksums first, then length and CRC over the two zeroed words."""
    boot = _esp8266_part([(0x4010F000, bytes(range(200))), (0x3FFE8000, b"boot" * 5)])
    app = _esp8266_part([(0x40201010, bytes(8) + irom), (0x40100000, iram)])
    whole = bytearray(boot.ljust(ESP8266_APP_AT, b"\xaa") + app)
    whole[0x1010:0x1018] = pack("<II", len(whole), slow_crc(bytes(whole)))
    return bytes(whole)


def test_smallest_esp8266_image_reads_as_esptool_reads_it() -> None:
    assert hashlib.sha256(ESP8266_MIN).hexdigest() == (
        "1b3d2c75adfb6ad9beb831906da8d61b1843d4a2454683a7cffe8ef03470a45e"
    )
    ours, theirs = read_image(ESP8266_MIN, "esp8266"), LoadFirmwareImage("esp8266", ESP8266_MIN)
    assert [(s.address, s.size_bytes) for s in ours.segments] == [
        (s.addr, len(s.data)) for s in theirs.segments
    ]
    assert ours.entry == theirs.entrypoint == 0x40100004
    assert ours.checksum(ESP8266_MIN) == theirs.calculate_checksum() == ESP8266_MIN[ours.checksum_at]
    assert ours.end == len(ESP8266_MIN)


@pytest.mark.parametrize("chip", sorted(CHIP_IDS))
def test_esp32_image_is_what_esptool_says(chip: str) -> None:
    data = _esp32_image(chip, [(0x3F400020, _app_desc(b"elf")), (0x40080000, b"\x11\x22\x33\x44" * 50)])
    image, theirs = check_image(data, chip, SLOT_BYTES), LoadFirmwareImage(ESPTOOL_NAMES[chip], data)
    assert theirs.chip_id == image.chip_id == CHIP_IDS[chip]
    assert theirs.checksum == theirs.calculate_checksum() == image.checksum(data)
    assert image.digest_at is not None
    assert theirs.stored_digest == theirs.calc_digest == data[image.digest_at :]


def _damaged(chip: str) -> dict[str, bytes]:
    """What esptool's reader lets pass without a word."""
    good = _esp32_image(chip, [(0x3F400020, _app_desc(b"elf"))])
    flipped = bytearray(good)
    flipped[100] ^= 1
    no_digest = bytearray(good)
    no_digest[-1] ^= 1
    checksum = bytearray(good[:-32])
    checksum[-1] ^= 1
    other = "esp32-c3" if chip == "esp32" else "esp32"
    return {
        "a bit of a segment": bytes(flipped),
        "the digest": bytes(no_digest),
        "the checksum, with a digest that fits it": bytes(checksum) + hashlib.sha256(checksum).digest(),
        "another chip": _esp32_image(other, [(0x3F400020, _app_desc(b"elf"))]),
        "bytes behind the end": good + b"\0" * 16,
    }


@pytest.mark.parametrize("what", sorted(_damaged("esp32")))
def test_what_esptool_lets_pass_is_caught(what: str) -> None:
    data = _damaged("esp32")[what]
    LoadFirmwareImage("esp32", data)
    with pytest.raises(BuildError) as caught:
        check_image(data, "esp32", SLOT_BYTES)
    assert caught.value.code.code == "BLD108"


@pytest.mark.parametrize("chip", ["esp8266", "esp32"])
def test_cut_at_any_length_is_refused(chip: str) -> None:
    good = _esp8266_file(b"code" * 30) if chip == "esp8266" else _esp32_image(chip, [(0x3F400020, bytes(80))])
    check_image(good, chip, SLOT_BYTES)
    for length in [*range(400), *range(max(0, len(good) - 400), len(good))]:
        with pytest.raises(BuildError):
            check_image(good[: min(length, len(good) - 1)], chip, SLOT_BYTES)


def test_image_larger_than_the_slot_is_refused() -> None:
    good = _esp32_image("esp32", [(0x3F400020, bytes(80))])
    check_image(good, "esp32", len(good))
    with pytest.raises(BuildError) as caught:
        check_image(good, "esp32", len(good) - 1)
    assert caught.value.code.code == "BLD106"


def test_esp8266_file_has_boot_loader_application_and_crc() -> None:
    """The CRC beside one computed a bit at a time; parameters of CRC-32/MPEG-2, whose check value for "123456789" is
    0x0376E6E7 (the catalogue of parametrised CRC algorithms)."""
    assert slow_crc(b"123456789") == 0x0376E6E7
    data = _esp8266_file(b"code" * 30)
    image = check_image(data, "esp8266", SLOT_BYTES)
    assert image.start == ESP8266_APP_AT
    size, crc = unpack_from("<II", data, 0x1010)
    assert size == len(data)
    assert crc == slow_crc(data[:0x1010] + bytes(8) + data[0x1018:])


@pytest.mark.parametrize("at", [20, 0x1010, 0x1014, 0x1020])
def test_any_flipped_bit_of_an_esp8266_file_is_caught(at: int) -> None:
    data = bytearray(_esp8266_file(b"code" * 30))
    data[at] ^= 4
    with pytest.raises(BuildError):
        check_image(bytes(data), "esp8266", SLOT_BYTES)


@given(new=st.binary(min_size=1, max_size=64), offset=st.integers(0, 100))
def test_stamped_esp32_image_is_the_one_made_from_the_start(new: bytes, offset: int) -> None:
    """The way round the compiler: writing into the image, or into what it is made from, gives the same bytes."""
    code = bytearray(range(200))
    before = _esp32_image("esp32", [(0x3F400020, _app_desc(b"class")), (0x400D0020, bytes(code))])
    code[offset : offset + len(new)] = new
    after = _esp32_image("esp32", [(0x3F400020, _app_desc(b"stamped")), (0x400D0020, bytes(code))])
    elf = hashlib.sha256(b"stamped").digest()
    assert with_bytes_at(before, "esp32", 0x400D0020 + offset, new, elf) == after


def test_stamped_esp8266_image_is_the_one_made_from_the_start() -> None:
    code = bytearray(b"code" * 100)
    before = _esp8266_file(bytes(code))
    code[40:60] = b"another node's block"
    after = _esp8266_file(bytes(code))
    stamped = with_bytes_at(before, "esp8266", 0x40201018 + 40, b"another node's block")
    assert stamped == after
    check_image(stamped, "esp8266", SLOT_BYTES)


def test_address_outside_of_every_segment_is_refused() -> None:
    good = _esp32_image("esp32", [(0x3F400020, bytes(80))])
    for address in (0x3F40001F, 0x3F400020 + 77, 0):
        with pytest.raises(BuildError, match="no segment"):
            with_bytes_at(good, "esp32", address, b"1234")
