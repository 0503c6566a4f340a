"""Blocks of drawn inventories, changed at random, given to both checks: the tool's and the real core's, compiled.

`python -m tests.render.block_mutations SEED COUNT` says how often each verdict fell, and shows each block over which
the two differ.
"""

from __future__ import annotations

import random
import re
import struct
import sys
import zlib
from collections import Counter
from dataclasses import dataclass, field
from itertools import count, islice
from typing import TYPE_CHECKING, Final

from fleet.errors import RenderError
from fleet.limits import MARKS_PER_TANK, NODE_BLOCK_BYTES, TANKS_PER_NODE
from fleet.render.block_check import block_table, refusal_of
from fleet.render.node_block import HEAD, MARK, TAIL, TAIL_AT, TANK, TANK_BYTES
from tests.inventory.blocks import packed, read, verdicts
from tests.inventory.draw import Draw

if TYPE_CHECKING:
    from collections.abc import Iterator

INVENTORIES: Final = 25
SEALED_SHARE: Final = 0.97
TEXTS: Final = (
    b"",
    b"\0",
    b"-",
    b"a-",
    b"-a",
    b"A",
    b"a_b",
    b"a.b+c",
    b"a b",
    b"\x80",
    b"\xff",
    b"z" * 64,
    b"a\0-",
)


def spans_of(layout: struct.Struct, at: int = 0) -> Iterator[tuple[int, int]]:
    """Place and size of each field of a packed structure that begins there."""
    for code in re.findall(r"\d*[a-zA-Z]", layout.format):
        size = struct.calcsize(f"<{code}")
        yield at, size
        at += size


def spans() -> list[tuple[int, int]]:
    """Of all fields of a block but its last reserved bytes and its checksum."""
    found = [*spans_of(HEAD, 0), *spans_of(TAIL, TAIL_AT)]
    for number in range(TANKS_PER_NODE):
        at = HEAD.size + number * TANK_BYTES
        found += spans_of(TANK, at)
        for mark in range(MARKS_PER_TANK):
            found += spans_of(MARK, at + TANK.size + mark * MARK.size)
    return found


def good_blocks(seed: int | str) -> list[bytes]:
    """Of drawn inventories without errors."""
    blocks: list[bytes] = []
    sound = (
        (number, inventory) for number in count() if (inventory := read(Draw(seed, number))[0]) is not None
    )
    for number, inventory in islice(sound, INVENTORIES):
        try:
            data = packed(inventory, number)
        except RenderError as error:
            raise AssertionError(f"a sound inventory's block is refused: {error}") from error
        blocks += [data[at : at + NODE_BLOCK_BYTES] for at in range(0, len(data), NODE_BLOCK_BYTES)]
    return blocks


def mutated(block: bytes, fields: list[tuple[int, int]], chance: random.Random) -> bytes:
    """The block with one to three fields changed, mostly with a good checksum: else that is all that is looked at."""
    data = bytearray(block)
    for _ in range(chance.choice((1, 1, 1, 2, 3))):
        at, size = chance.choice(fields)
        if size > 4 or chance.random() < 0.05:
            content = chance.choice((*TEXTS, chance.randbytes(size)))[:size]
            data[at : at + len(content)] = content
            continue
        other, other_size = chance.choice(fields)
        values = (0, 1, 2, 3, 4, 5, 255, 65_535, 2**32 - 1, chance.getrandbits(32))
        value = chance.choice((*values, int.from_bytes(data[other : other + min(other_size, 4)], "little")))
        data[at : at + size] = (value % 256**size).to_bytes(size, "little")
    if chance.random() < SEALED_SHARE:
        data[-4:] = struct.pack("<I", zlib.crc32(data[:-4]))
    return bytes(data)


@dataclass
class Outcome:
    """Verdicts of the core by their words, and what the two differ over."""

    verdicts: Counter[str] = field(default_factory=Counter)
    differ: list[str] = field(default_factory=list)


def run(seed: int | str, wanted: int) -> Outcome:
    """Judge so many mutated blocks by both."""
    chance, good, fields = random.Random(seed), good_blocks(seed), spans()
    outcome = Outcome()
    blocks = [mutated(chance.choice(good), fields, chance) for _ in range(wanted)]
    for block, theirs in zip(blocks, verdicts(b"".join(blocks)), strict=True):
        refusal = refusal_of(block)
        ours = block_table().words["kNone"] if refusal is None else refusal.fault
        outcome.verdicts[theirs] += 1
        if ours != theirs:
            outcome.differ.append(f"the core says {theirs}, the tool {ours} ({refusal}): {block.hex()}")
    return outcome


def main(words: list[str]) -> int:
    """0 if the two never differ."""
    seed, figure = words
    outcome = run(seed, int(figure))
    print(f"{sum(outcome.verdicts.values())} blocks, {len(outcome.differ)} over which the two differ")
    print(", ".join(f"{said}: {times}" for said, times in outcome.verdicts.most_common()))
    print("\n".join(outcome.differ))
    return 1 if outcome.differ else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
