"""The state document: what is read, what is tolerated, and that nothing else gets through."""

from __future__ import annotations

import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.errors import LinkError
from fleet.limits import STATE_DOCUMENT_BYTES
from fleet.link.state import Phase, parse_state
from tests.link_helpers import HandClock, fake


def _document() -> dict:
    return fake(entropy=bytes, clock=HandClock()).document()


def _parse(document) -> object:
    return parse_state(json.dumps(document).encode(), node="ridge-01")


def test_a_whole_document_is_read() -> None:
    state = _parse(_document())
    assert (state.node, state.phase, state.sequence) == ("ridge-01", Phase.KEPT, 1)
    assert state.class_id == "00010203-0405-0607-0809-0a0b0c0d0e0f"
    (tank,) = state.tanks
    assert [mark.name for mark in tank.marks] == ["low", "full"]
    assert tank.level == 1
    assert tank.pump is not None
    assert tank.pump.relay == "off"


def test_keys_of_a_newer_node_are_tolerated() -> None:
    document = _document()
    document["salinity"] = 3
    document["tanks"][0]["colour"] = "green"
    assert _parse(document).node == "ridge-01"


def test_network_credentials_are_read_and_their_absence_is_older_firmware() -> None:
    document = _document()
    for phase, on in (("kept", "kept"), ("on-trial", "new"), ("put-back", None)):
        document["network"] = {"phase": phase, "on": on, "trial_left_s": 12}
        assert _parse(document).network.model_dump(mode="json", exclude_unset=True) == document["network"]
    for wrong in (
        "farm",
        {"phase": "kept"},
        document["network"] | {"on": "old"},
        document["network"] | {"phase": "?"},
    ):
        with pytest.raises(LinkError, match="network"):
            _parse(document | {"network": wrong})
    del document["network"]
    assert _parse(document).network is None


def test_the_access_point_is_read_and_may_be_none() -> None:
    """docs/node-interface.md 4: `bssid` as text or null, `channel` a number or null; 2.4 GHz has channels 1 to 14."""
    network = {"phase": "kept", "on": "kept", "trial_left_s": 0}
    for said in ({"bssid": "02:11:22:33:44:51", "channel": 14}, {"bssid": None, "channel": None}):
        assert (
            _parse(_document() | {"network": network | said}).network.model_dump(mode="json")
            == network | said
        )
    for wrong in (
        {"bssid": "02-11-22-33-44-51"},
        {"bssid": "02:11:22:33:44:5A"},
        {"channel": 15},
        {"channel": 0},
    ):
        with pytest.raises(LinkError, match="network"):
            _parse(_document() | {"network": network | wrong})


def test_a_node_with_a_bad_block_is_still_understood() -> None:
    """The firmware then leaves site, board and release empty and names the fault."""
    document = _document() | {"site": "", "board": "", "release": "", "tanks": [], "faults": ["bad-block"]}
    assert _parse(document).faults == ("bad-block",)


def test_null_is_understood_where_the_interface_allows_it() -> None:
    document = _document() | {"rssi_dbm": None, "older_image": None, "last_image": None, "last_reason": None}
    document["tanks"][0] |= {"pump": None, "level": None}
    assert _parse(document).tanks[0].level is None


@pytest.mark.parametrize("key", sorted(_document().keys() - {"network", "brown_outs"}))
def test_each_key_is_needed(key) -> None:
    document = _document()
    del document[key]
    with pytest.raises(LinkError, match=key):
        _parse(document)


@pytest.mark.parametrize("wrong", [{"a": 1}, [7], True, "\u0000", 1e400, -1], ids=repr)
@pytest.mark.parametrize("key", sorted(_document().keys() - {"network"}))
def test_a_wrong_type_or_value_of_each_key_is_refused(key, wrong) -> None:
    if key == "rssi_dbm" and wrong == -1:
        wrong = -129
    with pytest.raises(LinkError, match="ridge-01"):
        _parse(_document() | {key: wrong})


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("v", 2),
        ("v", 1.0),
        ("image", "0" * 63),
        ("image", "A" * 64),
        ("sequence", 2**63),
        ("sequence", "1"),
        ("phase", "unknown"),
        ("mac", "AA:bb:cc:dd:ee:ff"),
        ("node", "Ridge"),
        ("node", "a" * 64),
        ("nonce", "A" * 21),
        ("nonce", 'AAAAAAAAAAAAAAAAAAAAAA"'),
        ("rssi_dbm", 128),
        ("faults", ["x"] * 17),
        ("tanks", [_document()["tanks"][0]] * 5),
        ("block_crc", "0"),
    ],
)
def test_a_value_out_of_bounds_is_refused(key, value) -> None:
    with pytest.raises(LinkError, match=key):
        _parse(_document() | {key: value})


@pytest.mark.parametrize(
    "raw",
    [b"", b"null", b"[]", b"{", b'{"v":1}', b"\xff\xfe", b"[" * 10_000, b'{"v":NaN}', b'"' + b"x" * 100],
    ids=lambda raw: repr(raw[:12]),
)
def test_what_is_no_document_is_refused(raw) -> None:
    with pytest.raises(LinkError):
        parse_state(raw, node="ridge-01")


def test_a_document_over_the_bound_is_refused() -> None:
    raw = json.dumps(_document()).encode().ljust(STATE_DOCUMENT_BYTES + 1)
    with pytest.raises(LinkError, match="over"):
        parse_state(raw, node="ridge-01")
    assert parse_state(raw[:-1], node="ridge-01").node == "ridge-01"


@settings(max_examples=300)
@given(st.data())
def test_no_mutated_document_raises_anything_else(data) -> None:
    raw = bytearray(json.dumps(_document()).encode())
    for _ in range(data.draw(st.integers(1, 6))):
        at = data.draw(st.integers(0, len(raw) - 1))
        raw[at : at + data.draw(st.integers(0, 3))] = data.draw(st.binary(max_size=3))
    try:
        state = parse_state(bytes(raw), node="ridge-01")
    except LinkError:
        return
    assert state.v == 1
