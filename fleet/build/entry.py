"""One entry of the shelf: which image and ticket were made for which node, and when."""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, dataclass, fields
from typing import TYPE_CHECKING, Annotated, Any, Literal

from fleet.build.codes import DAMAGED
from fleet.errors import ShelfError

if TYPE_CHECKING:
    from pydantic import Field

    from fleet.boards.data_file import PayloadFormat
    from fleet.json_values import Count, Crc, Digest, Moment, Some, Uuid
    from fleet.limits import RELEASE_CHARS

ENTRY_VERSION = 1


@dataclass(frozen=True, slots=True)
class ShelfEntry:
    """What was built; digests are SHA-256."""

    node: str
    image: Digest
    ticket: Digest
    sequence: Count
    release: Annotated[str, Field(max_length=RELEASE_CHARS)]
    board: str
    class_id: Uuid
    class_name: str
    target: Literal["host", "board"]
    payload_format: Literal["host-elf"] | PayloadFormat
    size_bytes: Some
    built_at: Moment
    """UTC."""
    defect: str
    """Empty but for the bench."""
    block_crc: Crc
    record: Digest = ""
    """The build record of its class."""
    inputs: Digest = ""
    """Of all that the image was made from: the same inputs make the same image."""

    def to_json(self) -> bytes:
        """The entry with its own checksum, in one fixed form."""
        facts = {"v": ENTRY_VERSION, **asdict(self)}
        return _canonical({**facts, "check": hashlib.sha256(_canonical(facts)).hexdigest()})


_WHOLE = ("sequence", "size_bytes")
_KINDS = {field.name: int if field.name in _WHOLE else str for field in fields(ShelfEntry)}


def entry_from_json(data: bytes, where: str) -> ShelfEntry:
    """The entry, once its checksum, version and every type have been found right. ShelfError names
    `where`."""
    try:
        facts: Any = json.loads(data)
    except (ValueError, RecursionError) as error:
        raise ShelfError(DAMAGED, f"{where} is not JSON") from error
    if not isinstance(facts, dict):
        raise ShelfError(DAMAGED, f"{where} is not an entry of the shelf")
    check = facts.pop("check", None)
    if check != hashlib.sha256(_canonical(facts)).hexdigest() or facts.pop("v", None) != ENTRY_VERSION:
        raise ShelfError(DAMAGED, f"{where} does not match its own checksum")
    if set(facts) != set(_KINDS) or any(type(facts[name]) is not kind for name, kind in _KINDS.items()):
        raise ShelfError(DAMAGED, f"{where} lacks a field or has one of the wrong type")
    return ShelfEntry(**facts)


def _canonical(facts: dict[str, Any]) -> bytes:
    return json.dumps(facts, sort_keys=True, separators=(",", ":"), ensure_ascii=True).encode() + b"\n"
