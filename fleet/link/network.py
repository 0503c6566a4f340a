"""New network credentials, sealed for one node: the body of `PUT /v1/network` (docs/node-interface.md). Pure.

AES-256-GCM (NIST SP 800-38D; RFC 5116, AEAD_AES_256_GCM) by `cryptography`. What is sealed has one length, whatever the
length of the passphrase.
"""

from __future__ import annotations

import struct
from typing import TYPE_CHECKING, Final

from cryptography.hazmat.primitives.ciphers.aead import AESGCM

from fleet.keys.derive import network_key
from fleet.limits import NETWORK_TRIAL_MAX_S, NETWORK_TRIAL_MIN_S

if TYPE_CHECKING:
    from fleet.keys.networks import Network

IV_BYTES: Final = 12
TAG_BYTES: Final = 16
_PLAIN: Final = struct.Struct("<33s64sH")
SEALED_BYTES: Final = IV_BYTES + _PLAIN.size + TAG_BYTES


def sealed_network(network: Network, *, node: str, node_key: bytes, trial_s: int, iv: bytes) -> bytes:
    """IV, ciphertext and tag: 127 bytes that only this node can open.

    `node_key`: 32 bytes; `trial_s`: 60 to 65535; `iv`: 12 bytes that were never used before under this key: random
    ones. KeyFolderError (KEY108) for credentials that no board can hold; ValueError for the rest.
    """
    if not NETWORK_TRIAL_MIN_S <= trial_s <= NETWORK_TRIAL_MAX_S:
        raise ValueError(f"a trial of {trial_s} s")
    if len(iv) != IV_BYTES:
        raise ValueError(f"an initialization vector of {len(iv)} bytes")
    name, passphrase = network.for_board()
    plain = _PLAIN.pack(name, passphrase, trial_s)
    return iv + AESGCM(network_key(node_key, node)).encrypt(iv, plain, node.encode("ascii"))
