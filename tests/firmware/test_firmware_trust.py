"""What a node believes: digests, signatures, CBOR and tickets, held to published vectors and other parties."""

from __future__ import annotations

import base64
import hashlib
from dataclasses import replace
from typing import Any

import cbor2
import pytest
from cryptography.hazmat.primitives.asymmetric import ec
from pycose.headers import KID, Algorithm
from pycose.keys import EC2Key
from pycose.messages import Sign1Message

from fleet.build.ticket import sign, sign_es256, to_be_signed
from fleet.keys.trust import Trust
from tests.firmware.firmware_trust import ask, ask_one, b64, point_of, sample_node

NODE = sample_node()


# --- SHA-256, HMAC, ECDSA through the host's port


@pytest.mark.parametrize(
    ("message", "digest"),
    [
        # FIPS 180-4 examples (NIST, "SHA256" example values)
        (b"", "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"),
        (b"abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"),
        (
            b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq",
            "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1",
        ),
        # NIST CAVP SHA256ShortMsg, lengths 8, 16, 24, 32
        (b"\xd3", "28969cdfa74a12c82f3bad960b0b000aca2ac329deea5c2328ebc6f2ba9802c1"),
        (b"\x11\xaf", "5ca7133fa735326081558ac312c620eeca9970d1e70a4b95533d956f072d1f98"),
        (b"\xb4\x19\x0e", "dff2e73091f6c05e528896c4c831b9448653dc2ff043528f6769437bc7b975c2"),
        (b"\x74\xba\x25\x21", "b16aa56be3880d18cd41e68384cf1ec8c17680c45a02b1575dc1518923ae8b0e"),
        # FIPS 180-4, a million times "a"
        (b"a" * 1_000_000, "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0"),
    ],
    ids=["empty", "abc", "two-blocks", "1", "2", "3", "4", "million"],
)
def test_sha256(message: bytes, digest: str) -> None:
    assert ask_one("sha256", message) == digest


@pytest.mark.parametrize(
    ("key", "data", "mac"),
    [
        # RFC 4231 sections 4.2, 4.3, 4.4 and 4.7 (values from memory of the RFC; Python's hmac agrees)
        (b"\x0b" * 20, b"Hi There", "b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7"),
        (
            b"Jefe",
            b"what do ya want for nothing?",
            "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843",
        ),
        (b"\xaa" * 20, b"\xdd" * 50, "773ea91e36800e46854db8ebd09181a72959098b3ef8c122d9635514ced565fe"),
        (
            b"\xaa" * 131,
            b"Test Using Larger Than Block-Size Key - Hash Key First",
            "60e431591ee0b67f0d8a26aacbf5b77f8e0bc6213728c5140546040f0ee37f54",
        ),
    ],
    ids=["4.2", "4.3", "4.4", "4.7"],
)
def test_hmac_sha256(key: bytes, data: bytes, mac: str) -> None:
    assert ask_one("hmac", key, data) == mac


# RFC 6979 appendix A.2.5, P-256 with SHA-256: private key and signatures
_RFC6979_KEY = 0xC9AFA9D845BA75166B5C215767B1D6934E50C3DB36E89B127B8A622B120F6721
_RFC6979 = {
    b"sample": "EFD48B2AACB6A8FD1140DD9CD45E81D69D2C877B56AAF991C34D0EA84EAF3716"
    "F7CB1C942D657C41D436C7A1B6E29F65F3E900DBB9AFF4064DC4AB2F843ACDA8",
    b"test": "F1ABB023518351CD71D881567B1EA663ED3EFCF6C5132B354F28D3B0B7D38367"
    "019F4113742A2B14BD25926B49C649155F267E60D3814B4C0CC84250E46F0083",
}


@pytest.mark.parametrize("message", list(_RFC6979))
def test_es256_verifies_the_vectors_of_rfc_6979(message: bytes) -> None:
    point = point_of(ec.derive_private_key(_RFC6979_KEY, ec.SECP256R1()))
    digest, signature = hashlib.sha256(message).digest(), bytes.fromhex(_RFC6979[message])
    flipped = [bytes([*signature[:i], signature[i] ^ 1, *signature[i + 1 :]]) for i in range(64)]
    zero, off_curve = bytes(64), point[:-1] + bytes([point[-1] ^ 1])
    asked = [("es256", point, digest, candidate) for candidate in [signature, *flipped, zero]]
    answers = ask([*asked, ("es256", off_curve, digest, signature)])
    assert answers == ["good"] + ["bad"] * 66


def test_sig_structure_is_that_of_the_cose_working_group() -> None:
    """cose-wg/Examples, ecdsa-examples/ecdsa-sig-01: key, ToBeSigned and signature."""

    def url(text: str) -> bytes:
        return base64.urlsafe_b64decode(text + "=")

    point = (
        b"\x04"
        + url("usWxHK2PmfnHKwXPS54m0kTcGJ90UiglWiGahtagnv8")
        + url("IBOL-C3BttVivg-lSreASjpkttcsz-1rb7btKLv8EX4")
    )
    signature = bytes.fromhex(
        "6520BBAF2081D7E0ED0F95F76EB0733D667005F7467CEC4B87B9381A6BA1EDE8"
        "E00DF29F32A37230F39A842A54821FDD223092819D7728EFB9D3A0080B75380B"
    )
    to_be_signed_hex = "846A5369676E61747572653145A2012603004054546869732069732074686520636F6E74656E742E"
    digest = hashlib.sha256(bytes.fromhex(to_be_signed_hex)).hexdigest()
    assert ask_one("cose", bytes.fromhex("A201260300"), b"This is the content.") == digest
    assert ask_one("es256", point, bytes.fromhex(digest), signature) == "good"


@pytest.mark.parametrize("length", [0, 1, 23, 24, 255, 256, 400])
def test_sig_structure_has_the_heads_that_another_encoder_gives(length: int) -> None:
    """Byte string heads of RFC 8949 section 3.1, by cbor2."""
    expected = hashlib.sha256(cbor2.dumps(["Signature1", b"\xa0", b"", bytes(length)])).hexdigest()
    assert ask_one("cose", b"\xa0", bytes(length)) == expected


# --- CBOR


# RFC 8949 appendix A, examples of encoded data items (in the rows that a ticket can hold)
_APPENDIX_A = [
    ("u", "00", "0"), ("u", "01", "1"), ("u", "0a", "10"), ("u", "17", "23"), ("u", "1818", "24"),
    ("u", "1819", "25"), ("u", "1864", "100"), ("u", "1903e8", "1000"), ("u", "1a000f4240", "1000000"),
    ("u", "1b000000e8d4a51000", "1000000000000"), ("u", "1bffffffffffffffff", "18446744073709551615"),
    ("i", "20", "-1"), ("i", "29", "-10"), ("i", "3863", "-100"), ("i", "3903e7", "-1000"),
    ("b", "40", "0"), ("b", "4401020304", "4"), ("t", "60", "0"), ("t", "6161", "1"), ("t", "6449455446", "4"),
    ("t", "62225c", "2"), ("t", "62c3bc", "2"), ("t", "63e6b0b4", "3"), ("t", "64f0908591", "4"),
    ("a", "80", "0"), ("m", "a0", "0"),
]  # fmt: skip


@pytest.mark.parametrize(("kind", "data", "value"), _APPENDIX_A, ids=[row[1] for row in _APPENDIX_A])
def test_cbor_reads_the_examples_of_rfc_8949(kind: str, data: str, value: str) -> None:
    assert ask_one("cbor", kind, bytes.fromhex(data)) == f"{value} done"


_REFUSED = [
    # RFC 8949 section 4.2.1: not the shortest form
    ("u", "1817"), ("u", "190017"), ("u", "1900ff"), ("u", "1a0000ffff"), ("u", "1b00000000ffffffff"),
    ("i", "3817"), ("b", "580101"), ("b", "590001aa"), ("t", "780161"), ("a", "9800"), ("m", "b800"), ("g", "d812"),
    # indefinite lengths and reserved additional information (section 3, appendix F)
    ("b", "5f42010243030405ff"), ("t", "7f657374726561646d696e67ff"), ("a", "9fff"), ("m", "bfff"),
    ("u", "1c"), ("u", "1d"), ("u", "1e"), ("u", "1f"),
    # the input ends too early (appendix F)
    ("u", "18"), ("u", "19ff"), ("u", "1affffff"), ("b", "41"), ("b", "5bffffffffffffffff"), ("t", "61"),
    ("a", "9b0000000100000000"), ("m", "bb0000000100000000"), ("m", "a100"),
    # another type than the one asked for
    ("u", "20"), ("u", "40"), ("b", "60"), ("t", "40"), ("a", "a0"), ("m", "80"), ("i", "f5"), ("g", "00"),
    # integers beyond 64 bits signed
    ("i", "1b8000000000000000"), ("i", "3bffffffffffffffff"),
    # not UTF-8 (RFC 3629): overlong, surrogate, above U+10FFFF, cut short, lone continuation
    ("t", "62c080"), ("t", "63e08080"), ("t", "63eda080"), ("t", "64f4908080"), ("t", "61c3"), ("t", "6180"),
    ("t", "64f8888080"),
]  # fmt: skip


@pytest.mark.parametrize(("kind", "data"), _REFUSED, ids=[row[1] for row in _REFUSED])
def test_cbor_refuses(kind: str, data: str) -> None:
    assert ask_one("cbor", kind, bytes.fromhex(data)).endswith("refused")


def test_cbor_sees_what_is_left() -> None:
    assert ask_one("cbor", "u", b"\x00\x00") == "0 more"
    assert ask_one("cbor", "u", None).endswith("refused")


# --- tickets


def ticket_of(**changes: Any) -> bytes:
    return sign(replace(NODE.fields, **changes), NODE.key)


def test_ticket_of_the_tool_is_accepted() -> None:
    fields = NODE.fields
    assert NODE.check([ticket_of()]) == [
        f"200 ok {fields.sequence} upper-barn host-elf {fields.size_bytes} 1.4.0 {fields.digest.hex()}"
    ]


def test_ticket_of_another_party_is_accepted() -> None:
    """pycose makes the COSE_Sign1 message; its signature is not deterministic, its bytes are otherwise the same."""
    numbers = NODE.key.private_numbers()
    key = EC2Key(
        crv="P_256",
        x=numbers.public_numbers.x.to_bytes(32, "big"),
        y=numbers.public_numbers.y.to_bytes(32, "big"),
        d=numbers.private_value.to_bytes(32, "big"),
    )
    from pycose.algorithms import Es256

    headers = {Algorithm: Es256, KID: Trust(point_of(NODE.key)).key_id}
    message = Sign1Message(phdr=headers, payload=NODE.fields.to_cbor())
    message.key = key
    assert NODE.check([message.encode()])[0].startswith("200 ok 7 upper-barn")


def test_largest_names_and_numbers_are_accepted() -> None:
    fields = replace(
        NODE.fields,
        node="n" * 63,
        release="r" * 23,
        sequence=2**63 - 1,
        size_bytes=2**22,
        payload_format="esp8266-bin",
    )
    node = replace(NODE, fields=fields)
    assert node.check([sign(fields, node.key)])[0].startswith(f"200 ok {2**63 - 1} ")


def test_each_check_has_its_own_code() -> None:
    stranger = ec.derive_private_key(0x51AB, ec.SECP256R1())
    own_id_other_key = _sealed(NODE.fields.to_cbor(), stranger, Trust(point_of(NODE.key)).key_id)
    tickets = [
        sign(NODE.fields, stranger),
        own_id_other_key,
        ticket_of(node="lower-barn"),
        ticket_of(node="upper-barn2"),
        ticket_of(node="upper-bar"),
        ticket_of(vendor_id=bytes(16)),
        ticket_of(class_id=bytes(16)),
        ticket_of(payload_format="esp32-bin"),
        ticket_of(sequence=NODE.floor),
        ticket_of(sequence=0),
        ticket_of(sequence=NODE.floor + 1),
    ]
    assert [answer.split()[1] for answer in NODE.check(tickets)] == [
        "unknown-key", "bad-ticket-signature", "other-node", "other-node", "other-node", "other-class",
        "other-class", "other-class", "old-sequence", "old-sequence", "ok",
    ]  # fmt: skip


def test_checks_run_in_the_order_of_the_interface_page() -> None:
    """A ticket with several faults is refused for the first one of the table in docs/node-interface.md 2."""
    stranger = ec.derive_private_key(0x51AB, ec.SECP256R1())
    worst = replace(NODE.fields, node="lower-barn", class_id=bytes(16), sequence=0)
    key_id = Trust(point_of(NODE.key)).key_id
    tickets = [
        sign(worst, stranger) + b"\0",
        sign(worst, stranger),
        _sealed(worst.to_cbor(), stranger, key_id),
        sign(worst, NODE.key),
        sign(replace(worst, node=NODE.fields.node), NODE.key),
        ticket_of(sequence=0),
    ]
    assert [answer.split()[1] for answer in NODE.check(tickets)] == [
        "bad-ticket", "unknown-key", "bad-ticket-signature", "other-node", "other-class", "old-sequence",
    ]  # fmt: skip


def test_every_flipped_bit_is_refused() -> None:
    ticket = ticket_of()
    flipped = [
        bytes([*ticket[:i], ticket[i] ^ (1 << bit), *ticket[i + 1 :]])
        for i in range(len(ticket))
        for bit in range(8)
    ]
    answers = NODE.check(flipped)
    accepted = [bit for bit, answer in enumerate(answers) if answer.startswith("200")]
    print(f"R5: ticket bits-flipped={len(flipped)} accepted={len(accepted)}")
    assert len(answers) == len(flipped) == 8 * len(ticket)
    assert accepted == []
    assert {answer.split()[1] for answer in answers} == {"bad-ticket", "unknown-key", "bad-ticket-signature"}


def test_truncations_and_trailing_bytes_are_refused() -> None:
    ticket = ticket_of()
    longer = [ticket + b"\0", ticket + ticket, ticket + bytes(512 - len(ticket)), ticket + bytes(600)]
    answers = NODE.check([*(ticket[:n] for n in range(len(ticket))), *longer])
    accepted = len(answers) - answers.count("403 bad-ticket")
    print(f"R5: ticket lengths-cut={len(ticket)} trailing={len(longer)} accepted={accepted}")
    assert set(answers) == {"403 bad-ticket"}


def _sealed(payload: bytes, key: ec.EllipticCurvePrivateKey, key_id: bytes | None = None) -> bytes:
    protected = cbor2.dumps({1: -7, 4: key_id or Trust(point_of(key)).key_id})
    signature = sign_es256(to_be_signed(protected, payload), key)
    return cbor2.dumps(cbor2.CBORTag(18, [protected, {}, payload, signature]))


def _manifest(**changes: Any) -> dict[Any, Any]:
    manifest = dict(cbor2.loads(NODE.fields.to_cbor()))
    return {**manifest, **{int(key[1:]): value for key, value in changes.items()}}


_WRONG_MANIFESTS: dict[str, Any] = {
    "another version": _manifest(k1=2),
    "sequence of 2^63": _manifest(k2=2**63),
    "negative sequence": _manifest(k2=-1),
    "sequence as text": _manifest(k2="7"),
    "short vendor id": _manifest(k3=bytes(15)),
    "long class id": _manifest(k4=bytes(17)),
    "node as bytes": _manifest(k5=b"upper-barn"),
    "node of 64 characters": _manifest(k5="n" * 64),
    "node with a NUL": _manifest(k5="upper-barn\0"),
    "format of 16 characters": _manifest(k6="f" * 16),
    "size of nothing": _manifest(k7=0),
    "size as a float": _manifest(k7=123456.0),
    "short digest": _manifest(k8=bytes(31)),
    "release of 24 bytes": _manifest(k9="r" * 24),
    "a tenth key": _manifest(k10=0),
    "no release": {key: value for key, value in _manifest().items() if key != 9},
    "keys out of order": dict(sorted(_manifest().items(), reverse=True)),
    "a list": list(_manifest().values()),
}


@pytest.mark.parametrize("name", list(_WRONG_MANIFESTS))
def test_signed_but_wrong_manifest_is_refused(name: str) -> None:
    payload = cbor2.dumps(_WRONG_MANIFESTS[name])
    assert NODE.check([_sealed(payload, NODE.key)]) == ["403 bad-ticket"]


def test_signed_but_wrong_envelope_is_refused() -> None:
    payload = NODE.fields.to_cbor()
    key_id = Trust(point_of(NODE.key)).key_id

    def envelope(
        protected: Any, unprotected: Any = None, tag: int = 18, body: Any = None, extra: tuple[Any, ...] = ()
    ) -> bytes:
        raw = protected if isinstance(protected, bytes) else cbor2.dumps(protected)
        signature = sign_es256(to_be_signed(raw, payload), NODE.key)
        parts = [raw, unprotected or {}, payload if body is None else body, signature, *extra]
        return cbor2.dumps(cbor2.CBORTag(tag, parts))

    good = {1: -7, 4: key_id}
    wrong = [
        envelope({1: -8, 4: key_id}),  # EdDSA
        envelope({1: -7}),
        envelope({4: key_id, 1: -7}),
        envelope({1: -7, 4: key_id[:7]}),
        envelope({1: -7, 4: key_id, 2: [1]}),  # a critical header (RFC 9052 section 3.1)
        envelope(cbor2.dumps(good) + b"\0"),
        envelope(b""),
        envelope(good, unprotected={4: key_id}),
        envelope(good, tag=98),  # COSE_Sign
        envelope(good, body=cbor2.loads(payload)),
        envelope(good, extra=(b"",)),
        envelope(good)[1:],  # no tag
    ]
    assert NODE.check([envelope(good)])[0].startswith("200 ok")
    assert set(NODE.check(wrong)) == {"403 bad-ticket"}


# --- base64 (RFC 4648 section 10) and structured fields (RFC 8941)


def test_base64() -> None:
    words = [b"", b"f", b"fo", b"foo", b"foob", b"fooba", b"foobar", bytes(range(256))]
    assert ask([("encode", word) for word in words]) == [b64(word) for word in words]
    url = [base64.urlsafe_b64encode(word).decode().rstrip("=") for word in words]
    assert ask([("encode-url", word) for word in words]) == url
    assert ask([("decode", b64(word)) for word in words]) == [word.hex() for word in words]
    assert ask([("decode-url", word) for word in url]) == [word.hex() for word in words]
    foreign = ["Zg", "Zg=", "Zh==", "Zm9=", "Zm9v=", "====", "Z===", "Zm9v\n", "Zm-v", "Zm 9v", "=Zg="]
    assert set(ask([("decode", word) for word in foreign])) == {"refused"}
    assert set(ask([("decode-url", word) for word in ["Z", "Zh", "Zm9", "Zg==", "Zm+v"]])) == {"refused"}


def test_nonce_is_22_characters_of_base64url() -> None:
    random = hashlib.sha256(b"r").digest()[:16]
    assert ask_one("nonce", random) == base64.urlsafe_b64encode(random).decode().rstrip("=")


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("tank=:AA==:", ":AA==:"),
        ("a=1, tank=:AA==:;p", ":AA==:;p"),
        ("tank=1,\ttank=2", "2"),
        ('b="x,tank=\\"3\\"" , tank=("a" b;c=?1 :AA==:);n=-1.5', '("a" b;c=?1 :AA==:);n=-1.5'),
        ("tank", ""),
        ("other=?0", "none"),
        ("", "none"),
        ("tank=", "refused"),
        ("tank=:AA==", "refused"),
        ("tank=1,", "refused"),
        ("Tank=1", "refused"),
        ("tank=(1", "refused"),
        ('tank=("a""b")', "refused"),
        ('tank="a', "refused"),
        ('tank="\\n"', "refused"),
        ("tank=1;", "refused"),
        ("tank=?2", "refused"),
        ("tank=1.", "refused"),
        ("tank=1234567890123456", "refused"),
        ("tank=1 other=2", "refused"),
        ("tank=1\x00", "refused"),
    ],
)
def test_dictionary_member(text: str, value: str) -> None:
    assert ask_one("member", "tank", text) == value


def test_ticket_header_and_content_digest() -> None:
    ticket, digest = ticket_of(), hashlib.sha256(b"body").digest()
    assert ask_one("byte-sequence", f":{b64(ticket)}:") == ticket.hex()
    bad = ["", "::", b64(ticket), f":{b64(ticket)}:;a", f":{b64(bytes(513))}:", f":{b64(ticket)}", ":*:"]
    assert set(ask([("byte-sequence", text) for text in bad])) == {"refused"}
    good = [f"sha-256=:{b64(digest)}:", f"sha-512=:{b64(bytes(64))}:, sha-256=:{b64(digest)}:"]
    assert set(ask([("content-digest", text) for text in good])) == {digest.hex()}
    bad = [
        f"sha-256=:{b64(digest[:31])}:",
        f"sha-256=:{b64(digest)}AA:",
        f'sha-256="{b64(digest)}"',
        "sha-512=:AA==:",
    ]
    assert set(ask([("content-digest", text) for text in bad])) == {"refused"}
