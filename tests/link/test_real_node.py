"""Our client against the real firmware, built for the host and run by the bench: what it refuses, and what it does."""

from __future__ import annotations

import asyncio
import hashlib
import json
import secrets
from collections.abc import Awaitable, Callable

import pytest
from cryptography.hazmat.primitives.asymmetric import ec
from http_message_signatures import (
    HTTPMessageSigner,
    HTTPMessageVerifier,
    HTTPSignatureKeyResolver,
    algorithms,
)
from multidict import CIMultiDict

from fleet.bench.control import BenchControl
from fleet.bench.paths import BenchPaths
from fleet.build import ticket as tickets
from fleet.build.shelf import Shelf
from fleet.check.load import load_inventory
from fleet.errors import NodeImpostor, NodeRefused, NodeUnreachable
from fleet.find.find import find
from fleet.find.scope import interface_for
from fleet.keys.folder import KeyFolder
from fleet.keys.networks import Network
from fleet.limits import ANSWER_BYTES
from fleet.link import signing
from fleet.link.client import NETWORK_PATH, NodeLink, Timeouts, _Change, open_session
from fleet.link.exchange import Request, exchange
from fleet.link.network import sealed_network
from fleet.link.payload import ImagePayload
from fleet.link.state import NodeState, Phase
from fleet.workspace import Workspace
from tests.bench.scenery import processes_of
from tests.real_fleet import build, real_project, tankfleet

pytestmark = [pytest.mark.slow, pytest.mark.timeout(600)]
NODES = ("kestrel-01", "kestrel-03")
"""An ESP32 (two slots) and an ESP8266 (copy in place)."""
HILL = Network("Kestrel Hill", "correct horse battery")


class Real:
    """A running virtual node, its keys, and two releases of its image."""

    def __init__(self, project, name: str) -> None:
        self.name = name
        self.keys = KeyFolder.open(project / "keys")
        self.shelf = Shelf(project / ".tankfleet" / "shelf")
        self.view = BenchControl(BenchPaths(project / ".tankfleet" / "bench").socket).node(name)
        self.key = self.keys.node_key(name)
        self.newest = self.shelf.newest(name)
        self.image = self.shelf.image(self.newest.image)
        self.ticket = self.shelf.ticket(self.newest.ticket)

    def ticket_with(self, key=None, **changes) -> bytes:
        """The newest image's ticket, changed and signed again."""
        fields = tickets.parse(self.ticket)
        values = {name: getattr(fields, name) for name in fields.__slots__}
        return tickets.sign(tickets.TicketFields(**(values | changes)), key or self.keys.signing_key())

    def talk(self, what: Callable[[NodeLink], Awaitable[None]], key: bytes | None = None) -> None:
        async def whole() -> None:
            async with open_session() as session:
                link = NodeLink(
                    self.name,
                    self.view.address,
                    self.view.port,
                    key or self.key,
                    session=session,
                    entropy=secrets.token_bytes,
                )
                await what(link)

        asyncio.run(whole())


@pytest.fixture(scope="module")
def project(tmp_path_factory):
    project = real_project(tmp_path_factory.mktemp("link"), tmp_path_factory.getbasetemp() / "shared-build")
    build(project, *NODES)
    tankfleet(project, "bench", "up", *NODES, "--speed", "20")
    build(project, *NODES, "--release", "1.1.0")
    yield project
    tankfleet(project, "bench", "down")
    assert processes_of(project) == {}


@pytest.fixture(params=NODES)
def real(project, request) -> Real:
    return Real(project, request.param)


async def answering(link: NodeLink, holds: Callable[[NodeState], bool]) -> NodeState:
    """The node's state, once it is back from a restart and `holds`."""
    async with asyncio.timeout(60):
        while True:
            try:
                state = await link.state()
                if holds(state):
                    return state
            except NodeUnreachable:
                pass
            await asyncio.sleep(0.1)


# ------------------------------------------------- refused
def refused(real: Real, image: bytes, ticket: bytes) -> str:
    """The refusal's code; nothing of the image was sent, and the node runs what it ran."""
    codes, sent = [], []

    async def what(link: NodeLink) -> None:
        before = await link.state()
        with pytest.raises(NodeRefused) as caught:
            await link.put_image(image, ticket, lambda *progress: sent.append(progress))
        assert "not signed" not in caught.value.what
        codes.append(caught.value.refusal)
        after = await link.state()
        assert (after.image, after.phase, after.boots) == (before.image, Phase.KEPT, before.boots)

    real.talk(what)
    assert sent == []
    return codes[0]


def test_an_image_that_is_not_the_ticket_s_is_refused_before_it_is_sent(real) -> None:
    tampered = bytearray(real.image)
    tampered[len(tampered) // 2] ^= 1
    assert refused(real, bytes(tampered), real.ticket) == "wrong-digest"
    assert refused(real, real.image + b"\0", real.ticket) == "wrong-size"


def test_a_ticket_with_another_key_is_refused(real) -> None:
    other = ec.generate_private_key(ec.SECP256R1())
    assert refused(real, real.image, real.ticket_with(key=other)) == "unknown-key"


def test_a_ticket_for_another_node_is_refused(real) -> None:
    assert refused(real, real.image, real.ticket_with(node="kestrel-02")) == "other-node"


def test_a_ticket_for_another_class_vendor_or_format_is_refused(real) -> None:
    assert refused(real, real.image, real.ticket_with(class_id=bytes(16))) == "other-class"
    assert refused(real, real.image, real.ticket_with(vendor_id=bytes(16))) == "other-class"
    assert refused(real, real.image, real.ticket_with(payload_format="esp32-bin")) == "other-class"


def test_an_older_sequence_is_refused_with_the_floor(real) -> None:
    async def what(link: NodeLink) -> None:
        floor = (await link.state()).floor
        for sequence in (floor, floor - 1, 0):
            with pytest.raises(NodeRefused, match=f"not above the floor {floor}") as caught:
                await link.put_image(real.image, real.ticket_with(sequence=sequence))
            assert caught.value.refusal == "old-sequence"

    real.talk(what)


def test_a_tampered_ticket_is_refused(real) -> None:
    flipped = bytearray(real.ticket)
    flipped[-1] ^= 1
    assert refused(real, real.image, bytes(flipped)) == "bad-ticket-signature"
    assert refused(real, real.image, real.ticket + b"\0") == "bad-ticket"
    assert refused(real, real.image, real.ticket[:-1]) == "bad-ticket"


def test_an_image_tampered_with_on_its_way_is_refused_and_not_run(real) -> None:
    """Signature, ticket and Content-Digest are right; the bytes that follow are not."""
    tampered = bytearray(real.image)
    tampered[len(tampered) // 2] ^= 1

    async def what(link: NodeLink) -> None:
        before = await link.state()
        fields = signing.sign_request(
            method="PUT",
            path="/v1/image",
            node=real.name,
            node_key=real.key,
            nonce=before.nonce,
            body_sha256=hashlib.sha256(real.image).digest(),
            ticket=real.ticket,
        )
        payload = ImagePayload(bytes(tampered))
        request = Request(
            real.name, link.address, link.port, "PUT", "/v1/image", ANSWER_BYTES, fields, payload
        )
        answer = await exchange(link._session, request, Timeouts())
        assert (answer.status, json.loads(answer.body)["code"]) == (422, "wrong-digest")
        assert payload.sent_bytes == len(tampered)
        after = await link.state()
        assert (after.image, after.phase, after.boots) == (before.image, Phase.KEPT, before.boots)

    real.talk(what)


def test_keep_and_put_back_without_a_trial_are_refused(real) -> None:
    async def what(link: NodeLink) -> None:
        for change, code in ((link.keep, "not-on-trial"), (link.put_back, "no-older-image")):
            with pytest.raises(NodeRefused) as caught:
                await change()
            assert (caught.value.refusal, caught.value.status) == (code, 409)

    real.talk(what)


def test_a_client_with_another_key_believes_nothing(real) -> None:
    async def what(link: NodeLink) -> None:
        with pytest.raises(NodeImpostor, match="does not verify"):
            await link.state()

    real.talk(what, key=bytes(32))


# ------------------------------------------------- raw requests
def rest_request(real: Real, nonce: str, **changes) -> bytes:
    """`POST /v1/rest` as bytes; `changes` to what is signed."""
    values = {"method": "POST", "path": "/v1/rest", "node": real.name, "node_key": real.key}
    fields = signing.sign_request(**(values | changes), nonce=nonce, body_sha256=signing.EMPTY_SHA256)
    return raw("POST", "/v1/rest", fields)


def raw(method: str, path: str, fields) -> bytes:
    head = "".join(f"{name}: {value}\r\n" for name, value in fields.items())
    return f"{method} {path} HTTP/1.1\r\nHost: node\r\nContent-Length: 0\r\n{head}\r\n".encode()


async def send(real: Real, request: bytes) -> tuple[int, dict[str, str], bytes]:
    reader, writer = await asyncio.open_connection(real.view.address, real.view.port)
    writer.write(request)
    answer = await asyncio.wait_for(reader.read(), 20)
    writer.close()
    await writer.wait_closed()
    head, _, body = answer.partition(b"\r\n\r\n")
    first, *lines = head.decode().split("\r\n")
    return int(first.split(" ")[1]), dict(line.split(": ", 1) for line in lines), body


def test_a_replayed_request_is_refused(real) -> None:
    async def what(link: NodeLink) -> None:
        request = rest_request(real, (await link.state()).nonce)
        assert (await send(real, request))[0] == 200
        status, _, body = await send(real, request)
        assert (status, json.loads(body)["code"]) == (401, "nonce-used")

    real.talk(what)


@pytest.mark.parametrize(
    ("code", "changes"),
    [
        ("bad-signature", {"path": "/v1/keep"}),
        ("bad-signature", {"method": "PUT"}),
        ("bad-signature", {"node": "kestrel-02"}),
        ("bad-signature", {"node_key": bytes(32)}),
        ("bad-signature", {"ticket": b"one component too many"}),
    ],
)
def test_a_request_signed_for_something_else_is_refused(real, code, changes) -> None:
    async def what(link: NodeLink) -> None:
        nonce = (await link.state()).nonce
        status, _, body = await send(real, rest_request(real, nonce, **changes))
        assert (status, json.loads(body)["code"]) == (401, code)
        assert (await link.state()).nonce == nonce, "a request of nobody used up the nonce"

    real.talk(what)


def test_an_unsigned_request_is_refused(real) -> None:
    async def what(link: NodeLink) -> None:
        status, _, body = await send(real, raw("POST", "/v1/rest", {}))
        assert (status, json.loads(body)["code"]) == (401, "no-signature")

    real.talk(what)


# ------------------------------------------------- another party: the package http-message-signatures
class _Message:
    def __init__(self, method: str, url: str, headers=()) -> None:
        self.method, self.url, self.headers = method, url, CIMultiDict(headers)


class _Reply:
    def __init__(self, status: int, headers, request: _Message) -> None:
        self.status_code, self.url, self.headers, self.request = (
            status,
            request.url,
            CIMultiDict(headers),
            request,
        )


def test_another_party_speaks_to_the_firmware_and_checks_its_answer(real) -> None:
    class Keys(HTTPSignatureKeyResolver):
        def resolve_public_key(self, key_id):
            return real.key

        def resolve_private_key(self, key_id):
            return real.key

    ours = signing.accept_signature(nonce="B" * 22, node=real.name)

    async def what(link: NodeLink) -> None:
        message = _Message("POST", f"http://{real.view.address}/v1/rest")
        message.headers["Content-Digest"] = signing.content_digest(signing.EMPTY_SHA256)
        HTTPMessageSigner(signature_algorithm=algorithms.HMAC_SHA256, key_resolver=Keys()).sign(
            message,
            key_id=real.name,
            nonce=(await link.state()).nonce,
            label="tank",
            covered_component_ids=("@method", "@path", "content-digest"),
            use_existing_digest=True,
        )
        message.headers["Accept-Signature"] = ours
        status, fields, body = await send(real, raw("POST", "/v1/rest", message.headers))
        assert status == 200, body
        verifier = HTTPMessageVerifier(signature_algorithm=algorithms.HMAC_SHA256, key_resolver=Keys())
        verifier.require_created = False
        (result,) = verifier.verify(_Reply(status, fields, message), max_age=None, body=body)
        assert result.nonce == "B" * 22
        assert list(result.covered_components)[:4] == list(signing.ANSWER_COMPONENTS)

    real.talk(what)


# ------------------------------------------------- done: last, for it changes what the node runs
def test_an_image_is_tried_kept_and_put_back(real) -> None:
    async def what(link: NodeLink) -> None:
        first = await link.state()
        assert await link.put_image(real.image, real.ticket) is Phase.ON_TRIAL
        tried = await answering(link, lambda state: state.boots > first.boots)
        assert (tried.image, tried.phase) == (hashlib.sha256(real.image).hexdigest(), Phase.ON_TRIAL)
        assert (tried.release, tried.older_image) == ("1.1.0", first.image)
        assert tried.trial_left_s > 0
        with pytest.raises(NodeRefused) as caught:
            await link.put_image(real.image, real.ticket_with(sequence=real.newest.sequence + 1))
        assert caught.value.refusal == "on-trial"

        assert await link.keep() is Phase.KEPT
        kept = await link.state()
        assert (kept.phase, kept.floor) == (Phase.KEPT, real.newest.sequence)

        await link.put_back()
        back = await answering(link, lambda state: state.boots > kept.boots)
        assert (back.image, back.phase) == (first.image, Phase.PUT_BACK)
        assert (back.last_image, back.last_reason) == (kept.image, "told")

    real.talk(what)


# ------------------------------------------------- network credentials
async def send_sealed(link: NodeLink, body: bytes, digest: bytes | None = None) -> str:
    """A body that our client would not make, under a good signature: the refusal's code."""
    with pytest.raises(NodeRefused) as caught:
        await link._change(_Change("PUT", NETWORK_PATH, digest or hashlib.sha256(body).digest(), body))
    assert "not signed" not in caught.value.what
    return caught.value.refusal


def test_new_credentials_that_are_not_for_this_node_change_nothing(real) -> None:
    sealed = {"trial_s": 600, "iv": bytes(12)}
    good = sealed_network(HILL, node=real.name, node_key=real.key, **sealed)

    async def what(link: NodeLink) -> None:
        before = (await link.state()).network
        for body in (
            sealed_network(HILL, node=real.name, node_key=bytes(32), **sealed),
            sealed_network(HILL, node="kestrel-09", node_key=real.key, **sealed),
            good[:-1] + bytes([good[-1] ^ 1]),
        ):
            assert await send_sealed(link, body) == "bad-credentials"
        for body in (good[:-1], good + b"\0"):
            assert await send_sealed(link, body) == "wrong-size"
        assert await send_sealed(link, good, hashlib.sha256(b"another").digest()) == "wrong-digest"
        with pytest.raises(NodeRefused) as caught:
            await link.keep_network()
        assert caught.value.refusal == "not-on-trial"
        assert (await link.state()).network == before

    real.talk(what)


def test_new_credentials_are_tried_and_kept(real) -> None:
    """A virtual node without `--air` is joined as soon as it calls."""

    async def what(link: NodeLink) -> None:
        assert await link.give_network(HILL, 600) is (await link.state()).phase
        tried = await answering(link, lambda state: state.network is not None and state.network.on == "new")
        assert tried.network is not None
        assert tried.network.phase is Phase.ON_TRIAL
        assert 590 < tried.network.trial_left_s <= 600
        await link.keep_network()
        kept = (await link.state()).network
        assert kept is not None
        assert (kept.phase, kept.on, kept.trial_left_s) == (Phase.KEPT, "kept", 0)

    real.talk(what)


def test_find_sees_the_nodes_and_what_they_run(project) -> None:
    """Those of its own bench alone: another one on this machine may announce the same names."""
    inventory = load_inventory(project / "inventory")
    workspace = Workspace(project, project / "inventory", project / "keys")
    key_of = KeyFolder.open(workspace.keys_dir).node_key
    interface = interface_for("auto", workspace)
    assert interface == "127.0.0.1", "the bench is up"
    matches = asyncio.run(find(inventory, key_of, workspace, interface=interface, nodes=NODES))
    assert [match.node for match in matches] == list(NODES)
    found = {match.node: match for match in matches}
    for name in NODES:
        view, match = Real(project, name).view, found[name]
        assert match.reachable
        assert (match.address, match.port) == (view.address, view.port)
        assert match.state is not None
        assert match.state.mac == view.mac
        assert match.txt["img"] == match.state.image[:16]
        assert match.txt["phase"] == match.state.phase
