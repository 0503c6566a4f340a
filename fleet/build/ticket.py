"""The ticket: the signed statement that goes with an image (docs/node-interface.md 5).

COSE_Sign1 (RFC 9052 4.2) with ES256 (RFC 9053 2.1) over a deterministic CBOR map (RFC 8949 4.2) holding the
information elements of RFC 9124. Signatures are deterministic (RFC 6979): the same statement has the same
bytes.
"""

from __future__ import annotations

from dataclasses import dataclass
from io import BytesIO
from typing import TYPE_CHECKING, Any, Final

from cbor2 import CBORDecodeError, CBORTag, dumps, load
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.utils import decode_dss_signature, encode_dss_signature
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

from fleet.build.codes import BAD_TICKET
from fleet.errors import ShelfError
from fleet.keys.trust import KEY_ID_BYTES, Trust
from fleet.limits import IMAGE_BYTES, LABEL_CHARS, RELEASE_CHARS, TICKET_BYTES

if TYPE_CHECKING:
    from collections.abc import Mapping

SIGN1_TAG: Final = 18
MANIFEST_VERSION: Final = 1
PAYLOAD_FORMATS: Final = ("host-elf", "esp8266-bin", "esp32-bin")
SEQUENCE_MAX: Final = 2**63 - 1
_ALGORITHM, _KEY_ID, _ES256 = 1, 4, -7
_SCALAR_BYTES = 32
_UUID_BYTES = 16
_KEYS = tuple(range(1, 10))


@dataclass(frozen=True, slots=True)
class TicketFields:
    """What a ticket states. `vendor_id` and `class_id` are 16 bytes, `digest` is the image's SHA-256 (32
    bytes)."""

    sequence: int
    vendor_id: bytes
    class_id: bytes
    node: str
    payload_format: str
    size_bytes: int
    digest: bytes
    release: str

    def check(self) -> None:
        """ShelfError unless every field is one that a node can accept."""
        sound = (
            0 <= self.sequence <= SEQUENCE_MAX
            and len(self.vendor_id) == len(self.class_id) == _UUID_BYTES
            and 1 <= len(self.node.encode()) <= LABEL_CHARS
            and self.payload_format in PAYLOAD_FORMATS
            and 1 <= self.size_bytes <= IMAGE_BYTES
            and len(self.digest) == _SCALAR_BYTES
            and 1 <= len(self.release.encode()) <= RELEASE_CHARS
        )
        if not sound:
            raise ShelfError(BAD_TICKET, f"a ticket for {self.node!r} cannot state {self}")

    def to_cbor(self) -> bytes:
        """The deterministic CBOR map."""
        values = (
            MANIFEST_VERSION,
            self.sequence,
            self.vendor_id,
            self.class_id,
            self.node,
            self.payload_format,
            self.size_bytes,
            self.digest,
            self.release,
        )
        return dumps(dict(zip(_KEYS, values, strict=True)), canonical=True)


def sign(fields: TicketFields, key: ec.EllipticCurvePrivateKey) -> bytes:
    """The ticket, signed: at most TICKET_BYTES. The same fields and key give the same bytes."""
    fields.check()
    point = key.public_key().public_bytes(Encoding.X962, PublicFormat.UncompressedPoint)
    protected = _protected(Trust(point).key_id)
    payload = fields.to_cbor()
    signature = sign_es256(to_be_signed(protected, payload), key)
    ticket = _sign1(protected, payload, signature)
    if len(ticket) > TICKET_BYTES:
        raise ShelfError(
            BAD_TICKET, f"the ticket for {fields.node!r} has {len(ticket)} bytes; {TICKET_BYTES} are allowed"
        )
    return ticket


def parse(ticket: bytes) -> TicketFields:
    """What a ticket states, its signature not looked at. ShelfError for anything but a ticket in its one
    form."""
    return _take_apart(ticket)[0]


def key_id_of(ticket: bytes) -> bytes:
    """8 bytes that name the key which the ticket says to be signed with; not checked. ShelfError as of `parse`."""
    return _take_apart(ticket)[1]


def verify(ticket: bytes, trust: Trust) -> TicketFields:
    """What a ticket states, once its form, key id and signature have been found good. ShelfError if not."""
    fields, key_id, protected, payload, signature = _take_apart(ticket)
    if key_id != trust.key_id:
        raise ShelfError(
            BAD_TICKET, f"the ticket is signed with the key {key_id.hex()}, not {trust.key_id.hex()}"
        )
    if not verify_es256(to_be_signed(protected, payload), signature, trust.point):
        raise ShelfError(BAD_TICKET, f"the signature of the ticket for {fields.node!r} does not verify")
    return fields


def to_be_signed(protected: bytes, payload: bytes) -> bytes:
    """The Sig_structure of RFC 9052 4.4 for COSE_Sign1 without external data."""
    return dumps(["Signature1", protected, b"", payload], canonical=True)


def sign_es256(message: bytes, key: ec.EllipticCurvePrivateKey) -> bytes:
    """r || s, 64 bytes, with the nonce of RFC 6979."""
    r, s = decode_dss_signature(key.sign(message, ec.ECDSA(SHA256(), deterministic_signing=True)))
    return r.to_bytes(_SCALAR_BYTES, "big") + s.to_bytes(_SCALAR_BYTES, "big")


def verify_es256(message: bytes, signature: bytes, point: bytes) -> bool:
    """Whether r || s is the signature of the message under the uncompressed P-256 point."""
    if len(signature) != 2 * _SCALAR_BYTES:
        return False
    r = int.from_bytes(signature[:_SCALAR_BYTES], "big")
    s = int.from_bytes(signature[_SCALAR_BYTES:], "big")
    key = ec.EllipticCurvePublicKey.from_encoded_point(ec.SECP256R1(), point)
    try:
        key.verify(encode_dss_signature(r, s), message, ec.ECDSA(SHA256()))
    except InvalidSignature:
        return False
    return True


def _protected(key_id: bytes) -> bytes:
    return dumps({_ALGORITHM: _ES256, _KEY_ID: key_id}, canonical=True)


def _sign1(protected: bytes, payload: bytes, signature: bytes) -> bytes:
    return dumps(CBORTag(SIGN1_TAG, [protected, {}, payload, signature]), canonical=True)


def _take_apart(ticket: bytes) -> tuple[TicketFields, bytes, bytes, bytes, bytes]:
    """Fields, key id, protected header, payload, signature; every byte of the ticket accounted for."""
    if len(ticket) > TICKET_BYTES:
        raise ShelfError(BAD_TICKET, f"{len(ticket)} bytes are no ticket; {TICKET_BYTES} are allowed")
    message = _decoded(ticket)
    if not isinstance(message, CBORTag) or message.tag != SIGN1_TAG:
        raise ShelfError(BAD_TICKET, "not a COSE_Sign1 message (tag 18)")
    parts = message.value
    if not isinstance(parts, (list, tuple)) or len(parts) != 4:
        raise ShelfError(BAD_TICKET, "not the four parts of a COSE_Sign1 message")
    protected, _, payload, signature = parts
    if not all(isinstance(part, bytes) for part in (protected, payload, signature)):
        raise ShelfError(BAD_TICKET, "protected header, payload and signature must be byte strings")
    key_id = _map_of(protected, "protected header").get(_KEY_ID)
    if not isinstance(key_id, bytes) or len(key_id) != KEY_ID_BYTES:
        raise ShelfError(BAD_TICKET, "the protected header has no key id of 8 bytes")
    fields = _fields(_map_of(payload, "payload"))
    whole = _sign1(_protected(key_id), fields.to_cbor(), signature)
    if whole != ticket or len(signature) != 2 * _SCALAR_BYTES:
        raise ShelfError(BAD_TICKET, "the ticket is not in its one deterministic form")
    return fields, key_id, protected, payload, signature


def _fields(values: Mapping[Any, Any]) -> TicketFields:
    if tuple(values) != _KEYS or values[1] != MANIFEST_VERSION:
        raise ShelfError(BAD_TICKET, "the payload is not version 1 with the keys 1 to 9 in order")
    kinds = (int, int, bytes, bytes, str, str, int, bytes, str)
    for key, kind in zip(_KEYS, kinds, strict=True):
        if type(values[key]) is not kind:
            raise ShelfError(BAD_TICKET, f"key {key} of the payload is not of the right type")
    fields = TicketFields(*(values[key] for key in _KEYS[1:]))
    fields.check()
    return fields


def _map_of(data: bytes, what: str) -> Mapping[Any, Any]:
    value = _decoded(data)
    if not isinstance(value, dict):
        raise ShelfError(BAD_TICKET, f"the {what} is not a CBOR map")
    return value


def _decoded(data: bytes) -> Any:
    stream = BytesIO(data)
    try:
        value = load(stream)
    except (CBORDecodeError, ValueError, TypeError, RecursionError, OverflowError) as error:
        raise ShelfError(BAD_TICKET, f"not CBOR: {error}") from error
    return value
