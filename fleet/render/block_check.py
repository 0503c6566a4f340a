"""The node's own check of its block, done before the block goes anywhere.

The limits of the fields are read from the table that the firmware is compiled with; what holds between fields is the
same code as in templates/firmware/core/node_block_check.cpp, and a test gives both the same blocks.
"""

from __future__ import annotations

import re
import zlib
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any, Final

from fleet.errors import RenderError
from fleet.limits import NODE_BLOCK_BYTES
from fleet.render.codes import NODE_WOULD_REFUSE
from fleet.render.node_block import (
    CRC,
    HEAD,
    HEAD_FIELDS,
    MAGIC,
    MARK,
    MARK_FIELDS,
    NO_PIN,
    PULLS,
    PUMP_DOES,
    TAIL,
    TAIL_AT,
    TAIL_FIELDS,
    TANK,
    TANK_BYTES,
    TANK_FIELDS,
    VERSION,
    block_crc,
)
from fleet.resources import load_templates

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from fleet.render.node_block import NodeBlock

TABLE_FILE: Final = "firmware/core/node_block_table.h"
_LINE = re.compile(rb"TN_(\w+)\((.*)\)")
_TEXTS: Final = {
    "is_label": re.compile(rb"[a-z0-9]([a-z0-9-]*[a-z0-9])?"),
    "is_release": re.compile(rb"[0-9A-Za-z.+_-]+"),
}


@dataclass(frozen=True, slots=True)
class Limit:
    """One line of the table: a text of a kind, or a whole number between two; `fault` if it is not."""

    field: str
    fault: str
    text: str = ""
    least: int = 0
    most: int = 0

    def holds(self, values: Mapping[str, Any]) -> bool:
        """Whether the field's value in a part of a block is as it must be."""
        name, _, index = self.field.partition("[")
        value = values[name]
        if self.text:
            content, end, _ = value.partition(b"\0")
            return bool(end) and _TEXTS[self.text].fullmatch(content) is not None
        number = int(value[int(index[:-1])] if index else value)
        return self.least <= number <= self.most


@dataclass(frozen=True, slots=True)
class Table:
    """The firmware's table: words of each fault by its name in C++, limits by `BLOCK`, `TANK` and `MARK`."""

    words: dict[str, str]
    limits: dict[str, tuple[Limit, ...]]


@dataclass(frozen=True, slots=True)
class BlockRefusal:
    """Why a node would refuse a block: the fault in the firmware's words, and where in the block."""

    fault: str
    where: str


@cache
def block_table() -> Table:
    """The table, as shipped with the firmware's sources."""
    words: dict[str, str] = {}
    limits: dict[str, list[Limit]] = {"BLOCK": [], "TANK": [], "MARK": []}
    for line in load_templates()[TABLE_FILE].splitlines():
        found = _LINE.fullmatch(line)
        if found is None:
            continue
        kind, given = found[1].decode(), [part.strip(' "') for part in found[2].decode().split(",")]
        part, _, what = kind.partition("_")
        if what == "TEXT":
            limits[part].append(Limit(given[0], "kName", text=given[1]))
        elif what == "RANGE":
            limits[part].append(Limit(given[0], given[3], least=int(given[1]), most=int(given[2])))
        else:
            words[given[0]] = given[1]
    return Table(words, {part: tuple(found) for part, found in limits.items()})


def refusal_of(block: bytes) -> BlockRefusal | None:
    """Why the node would refuse this packed block of 1024 bytes; None if it takes it."""
    for fault, where in _faults(block):
        return BlockRefusal(block_table().words[fault], where)
    return None


def refuse_bad(block: NodeBlock) -> None:
    """RenderError (RND107) if the node would refuse the block, and as of `NodeBlock.pack`."""
    refusal = refusal_of(block.pack())
    if refusal is not None:
        what = f"node {block.node}: it would refuse its node block: {refusal.fault} ({refusal.where})"
        raise RenderError(NODE_WOULD_REFUSE, what)


def _faults(block: bytes) -> Iterator[tuple[str, str]]:
    """All faults in the order in which the firmware looks: what comes after the first may rest on what it refuses."""
    head = dict(zip(HEAD_FIELDS, HEAD.unpack_from(block), strict=True))
    head |= dict(zip(TAIL_FIELDS, TAIL.unpack_from(block, TAIL_AT), strict=True))
    if head["magic"] != MAGIC:
        yield "kMagic", "its first bytes"
    if (head["version"], head["length"]) != (VERSION, NODE_BLOCK_BYTES):
        yield "kVersion", f"version {head['version']}, length {head['length']}"
    if zlib.crc32(block[: -CRC.size]) != block_crc(block):
        yield "kChecksum", "its last bytes"
    yield from _of_fields("BLOCK", head, "the node")
    if head["sample_period_ms"] > head["debounce_ms"]:
        yield "kTiming", f"a debounce of {head['debounce_ms']} ms, sampled each {head['sample_period_ms']} ms"
    pins: set[int] = {NO_PIN, head["clear_pin"]}
    for number in range(head["tank_count"]):
        at = HEAD.size + number * TANK_BYTES
        tank = dict(zip(TANK_FIELDS, TANK.unpack_from(block, at), strict=True))
        where = f"tank {_shown(tank['name'])}"
        yield from _of_fields("TANK", tank, where)
        marks = [
            dict(zip(MARK_FIELDS, MARK.unpack_from(block, at + TANK.size + i * MARK.size), strict=True))
            for i in range(tank["mark_count"])
        ]
        yield from _of_marks(marks, head["feed_pins"][number], pins, where)
        yield from _of_pump(tank, pins, where)


def _of_fields(part: str, values: Mapping[str, Any], where: str) -> Iterator[tuple[str, str]]:
    for limit in block_table().limits[part]:
        if not limit.holds(values):
            yield limit.fault, f"{limit.field} of {where}"


def _of_marks(
    marks: list[dict[str, Any]], feed_pin: int, pins: set[int], where: str
) -> Iterator[tuple[str, str]]:
    feeds = feed_pin != NO_PIN
    if feeds:
        yield from _take(feed_pin, pins, f"the feed of the probes of {where}")
    below = -1
    for mark in marks:
        here = f"mark {_shown(mark['name'])} of {where}"
        yield from _of_fields("MARK", mark, here)
        if (mark["pull"] == PULLS["fed"]) != feeds:
            yield "kPin", f"{here}: a feed and probes that are fed go together"
        yield from _take(mark["pin"], pins, here)
        if mark["height_mm"] <= below:
            yield "kOrder", here
        below = mark["height_mm"]


def _of_pump(tank: Mapping[str, Any], pins: set[int], where: str) -> Iterator[tuple[str, str]]:
    if tank["pump_does"] == PUMP_DOES[""]:
        if tank["pump_pin"] != NO_PIN:
            yield "kPin", f"the relay of {where}, which has no pump"
        return
    yield from _take(tank["pump_pin"], pins, f"the relay of {where}")
    on, off = tank["pump_on_mark"], tank["pump_off_mark"]
    low, high = (on, off) if tank["pump_does"] == PUMP_DOES["fill"] else (off, on)
    if not low < high < tank["mark_count"]:
        yield "kPump", f"{where}, on at {on}, off at {off}"


def _take(pin: int, pins: set[int], where: str) -> Iterator[tuple[str, str]]:
    if pin in pins:
        yield "kPin", f"{where}: {'none' if pin == NO_PIN else f'GPIO{pin}'}"
    pins.add(pin)


def _shown(name: bytes) -> str:
    return name.partition(b"\0")[0].decode("ascii", "replace")
