"""Checksums of the journal's records, and the file beside it that counts its commits.

Each event is sealed with all events of its push before it, and each push with the number and the last seal of its
events: an altered, a dropped and a moved record are found, which SQLite does not look for. What drops the newest
commits as a whole (a write-ahead log that is deleted, or has a bad bit: SQLite then takes its end to be there) leaves
an older state that is sound in itself. The file beside tells: it is written after each commit, so that it only ever
lags behind.
"""

from __future__ import annotations

import hashlib
import json
import os
from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from fleet.durable import write_durably

if TYPE_CHECKING:
    from pathlib import Path

_HEAD_BYTES = 256
"""The file beside is of this one size, within a sector, so that it is written over in one piece."""


def sha256(text: str) -> str:
    """64 hex digits."""
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def sealed(*facts: Any) -> str:
    """The seal of these facts: text, numbers and None."""
    return sha256(json.dumps(facts, separators=(",", ":"), ensure_ascii=False, default=repr))


@dataclass(frozen=True, slots=True)
class Head:
    """What the journal says of itself as a whole. `adopted`: events of before there were seals, sealed as they were
    found."""

    name: str
    """Chance's name for this journal, which tells it from another one at the same place."""
    commits: int
    pushes: int
    requests: int
    adopted: int

    @property
    def seal(self) -> str:
        """Over all of it."""
        return sealed(self.name, self.commits, self.pushes, self.requests, self.adopted)


@dataclass(frozen=True, slots=True)
class Witness:
    """What the file beside says was committed."""

    name: str
    commits: int
    seal: str


def witness_path(journal: Path) -> Path:
    """The file beside the journal; its name begins as those of SQLite's own files do."""
    return journal.with_name(f"{journal.name}-head")


def read_witness(journal: Path) -> Witness | None:
    """What the file beside says; None if there is none, or it is damaged: it only ever helps."""
    try:
        said = json.loads(witness_path(journal).read_bytes()[:_HEAD_BYTES])
        witness = Witness(said["journal"], said["commits"], said["seal"])
        sound = type(witness.commits) is int and said["check"] == _check(witness)
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return None
    return witness if sound else None


def write_witness(journal: Path, head: Head, *, first: bool = False) -> None:
    """Say what is committed. Only the first time is it synced: later it may lag. It never stops a push."""
    witness = Witness(head.name, head.commits, head.seal)
    said = {
        "journal": witness.name,
        "commits": witness.commits,
        "seal": witness.seal,
        "check": _check(witness),
    }
    data = json.dumps(said, separators=(",", ":")).encode().ljust(_HEAD_BYTES - 1) + b"\n"
    path = witness_path(journal)
    with suppress(OSError):
        if first or not path.exists():
            write_durably([(path, data)])
            return
        handle = os.open(path, os.O_WRONLY | os.O_CLOEXEC | os.O_NOFOLLOW)
        try:
            os.pwrite(handle, data, 0)
        finally:
            os.close(handle)


def _check(witness: Witness) -> str:
    return sealed("witness", witness.name, witness.commits, witness.seal)[:32]
