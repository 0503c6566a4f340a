"""Sequence numbers, and a new ticket for an image that is already on the shelf."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

from fleet.build.codes import OTHER_KEY
from fleet.build.stamp import block_in
from fleet.build.ticket import parse, sign
from fleet.errors import ShelfError
from fleet.render.node_block import unpack

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ec import EllipticCurvePrivateKey

    from fleet.build.entry import ShelfEntry
    from fleet.build.shelf import Shelf


def next_sequence(shelf: Shelf, node: str, now_s: int, floor: int = 0) -> int:
    """The time in seconds since 1970, or one above the last (RFC 9124: a timestamp serves, if it never runs
    back). Above `floor` too: a node got it from a machine whose clock was ahead of this one's."""
    return max(now_s, shelf.last_sequence(node) + 1, floor + 1)


def utc_text(now_s: int) -> str:
    """A time in seconds since 1970 as ISO 8601, UTC."""
    return datetime.fromtimestamp(now_s, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def reissue(
    shelf: Shelf, entry: ShelfEntry, key: EllipticCurvePrivateKey, now_s: int, floor: int = 0
) -> ShelfEntry:
    """A new ticket, with a new sequence number above `floor`, for an image on the shelf: the way back to an older
    image, or past a floor that lies ahead.

    ShelfError if the image, its ticket or its record is missing or damaged, or the image trusts another key.
    """
    image = shelf.image(entry.image)
    point = key.public_key().public_bytes(Encoding.X962, PublicFormat.UncompressedPoint)
    if entry.payload_format == "host-elf" and unpack(block_in(image)).signing_key != point:
        raise ShelfError(
            OTHER_KEY, f"image {entry.image[:16]} of {entry.node} trusts another key than this one"
        )
    sequence = next_sequence(shelf, entry.node, now_s, floor)
    ticket = sign(replace(parse(shelf.ticket(entry.ticket)), sequence=sequence), key)
    sha = hashlib.sha256(ticket).hexdigest()
    again = replace(entry, ticket=sha, sequence=sequence, built_at=utc_text(now_s))
    shelf.add(again, image, ticket, shelf.record(entry.record))
    return again
