"""Tickets: against the published examples, against another implementation, and against every kind of
damage."""

from __future__ import annotations

import base64
import hashlib
from dataclasses import replace

import cbor2
import pytest
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat
from pycose.algorithms import Es256
from pycose.headers import KID, Algorithm
from pycose.keys import EC2Key
from pycose.keys.curves import P256
from pycose.messages import Sign1Message

from fleet.build.ticket import TicketFields, parse, sign, sign_es256, to_be_signed, verify, verify_es256
from fleet.errors import ShelfError
from fleet.keys.trust import Trust

# RFC 6979, appendix A.2.5, P-256 with SHA-256: the private key, and message -> r, s.
RFC_6979_X = 0xC9AFA9D845BA75166B5C215767B1D6934E50C3DB36E89B127B8A622B120F6721
RFC_6979 = {
    b"sample": "EFD48B2AACB6A8FD1140DD9CD45E81D69D2C877B56AAF991C34D0EA84EAF3716"
    "F7CB1C942D657C41D436C7A1B6E29F65F3E900DBB9AFF4064DC4AB2F843ACDA8",
    b"test": "F1ABB023518351CD71D881567B1EA663ED3EFCF6C5132B354F28D3B0B7D38367"
    "019F4113742A2B14BD25926B49C649155F267E60D3814B4C0CC84250E46F0083",
}
KEY = ec.derive_private_key(RFC_6979_X, ec.SECP256R1())
TRUST = Trust(KEY.public_key().public_bytes(Encoding.X962, PublicFormat.UncompressedPoint))
FIELDS = TicketFields(
    sequence=1_790_000_000,
    vendor_id=bytes(range(16)),
    class_id=bytes(range(16, 32)),
    node="ridge-01",
    payload_format="host-elf",
    size_bytes=700_000,
    digest=hashlib.sha256(b"image").digest(),
    release="1.2.0",
)


@pytest.mark.parametrize("message", list(RFC_6979))
def test_signatures_are_those_of_rfc_6979(message) -> None:
    signature = sign_es256(message, KEY)
    assert signature.hex().upper() == RFC_6979[message]
    assert verify_es256(message, signature, TRUST.point)


def test_es256_example_of_the_cose_working_group() -> None:
    """cose-wg/Examples, ecdsa-examples/ecdsa-sig-01: kid "11", content "This is the content."."""
    x = base64.urlsafe_b64decode("usWxHK2PmfnHKwXPS54m0kTcGJ90UiglWiGahtagnv8=")
    y = base64.urlsafe_b64decode("IBOL-C3BttVivg-lSreASjpkttcsz-1rb7btKLv8EX4=")
    content = b"This is the content."
    structure = to_be_signed(bytes.fromhex("a201260300"), content)
    assert structure.hex().upper() == (
        "846A5369676E61747572653145A2012603004054546869732069732074686520636F6E74656E742E"
    )
    signature = bytes.fromhex(
        "6520BBAF2081D7E0ED0F95F76EB0733D667005F7467CEC4B87B9381A6BA1EDE8"
        "E00DF29F32A37230F39A842A54821FDD223092819D7728EFB9D3A0080B75380B"
    )
    point = b"\x04" + x + y
    assert verify_es256(structure, signature, point)
    assert not verify_es256(structure + b"!", signature, point)


def test_another_implementation_accepts_our_ticket() -> None:
    """pycose decodes it, finds our headers and verifies the signature."""
    decoded = cbor2.loads(sign(FIELDS, KEY))
    assert decoded.tag == Sign1Message.cbor_tag
    protected, unprotected, payload, signature = decoded.value
    message = Sign1Message.from_cose_obj([protected, dict(unprotected), payload, signature], True)
    message.key = EC2Key(crv=P256, x=TRUST.point[1:33], y=TRUST.point[33:])
    assert message.verify_signature()
    assert message.phdr == {Algorithm: Es256, KID: TRUST.key_id}
    assert message.uhdr == {}
    assert cbor2.loads(message.payload) == {
        1: 1,
        2: FIELDS.sequence,
        3: FIELDS.vendor_id,
        4: FIELDS.class_id,
        5: "ridge-01",
        6: "host-elf",
        7: 700_000,
        8: FIELDS.digest,
        9: "1.2.0",
    }


def test_we_accept_the_same_statement_signed_by_another_implementation() -> None:
    message = Sign1Message(phdr={Algorithm: Es256, KID: TRUST.key_id}, payload=FIELDS.to_cbor())
    message.key = EC2Key(crv=P256, x=TRUST.point[1:33], y=TRUST.point[33:], d=RFC_6979_X.to_bytes(32, "big"))
    assert verify(message.encode(), TRUST) == FIELDS


def test_ticket_comes_back_as_it_was_and_is_the_same_each_time() -> None:
    ticket = sign(FIELDS, KEY)
    assert ticket == sign(FIELDS, KEY)
    assert parse(ticket) == FIELDS
    assert verify(ticket, TRUST) == FIELDS
    assert len(ticket) <= 512


def test_payload_is_deterministic_cbor_with_shortest_integers() -> None:
    """RFC 8949 4.2.1: keys in bytewise order, definite lengths, shortest form of each integer."""
    payload = replace(FIELDS, sequence=23, size_bytes=24).to_cbor()
    assert payload[:5] == bytes.fromhex("a901010217")
    assert bytes.fromhex("071818") in payload


def test_largest_ticket_fits() -> None:
    """Every text at its longest: 63 bytes of node name, 23 of release."""
    fields = replace(
        FIELDS, node="n" * 63, release="r" * 23, payload_format="esp8266-bin", sequence=2**63 - 1
    )
    assert len(sign(fields, KEY)) <= 512


@pytest.mark.parametrize(
    "fields",
    [
        replace(FIELDS, sequence=-1),
        replace(FIELDS, sequence=2**63),
        replace(FIELDS, vendor_id=bytes(15)),
        replace(FIELDS, class_id=bytes(17)),
        replace(FIELDS, node=""),
        replace(FIELDS, node="n" * 64),
        replace(FIELDS, payload_format="elf"),
        replace(FIELDS, size_bytes=0),
        replace(FIELDS, digest=bytes(31)),
        replace(FIELDS, release="r" * 24),
    ],
)
def test_nothing_is_signed_that_a_node_would_refuse(fields) -> None:
    with pytest.raises(ShelfError) as caught:
        sign(fields, KEY)
    assert caught.value.code.code == "SHF103"


def test_no_flipped_bit_is_accepted() -> None:
    ticket = sign(FIELDS, KEY)
    for bit in range(8 * len(ticket)):
        damaged = bytearray(ticket)
        damaged[bit // 8] ^= 1 << bit % 8
        with pytest.raises(ShelfError):
            verify(bytes(damaged), TRUST)


def test_no_prefix_and_nothing_behind_is_accepted() -> None:
    ticket = sign(FIELDS, KEY)
    for size in range(len(ticket)):
        with pytest.raises(ShelfError):
            verify(ticket[:size], TRUST)
    with pytest.raises(ShelfError):
        verify(ticket + b"\0", TRUST)


def test_other_key_is_refused() -> None:
    other = ec.generate_private_key(ec.SECP256R1())
    point = other.public_key().public_bytes(Encoding.X962, PublicFormat.UncompressedPoint)
    with pytest.raises(ShelfError):
        verify(sign(FIELDS, other), TRUST)
    with pytest.raises(ShelfError):
        verify(sign(FIELDS, KEY), Trust(point))


def _sign1(protected: bytes, unprotected: object, payload: bytes, *, tag: int = 18) -> bytes:
    signature = sign_es256(to_be_signed(protected, payload), KEY)
    return cbor2.dumps(cbor2.CBORTag(tag, [protected, unprotected, payload, signature]))


def _well_signed_but_wrong() -> dict[str, bytes]:
    good = cbor2.loads(FIELDS.to_cbor())
    header = cbor2.dumps({1: -7, 4: TRUST.key_id})
    payloads = {
        "ten keys": cbor2.dumps({**good, 10: 0}),
        "eight keys": cbor2.dumps({key: value for key, value in good.items() if key != 9}),
        "version 2": cbor2.dumps({**good, 1: 2}),
        "keys out of order": cbor2.dumps(dict(reversed(good.items()))),
        "long integer": FIELDS.to_cbor().replace(b"\xa9\x01\x01", b"\xa9\x01\x18\x01", 1),
        "indefinite map": b"\xbf" + FIELDS.to_cbor()[1:] + b"\xff",
        "key twice": b"\xaa\x01\x01" + FIELDS.to_cbor()[1:],
        "behind the map": FIELDS.to_cbor() + b"\0",
        "text for bytes": cbor2.dumps({**good, 8: "d" * 32}),
        "bool for number": cbor2.dumps({**good, 1: True}),
        "not a map": cbor2.dumps([1, 2, 3]),
    }
    made = {name: _sign1(header, {}, payload) for name, payload in payloads.items()}
    made["unprotected header"] = _sign1(header, {3: 0}, FIELDS.to_cbor())
    made["other algorithm"] = _sign1(cbor2.dumps({1: -8, 4: TRUST.key_id}), {}, FIELDS.to_cbor())
    made["extra header"] = _sign1(cbor2.dumps({1: -7, 3: 0, 4: TRUST.key_id}), {}, FIELDS.to_cbor())
    made["short key id"] = _sign1(cbor2.dumps({1: -7, 4: b"1234567"}), {}, FIELDS.to_cbor())
    made["tag of COSE_Mac0"] = _sign1(header, {}, FIELDS.to_cbor(), tag=17)
    made["no tag"] = _sign1(header, {}, FIELDS.to_cbor())[1:]
    return made


@pytest.mark.parametrize("name", list(_well_signed_but_wrong()))
def test_well_signed_but_in_another_form_is_refused(name) -> None:
    with pytest.raises(ShelfError) as caught:
        verify(_well_signed_but_wrong()[name], TRUST)
    assert caught.value.code.code == "SHF103"
