"""The pins file: 256 bytes shared between the bench and one node's process (docs/bench-node.md)."""

from __future__ import annotations

import mmap
import struct
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

PINS_BYTES = 256
PIN_COUNT = 64
_INPUTS, _OUTPUTS, _MODES = 0, 64, 128
_HEARTBEAT, _PID, _NETWORK_DOWN, _LINK_RATE = 192, 200, 208, 212


class PinsFile:
    """The bench's side of a pins file. Made anew: all inputs HIGH (nothing wet), all pins inputs, network
    up."""

    def __init__(self, path: Path) -> None:
        path.write_bytes(b"\x01" * PIN_COUNT + b"\x00" * (PINS_BYTES - PIN_COUNT))
        with path.open("r+b") as file:
            self._map = mmap.mmap(file.fileno(), PINS_BYTES)

    def close(self) -> None:
        """Let go of the file."""
        self._map.close()

    # ------------------------------------------------------------------ what the bench writes
    def set_input(self, gpio: int, *, high: bool) -> None:
        """The level that the node reads with its pull-up on: HIGH is dry, LOW is wet."""
        self._map[_INPUTS + gpio] = 1 if high else 0

    def set_network_down(self, down: bool) -> None:
        """Whether the node has lost its network."""
        self._map[_NETWORK_DOWN] = 1 if down else 0

    def set_link_rate(self, bytes_per_s: int) -> None:
        """The most that the node's link carries each second; 0 for no limit."""
        struct.pack_into("<I", self._map, _LINK_RATE, bytes_per_s)

    def float_outputs(self) -> None:
        """What the pins of a chip without power, or in reset, do: all inputs again, nothing driven."""
        self._map[_OUTPUTS : _MODES + PIN_COUNT] = b"\x00" * (_MODES + PIN_COUNT - _OUTPUTS)

    # ------------------------------------------------------------------ what the node writes
    def driven_high(self, gpio: int) -> bool | None:
        """The level that the node drives; None while the pin is an input (it floats)."""
        if self._map[_MODES + gpio] != 1:
            return None
        return self._map[_OUTPUTS + gpio] == 1

    def heartbeat(self) -> int:
        """A count that the node's main loop moves on."""
        return int(struct.unpack_from("<Q", self._map, _HEARTBEAT)[0])

    def pid(self) -> int:
        """The process id that the node wrote; 0 before that."""
        return int(struct.unpack_from("<I", self._map, _PID)[0])
