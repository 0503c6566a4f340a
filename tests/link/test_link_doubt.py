"""What the link makes of nodes that are crowded, of refusals that anybody could have sent, of nonces that died and
of links that are too slow, over real sockets against the stand-in."""

from __future__ import annotations

import asyncio
import re
import secrets
from dataclasses import replace
from pathlib import Path

import pytest

from fleet.errors import LinkError, NodeImpostor, NodeRefused, NodeUnreachable
from fleet.limits import BODY_GRACE_S, CHANGE_TRIES, SLOWEST_SEND_BYTES_PER_S, STATE_TRIES
from fleet.link import payload
from fleet.link.client import NodeLink, open_session
from fleet.link.codes import CHANGED_ON_WAY, CROWDED, NO_MEMORY, TOO_SLOW, UNPROVED
from fleet.link.exchange import slowest_answer_s
from fleet.link.payload import longest_send_s, slowest_send_s
from fleet.link.refusals import SPOILT, UNBELIEVED
from fleet.link.state import Phase
from tests.fake_node import FakeNode
from tests.link_helpers import PATIENT, HandClock, fake, ticket_for

QUICK = replace(PATIENT, crowded_s=30.0, crowded_retry_s=0.001)
INTERFACE = Path(__file__).parents[2] / "docs" / "node-interface.md"
CONNECTION = Path(__file__).parents[2] / "templates" / "firmware" / "core" / "connection.h"


def run(what, node: FakeNode, timeouts=QUICK) -> None:
    async def whole() -> None:
        async with node, open_session() as session:
            link = NodeLink(
                node.name,
                node.address,
                node.port,
                node.node_key,
                session=session,
                entropy=secrets.token_bytes,
                timeouts=timeouts,
            )
            await what(link)

    asyncio.run(whole())


# ------------------------------------------------- crowded
def test_a_crowded_node_is_asked_again_until_it_has_a_place() -> None:
    node = fake()

    async def what(link) -> None:
        node.faults.crowded = 3
        assert (await link.state()).node == node.name
        node.faults.crowded = 2
        assert await link.rest() is Phase.KEPT

    run(what, node)
    assert node.resting


def test_a_node_that_stays_crowded_is_called_so_within_bounds() -> None:
    node = fake()
    node.faults.crowded = 10**9

    async def what(link) -> None:
        with pytest.raises(NodeUnreachable, match="LNK110") as told:
            await link.state()
        assert told.value.code is CROWDED

    run(what, node, replace(QUICK, crowded_s=0.05))
    assert node.heard == []


# ------------------------------------------------- refusals that anybody could have sent
@pytest.mark.parametrize(
    "code", ["bad-signature", "old-sequence", "not-on-trial", "nonce-used", "bad-ticket"]
)
def test_an_unsigned_no_to_a_signed_request_is_no_answer(code) -> None:
    node = fake()
    node.faults.refuse = {"/v1/keep": (403, code), "/v1/image": (403, code)}
    node.faults.unsigned_refusals = True

    async def what(link) -> None:
        for change in (link.keep(), link.put_image(b"x", ticket_for(node, b"x", 2))):
            with pytest.raises(NodeUnreachable, match=code) as told:
                await change
            assert told.value.code is UNPROVED

    run(what, node)
    assert node.heard.count(("POST", "/v1/keep")) == 1, (
        "an unsigned `nonce-used` makes nothing be signed anew"
    )


def test_a_signed_no_is_a_no() -> None:
    async def what(link) -> None:
        with pytest.raises(NodeRefused) as told:
            await link.keep()
        assert told.value.refusal == "not-on-trial"

    run(what, fake())


# ------------------------------------------------- forged answers, changed requests
def test_one_forged_state_among_honest_ones_is_asked_for_again() -> None:
    node = fake()

    async def what(link) -> None:
        node.faults.forged = {"/v1/state": STATE_TRIES - 1}
        assert (await link.state()).node == node.name

    run(what, node)


def test_a_state_under_no_good_signature_again_and_again_is_an_impostors() -> None:
    node = fake()

    async def what(link) -> None:
        node.faults.forged = {"/v1/state": STATE_TRIES}
        with pytest.raises(NodeImpostor):
            await link.state()

    run(what, node)
    assert len(node.heard) == STATE_TRIES


@pytest.mark.parametrize("answer", [b"HTTP/1.1 404 No\r\nContent-Length: 0\r\n\r\n", b"garbage\r\n\r\n"])
def test_a_forged_no_to_the_question_for_a_nonce_is_no_answer_to_the_change(answer) -> None:
    """Else anybody's `404` would count as the node's word on an image."""
    node = fake()
    node.faults.raw_answer = answer

    async def what(link) -> None:
        with pytest.raises(LinkError) as told:
            await link.put_image(b"x", ticket_for(node, b"x", 2))
        assert not isinstance(told.value, NodeRefused)

    run(what, node)


def test_a_forged_yes_to_a_change_is_no_answer() -> None:
    """It took the image, or it did not: nobody knows, and its state will tell. It is not sent again blindly."""
    node, image = fake(), b"x"

    async def what(link) -> None:
        node.faults.forged = {"/v1/image": 1, "/v1/keep": 1}
        for change in (link.put_image(image, ticket_for(node, image, 2)), link.keep()):
            with pytest.raises(NodeUnreachable) as told:
                await change
            assert told.value.code is UNPROVED

    run(what, node)
    assert node.heard.count(("PUT", "/v1/image")) == node.heard.count(("POST", "/v1/keep")) == 1


@pytest.mark.parametrize("fault", [{"raw_answer": b"garbage\r\n\r\n"}, {"huge_answer_bytes": 5_000}])
def test_an_answer_to_a_change_that_is_none_is_no_answer(fault) -> None:
    node = fake()

    async def what(link) -> None:
        nonce = (await link.state()).nonce
        for name, value in fault.items():
            setattr(node.faults, name, value)

        async def known() -> str:
            return nonce

        link._fresh_nonce = known
        with pytest.raises(NodeUnreachable) as told:
            await link.rest()
        assert told.value.code is UNPROVED

    run(what, node)


def test_a_request_that_was_changed_on_the_way_is_signed_anew() -> None:
    node, image = fake(), b"x"

    async def what(link) -> None:
        node.faults.spoilt = {"/v1/image": CHANGE_TRIES - 1}
        assert await link.put_image(image, ticket_for(node, image, 2)) is Phase.ON_TRIAL

    run(what, node)
    assert node.heard.count(("PUT", "/v1/image")) == CHANGE_TRIES and len(node.images_taken) == 1


def test_requests_that_are_all_changed_on_the_way_are_given_up_and_it_is_said_why() -> None:
    node = fake()

    async def what(link) -> None:
        node.faults.spoilt = {"/v1/rest": 10**9}
        with pytest.raises(
            NodeUnreachable, match=r"bad-signature.*a device on the way changes what is sent"
        ) as told:
            await link.rest()
        assert told.value.code is CHANGED_ON_WAY

    run(what, node)
    assert node.heard.count(("POST", "/v1/rest")) == CHANGE_TRIES and not node.resting


@pytest.mark.parametrize("code", sorted(UNBELIEVED))
def test_no_refusal_of_before_the_node_believed_ends_a_change_at_once(code) -> None:
    node = fake()
    node.faults.refuse = {"/v1/keep": (400, code)}

    async def what(link) -> None:
        with pytest.raises(NodeUnreachable, match=code):
            await link.keep()

    run(what, node)
    assert node.heard.count(("POST", "/v1/keep")) == CHANGE_TRIES


def test_every_refusal_that_the_way_can_bring_about_is_one_of_the_interface() -> None:
    """docs/node-interface.md 2, its table of refusals."""
    table = set(
        re.findall(r"^\| [0-9 /]+ \| `([a-z-]+)`", INTERFACE.read_text(encoding="utf-8"), re.MULTILINE)
    )
    assert table > SPOILT and {"bad-ticket", "flash-failed", "busy"} <= table - SPOILT


# ------------------------------------------------- slow answers
def test_an_answer_that_drips_is_given_up() -> None:
    """A byte each 10 ms for ever: 100 bytes a second."""
    node = fake()
    node.faults.drips_s = 0.01

    async def what(link) -> None:
        with pytest.raises(NodeUnreachable, match="slower than 10 kB/s"):
            await link.rest()

    run(what, node, replace(QUICK, connect_s=1000, answer_s=1000, answer_grace_s=0.0))


def test_what_an_answer_and_an_image_may_take_at_most() -> None:
    """By hand: 5 + 16384 / 10000; 512 KiB: 10 + 52.4288 + 8 x 9 (docs/node-interface.md 2; SEND_CHUNK_BYTES)."""
    assert slowest_answer_s(16 * 1024) == pytest.approx(6.6384)
    assert longest_send_s(512 * 1024) == pytest.approx(134.4288)


# ------------------------------------------------- words of others
@pytest.mark.parametrize(
    "foreign", ["\x1b[2J\x1b[31mall is well", "\U000e0041\U000e0042", "\u202egnp.exe", "\x9b31m", "x" * 5_000]
)
def test_what_is_not_http_is_shown_short_and_printable(foreign) -> None:
    node = fake()
    node.faults.raw_answer = foreign.encode() + b"\r\n\r\n"

    async def what(link) -> None:
        with pytest.raises(LinkError) as told:
            await link.state()
        assert told.value.what.isprintable() and len(told.value.what) < 400

    run(what, node)


# ------------------------------------------------- nonces
def test_a_nonce_that_died_on_the_way_is_replaced_once() -> None:
    """The request comes 61 s after the state was read: the node says `nonce-used`, signed; once more, and it obeys."""
    clock = HandClock()
    node = fake(clock=clock)

    async def what(link) -> None:
        state, late = link.state, [61.0]

        async def then_late():
            read = await state()
            clock.pass_s(late.pop() if late else 0.0)
            return read

        link.state = then_late
        assert await link.rest() is Phase.KEPT

    run(what, node)
    assert node.heard.count(("POST", "/v1/rest")) == 2 and node.resting


@pytest.mark.parametrize(
    ("waits_s", "obeyed"), [(0, True), (29.9, True), (60.0, False), (600.0, False), (3_456_000.0, False)]
)
def test_a_request_that_is_held_back_is_worthless_after_a_minute(waits_s, obeyed) -> None:
    """Somebody on the way takes a signed request and keeps it; who else reads the state changes nothing (40 days: the
    case that was seen)."""
    clock = HandClock()
    node = fake(clock=clock)

    async def what(link) -> None:
        clock.pass_s(17.0)
        node.faults.lets_through = False
        with pytest.raises(NodeUnreachable):
            await link.rest()
        (held,) = node.held_back
        for _ in range(10):
            clock.pass_s(waits_s / 10)
            await link.state()
        assert node.deliver(held) == ("" if obeyed else "nonce-used")
        assert node.deliver(held) == "nonce-used"

    run(what, node)
    assert node.resting is obeyed


# ------------------------------------------------- memory, slow links
def test_want_of_memory_is_a_kind_of_its_own() -> None:
    node = fake()
    node.faults.refuse = {"/v1/image": (503, "no-memory")}

    async def what(link) -> None:
        with pytest.raises(NodeRefused) as told:
            await link.put_image(b"x", ticket_for(node, b"x", 2))
        assert (told.value.code, told.value.refusal) == (NO_MEMORY, "no-memory")

    run(what, node)


def test_a_transfer_that_the_node_ended_for_its_slowness_says_how_slow_it_was(monkeypatch) -> None:
    """With a grace of nothing, every transfer is too slow."""
    node = fake(receive_buffer_bytes=4096)
    node.faults.cut_after_bytes = 300_000
    monkeypatch.setattr(payload, "slowest_send_s", lambda size_bytes: 0.0)

    async def what(link) -> None:
        image = bytes(700_000)
        with pytest.raises(NodeUnreachable, match=r"it went at \d+\.\d kB/s .* no less than 10 kB/s") as told:
            await link.put_image(image, ticket_for(node, image, 2))
        assert told.value.code is TOO_SLOW

    run(what, node)


def test_both_sides_hold_to_the_same_slowest_transfer() -> None:
    """The core's constants, as written in connection.h, and the tool's; 512 KiB by hand: 10 + 52.4 s."""
    core = dict(
        line.split("constexpr uint64_t ")[1].split(";")[0].split(" = ")
        for line in CONNECTION.read_text(encoding="utf-8").splitlines()
        if line.startswith("constexpr uint64_t ") and " = " in line
    )
    assert int(core["kBodyMs"]) / 1000 == BODY_GRACE_S
    assert int(core["kSlowestBytesPerMs"]) * 1000 == SLOWEST_SEND_BYTES_PER_S
    assert slowest_send_s(512 * 1024) == pytest.approx(62.4, abs=0.05)


# ------------------------------------------------- a go-ahead that anybody could have said
@pytest.mark.parametrize(("held_s", "takes_it"), [(59.0, True), (61.0, False)])
def test_who_says_the_go_ahead_for_the_node_holds_an_image_back_for_a_minute_at_most(
    held_s, takes_it
) -> None:
    """No interim answer is signed, so that the tool takes its bytes for begun (docs/threats.md); but the request counts
    for 60 s at most (docs/node-interface.md 3)."""
    clock = HandClock()
    node, image = fake(clock=clock), secrets.token_bytes(50_000)
    begun_unheard = []

    async def between(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        head, body, first = await reader.readuntil(b"\r\n\r\n"), b"", b""
        if head.startswith(b"PUT"):
            writer.write(b"HTTP/1.1 100 Continue\r\n\r\n")
            body = await reader.readexactly(len(image))
            clock.pass_s(held_s)
        from_node, to_node = await asyncio.open_connection(node.address, node.port)
        to_node.write(head)
        if body:
            first = await from_node.readuntil(b"\r\n\r\n")
            if b" 100 " in first:
                to_node.write(body)
                first = b""
        writer.write(first)
        writer.write(await from_node.read())
        await writer.drain()
        writer.close()
        to_node.close()

    def told(sent_bytes: int, size_bytes: int) -> None:
        if sent_bytes == 0:
            begun_unheard.append(all(method != "PUT" for method, _ in node.heard))

    async def what(link) -> None:
        async with await asyncio.start_server(between, "127.0.0.1", 0) as server:
            link.port = server.sockets[0].getsockname()[1]
            if takes_it:
                assert await link.put_image(image, ticket_for(node, image, 7), told) is Phase.ON_TRIAL
                return
            with pytest.raises(NodeUnreachable) as late:
                await link.put_image(image, ticket_for(node, image, 7), told)
            assert late.value.code is CHANGED_ON_WAY

    run(what, node)
    assert begun_unheard[0], "the tool was told that bytes go, and the node had heard nothing"
    assert len(node.images_taken) == int(takes_it)
