"""The public part of the signing key: what a node is told to trust."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

POINT_BYTES = 65
KEY_ID_BYTES = 8


@dataclass(frozen=True, slots=True)
class Trust:
    """A P-256 point in uncompressed form (65 bytes, SEC 1 2.3.3)."""

    point: bytes

    def __post_init__(self) -> None:
        if len(self.point) != POINT_BYTES or self.point[0] != 4:
            raise ValueError("not an uncompressed P-256 point")

    @property
    def key_id(self) -> bytes:
        """8 bytes: the first of the SHA-256 of the point (docs/node-interface.md 5)."""
        return hashlib.sha256(self.point).digest()[:KEY_ID_BYTES]

    @property
    def fingerprint(self) -> str:
        """SHA-256 of the point, 64 hex digits."""
        return hashlib.sha256(self.point).hexdigest()
