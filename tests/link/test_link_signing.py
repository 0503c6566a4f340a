"""Signatures: published examples, another implementation both ways, and all that must not verify."""

from __future__ import annotations

import base64
import hashlib

import pytest
from http_message_signatures import (
    HTTPMessageSigner,
    HTTPMessageVerifier,
    HTTPSignatureKeyResolver,
    algorithms,
)
from hypothesis import given
from hypothesis import strategies as st
from multidict import CIMultiDict

from fleet.link import signing

KEY = bytes(range(32))
NONCE = "AAAAAAAAAAAAAAAAAAAAAA"
OURS = "BBBBBBBBBBBBBBBBBBBBBB"


def test_rfc_9421_example_with_hmac_sha256() -> None:
    """RFC 9421 appendix B.2.5, key of B.1.5."""
    key = base64.b64decode(
        "uzvJfB4u3N0Jy4T7NZ75MDVcr8zSTInedJtkgcu46YW4XByzNJjxBdtjUkdJPBtbmHhIDi6pcl8jsasjlTMtDQ=="
    )
    params = '("date" "@authority" "content-type");created=1618884473;keyid="test-shared-secret"'
    covered = [
        ('"date"', "Tue, 20 Apr 2021 02:07:55 GMT"),
        ('"@authority"', "example.com"),
        ('"content-type"', "application/json"),
    ]
    base = signing.signature_base(covered, params)
    assert base == (
        b'"date": Tue, 20 Apr 2021 02:07:55 GMT\n'
        b'"@authority": example.com\n'
        b'"content-type": application/json\n'
        b'"@signature-params": ("date" "@authority" "content-type")'
        b';created=1618884473;keyid="test-shared-secret"'
    )
    signature = signing.byte_sequence(signing.hmac_sha256(key, base))
    assert signature == ":pxcQw6G3AjtMBQjwo8XzkZf/bws5LelbaMk5rGIGtE8=:"


def test_rfc_9530_example_of_a_content_digest() -> None:
    """RFC 9530 appendix B.1: the JSON body with its line feed, sha-256."""
    digest = hashlib.sha256(b'{"hello": "world"}\n').digest()
    assert signing.content_digest(digest) == "sha-256=:RK/0qy18MlBSVnWgjwz6lZEWjP/lF5HF9bvEF8FabDg=:"


# ------------------------------------------------- another party: the package http-message-signatures
class _Keys(HTTPSignatureKeyResolver):
    def resolve_public_key(self, key_id):
        return KEY if key_id == "ridge-01" else None

    def resolve_private_key(self, key_id):
        return KEY


class _Message:
    """A request, or an answer to one, as that package wants it."""

    def __init__(self, method: str, path: str, headers: dict[str, str]) -> None:
        self.method = method
        self.url = f"http://10.0.0.1{path}"
        self.headers = CIMultiDict(headers)


class _Reply:
    def __init__(self, status: int, headers: dict[str, str], request: _Message) -> None:
        self.status_code = status
        self.url = request.url
        self.headers = CIMultiDict(headers)
        self.request = request


def _their_verifier() -> HTTPMessageVerifier:
    verifier = HTTPMessageVerifier(signature_algorithm=algorithms.HMAC_SHA256, key_resolver=_Keys())
    verifier.require_created = False
    return verifier


def _our_request(ticket: bytes | None) -> dict[str, str]:
    method, path = ("PUT", "/v1/image") if ticket else ("POST", "/v1/keep")
    return signing.sign_request(
        method=method,
        path=path,
        node="ridge-01",
        node_key=KEY,
        nonce=NONCE,
        body_sha256=hashlib.sha256(b"body").digest(),
        ticket=ticket,
    )


@pytest.mark.parametrize("ticket", [None, b"a ticket"])
def test_another_party_verifies_our_request(ticket) -> None:
    fields = _our_request(ticket)
    message = _Message("PUT" if ticket else "POST", "/v1/image" if ticket else "/v1/keep", fields)
    (result,) = _their_verifier().verify(message, max_age=None, body=b"body")
    assert result.nonce == NONCE
    assert '"content-digest"' in result.covered_components
    assert ('"tank-ticket"' in result.covered_components) == (ticket is not None)


def test_another_party_refuses_our_request_to_another_path() -> None:
    message = _Message("POST", "/v1/put-back", _our_request(None))
    with pytest.raises(Exception, match=r"[Ss]ignature"):
        _their_verifier().verify(message, max_age=None, body=b"body")


def test_we_verify_another_party_s_request() -> None:
    message = _Message("POST", "/v1/keep", {"Content-Digest": signing.content_digest(signing.EMPTY_SHA256)})
    HTTPMessageSigner(signature_algorithm=algorithms.HMAC_SHA256, key_resolver=_Keys()).sign(
        message,
        key_id="ridge-01",
        nonce=NONCE,
        label="tank",
        covered_component_ids=("@method", "@path", "content-digest"),
        use_existing_digest=True,
    )
    read = signing.read_signature_input(message.headers["Signature-Input"])
    assert read.components == signing.REQUEST_COMPONENTS
    assert read.parameters["nonce"] == NONCE
    covered = list(zip(read.components, ("POST", "/v1/keep", message.headers["Content-Digest"]), strict=True))
    signing.verify(KEY, signing.signature_base(covered, read.text), message.headers["Signature"])
    with pytest.raises(signing.SignatureFault):
        signing.verify(bytes(32), signing.signature_base(covered, read.text), message.headers["Signature"])


# ------------------------------------------------- answers
def _answer(status: int = 200, body: bytes = b'{"ok":true}', **changes: str) -> dict[str, str]:
    digest = signing.content_digest(hashlib.sha256(body).digest())
    params = signing.signature_params(
        signing.ANSWER_COMPONENTS, nonce=changes.get("nonce", OURS), node=changes.get("node", "ridge-01")
    )
    values = (str(status), digest, changes.get("method", "POST"), changes.get("path", "/v1/keep"))
    base = signing.signature_base(list(zip(signing.ANSWER_COMPONENTS, values, strict=True)), params)
    return {
        "Content-Digest": digest,
        "Signature-Input": f"tank={params}",
        "Signature": f"tank={signing.byte_sequence(signing.hmac_sha256(KEY, base))}",
    }


def _verify(fields: dict[str, str], status: int = 200, body: bytes = b'{"ok":true}') -> None:
    signing.verify_answer(
        status=status,
        fields=fields,
        body=body,
        method="POST",
        path="/v1/keep",
        node="ridge-01",
        node_key=KEY,
        nonce=OURS,
    )


def test_a_good_answer_verifies_here_and_with_another_party() -> None:
    fields = _answer()
    _verify(fields)
    request = _Message("POST", "/v1/keep", {})
    (result,) = _their_verifier().verify(_Reply(200, fields, request), max_age=None, body=b'{"ok":true}')
    assert result.nonce == OURS


@pytest.mark.parametrize(
    "changes",
    [{"nonce": NONCE}, {"node": "ridge-02"}, {"method": "GET"}, {"path": "/v1/put-back"}],
    ids=["old nonce", "other node", "other method", "other path"],
)
def test_an_answer_to_something_else_is_refused(changes) -> None:
    with pytest.raises(signing.SignatureFault):
        _verify(_answer(**changes))


def test_a_changed_status_or_body_is_refused() -> None:
    with pytest.raises(signing.SignatureFault, match="does not verify"):
        _verify(_answer(409))
    with pytest.raises(signing.SignatureFault, match="the body does not match its digest"):
        _verify(_answer(), body=b'{"ok":null}')


def test_an_answer_without_signature_or_with_extra_parameters_is_refused() -> None:
    with pytest.raises(signing.SignatureFault, match="not signed"):
        _verify({"Content-Digest": _answer()["Content-Digest"]})
    fields = _answer()
    fields["Signature-Input"] += ';tag="x"'
    with pytest.raises(signing.SignatureFault, match="not asked for"):
        _verify(fields)


@given(
    st.sampled_from(["Content-Digest", "Signature-Input", "Signature"]),
    st.integers(0, 400),
    st.integers(1, 127),
)
def test_no_changed_character_of_an_answer_verifies(field, at, change) -> None:
    """Every byte of the three fields counts, except bits of base64 that decode to nothing."""
    fields = _answer()
    text = fields[field]
    at %= len(text)
    fields[field] = text[:at] + chr(ord(text[at]) ^ change) + text[at + 1 :]
    if field == "Signature" and _same_bytes(fields[field], text):
        return
    with pytest.raises(signing.SignatureFault):
        _verify(fields)


def _same_bytes(one: str, other: str) -> bool:
    try:
        return signing.read_byte_sequence(one.removeprefix("tank=")) == signing.read_byte_sequence(
            other.removeprefix("tank=")
        )
    except signing.SignatureFault:
        return False


@pytest.mark.parametrize(
    "text",
    [
        "",
        "tank=",
        'other=("@method");nonce="x"',
        'tank=("@method");nonce="x";nonce="y"',
        'tank=("@method");nonce=x',
        'tank=("@method")  ;nonce="x"',
        'tank=("@method");nonce="x", tank=("@path")',
        'tank=("@method");nonce="x\\""',
    ],
)
def test_a_malformed_signature_input_is_refused(text) -> None:
    with pytest.raises(signing.SignatureFault):
        signing.read_signature_input(text)


@pytest.mark.parametrize("text", ["", ":", "YQ==", ":YQ:", ":Y Q==:", ":YQ==", ":é:"])
def test_a_malformed_byte_sequence_is_refused(text) -> None:
    with pytest.raises(signing.SignatureFault):
        signing.read_byte_sequence(text)


@pytest.mark.parametrize("nonce", ["", "short", "A" * 65, 'AAAAAAAAAAAAAAAAAAAAAA"', "A" * 21 + "\n"])
def test_a_nonce_that_could_break_out_of_its_field_is_refused(nonce) -> None:
    with pytest.raises(signing.SignatureFault):
        signing.accept_signature(nonce=nonce, node="ridge-01")
