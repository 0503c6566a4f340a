"""Signatures of requests and answers: RFC 9421 with hmac-sha256, RFC 9530 Content-Digest. Pure.

What is signed, under which label and in which order: docs/node-interface.md 3. Signature bases are built for
any components, so that the published example of RFC 9421 (appendix B.2.5) can be checked.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import hmac
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fleet.limits import NONCE_CHARS_MAX, NONCE_CHARS_MIN

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

LABEL = "tank"
ALGORITHM = "hmac-sha256"
REQUEST_COMPONENTS = ('"@method"', '"@path"', '"content-digest"')
IMAGE_COMPONENTS = (*REQUEST_COMPONENTS, '"tank-ticket"')
ANSWER_COMPONENTS = ('"@status"', '"content-digest"', '"@method";req', '"@path";req')
EMPTY_SHA256 = hashlib.sha256(b"").digest()

_INPUT = re.compile(rf'{LABEL}=(\(([\x20-\x27\x2a-\x7e]*)\)((?:;[a-z]+=(?:"[A-Za-z0-9._-]*"|\d{{1,15}}))*))')
_PARAMETER = re.compile(r';([a-z]+)="?([^";]*)"?')
_NONCE = re.compile(rf"[A-Za-z0-9_-]{{{NONCE_CHARS_MIN},{NONCE_CHARS_MAX}}}")
_NODE = re.compile(r"[a-z0-9-]{1,63}")


class SignatureFault(ValueError):
    """A signature is missing, malformed, covers something else, or does not verify; the text says which."""


@dataclass(frozen=True, slots=True)
class SignatureInput:
    """A Signature-Input under our label: components as written, parameters, and the received text of both."""

    components: tuple[str, ...]
    parameters: Mapping[str, str]
    text: str


def byte_sequence(data: bytes) -> str:
    """`:BASE64:`, a byte sequence of RFC 8941 3.3.5."""
    return f":{base64.b64encode(data).decode('ascii')}:"


def read_byte_sequence(text: str) -> bytes:
    """The bytes of `:BASE64:`; SignatureFault if it is none."""
    if len(text) < 2 or text[0] != ":" or text[-1] != ":":
        raise SignatureFault("not a byte sequence between colons")
    try:
        return binascii.a2b_base64(text[1:-1], strict_mode=True)
    except ValueError as error:
        raise SignatureFault("not base64") from error


def content_digest(sha256: bytes) -> str:
    """The Content-Digest field (RFC 9530) of a body with that SHA-256 (32 bytes)."""
    return f"sha-256={byte_sequence(sha256)}"


def signature_base(covered: Sequence[tuple[str, str]], params: str) -> bytes:
    """The signature base (RFC 9421 2.5) of (component identifier as written, value) in order."""
    lines = [f"{component}: {value}" for component, value in covered]
    return "\n".join([*lines, f'"@signature-params": {params}']).encode("ascii")


def hmac_sha256(key: bytes, base: bytes) -> bytes:
    """The signature of a base, 32 bytes."""
    return hmac.digest(key, base, "sha256")


def signature_params(components: Sequence[str], *, nonce: str, node: str) -> str:
    """The text after `tank=`: components and parameters in the order of docs/node-interface.md 3."""
    nonce, node = _checked(nonce, _NONCE), _checked(node, _NODE)
    return f'({" ".join(components)});nonce="{nonce}";keyid="{node}";alg="{ALGORITHM}"'


def sign_request(
    *,
    method: str,
    path: str,
    node: str,
    node_key: bytes,
    nonce: str,
    body_sha256: bytes,
    ticket: bytes | None = None,
) -> dict[str, str]:
    """The fields of a changing request: Content-Digest, Signature-Input, Signature, Tank-Ticket if given."""
    fields = {"Content-Digest": content_digest(body_sha256)}
    covered = [('"@method"', method), ('"@path"', path), ('"content-digest"', fields["Content-Digest"])]
    if ticket is not None:
        fields["Tank-Ticket"] = byte_sequence(ticket)
        covered.append(('"tank-ticket"', fields["Tank-Ticket"]))
    params = signature_params([component for component, _ in covered], nonce=nonce, node=node)
    fields["Signature-Input"] = f"{LABEL}={params}"
    fields["Signature"] = f"{LABEL}={byte_sequence(hmac_sha256(node_key, signature_base(covered, params)))}"
    return fields


def accept_signature(*, nonce: str, node: str) -> str:
    """The Accept-Signature field that asks for a signed answer over our nonce."""
    return f"{LABEL}={signature_params(ANSWER_COMPONENTS, nonce=nonce, node=node)}"


def read_signature_input(text: str) -> SignatureInput:
    """One member under our label, its parameters strings or integers, none twice; else SignatureFault."""
    found = _INPUT.fullmatch(text)
    if found is None:
        raise SignatureFault("Signature-Input is not one list under the label tank with plain parameters")
    pairs = _PARAMETER.findall(found[3])
    if len(dict(pairs)) != len(pairs):
        raise SignatureFault("Signature-Input has a parameter twice")
    return SignatureInput(tuple(found[2].split(" ")), dict(pairs), found[1])


def is_signed(fields: Mapping[str, str]) -> bool:
    """Whether an answer claims to be signed at all. Names of fields are looked up as the mapping does."""
    return "Signature-Input" in fields or "Signature" in fields


def verify_answer(
    *,
    status: int,
    fields: Mapping[str, str],
    body: bytes,
    method: str,
    path: str,
    node: str,
    node_key: bytes,
    nonce: str,
) -> None:
    """SignatureFault unless the answer is this node's, to this request, over our nonce, with this body.

    `fields` must find names in any case (as aiohttp's do).
    """
    if not is_signed(fields):
        raise SignatureFault("the answer is not signed")
    digest = _digest_of(fields, body)
    given = read_signature_input(fields.get("Signature-Input", ""))
    if given.components != ANSWER_COMPONENTS:
        raise SignatureFault(f"the signature covers {' '.join(given.components)}")
    expected = {"nonce": nonce, "keyid": node, "alg": ALGORITHM}
    for name, value in expected.items():
        if given.parameters.get(name) != value:
            raise SignatureFault(f"the signature's {name} is {given.parameters.get(name)!r}, not {value!r}")
    if given.parameters.keys() != expected.keys():
        raise SignatureFault("the signature has parameters that were not asked for")
    covered = [*zip(ANSWER_COMPONENTS, (str(status), digest, method, path), strict=True)]
    verify(node_key, signature_base(covered, given.text), fields.get("Signature", ""))


def verify(key: bytes, base: bytes, field: str) -> None:
    """SignatureFault unless `field` (`tank=:BASE64:`) is the signature of that base."""
    label, _, value = field.partition("=")
    if label != LABEL:
        raise SignatureFault("Signature has no member tank")
    if not hmac.compare_digest(hmac_sha256(key, base), read_byte_sequence(value)):
        raise SignatureFault("the signature does not verify")


def _digest_of(fields: Mapping[str, str], body: bytes) -> str:
    digest = fields.get("Content-Digest", "")
    if digest != content_digest(hashlib.sha256(body).digest()):
        raise SignatureFault("the body does not match its digest")
    return digest


def _checked(text: str, pattern: re.Pattern[str]) -> str:
    if pattern.fullmatch(text) is None:
        raise SignatureFault(f"{text!r} cannot stand in a signature")
    return text
