"""Sealing network credentials: against NIST's vectors, and opened by `cryptography` as a node opens them."""

from __future__ import annotations

from pathlib import Path

import cryptography_vectors
import pytest
from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from hypothesis import given
from hypothesis import strategies as st

from fleet.errors import KeyFolderError, NodeRefused
from fleet.keys.derive import network_key
from fleet.keys.networks import Network
from fleet.link.client import NodeLink
from fleet.link.network import SEALED_BYTES, sealed_network
from fleet.link.state import Phase
from tests.fake_node import FakeNode
from tests.link.test_link_client import talk
from tests.link_helpers import HandClock, fake, key_of

GCM = Path(cryptography_vectors.__file__).parent / "ciphers" / "AES" / "GCM" / "gcmEncryptExtIV256.rsp"
"""NIST CAVP, GCM test vectors (SP 800-38D), as PyPI's cryptography-vectors carries them."""
HILL = Network("Hill Farm", "correct horse battery")
NODE, KEY = "ridge-01", key_of("ridge-01")


def _cavp() -> list[dict[str, str]]:
    """The vectors with a 96-bit IV, a 128-bit tag and no plaintext left out."""
    found, sizes, one = [], {}, {}
    for line in GCM.read_text(encoding="ascii").splitlines():
        name, _, value = line.strip("[]\r\n ").partition("=")
        if line.startswith("["):
            sizes[name.strip()] = value.strip()
        elif line.strip() and not line.startswith("#"):
            one[name.strip()] = value.strip()
            if name.strip() == "Tag":
                if sizes["IVlen"] == "96" and sizes["Taglen"] == "128":
                    found.append(dict(one))
                one = {}
    return found


def test_the_library_seals_as_nist_says() -> None:
    vectors = _cavp()
    assert len(vectors) > 300
    for one in vectors:
        key, iv, plain, aad = (bytes.fromhex(one[name]) for name in ("Key", "IV", "PT", "AAD"))
        assert AESGCM(key).encrypt(iv, plain, aad).hex() == one["CT"] + one["Tag"]


def _opened(body: bytes, key: bytes = KEY, node: str = NODE) -> bytes:
    return AESGCM(network_key(key, node)).decrypt(body[:12], body[12:], node.encode())


@given(
    ssid=st.text(st.characters(min_codepoint=32, max_codepoint=126), min_size=1, max_size=32),
    passphrase=st.text(st.characters(min_codepoint=32, max_codepoint=126), min_size=8, max_size=63)
    | st.just(""),
    trial_s=st.integers(60, 65_535),
    iv=st.binary(min_size=12, max_size=12),
)
def test_what_is_sealed_is_opened_field_by_field(ssid, passphrase, trial_s, iv) -> None:
    """Places and sizes as in docs/node-interface.md: 33 bytes, 64 bytes, two bytes little endian."""
    body = sealed_network(Network(ssid, passphrase), node=NODE, node_key=KEY, trial_s=trial_s, iv=iv)
    assert (len(body), body[:12]) == (127, iv)
    plain = _opened(body)
    assert plain[:33] == ssid.encode() + bytes(33 - len(ssid))
    assert plain[33:97] == passphrase.encode() + bytes(64 - len(passphrase))
    assert plain[97:] == bytes([trial_s & 0xFF, trial_s >> 8])


def test_another_node_key_or_bit_does_not_open_it() -> None:
    body = sealed_network(HILL, node=NODE, node_key=KEY, trial_s=600, iv=bytes(12))
    for wrong in ({"key": key_of("ridge-02")}, {"node": "ridge-02"}):
        with pytest.raises(InvalidTag):
            _opened(body, **wrong)
    for bit in range(0, 8 * SEALED_BYTES, 7):
        flipped = bytearray(body)
        flipped[bit // 8] ^= 1 << bit % 8
        with pytest.raises(InvalidTag):
            _opened(bytes(flipped))


def test_what_no_node_can_hold_is_refused() -> None:
    with pytest.raises(KeyFolderError) as caught:
        sealed_network(Network("Hill", "a" * 64), node=NODE, node_key=KEY, trial_s=600, iv=bytes(12))
    assert caught.value.code.code == "KEY108"
    assert "aaaa" not in str(caught.value)
    for trial_s, iv in ((59, bytes(12)), (65_536, bytes(12)), (600, bytes(11))):
        with pytest.raises(ValueError):
            sealed_network(HILL, node=NODE, node_key=KEY, trial_s=trial_s, iv=iv)


# ------------------------------------------------- over a link
def test_given_tried_and_kept() -> None:
    clock = HandClock()

    async def what(node: FakeNode, link: NodeLink) -> None:
        node.join.air.add(("Hill Farm", "correct horse battery"))
        assert await link.give_network(HILL, 600) is Phase.KEPT
        network = (await link.state()).network
        assert network is not None
        assert (network.phase, network.on, network.trial_left_s) == (Phase.ON_TRIAL, "kept", 600)
        with pytest.raises(NodeRefused) as caught:
            await link.keep_network()
        assert caught.value.refusal == "not-on-trial"
        clock.pass_s(2)
        state = await link.state()
        assert state.network is not None
        assert state.network.on == "new"
        assert await link.keep_network() is Phase.KEPT
        assert (await link.state()).network.phase is Phase.KEPT

    node = talk(what, fake(clock=clock))
    assert node.networks_given == [("Hill Farm", "correct horse battery")]
    assert node.join.kept == node.networks_given[0]


def test_each_time_another_iv_and_the_body_is_not_shown() -> None:
    drawn: list[int] = []

    async def what(node: FakeNode, link: NodeLink) -> None:
        entropy = link._entropy
        link._entropy = lambda count: drawn.append(count) or entropy(count)
        await link.give_network(HILL, 600)
        await link.give_network(HILL, 600)

    talk(what)
    assert drawn.count(12) == 2


def test_another_key_is_refused_by_the_node() -> None:
    """The request is signed with the right key and sealed with another: what a node says to that."""

    async def what(node: FakeNode, link: NodeLink) -> None:
        body = sealed_network(HILL, node=NODE, node_key=bytes(32), trial_s=600, iv=bytes(12))
        node._take_network(sealed_network(HILL, node=NODE, node_key=KEY, trial_s=600, iv=bytes(12)))
        with pytest.raises(Exception, match="bad-credentials"):
            node._take_network(body)

    talk(what)


def test_firmware_that_does_not_know_it() -> None:
    async def what(node: FakeNode, link: NodeLink) -> None:
        node.faults.knows_networks = False
        assert (await link.state()).network is None
        with pytest.raises(NodeRefused) as caught:
            await link.give_network(HILL, 600)
        assert (caught.value.status, caught.value.refusal) == (404, "not-found")

    talk(what)


def test_nothing_secret_in_what_is_raised() -> None:
    async def what(node: FakeNode, link: NodeLink) -> None:
        node.faults.network_cut = True
        try:
            await link.give_network(HILL, 600)
        except Exception as error:
            said.append(f"{error!r} {error.__cause__!r}")

    said: list[str] = []
    talk(what)
    assert said
    assert "correct horse" not in said[0]
