"""Where each node was last found: a small file that only ever helps, so a damaged one is as good as none."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from ipaddress import IPv4Address
from pathlib import Path

from fleet.durable import write_durably
from fleet.limits import SEEN_FILE_BYTES

VERSION = 1


@dataclass(frozen=True, slots=True)
class Seen:
    """Address, port and MAC of a node when its signed state was last read; `seen_at` is ISO 8601 in UTC."""

    address: str
    port: int
    mac: str
    seen_at: str


def read_seen(path: Path) -> dict[str, Seen]:
    """Last known places by node name; empty if the file is not there, too big or damaged."""
    try:
        if path.stat().st_size > SEEN_FILE_BYTES:
            return {}
        document = json.loads(path.read_text(encoding="utf-8"))
        if document["v"] != VERSION:
            return {}
        return {str(name): _seen(entry) for name, entry in document["nodes"].items()}
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return {}


def write_seen(path: Path, seen: Mapping[str, Seen]) -> None:
    """Replace the file as a whole: a cut-off write leaves the old one."""
    document = {"v": VERSION, "nodes": {name: asdict(seen[name]) for name in sorted(seen)}}
    write_durably([(path, json.dumps(document, indent=1).encode())])


def _seen(entry: Mapping[str, object]) -> Seen:
    address, port = str(IPv4Address(str(entry["address"]))), entry["port"]
    if not isinstance(port, int) or not 0 < port < 65_536:
        raise ValueError(port)
    return Seen(address, port, str(entry["mac"]), str(entry["seen_at"]))
