"""The first trial record of a board: one kept image, no older one, the floor at its sequence.

The reader is `templates/firmware/core/slots_record.cpp` (docs/node-interface.md 7); tests/flash/test_flash_records.py
holds the two together.
"""

from __future__ import annotations

import struct
import zlib
from typing import TYPE_CHECKING, Final

from fleet.limits import TICKET_BYTES

if TYPE_CHECKING:
    from fleet.boards.data_file import Layout
    from fleet.build.ticket import TicketFields

_MAGIC: Final = b"TKSL"
_VERSION: Final = 1
_FIRST: Final = 1
"""Number of the record; the higher of the two sectors counts, 0 is none."""
_HEAD: Final = struct.Struct("<4sHHQQI8B32sB3x")
_IMAGE: Final = struct.Struct(f"<QIBxH32s{TICKET_BYTES}s")
_IMAGES: Final = 3
RECORD_BYTES: Final = _HEAD.size + _IMAGES * _IMAGE.size + 8
_LAYOUTS: Final[dict[Layout, int]] = {"two-slot": 1, "copy-in-place": 2}


def first_record(layout: Layout, fields: TicketFields, ticket: bytes) -> bytes:
    """The 1760 bytes at the start of the first record sector, for the image that the ticket is of, in area 0."""
    head = _HEAD.pack(
        _MAGIC, _VERSION, RECORD_BYTES, _FIRST, fields.sequence, 0, *bytes(8), bytes(32), _LAYOUTS[layout]
    )
    image = _IMAGE.pack(fields.sequence, fields.size_bytes, 1, len(ticket), fields.digest, ticket)
    body = head + image + bytes((_IMAGES - 1) * _IMAGE.size + 4)
    return body + struct.pack("<I", zlib.crc32(body))
