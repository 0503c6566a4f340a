"""Blocks of random sound inventories, given to the node's own check: none may be refused, and no pump be without its
watches (0 is none, templates/firmware/core/node_block.h).

`python -m tests.inventory.blocks run SEED COUNT` draws until so many were sound and says what came of them;
`python -m tests.inventory.blocks show SEED NUMBER` prints one, what is found in it, and what the node says of it.
"""

from __future__ import annotations

import subprocess
import sys
import time
from collections import Counter
from dataclasses import dataclass, field
from datetime import date
from functools import cache
from typing import TYPE_CHECKING, Final

from fleet.boards.board import load_board
from fleet.check.load import read_texts
from fleet.errors import RenderError
from fleet.keys.trust import Trust
from fleet.limits import NODE_BLOCK_BYTES
from fleet.render.block_of import unchecked_block
from fleet.render.node_block import unpack
from tests.firmware.firmware_build import compile_program, core_sources
from tests.inventory.draw import Draw

if TYPE_CHECKING:
    from pathlib import Path

    from fleet.finding import Finding
    from fleet.model.inventory import Inventory
    from fleet.render.firmware_class import Target

TODAY: Final = date(2026, 6, 1)
TRUST: Final = Trust(b"\x04" + bytes(range(64)))
BATCH: Final = 500
TARGETS: Final[tuple[Target, ...]] = ("board", "host")
GOOD: Final = "none"


@cache
def tool() -> Path:
    """The node's check as a program, with the sanitizers."""
    return compile_program(["tests/firmware/node_block_tool.cpp", *core_sources("node_block_check", "crc32")])


def verdicts(blocks: bytes) -> list[str]:
    """What the node says of each block: `none`, or its fault."""
    done = subprocess.run([str(tool())], input=blocks, capture_output=True, check=True, timeout=60)
    return [line.partition(" ")[2] for line in done.stdout.decode().splitlines()]


def read(draw: Draw) -> tuple[Inventory | None, list[Finding]]:
    """What `check` makes of it. Where only a person's word is missing, that is given: rulings must not let through
    what a node refuses."""
    inventory, findings = read_texts([("drawn.yaml", draw.text())], TODAY)
    stopping = [finding for finding in findings if finding.stops]
    if stopping and all(finding.code.ruled for finding in stopping):
        return read_texts([("drawn.yaml", draw.text(stopping))], TODAY)
    return inventory, findings


def packed(inventory: Inventory, number: int) -> bytes:
    """The blocks of all its nodes."""
    target, release = TARGETS[number % 2], inventory.fleet.release
    blocks = (
        unchecked_block(inventory, node, load_board(node.board), TRUST, target, release)
        for node in inventory.nodes
    )
    return b"".join(block.pack() for block in blocks)


@dataclass
class Outcome:
    """What came of a run."""

    drawn: int = 0
    sound: int = 0
    by_ruling: int = 0
    blocks: int = 0
    """Rendered, and judged by the node."""
    kinds: Counter[str] = field(default_factory=Counter)
    """Of the sound ones."""
    stopped: Counter[str] = field(default_factory=Counter)
    wrong: list[str] = field(default_factory=list)


def run(seed: int | str, count: int, seconds: float = 1e9) -> Outcome:
    """Draw until so many were sound, or the time is over."""
    outcome, ends = Outcome(), time.monotonic() + seconds
    rendered, whose = bytearray(), list[int]()
    while outcome.sound < count and time.monotonic() < ends:
        number = outcome.drawn
        outcome.drawn += 1
        inventory, findings = read(Draw(seed, number))
        if inventory is None:
            outcome.stopped.update({finding.code.code for finding in findings if finding.stops})
            continue
        outcome.sound += 1
        outcome.by_ruling += bool(inventory.rulings)
        _note(outcome, inventory)
        try:
            blocks = packed(inventory, number)
        except RenderError as error:
            outcome.wrong.append(f"{again(seed, number)}: {error}")
            continue
        rendered += blocks
        whose += [number] * (len(blocks) // NODE_BLOCK_BYTES)
        if len(whose) >= BATCH:
            _judge(outcome, seed, rendered, whose)
    _judge(outcome, seed, rendered, whose)
    return outcome


def _judge(outcome: Outcome, seed: int | str, rendered: bytearray, whose: list[int]) -> None:
    said = verdicts(bytes(rendered))
    outcome.blocks += len(said)
    for index, (number, fault) in enumerate(zip(whose, said, strict=True)):
        block = unpack(bytes(rendered[index * NODE_BLOCK_BYTES :][:NODE_BLOCK_BYTES]))
        unwatched = [t.name for t in block.tanks if t.pump_does and not (t.longest_run_s and t.no_rise_s)]
        if fault != GOOD or unwatched:
            outcome.wrong.append(f"{again(seed, number)}: {fault}, pumps without a watch: {unwatched}")
    rendered.clear()
    whose.clear()


def _note(outcome: Outcome, inventory: Inventory) -> None:
    pumps = [tank.pump for tank in inventory.tanks]
    outcome.kinds.update({f"board {node.board}" for node in inventory.nodes})
    outcome.kinds.update({f"duty {tank.duty}" for tank in inventory.tanks})
    outcome.kinds.update({f"shape {tank.shape.kind}" for tank in inventory.tanks})
    outcome.kinds.update({f"tanks {len(node.serves)}" for node in inventory.nodes})
    outcome.kinds.update({f"marks {len(tank.marks)}" for tank in inventory.tanks})
    outcome.kinds.update({f"pump {pump.does if pump else 'none'}" for pump in pumps})
    every = [served for node in inventory.nodes for served in node.serves]
    outcome.kinds.update({f"pull-up {'fed' if served.is_fed else served.pull_up}" for served in every})


def again(seed: int | str, number: int) -> str:
    """The command that shows it."""
    return f"python -m tests.inventory.blocks show {seed} {number}"


def show(seed: str, number: int) -> None:
    """Print one, its findings, and what the node says."""
    draw = Draw(seed, number)
    inventory, findings = read(draw)
    print(draw.text().decode())
    for finding in findings:
        print(finding.severity.value, finding.place, finding.code.code, finding.what)
    if inventory is not None:
        try:
            print("the node's check:", ", ".join(verdicts(packed(inventory, number))))
        except RenderError as error:
            print(f"cannot be rendered: {error}")


def main(words: list[str]) -> int:
    """0 if no node refused any."""
    what, seed, figure = words
    if what == "show":
        show(seed, int(figure))
        return 0
    began = time.monotonic()
    outcome = run(seed, int(figure))
    print(f"drawn {outcome.drawn}, sound {outcome.sound} ({outcome.by_ruling} of them by a ruling)", end=", ")
    print(f"blocks {outcome.blocks}, refused {len(outcome.wrong)}, {time.monotonic() - began:.0f} s")
    for title, counts in (("sound ones with", outcome.kinds), ("stopped by", outcome.stopped)):
        print(title, ", ".join(f"{name}: {count}" for name, count in sorted(counts.items())))
    print("\n".join(outcome.wrong))
    return 1 if outcome.wrong else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
