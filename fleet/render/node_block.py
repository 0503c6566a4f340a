"""The node block: its layout as in templates/firmware/core/node_block.h, little endian, 1024 bytes.

The two are held together by a test, offset by offset.
"""

from __future__ import annotations

import struct
import zlib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from fleet.errors import RenderError
from fleet.limits import MARKS_PER_TANK, NODE_BLOCK_BYTES, TANKS_PER_NODE
from fleet.render.codes import DOES_NOT_FIT

if TYPE_CHECKING:
    from collections.abc import Sequence

MAGIC: Final = 0x424E4B54
VERSION: Final = 2
NO_PIN: Final = 0xFF
NO_FEEDS: Final = bytes([NO_PIN] * TANKS_PER_NODE)
PUMP_DOES: Final = {"": 0, "fill": 1, "drain": 2}
PULLS: Final = {"external": 0, "internal": 1, "fed": 2}
LAYOUTS: Final = {"two-slot": 1, "copy-in-place": 2}
NETWORK_TRAITS: Final = {"hidden": 1, "high-channels": 2, "wpa3-only": 4, "no-802.11n": 8}
PAYLOADS: Final = {"host-elf": 1, "esp8266-bin": 2, "esp32-bin": 3}

HEAD = struct.Struct("<IHH64s64s32s24s16s16s65s3s8sHHHHBBBB")
TANK = struct.Struct("<64sBBBBBBHIII")
MARK = struct.Struct("<HBB12s")
TAIL = struct.Struct(f"<IBB{TANKS_PER_NODE}s")
CRC = struct.Struct("<I")
BLOCK_HEAD: Final = struct.pack("<IHH", MAGIC, VERSION, NODE_BLOCK_BYTES)
"""How every packed block begins."""
HEAD_FIELDS: Final = (
    "magic",
    "version",
    "length",
    "node",
    "site",
    "board",
    "release",
    "vendor_id",
    "class_id",
    "signing_key",
    "reserved_key",
    "key_id",
    "debounce_ms",
    "sample_period_ms",
    "trial_s",
    "power_up_hold_s",
    "layout",
    "payload_format",
    "tank_count",
    "reserved_flags",
)
TANK_FIELDS: Final = (
    "name",
    "mark_count",
    "pump_does",
    "pump_pin",
    "pump_active_high",
    "pump_on_mark",
    "pump_off_mark",
    "first_rise_s",
    "longest_run_s",
    "no_rise_s",
    "shortest_off_s",
)
MARK_FIELDS: Final = (
    "height_mm",
    "pin",
    "pull",
    "name",
)
TAIL_FIELDS: Final = ("network_lost_s", "clear_pin", "network_traits", "feed_pins")
TANK_BYTES = TANK.size + MARKS_PER_TANK * MARK.size
TAIL_AT = HEAD.size + TANKS_PER_NODE * TANK_BYTES
_RESERVED_BYTES = NODE_BLOCK_BYTES - TAIL_AT - TAIL.size - CRC.size


@dataclass(frozen=True, slots=True)
class MarkBlock:
    """One mark with its probe: `pin` is a GPIO number, `pull` of PULLS."""

    name: str
    height_mm: int
    pin: int
    pull: int


@dataclass(frozen=True, slots=True)
class TankBlock:
    """One tank with its marks from the lowest up; `pump_on_mark` and `pump_off_mark` are indices into
    them."""

    name: str
    marks: tuple[MarkBlock, ...]
    pump_does: int = 0
    pump_pin: int = NO_PIN
    pump_active_high: int = 1
    pump_on_mark: int = 0
    pump_off_mark: int = 0
    longest_run_s: int = 0
    no_rise_s: int = 0
    shortest_off_s: int = 0
    first_rise_s: int = 0
    """As no_rise_s, for a run that began as the level left the mark at which the pump starts; 0: no such watch."""


@dataclass(frozen=True, slots=True)
class NodeBlock:
    """All that tells one node's image from another's of its class."""

    node: str
    site: str
    board: str
    release: str
    vendor_id: bytes
    class_id: bytes
    signing_key: bytes
    key_id: bytes
    debounce_ms: int
    sample_period_ms: int
    trial_s: int
    power_up_hold_s: int
    layout: int
    payload_format: int
    tanks: tuple[TankBlock, ...]
    network_lost_s: int = 0
    """Without its network for longer, the node looks for it only now and then; 0: it seeks for ever."""
    clear_pin: int = NO_PIN
    """GPIO of a button to ground that clears faults which stay, held for 5 s."""
    network_traits: int = 0
    """The sum of NETWORK_TRAITS that hold."""
    feed_pins: bytes = NO_FEEDS
    """By tank, the GPIO that feeds the resistors of its probes while they are read."""

    def pack(self) -> bytes:
        """The 1024 bytes with their checksum. RenderError (RND103) if a value does not fit its field."""
        try:
            body = self._body()
        except (struct.error, ValueError) as error:
            raise RenderError(DOES_NOT_FIT, f"node {self.node}: {error}") from error
        return body + CRC.pack(zlib.crc32(body))

    @property
    def crc32(self) -> int:
        """The checksum at the block's end (IEEE 802.3, as zlib)."""
        return block_crc(self.pack())

    def _body(self) -> bytes:
        head = HEAD.pack(
            MAGIC,
            VERSION,
            NODE_BLOCK_BYTES,
            text_field(self.node, 64),
            text_field(self.site, 64),
            text_field(self.board, 32),
            text_field(self.release, 24),
            _exactly(self.vendor_id, 16),
            _exactly(self.class_id, 16),
            _exactly(self.signing_key, 65),
            bytes(3),
            _exactly(self.key_id, 8),
            self.debounce_ms,
            self.sample_period_ms,
            self.trial_s,
            self.power_up_hold_s,
            self.layout,
            self.payload_format,
            _count(self.tanks, TANKS_PER_NODE, "tanks"),
            0,
        )
        tanks = b"".join(_pack_tank(tank) for tank in self.tanks)
        feeds = _exactly(self.feed_pins, TANKS_PER_NODE)
        tail = TAIL.pack(self.network_lost_s, self.clear_pin, self.network_traits, feeds)
        return head + tanks.ljust(TANKS_PER_NODE * TANK_BYTES, b"\0") + tail + bytes(_RESERVED_BYTES)


def block_crc(block: bytes) -> int:
    """The checksum that stands in a packed block."""
    return int(CRC.unpack_from(block, NODE_BLOCK_BYTES - CRC.size)[0])


def unpack(block: bytes) -> NodeBlock:
    """The block back from its bytes. ValueError for any other size, magic, version or checksum."""
    if len(block) != NODE_BLOCK_BYTES or zlib.crc32(block[: -CRC.size]) != block_crc(block):
        raise ValueError("not a node block, or its checksum is wrong")
    values = HEAD.unpack_from(block)
    if values[:3] != (MAGIC, VERSION, NODE_BLOCK_BYTES):
        raise ValueError("not a node block of this version")
    network_lost_s, clear_pin, network_traits, feed_pins = TAIL.unpack_from(block, TAIL_AT)
    tanks = tuple(_unpack_tank(block, HEAD.size + i * TANK_BYTES) for i in range(values[18]))
    return NodeBlock(
        node=_text(values[3]),
        site=_text(values[4]),
        board=_text(values[5]),
        release=_text(values[6]),
        vendor_id=values[7],
        class_id=values[8],
        signing_key=values[9],
        key_id=values[11],
        debounce_ms=values[12],
        sample_period_ms=values[13],
        trial_s=values[14],
        power_up_hold_s=values[15],
        layout=values[16],
        payload_format=values[17],
        tanks=tanks,
        network_lost_s=network_lost_s,
        clear_pin=clear_pin,
        network_traits=network_traits,
        feed_pins=feed_pins,
    )


def text_field(text: str, size_bytes: int) -> bytes:
    """Text as a NUL-terminated field. ValueError if it does not fit."""
    data = text.encode()
    if len(data) >= size_bytes or b"\0" in data:
        raise ValueError(f"{text!r} has more than the {size_bytes - 1} bytes of its field")
    return data.ljust(size_bytes, b"\0")


def _pack_tank(tank: TankBlock) -> bytes:
    count = _count(tank.marks, MARKS_PER_TANK, "marks")
    head = TANK.pack(
        text_field(tank.name, 64),
        count,
        tank.pump_does,
        tank.pump_pin,
        tank.pump_active_high,
        tank.pump_on_mark,
        tank.pump_off_mark,
        tank.first_rise_s,
        tank.longest_run_s,
        tank.no_rise_s,
        tank.shortest_off_s,
    )
    marks = b"".join(MARK.pack(m.height_mm, m.pin, m.pull, text_field(m.name, 12)) for m in tank.marks)
    return head + marks.ljust(MARKS_PER_TANK * MARK.size, b"\0")


def _unpack_tank(block: bytes, at: int) -> TankBlock:
    name, count, does, pin, high, on_mark, off_mark, first, longest, no_rise, shortest = TANK.unpack_from(
        block, at
    )
    marks = []
    for i in range(count):
        height, mark_pin, pull, mark_name = MARK.unpack_from(block, at + TANK.size + i * MARK.size)
        marks.append(MarkBlock(_text(mark_name), height, mark_pin, pull))
    return TankBlock(
        _text(name), tuple(marks), does, pin, high, on_mark, off_mark, longest, no_rise, shortest, first
    )


def _text(field: bytes) -> str:
    return field.partition(b"\0")[0].decode()


def _exactly(data: bytes, size_bytes: int) -> bytes:
    if len(data) != size_bytes:
        raise ValueError(f"{len(data)} bytes where {size_bytes} belong")
    return data


def _count(things: Sequence[object], most: int, what: str) -> int:
    if not 1 <= len(things) <= most:
        raise ValueError(f"{len(things)} {what}; there must be 1 to {most}")
    return len(things)
