"""The credentials of a board as the first flash leaves them: its node key and the network that it joins.

The reader is `templates/firmware/core/credentials.cpp`; tests/flash/test_flash_records.py holds the two together. These
bytes are secret: they go to the board's flash and nowhere else.
"""

from __future__ import annotations

import struct
import zlib
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from fleet.keys.networks import Network

_HEAD: Final = struct.Struct("<4sHHQ32s36s64s100x4x")
"""The second network, its phase, starts and trial time are zero: none is on trial."""
_MAGIC: Final = b"TKCR"
_VERSION: Final = 2
_FIRST_NUMBER: Final = 1
CREDENTIALS_BYTES: Final = _HEAD.size + 4


def credentials_record(node_key: bytes, network: Network) -> bytes:
    """The 256 bytes at the start of the first of two sectors. KeyFolderError (KEY108): the passphrase is too long."""
    ssid, passphrase = network.for_board()
    head = _HEAD.pack(_MAGIC, _VERSION, CREDENTIALS_BYTES, _FIRST_NUMBER, node_key, ssid, passphrase)
    return head + struct.pack("<I", zlib.crc32(head))
