"""The bytes of the credentials and of the first trial record, against the firmware's own C++ for them."""

from __future__ import annotations

import hashlib
import struct
import zlib

import pytest
from cryptography.hazmat.primitives.asymmetric import ec

from fleet.build.ticket import TicketFields, sign
from fleet.errors import KeyFolderError
from fleet.flash.records import credentials_record, trial_record
from fleet.keys.networks import Network
from tests.firmware.firmware_build import CRYPTO, SLOTS, compile_program, core_sources, run_program

SMALL_FLASH_BYTES = 10 * 4096
SOURCES = (
    "tests/firmware/first_load_tool.cpp",
    CRYPTO,
    *core_sources("cbor", "credentials", "ticket"),
    *SLOTS,
)
KEY = bytes(range(32))


def facts_of(layout: str, credentials: bytes, record: bytes, image: bytes) -> dict[str, str]:
    """What the firmware says of a small flash with these (maps of tests/firmware/memory_flash.h)."""
    flash = bytearray(b"\xff" * SMALL_FLASH_BYTES)
    for at, data in ((0, credentials), (0x1000, record), (0x3000, image)):
        flash[at : at + len(data)] = data
    program = compile_program(SOURCES)
    number = {"two-slot": 1, "copy-in-place": 2}[layout]
    said = run_program(program, stdin=bytes([number]) + bytes(flash))
    return dict(line.split(" ", 1) for line in said.splitlines())


def signed(image: bytes) -> tuple[TicketFields, bytes]:
    fields = TicketFields(
        sequence=(1 << 62) + 5,
        vendor_id=bytes(16),
        class_id=bytes([1] * 16),
        node="hill-1",
        payload_format="esp8266-bin",
        size_bytes=len(image),
        digest=hashlib.sha256(image).digest(),
        release="1.2.0",
    )
    return fields, sign(fields, ec.generate_private_key(ec.SECP256R1()))


@pytest.mark.parametrize("layout", ["two-slot", "copy-in-place"])
def test_the_firmware_reads_what_is_written_and_would_write_the_same(layout) -> None:
    image = bytes(range(256)) * 21
    fields, ticket = signed(image)
    record = trial_record(layout, fields, ticket)
    network = Network("Ridge farm \u00e9", "p" * 63)
    said = facts_of(layout, credentials_record(KEY, network), record, image)
    assert said["key"] == KEY.hex()
    assert said["network"] == "Ridge farm \u00e9"
    assert said["passphrase"] == "p" * 63
    assert said["credentials-given"] == said["credentials-made"]
    assert said["given"] == said["made"], "byte for byte the core's own first record"
    assert bytes.fromhex(said["given"]).startswith(record)
    assert said["start"] == f"0 0 {len(image)}"
    if layout == "two-slot":
        # ESP32 family, its boot loader's notes empty as a first load leaves them: goes on (0), and notes slot 0 as good
        # (state 2, VALID, of ESP-IDF's esp_flash_partitions.h).
        assert said["arrives"] == "0 0 2"
    assert said["facts"] == f"kept {fields.sequence} {fields.sequence} 1 0"


def test_a_longest_name_and_an_open_network() -> None:
    image = b"\xe9" * 4096
    fields, ticket = signed(image)
    said = facts_of(
        "two-slot",
        credentials_record(KEY, Network("n" * 32, "")),
        trial_record("two-slot", fields, ticket),
        image,
    )
    assert said["network"] == "n" * 32
    assert said["passphrase"] == ""


def test_a_key_of_64_digits_is_refused_and_not_shown() -> None:
    with pytest.raises(KeyFolderError) as caught:
        credentials_record(KEY, Network("n", "ab" * 32))
    assert caught.value.code.code == "KEY108"
    assert "abab" not in str(caught.value) + caught.value.fix


def test_one_changed_bit_is_found_by_the_reader() -> None:
    """The checksum is that of zlib (IEEE 802.3), over everything before it."""
    data = credentials_record(KEY, Network("n", "passphrase"))
    (stored,) = struct.unpack("<I", data[-4:])
    assert stored == zlib.crc32(data[:-4])
    image = b"\xe9" * 4096
    fields, ticket = signed(image)
    wrong = bytearray(data)
    wrong[60] ^= 1
    with pytest.raises(AssertionError, match="exit 2"):
        facts_of("two-slot", bytes(wrong), trial_record("two-slot", fields, ticket), image)
