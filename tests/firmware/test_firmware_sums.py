"""The stand-ins of the power-cut proof for CRC-32 and SHA-256: one is the core's, the other tells images apart."""

from __future__ import annotations

import random
import struct
import zlib

import pytest

from tests.firmware.firmware_build import CORE, compile_program, run_program

SEED = 20260401
MESSAGES = 4_000
LONGEST_BYTES = 6_000
CRCS = (f"{CORE}/crc32.cpp", "tests/firmware/quick_crc32.cpp")


def messages() -> list[tuple[bytes, int]]:
    """Messages and where to split them: the first lengths one by one, then random ones, some differing in a bit."""
    chance = random.Random(SEED)
    lengths = [*range(200), *(chance.randrange(LONGEST_BYTES) for _ in range(MESSAGES - 200))]
    made: list[tuple[bytes, int]] = []
    for n in lengths:
        body = bytearray(chance.randbytes(n))
        made.append((bytes(body), chance.randrange(n + 1)))
        if n > 0 and chance.randrange(2):
            body[chance.randrange(n)] ^= 1 << chance.randrange(8)
            made.append((bytes(body), chance.randrange(n + 1)))
    return made


@pytest.mark.parametrize("crc", CRCS)
def test_crc_is_the_one_of_zlib_however_it_is_split(crc: str) -> None:
    """zlib (Python's) is the third party; 0xCBF43926 is the check value of this CRC in its catalogues."""
    asked = [(b"123456789", 4), *messages()]
    stdin = b"".join(struct.pack("<II", len(body), split) + body for body, split in asked)
    answers = run_program(compile_program(["tests/firmware/sums_tool.cpp", crc]), stdin=stdin).splitlines()
    assert answers[0].startswith("cbf43926 cbf43926 ")
    assert len(answers) == len(asked) > MESSAGES
    for (body, split), answer in zip(asked, answers, strict=True):
        wanted = f"{zlib.crc32(body):08x}"
        assert answer.split()[:2] == [wanted, wanted], f"seed {SEED}, {len(body)} bytes split at {split}"


def test_quick_digest_tells_messages_apart_and_not_how_they_came() -> None:
    asked = messages()
    stdin = b"".join(struct.pack("<II", len(body), split) + body for body, split in asked)
    tool = compile_program(["tests/firmware/sums_tool.cpp", CRCS[0]])
    sums = [line.split()[2:] for line in run_program(tool, stdin=stdin).splitlines()]
    assert all(whole == parts for whole, parts in sums)
    assert len({whole for whole, _ in sums}) == len({body for body, _ in asked})
