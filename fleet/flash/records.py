"""The records that a first flash writes: a board's trial record, and its credentials.

The readers are `templates/firmware/core/slots_record.cpp` (docs/node-interface.md 7) and `credentials.cpp` beside it;
tests/flash/test_flash_records.py holds the two sides together.
"""

from __future__ import annotations

import struct
import zlib
from typing import TYPE_CHECKING, Final

from fleet.limits import TICKET_BYTES

if TYPE_CHECKING:
    from fleet.boards.data_file import Layout
    from fleet.build.ticket import TicketFields
    from fleet.keys.networks import Network

_FIRST: Final = 1
"""Number of a record; of the two sectors of a kind the one with the higher number counts, 0 is none."""

_TRIAL_MAGIC: Final = b"TKSL"
_TRIAL_VERSION: Final = 1
_TRIAL_HEAD: Final = struct.Struct("<4sHHQQI8B32sB3x")
_IMAGE: Final = struct.Struct(f"<QIBxH32s{TICKET_BYTES}s")
_IMAGES: Final = 3
TRIAL_BYTES: Final = _TRIAL_HEAD.size + _IMAGES * _IMAGE.size + 8
_LAYOUTS: Final[dict[Layout, int]] = {"two-slot": 1, "copy-in-place": 2}

_CREDENTIALS_MAGIC: Final = b"TKCR"
_CREDENTIALS_VERSION: Final = 2
_CREDENTIALS_HEAD: Final = struct.Struct("<4sHHQ32s36s64s100x4x")
"""The second network, its phase, starts and trial time are zero: none is on trial."""
CREDENTIALS_BYTES: Final = _CREDENTIALS_HEAD.size + 4


def trial_record(layout: Layout, fields: TicketFields, ticket: bytes) -> bytes:
    """The 1760 bytes at the start of the first of two sectors: one kept image, that of the ticket, in area 0; no older
    one; the floor at its sequence."""
    head = _TRIAL_HEAD.pack(
        _TRIAL_MAGIC, _TRIAL_VERSION, TRIAL_BYTES, _FIRST, fields.sequence, 0, *bytes(8), bytes(32), _LAYOUTS[layout]
    )  # fmt: skip
    image = _IMAGE.pack(fields.sequence, fields.size_bytes, 1, len(ticket), fields.digest, ticket)
    return _sealed(head + image + bytes((_IMAGES - 1) * _IMAGE.size + 4))


def credentials_record(node_key: bytes, network: Network) -> bytes:
    """The 256 bytes at the start of the first of two sectors: the node key and the network that the board joins.

    These bytes are secret: they go to the board's flash and nowhere else. KeyFolderError (KEY108): the passphrase is
    too long.
    """
    ssid, passphrase = network.for_board()
    return _sealed(
        _CREDENTIALS_HEAD.pack(
            _CREDENTIALS_MAGIC, _CREDENTIALS_VERSION, CREDENTIALS_BYTES, _FIRST, node_key, ssid, passphrase
        )
    )


def _sealed(body: bytes) -> bytes:
    """With its check sum, which a cut write does not have."""
    return body + struct.pack("<I", zlib.crc32(body))
