"""Deriving keys: HKDF against RFC 5869, and what node keys are made of."""

from __future__ import annotations

import pytest

from fleet.keys.derive import fleet_key_fingerprint, hkdf_sha256, network_key, node_key

# RFC 5869, appendix A, test cases 1 and 3 (SHA-256): secret, salt, info, length, output.
RFC_5869 = (
    (
        "0b" * 22,
        "000102030405060708090a0b0c",
        "f0f1f2f3f4f5f6f7f8f9",
        42,
        "3cb25f25faacd57a90434f64d0362f2a2d2d0a90cf1a5a4c5db02d56ecc4c5bf34007208d5b887185865",
    ),
    (
        "0b" * 22,
        "",
        "",
        42,
        "8da4e775a563c18f715f802a063c5a31b8a11f5c5ee1879ec3454e5f3c738d2d9d201395faa4b61a96c8",
    ),
)


@pytest.mark.parametrize(("secret", "salt", "info", "size_bytes", "output"), RFC_5869)
def test_hkdf_gives_the_vectors_of_rfc_5869(secret, salt, info, size_bytes, output) -> None:
    made = hkdf_sha256(bytes.fromhex(secret), bytes.fromhex(info), size_bytes, bytes.fromhex(salt) or None)
    assert made.hex() == output


def test_node_keys_follow_the_interface_and_differ_by_node_and_fleet() -> None:
    """docs/node-interface.md 3: info is "tankfleet node key v1:" and the node's name; the salt is empty."""
    fleet_key = bytes(range(32))
    assert node_key(fleet_key, "ridge-01") == hkdf_sha256(
        fleet_key, b"tankfleet node key v1:ridge-01", 32, b""
    )
    keys = {node_key(key, name) for key in (fleet_key, bytes(32)) for name in ("ridge-01", "ridge-02")}
    assert len(keys) == 4


def test_the_key_for_credentials_follows_the_interface_and_is_no_node_key() -> None:
    """docs/node-interface.md: from the node key, info "tankfleet network key v1:" and the node's name; no salt."""
    of_node = node_key(bytes(range(32)), "ridge-01")
    made = network_key(of_node, "ridge-01")
    assert made == hkdf_sha256(of_node, b"tankfleet network key v1:ridge-01", 32, b"")
    assert len({made, of_node, network_key(of_node, "ridge-02")}) == 3


def test_fingerprint_is_no_part_of_the_key() -> None:
    fleet_key = bytes(range(32))
    fingerprint = fleet_key_fingerprint(fleet_key)
    assert len(fingerprint) == 8
    assert fingerprint not in fleet_key
    assert fingerprint != fleet_key_fingerprint(bytes(32))
