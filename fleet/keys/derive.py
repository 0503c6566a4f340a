"""Keys of a node: its own from the fleet key, and from that the one for its credentials (docs/node-interface.md 3)."""

from __future__ import annotations

from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF

KEY_BYTES = 32
_NODE_INFO = "tankfleet node key v1:"
_NETWORK_INFO = "tankfleet network key v1:"
_FINGERPRINT_INFO = b"tankfleet fleet key fingerprint v1"
_FINGERPRINT_BYTES = 8


def hkdf_sha256(secret: bytes, info: bytes, size_bytes: int, salt: bytes | None = None) -> bytes:
    """HKDF-SHA256 of RFC 5869; no salt means an empty one."""
    return HKDF(algorithm=SHA256(), length=size_bytes, salt=salt, info=info).derive(secret)


def node_key(fleet_key: bytes, node: str) -> bytes:
    """The 32 bytes that sign requests to, and answers of, the node of that name."""
    return hkdf_sha256(fleet_key, f"{_NODE_INFO}{node}".encode(), KEY_BYTES)


def network_key(of_node: bytes, node: str) -> bytes:
    """The 32 bytes that seal new network credentials for the node of that name, from its node key."""
    return hkdf_sha256(of_node, f"{_NETWORK_INFO}{node}".encode(), KEY_BYTES)


def fleet_key_fingerprint(fleet_key: bytes) -> bytes:
    """8 bytes that tell one fleet key from another and say nothing about it."""
    return hkdf_sha256(fleet_key, _FINGERPRINT_INFO, _FINGERPRINT_BYTES)
