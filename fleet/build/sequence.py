"""Sequence numbers, and new tickets for an image that is already on the shelf.

A ticket has no date on which it ends: a node has no clock to judge by. It is good for one node, until that node keeps
an image with a sequence as high. So one that leads back to an older image is not left lying about.
"""

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
    """A new ticket on the shelf, with a new sequence number above `floor`, for the newest image of a node whose floor
    is above the ticket that it has.

    ShelfError if the image, its ticket or its record is missing or damaged, or the image trusts another key.
    """
    image = _trusting(shelf, entry, key)
    sequence = next_sequence(shelf, entry.node, now_s, floor)
    ticket = sign(replace(parse(shelf.ticket(entry.ticket)), sequence=sequence), key)
    sha = hashlib.sha256(ticket).hexdigest()
    again = replace(entry, ticket=sha, sequence=sequence, built_at=utc_text(now_s))
    shelf.add(again, image, ticket, shelf.record(entry.record))
    return again


def way_back(
    shelf: Shelf, entry: ShelfEntry, key: EllipticCurvePrivateKey, floor: int
) -> tuple[bytes, bytes]:
    """An older image, and a ticket for it that the node takes now: just above the floor that it says it has.

    The ticket is on no shelf and ends with whoever holds it. Once the node has kept the image, and also once it has
    kept any that was built since, nobody can send it again. ShelfError as of `reissue`.
    """
    image = _trusting(shelf, entry, key)
    return image, sign(replace(parse(shelf.ticket(entry.ticket)), sequence=floor + 1), key)


def _trusting(shelf: Shelf, entry: ShelfEntry, key: EllipticCurvePrivateKey) -> bytes:
    """The image of that entry, checked to trust the key where it is one of the bench: a board's does not show at a
    known place what it trusts."""
    image = shelf.image(entry.image)
    point = key.public_key().public_bytes(Encoding.X962, PublicFormat.UncompressedPoint)
    if entry.payload_format == "host-elf" and unpack(block_in(image)).signing_key != point:
        raise ShelfError(
            OTHER_KEY, f"image {entry.image[:16]} of {entry.node} trusts another key than this one"
        )
    return image
