"""Asks the firmware's trust code (tests/firmware/trust_tool.cpp) many questions in one run."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

from fleet.build.ticket import TicketFields
from fleet.keys.trust import Trust
from tests.firmware.firmware_build import CRYPTO, FLAGS, ROOT, compile_program, core_sources, run_program

_SOURCES = [
    "tests/firmware/trust_tool.cpp",
    *core_sources("base64", "cbor", "hkdf", "refusal", "signature", "structured", "text", "ticket"),
]
FORMAT_NUMBERS = {"host-elf": 1, "esp8266-bin": 2, "esp32-bin": 3}

Word = bytes | str | None


@cache
def _tool() -> Path:
    return compile_program([*_SOURCES, CRYPTO])


@cache
def mbedtls_tool() -> Path:
    """The same over the ESP32 port's crypto, with Mbed TLS 2.28 as Debian builds it."""
    sources = [*_SOURCES, "templates/firmware/ports/esp32/crypto_mbedtls.cpp"]
    flags = (*FLAGS, f"-I{ROOT / 'tests' / 'firmware' / 'esp32_standin'}")
    return compile_program(sources, ["TN_TEST_MBEDTLS"], flags)


def _hex(word: Word) -> str:
    if word is None:
        return "-"
    return (word.encode() if isinstance(word, str) else word).hex() or "-"


def questions(lines: Sequence[tuple[Word, ...]]) -> bytes:
    """What the tool reads; the first word of a line is the command, the others are its arguments."""
    return "".join(" ".join([str(command), *map(_hex, words)]) + "\n" for command, *words in lines).encode()


def ask(lines: Sequence[tuple[Word, ...]], tool: Path | None = None) -> list[str]:
    """One answer per line."""
    answers = run_program(tool or _tool(), stdin=questions(lines)).splitlines()
    assert len(answers) == len(lines)
    return answers


def ask_one(*words: Word) -> str:
    """The answer to one line."""
    return ask([words])[0]


def point_of(key: ec.EllipticCurvePrivateKey) -> bytes:
    """The uncompressed point, 65 bytes."""
    return key.public_key().public_bytes(Encoding.X962, PublicFormat.UncompressedPoint)


@dataclass(frozen=True)
class Node:
    """A node that asks are made of: an invented one, with a key that the test made."""

    key: ec.EllipticCurvePrivateKey
    fields: TicketFields
    floor: int = 6

    def block(self) -> tuple[Word, ...]:
        """The line that makes the tool this node."""
        point = point_of(self.key)
        number = bytes([FORMAT_NUMBERS[self.fields.payload_format]])
        key_id = Trust(point).key_id
        return ("block", self.fields.node, self.fields.vendor_id, self.fields.class_id, point, key_id, number)

    def check(self, tickets: Sequence[bytes]) -> list[str]:
        """What the node says to each ticket."""
        floor = self.floor.to_bytes(8, "big")
        return ask([self.block(), *(("ticket", ticket, floor) for ticket in tickets)])[1:]


def sample_node() -> Node:
    """A node of an invented farm."""
    fields = TicketFields(
        sequence=7,
        vendor_id=hashlib.sha256(b"vendor").digest()[:16],
        class_id=hashlib.sha256(b"class").digest()[:16],
        node="upper-barn",
        payload_format="host-elf",
        size_bytes=123_456,
        digest=hashlib.sha256(b"image").digest(),
        release="1.4.0",
    )
    return Node(ec.derive_private_key(0x7A4B, ec.SECP256R1()), fields)


def b64(data: bytes) -> str:
    """Base64 with padding."""
    return base64.b64encode(data).decode()
