"""The link to a node, over real sockets against the stand-in: what works, is refused, is not believed."""

from __future__ import annotations

import asyncio
import hashlib
import secrets
import tracemalloc
from collections.abc import Awaitable, Callable
from contextlib import asynccontextmanager

import pytest
from cryptography.hazmat.primitives.asymmetric import ec

from fleet.errors import LinkError, NodeImpostor, NodeRefused, NodeUnreachable
from fleet.link import signing
from fleet.link.client import NodeLink, Timeouts, open_session, read_unconfirmed_state
from fleet.link.codes import UNPROVED
from fleet.link.state import Phase
from tests.fake_node import FakeNode
from tests.link_helpers import HASTY, PATIENT, HandClock, fake, key_of, some_image, ticket_for

Talk = Callable[[FakeNode, NodeLink], Awaitable[None]]


@asynccontextmanager
async def linked(node: FakeNode, *, key: bytes | None = None, timeouts: Timeouts = PATIENT, name: str = ""):
    async with node, open_session() as session:
        yield NodeLink(
            name or node.name,
            node.address,
            node.port,
            key or node.node_key,
            session=session,
            entropy=secrets.token_bytes,
            timeouts=timeouts,
        )


def talk(what: Talk, node: FakeNode | None = None, **more) -> FakeNode:
    """Run one conversation with a stand-in."""
    node = node or fake()

    async def whole() -> None:
        async with linked(node, **more) as link:
            await what(node, link)

    asyncio.run(whole())
    return node


# ------------------------------------------------- what works
def test_state_is_read_and_confirmed() -> None:
    async def what(node, link) -> None:
        state = await link.state()
        assert (state.node, state.image) == ("ridge-01", hashlib.sha256(b"first image").hexdigest())

    talk(what)


def test_an_image_is_sent_tried_and_kept() -> None:
    image, seen = some_image(), []

    async def what(node, link) -> None:
        ticket = ticket_for(node, image, 2)
        assert (
            await link.put_image(image, ticket, lambda sent, size: seen.append((sent, size)))
            is Phase.ON_TRIAL
        )
        state = await link.state()
        assert (state.image, state.phase) == (hashlib.sha256(image).hexdigest(), Phase.ON_TRIAL)
        assert state.older_image == hashlib.sha256(b"first image").hexdigest()
        assert await link.keep() is Phase.KEPT
        assert (await link.state()).floor == 2

    talk(what)
    assert seen[-1] == (len(image), len(image))
    assert seen == sorted(seen)


def test_a_trial_that_nobody_ends_falls_back() -> None:
    clock = HandClock()

    async def what(node, link) -> None:
        image = some_image()
        await link.put_image(image, ticket_for(node, image, 2))
        clock.pass_s(299)
        assert (await link.state()).phase is Phase.ON_TRIAL
        clock.pass_s(1)
        state = await link.state()
        assert (state.phase, state.last_reason) == (Phase.PUT_BACK, "trial-over")
        assert state.image == hashlib.sha256(b"first image").hexdigest()

    talk(what, fake(clock=clock, trial_s=300))


def test_put_back_and_rest() -> None:
    async def what(node, link) -> None:
        image = some_image()
        await link.put_image(image, ticket_for(node, image, 2))
        assert await link.put_back() is Phase.PUT_BACK
        assert (await link.state()).last_reason == "told"
        assert await link.rest() is Phase.PUT_BACK
        assert node.resting

    talk(what)


def test_a_nonce_that_another_client_used_up_is_fetched_again() -> None:
    async def what(node, link) -> None:
        state = link.state

        async def raced():
            read = await state()
            if node.heard.count(("GET", "/v1/state")) == 1:
                node._nonce = node._new_nonce()
            return read

        link.state = raced
        await link.rest()

    node = talk(what)
    assert node.heard == [("GET", "/v1/state"), ("POST", "/v1/rest")] * 2


# ------------------------------------------------- what the node refuses
def refusal_of(what: Talk, node: FakeNode | None = None) -> str:
    caught = []

    async def guarded(node, link) -> None:
        with pytest.raises(NodeRefused) as refused:
            await what(node, link)
        caught.append(refused.value)

    node = talk(guarded, node)
    assert node.images_taken == []
    assert "not signed" not in caught[0].what
    return caught[0].refusal


@pytest.mark.parametrize(
    ("code", "changes"),
    [
        ("other-node", {"name": "ridge-02"}),
        ("other-class", {"class_id": bytes(16)}),
        ("other-class", {"vendor_id": b"x" * 16}),
        ("other-class", {"payload_format": "esp32-bin"}),
        ("old-sequence", {"sequence": 1}),
        ("wrong-size", {"size_bytes": 7}),
        ("wrong-digest", {"digest": bytes(32)}),
        ("unknown-key", {"key": ec.generate_private_key(ec.SECP256R1())}),
    ],
)
def test_a_ticket_that_does_not_fit_is_refused_before_the_image_is_sent(code, changes) -> None:
    image, sent = some_image(), []

    async def what(node, link) -> None:
        changed = dict(changes)
        ticket = ticket_for(node, image, changed.pop("sequence", 2), **changed)
        await link.put_image(image, ticket, lambda *progress: sent.append(progress))

    assert refusal_of(what) == code
    assert sent == []


def test_a_tampered_ticket_is_refused() -> None:
    async def what(node, link) -> None:
        image = some_image()
        ticket = bytearray(ticket_for(node, image, 2))
        ticket[-1] ^= 1
        await link.put_image(image, bytes(ticket))

    assert refusal_of(what) == "bad-ticket-signature"


def test_refusals_of_keep_and_put_back() -> None:
    assert refusal_of(lambda node, link: link.keep()) == "not-on-trial"
    assert refusal_of(lambda node, link: link.put_back()) == "no-older-image"


def test_a_replayed_request_is_refused_as_such() -> None:
    """The bytes of an accepted request, sent again."""

    async def what(node, link) -> None:
        nonce = (await link.state()).nonce
        fields = signing.sign_request(
            method="POST",
            path="/v1/rest",
            node=node.name,
            node_key=key_of(node.name),
            nonce=nonce,
            body_sha256=signing.EMPTY_SHA256,
        )
        head = "".join(f"{name}: {value}\r\n" for name, value in fields.items())
        raw = f"POST /v1/rest HTTP/1.1\r\nHost: x\r\nContent-Length: 0\r\n{head}\r\n".encode()
        answers = [await _raw(node, raw) for _ in range(2)]
        assert answers[0].startswith(b"HTTP/1.1 200 ")
        assert answers[1].startswith(b"HTTP/1.1 401 ")
        assert b'"nonce-used"' in answers[1]

    talk(what)


async def _raw(node: FakeNode, request: bytes) -> bytes:
    reader, writer = await asyncio.open_connection(node.address, node.port)
    writer.write(request)
    answer = await reader.read()
    writer.close()
    await writer.wait_closed()
    return answer


def test_an_unsigned_refusal_says_that_it_is_not_signed() -> None:
    async def what(node, link) -> None:
        node.faults.refuse = {"/v1/state": (404, "not-found")}
        node.faults.unsigned_refusals = True
        with pytest.raises(NodeRefused, match="not signed") as refused:
            await link.state()
        assert (refused.value.refusal, refused.value.status) == ("not-found", 404)

    talk(what)


# ------------------------------------------------- what is not believed
IMPOSTURES = {
    "bad signature": {"bad_signature": True},
    "no signature": {"unsigned": True},
    "changed body": {"tampered_body": True},
    "another name": {"says_name": "ridge-02"},
}


@pytest.mark.parametrize("faults", IMPOSTURES.values(), ids=IMPOSTURES)
def test_an_impostor_is_not_believed(faults) -> None:
    async def what(node, link) -> None:
        for name, value in faults.items():
            setattr(node.faults, name, value)
        with pytest.raises(NodeImpostor):
            await link.state()
        with pytest.raises(NodeImpostor):
            await link.put_image(b"x", ticket_for(node, b"x", 2))

    assert talk(what).images_taken == []


def test_a_replayed_answer_is_not_believed() -> None:
    async def what(node, link) -> None:
        node.faults.replayed_answer = True
        await link.state()
        with pytest.raises(NodeImpostor, match="nonce"):
            await link.state()

    talk(what)


def test_a_node_with_another_key_is_an_impostor() -> None:
    async def what(node, link) -> None:
        with pytest.raises(NodeImpostor):
            await link.state()

    talk(what, key=bytes(32))


def test_a_signed_refusal_with_a_bad_signature_is_not_believed() -> None:
    async def what(node, link) -> None:
        state = link.state

        async def then_lie():
            read = await state()
            node.faults.bad_signature = True
            return read

        link.state = then_lie
        with pytest.raises(NodeUnreachable) as told:
            await link.keep()
        assert told.value.code is UNPROVED

    talk(what)


# ------------------------------------------------- answers that are none
BROKEN = {
    "half an answer": ({"half_answer": True}, LinkError),
    "a huge answer": ({"huge_answer_bytes": 64 << 20}, LinkError),
    "not a document": ({"raw_body": b"<html>"}, LinkError),
    "silence": ({"silent": True}, NodeUnreachable),
    "an answer that comes too late": ({"answer_delay_s": 30}, NodeUnreachable),
    "a connection that is cut off": ({"down": True}, NodeUnreachable),
}


@pytest.mark.parametrize(("faults", "error"), BROKEN.values(), ids=BROKEN)
def test_a_broken_answer_is_an_error_of_the_link(faults, error) -> None:
    async def what(node, link) -> None:
        for name, value in faults.items():
            setattr(node.faults, name, value)
        with pytest.raises(error) as caught:
            await link.state()
        assert "ridge-01" in caught.value.what
        with pytest.raises(LinkError):
            await read_unconfirmed_state(node.address, node.port, session=link._session, timeouts=HASTY)

    talk(what, timeouts=HASTY)


def test_nobody_listens() -> None:
    async def what(node, link) -> None:
        await node.stop()
        with pytest.raises(NodeUnreachable):
            await link.state()

    talk(what)


@pytest.mark.parametrize(
    "raw",
    [
        b"",
        b"\r\n\r\n",
        b"SSH-2.0-x\r\n",
        b"HTTP/1.1 999999 x\r\n\r\n",
        b"HTTP/1.1 200 OK\r\nContent-Length: -1\r\n\r\n",
        b"HTTP/1.1 200 OK\r\nContent-Length: 5\r\n\r\nab",
        b"HTTP/1.1 200 OK\r\n" + b"A: b\r\n" * 20_000 + b"\r\n",
        b"HTTP/1.1 302 Found\r\nLocation: http://127.0.0.1/\r\nContent-Length: 0\r\n\r\n",
        b"HTTP/1.1 200 OK\r\nContent-Encoding: gzip\r\nContent-Length: 3\r\n\r\nabc",
        b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\nzz\r\n",
    ],
    ids=lambda raw: repr(raw[:24]),
)
def test_whatever_answers_there_is_an_error_of_the_link(raw) -> None:
    """A printer, a proxy, something on the wrong port."""

    async def whole() -> None:
        async def answer(reader, writer) -> None:
            await reader.readuntil(b"\r\n\r\n")
            writer.write(raw)
            writer.close()

        server = await asyncio.start_server(answer, "127.0.0.1", 0)
        port = server.sockets[0].getsockname()[1]
        async with server, open_session() as session:
            link = NodeLink(
                "ridge-01",
                "127.0.0.1",
                port,
                bytes(32),
                session=session,
                entropy=secrets.token_bytes,
                timeouts=HASTY,
            )
            with pytest.raises(LinkError):
                await link.state()

    asyncio.run(whole())


@pytest.mark.parametrize("body", [b"[]", b"{}", b'{"ok":1}', b'{"ok":true,"phase":"x"}', b"\xff"])
def test_an_answer_to_a_change_that_is_neither_yes_nor_no(body) -> None:
    async def what(node, link) -> None:
        state = link.state

        async def then_babble():
            read = await state()
            node.faults.raw_body = body
            return read

        link.state = then_babble
        with pytest.raises(LinkError, match="neither"):
            await link.rest()

    talk(what)


# ------------------------------------------------- transfers that go wrong
def test_a_transfer_that_stalls_is_given_up() -> None:
    async def what(node, link) -> None:
        node.faults.stall_after_bytes = 30_000
        image = some_image(1 << 20)
        with pytest.raises(NodeUnreachable, match="no more bytes taken") as caught:
            await link.put_image(image, ticket_for(node, image, 2))
        assert caught.value.code.code == "LNK102"

    assert talk(what).images_taken == []


@pytest.mark.slow
def test_a_slow_transfer_goes_on_as_long_as_bytes_are_taken() -> None:
    """In all it takes longer than the timeout for a stall."""

    async def what(node, link) -> None:
        node.faults.read_bytes_per_s = 800_000
        image = some_image(1 << 20)
        assert await link.put_image(image, ticket_for(node, image, 2)) is Phase.ON_TRIAL

    talk(what, fake(receive_buffer_bytes=8192))


def test_an_image_that_is_taken_whole_but_never_answered() -> None:
    async def what(node, link) -> None:
        state = link.state

        async def then_doze():
            read = await state()
            node.faults.answer_delay_s = 30
            return read

        link.state = then_doze
        image = some_image()
        with pytest.raises(NodeUnreachable, match="no answer in time"):
            await link.put_image(image, ticket_for(node, image, 2))

    talk(what, timeouts=Timeouts(connect_s=10, answer_s=10, stall_s=0.2, finish_s=0.2))


def test_a_connection_cut_off_in_the_middle_of_an_image() -> None:
    async def what(node, link) -> None:
        node.faults.cut_after_bytes = 30_000
        image = some_image(1 << 20)
        with pytest.raises(NodeUnreachable):
            await link.put_image(image, ticket_for(node, image, 2))
        assert node.heard.count(("PUT", "/v1/image")) == 1
        node.faults.cut_after_bytes = None
        assert await link.put_image(image, ticket_for(node, image, 2)) is Phase.ON_TRIAL

    talk(what)


def test_a_node_that_takes_the_image_and_vanishes_can_be_asked_afterwards() -> None:
    async def what(node, link) -> None:
        node.faults.take_and_vanish = True
        image = some_image()
        with pytest.raises(NodeUnreachable):
            await link.put_image(image, ticket_for(node, image, 2))
        assert node.heard.count(("PUT", "/v1/image")) == 1
        assert (await link.state()).image == hashlib.sha256(image).hexdigest()

    talk(what)


def test_no_byte_is_sent_without_the_node_s_go_ahead() -> None:
    sent = []

    async def what(node, link) -> None:
        node.faults.no_go_ahead = True
        with pytest.raises(NodeUnreachable):
            await link.put_image(b"x" * 1000, ticket_for(node, b"x" * 1000, 2), lambda *p: sent.append(p))

    talk(what, timeouts=Timeouts(connect_s=0.3, answer_s=0.3))
    assert sent == []


@pytest.mark.parametrize("size_bytes", [0, (4 << 20) + 1])
def test_an_image_of_an_impossible_size_is_not_even_tried(size_bytes) -> None:
    async def what(node, link) -> None:
        with pytest.raises(LinkError) as caught:
            await link.put_image(bytes(size_bytes), b"ticket")
        assert caught.value.code.code == "LNK106"

    assert talk(what).heard == []


@pytest.mark.slow
def test_transfers_share_the_image() -> None:
    """40 transfers of 1 MiB stall at once: what they hold together stays under a few of their images."""
    image = bytes(1 << 20)

    async def whole() -> int:
        nodes = [fake(f"ridge-{i:02}") for i in range(40)]
        async with open_session() as session:
            for node in nodes:
                node.faults.stall_after_bytes = 1
                await node.start()
            sends = [
                NodeLink(
                    node.name,
                    node.address,
                    node.port,
                    node.node_key,
                    session=session,
                    entropy=secrets.token_bytes,
                    timeouts=Timeouts(connect_s=5, answer_s=5, stall_s=0.7, finish_s=1),
                ).put_image(image, ticket_for(node, image, 2))
                for node in nodes
            ]
            tracemalloc.start()
            ends = await asyncio.gather(*sends, return_exceptions=True)
            peak_bytes = tracemalloc.get_traced_memory()[1]
            tracemalloc.stop()
            assert all(isinstance(end, NodeUnreachable) for end in ends)
            for node in nodes:
                await node.stop()
        return peak_bytes

    assert asyncio.run(whole()) < 10 << 20
