"""Where the files of a bench lie, in one folder of the project."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from fleet.workspace import BENCH_ID, BENCH_SOCKET


@dataclass(frozen=True, slots=True)
class BenchPaths:
    """The folder `.tankfleet/bench`."""

    folder: Path

    @property
    def socket(self) -> Path:
        """The control socket, 0600."""
        return self.folder / BENCH_SOCKET

    @property
    def id(self) -> Path:
        """The bench's id, made once (identity.py)."""
        return self.folder / BENCH_ID

    @property
    def lock(self) -> Path:
        """Held by the program in the background as long as it lives."""
        return self.folder / "bench.lock"

    @property
    def log(self) -> Path:
        """What the program in the background has to say."""
        return self.folder / "bench.log"

    def node(self, name: str) -> NodePaths:
        """The files of one node."""
        return NodePaths(self.folder / "nodes" / name)


@dataclass(frozen=True, slots=True)
class NodePaths:
    """The folder of one virtual node."""

    folder: Path

    @property
    def flash(self) -> Path:
        """Its flash memory."""
        return self.folder / "flash.bin"

    @property
    def pins(self) -> Path:
        """Its pins, shared with its process."""
        return self.folder / "pins"

    @property
    def log(self) -> Path:
        """What its process wrote."""
        return self.folder / "node.log"
