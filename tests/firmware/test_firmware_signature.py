"""Requests that a node believes and answers that it signs: RFC 9421, with another implementation as the other party."""

from __future__ import annotations

import base64
import hashlib
import hmac
from datetime import UTC, datetime
from types import SimpleNamespace

import pytest
from http_message_signatures import HTTPMessageSigner, HTTPMessageVerifier, MappingKeyResolver, algorithms

from fleet.build.ticket import sign
from fleet.link import signing
from tests.firmware.firmware_trust import Word, ask, ask_one, b64, sample_node

KEY = hashlib.sha256(b"node key of the test").digest()
NODE = "upper-barn"
NONCE = "AAECAwQFBgcICQoLDA0ODw"
OURS = "c29tZSByYW5kb20gYnl0ZXM"
EMPTY = hashlib.sha256(b"").digest()
RESOLVER = MappingKeyResolver(public_keys={NODE: KEY}, private_keys={NODE: KEY})


def test_example_of_rfc_9421() -> None:
    """Appendix B.2.5 with the shared secret of B.1.5."""
    secret = base64.b64decode(
        "uzvJfB4u3N0Jy4T7NZ75MDVcr8zSTInedJtkgcu46YW4XByzNJjxBdtjUkdJPBtbmHhIDi6pcl8jsasjlTMtDQ=="
    )
    params = '("date" "@authority" "content-type");created=1618884473;keyid="test-shared-secret"'
    covered = ['"date"', "Tue, 20 Apr 2021 02:07:55 GMT", '"@authority"', "example.com"]
    covered += ['"content-type"', "application/json"]
    mac = ask_one("base", secret, params, *covered)
    assert b64(bytes.fromhex(mac)) == "pxcQw6G3AjtMBQjwo8XzkZf/bws5LelbaMk5rGIGtE8="


def request_line(
    fields: dict[str, str], method: str = "POST", path: str = "/v1/keep", nonce: str = NONCE
) -> tuple[Word, ...]:
    names = ("Content-Digest", "Tank-Ticket", "Signature-Input", "Signature")
    return ("request", KEY, NODE, nonce, method, path, *(fields.get(name) for name in names))


def keep_fields(nonce: str = NONCE, node: str = NODE, key: bytes = KEY) -> dict[str, str]:
    return signing.sign_request(
        method="POST", path="/v1/keep", node=node, node_key=key, nonce=nonce, body_sha256=EMPTY
    )


def image_fields(ticket: bytes) -> dict[str, str]:
    digest = hashlib.sha256(b"image").digest()
    return signing.sign_request(
        method="PUT",
        path="/v1/image",
        node=NODE,
        node_key=KEY,
        nonce=NONCE,
        body_sha256=digest,
        ticket=ticket,
    )


def seal(
    params: str, method: str = "POST", path: str = "/v1/keep", covered: list[tuple[str, str]] | None = None
) -> dict[str, str]:
    """Fields that are truly signed with the node's key, whatever `params` (the text after `tank=`) says."""
    digest = signing.content_digest(EMPTY)
    usual = [('"@method"', method), ('"@path"', path), ('"content-digest"', digest)]
    base = "".join(f"{name}: {value}\n" for name, value in (usual if covered is None else covered))
    mac = hmac.digest(KEY, f'{base}"@signature-params": {params}'.encode(), "sha256")
    return {"Content-Digest": digest, "Signature-Input": f"tank={params}", "Signature": f"tank=:{b64(mac)}:"}


COVERS = '("@method" "@path" "content-digest")'
PARAMS = f';nonce="{NONCE}";keyid="{NODE}";alg="hmac-sha256"'


def test_requests_of_the_tool_are_believed() -> None:
    node = sample_node()
    ticket = sign(node.fields, node.key)
    lines = [request_line(keep_fields()), request_line(image_fields(ticket), "PUT", "/v1/image")]
    assert ask(lines) == ["200 ok", "200 ok"]


def test_request_of_another_party_is_believed() -> None:
    """http-message-signatures signs; it adds `created`, and orders parameters in its own way."""
    headers: dict[str, str] = {}
    message = SimpleNamespace(method="POST", url="http://127.0.0.1:8080/v1/keep", headers=headers)
    signer = HTTPMessageSigner(signature_algorithm=algorithms.HMAC_SHA256, key_resolver=RESOLVER)
    signer.sign(
        message, body=b"", key_id=NODE, nonce=NONCE, label="tank", created=datetime.now(UTC),
        covered_component_ids=("@method", "@path", "content-digest"),
    )  # fmt: skip
    assert "created=" in headers["Signature-Input"]
    assert ask_one(*request_line(headers)) == "200 ok"


def test_parameters_may_come_in_any_order() -> None:
    params = f'{COVERS};alg="hmac-sha256";created=1;keyid="{NODE}"; nonce="{NONCE}"'
    assert ask_one(*request_line(seal(params))) == "200 ok"


def test_signatures_of_others_may_stand_beside_ours() -> None:
    fields = keep_fields()
    fields["Signature-Input"] = 'site=("@method");keyid="gate", ' + fields["Signature-Input"]
    fields["Signature"] = fields["Signature"] + ", site=:AAAA:"
    assert ask_one(*request_line(fields)) == "200 ok"


@pytest.mark.parametrize("missing", ["Signature", "Signature-Input"])
def test_no_signature(missing: str) -> None:
    fields = keep_fields()
    del fields[missing]
    assert ask_one(*request_line(fields)) == "401 no-signature"


def test_replayed_or_older_nonce() -> None:
    assert ask_one(*request_line(keep_fields(nonce="x" * 22))) == "401 nonce-used"
    assert ask_one(*request_line(keep_fields(), nonce="x" * 22)) == "401 nonce-used"


@pytest.mark.parametrize(
    "fields",
    [
        keep_fields(key=bytes(32)),
        keep_fields(node="lower-barn"),
        {**keep_fields(), "Content-Digest": signing.content_digest(bytes(32))},
        {name: value for name, value in keep_fields().items() if name != "Content-Digest"},
        {**keep_fields(), "Signature": "tank=:AAAA:"},
        {**keep_fields(), "Signature": "tank=1"},
        {**keep_fields(), "Signature": "other=:AAAA:"},
        {**keep_fields(), "Signature-Input": f"other={COVERS}{PARAMS}"},
        {**keep_fields(), "Signature-Input": "tank=1"},
    ],
    ids=["key", "node", "digest", "no digest", "short", "number", "label", "input label", "no list"],
)
def test_bad_signature(fields: dict[str, str]) -> None:
    assert ask_one(*request_line(fields)) == "401 bad-signature"


_DIGEST = ('"content-digest"', signing.content_digest(EMPTY))
_METHOD, _PATH = ('"@method"', "POST"), ('"@path"', "/v1/keep")


@pytest.mark.parametrize(
    ("params", "covered"),
    [
        (f'("@path" "@method" "content-digest"){PARAMS}', [_PATH, _METHOD, _DIGEST]),
        (f'("@method" "@path"){PARAMS}', [_METHOD, _PATH]),
        (f"(){PARAMS}", []),
        (f'("@method" "@path" "content-digest" "@method"){PARAMS}', [_METHOD, _PATH, _DIGEST, _METHOD]),
        (f'("@method"  "@path" "content-digest"){PARAMS}', None),
        (f'("@method" "@path" "content-digest";sf){PARAMS}', None),
        (f'{COVERS};nonce="{NONCE}";keyid="{NODE}"', None),
        (f'{COVERS};nonce="{NONCE}";keyid="{NODE}";alg="hmac-sha512"', None),
        (f'{COVERS};nonce="{NONCE}";keyid="{NODE}";alg=hmac-sha256', None),
        (f"{COVERS}{PARAMS};expires=99", None),
        (f'{COVERS}{PARAMS};nonce="{NONCE}"', None),
        (f'{COVERS}{PARAMS};created="1"', None),
        (f'{COVERS};keyid="{NODE}";alg="hmac-sha256"', None),
    ],
)
def test_well_signed_but_covering_something_else(params: str, covered: list[tuple[str, str]] | None) -> None:
    assert ask_one(*request_line(seal(params, covered=covered))) == "401 bad-signature"


def test_an_image_needs_its_ticket_covered() -> None:
    fields = seal(COVERS + PARAMS, "PUT", "/v1/image")
    assert ask_one(*request_line(fields, "PUT", "/v1/image")) == "401 bad-signature"
    fields["Tank-Ticket"] = ":AAAA:"
    assert ask_one(*request_line(fields, "PUT", "/v1/image")) == "401 bad-signature"
    fields = image_fields(b"ticket")
    assert ask_one(*request_line(fields, "PUT", "/v1/image")) == "200 ok"
    fields["Tank-Ticket"] = ":AAAA:"
    assert ask_one(*request_line(fields, "PUT", "/v1/image")) == "401 bad-signature"
    del fields["Tank-Ticket"]
    assert ask_one(*request_line(fields, "PUT", "/v1/image")) == "401 bad-signature"


def test_method_and_path_are_covered() -> None:
    lines = [request_line(keep_fields(), path=path) for path in ("/v1/put-back", "/v1/keep/", "/v1/kee")]
    lines.append(request_line(keep_fields(), method="GET"))
    assert set(ask(lines)) == {"401 bad-signature"}


@pytest.mark.parametrize(
    "change",
    [
        {"Signature-Input": "tank=("},
        {"Signature-Input": f"tank={COVERS};"},
        {"Signature": "tank=:AAAA"},
        {"Signature": "tank=:" + "A" * 43 + "=:, "},
        {"Content-Digest": "sha-256=AAAA"},
        {"Content-Digest": "sha-512=:AAAA:"},
        {"Content-Digest": "sha-256=:AAAA:"},
    ],
)
def test_bad_structured_field(change: dict[str, str]) -> None:
    assert ask_one(*request_line({**keep_fields(), **change})) == "400 bad-request"


def test_every_flipped_bit_of_a_request_is_refused() -> None:
    fields = keep_fields()
    lines = []
    for name, value in fields.items():
        for i in range(len(value)):
            for bit in range(7):
                flipped = value[:i] + chr(ord(value[i]) ^ (1 << bit)) + value[i + 1 :]
                lines.append(request_line({**fields, name: flipped}))
    assert {answer.split()[0] for answer in ask(lines)} == {"400", "401"}


# --- answers


def answer_lines(
    status: int = 200, wish: str | None = None, body: bytes = b'{"ok":true}', path: str = "/v1/keep"
) -> str:
    asked = signing.accept_signature(nonce=OURS, node=NODE) if wish is None else wish
    digest = hashlib.sha256(body).digest()
    return ask_one("answer", KEY, NODE, status.to_bytes(2, "big"), "POST", path, digest, asked or None)


def headers_of(text: str) -> dict[str, str]:
    lines = bytes.fromhex(text).decode()
    assert lines.endswith("\r\n")
    return dict(line.split(": ", 1) for line in lines.split("\r\n")[:-1])


@pytest.mark.parametrize("status", [200, 202, 403, 503])
def test_answers_convince_the_tool(status: int) -> None:
    fields, body = headers_of(answer_lines(status)), b'{"ok":true}'
    told = {"method": "POST", "path": "/v1/keep", "node": NODE, "node_key": KEY, "nonce": OURS}
    signing.verify_answer(status=status, fields=fields, body=body, **told)  # type: ignore[arg-type]
    for change in (
        {"status": 201},
        {"body": b"{}"},
        {"path": "/v1/put-back"},
        {"nonce": NONCE},
        {"node_key": bytes(32)},
    ):
        with pytest.raises(signing.SignatureFault):
            signing.verify_answer(**{"status": status, "fields": fields, "body": body, **told, **change})


def test_answers_convince_another_party() -> None:
    headers = headers_of(answer_lines(202))
    request = SimpleNamespace(method="POST", url="http://127.0.0.1:8080/v1/keep", headers={})
    message = SimpleNamespace(status_code=202, headers=headers, request=request, url=request.url)
    verifier = HTTPMessageVerifier(signature_algorithm=algorithms.HMAC_SHA256, key_resolver=RESOLVER)
    verifier.require_created = False  # a node has no clock
    results = verifier.verify(message, max_age=None)
    assert [result.label for result in results] == ["tank"]
    assert results[0].parameters["nonce"] == OURS


def test_answers_are_signed_only_when_asked_for() -> None:
    assert answer_lines(wish="") == "unsigned"
    assert answer_lines(wish='other=("@status");nonce="aaaaaaaaaaaaaaaaaaaaaaaa"') == "unsigned"
    wishes = ['tank=("@status")', "tank=1", "tank=(", 'tank=();nonce="short"', f'tank=();nonce="{"a" * 65}"']
    wishes += ['tank=();nonce="aaaaaaaaaaaaaaaaaaaaa\\""', "tank=();nonce=aaaaaaaaaaaaaaaaaaaaaaaa"]
    assert {answer_lines(wish=wish) for wish in wishes} == {"bad-request"}


def test_longest_answer_fits() -> None:
    name, nonce = "n" * 63, "a" * 64
    wish = signing.accept_signature(nonce=nonce, node=name)
    line = ("answer", KEY, name, (202).to_bytes(2, "big"), "POST", "/v1/put-back", EMPTY, wish)
    assert headers_of(ask_one(*line))["Signature-Input"].endswith(
        f'nonce="{nonce}";keyid="{name}";alg="hmac-sha256"'
    )
