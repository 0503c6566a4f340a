"""Announcements over real multicast DNS on loopback: heard, asked for, taken back, forged."""

from __future__ import annotations

import asyncio
import secrets
import socket
from collections.abc import Awaitable, Callable

import pytest

from fleet.errors import UsageError
from fleet.find.browse import Browser, browsing
from fleet.find.records import SERVICE, read_txt
from fleet.find.sighting import Sighting
from tests.announcer import GROUP, PORT, Announced, Announcer, packet

LOOPBACK = "127.0.0.1"
DEADLINE_S = 10.0


def name(word: str = "ridge") -> str:
    """A name that no other test on this machine uses."""
    return f"{word}-{secrets.token_hex(4)}"


async def seen(browser: Browser, *nodes: Announced) -> list[Sighting]:
    """The sightings of these nodes, once all are there and nothing more came for a moment."""
    wanted = {node.node for node in nodes}

    def there() -> bool:
        browser.fresh()
        return wanted <= {s.node for s in browser.sightings()} and browser.quiet_s() > 0.15

    await browser.ask()
    await until(there, browser)
    return [s for s in browser.sightings() if s.node in wanted]


async def until(holds: Callable[[], bool], browser: Browser) -> None:
    async with asyncio.timeout(DEADLINE_S):
        while not holds():
            await browser.news(0.05)
            browser.fresh()


def browse(
    what: Callable[[Browser, Announcer], Awaitable[None]], *nodes: Announced, bench: str | None = None
) -> None:
    async def whole() -> None:
        async with Announcer(list(nodes)) as announcer, browsing(LOOPBACK, bench) as browser:
            await what(browser, announcer)

    asyncio.run(whole())


def test_a_node_is_heard_with_all_that_it_announces() -> None:
    node = Announced(name(), "127.9.0.1", 8080, {"release": "2.0.1", "phase": "on-trial"})

    async def what(browser, announcer) -> None:
        (found,) = await seen(browser, node)
        assert (found.node, found.address, found.port) == (node.node, "127.9.0.1", 8080)
        assert found.txt == {
            "id": node.node,
            "release": "2.0.1",
            "img": "0" * 16,
            "board": "esp32-devkit",
            "phase": "on-trial",
        }

    browse(what, node)


def test_what_does_not_come_along_is_asked_for() -> None:
    node = Announced(name(), "127.9.0.2", 8081, with_additionals=False)

    async def what(browser, announcer) -> None:
        (found,) = await seen(browser, node)
        assert (found.address, found.port, found.txt["id"]) == ("127.9.0.2", 8081, node.node)

    browse(what, node)


def test_an_announcement_is_heard_without_a_question() -> None:
    node = Announced(name(), "127.9.0.3", 8080)

    async def what(browser, announcer) -> None:
        await browser.ask()
        await until(lambda: announcer.questions > 0, browser)
        announcer.announce(node)
        await until(lambda: any(s.node == node.node for s in browser.sightings()), browser)

    browse(what)


def test_a_node_that_says_goodbye_is_gone() -> None:
    """RFC 6762 10.1: a goodbye counts as one second of life."""
    node = Announced(name(), "127.9.0.4", 8080)

    async def what(browser, announcer) -> None:
        assert await seen(browser, node)
        announcer.goodbye(node)
        await until(lambda: all(s.node != node.node for s in browser.sightings()), browser)

    browse(what, node)


def test_two_boards_of_one_name_are_both_seen() -> None:
    one = Announced(name(), "127.9.0.5", 8080)
    two = Announced(one.node, "127.9.0.6", 8080)

    async def what(browser, announcer) -> None:
        found = await seen(browser, one)
        assert {s.address for s in found} == {"127.9.0.5", "127.9.0.6"}

    browse(what, one, two)


def test_the_identity_is_the_txt_id_and_not_the_instance_name() -> None:
    node = Announced(name(), "127.9.0.7", 8080, instance=f"{name()} (2)", host=name("host"))

    async def what(browser, announcer) -> None:
        (found,) = await seen(browser, node)
        assert found.address == "127.9.0.7"

    browse(what, node)


@pytest.mark.slow
def test_a_stale_address_is_flushed_by_the_new_one() -> None:
    """RFC 6762 10.2: the cache-flush bit ends records that are older than one second."""
    node = Announced(name(), "127.9.0.8", 8080)

    async def what(browser, announcer) -> None:
        found = await seen(browser, node)
        assert {s.address for s in found} == {"127.9.0.8"}
        node.address = "127.9.0.9"

        async with asyncio.timeout(DEADLINE_S):
            while {s.address for s in found} != {"127.9.0.9"}:
                await asyncio.sleep(0.3)
                announcer.announce(node)
                found = await seen(browser, node)

    browse(what, node)


def test_a_question_holds_the_answers_that_are_known() -> None:
    """RFC 6762 7.1: a fresh browser costs a large fleet no second flood, only what is lacking is answered."""
    node, late = Announced(name(), "127.9.0.10", 8080), Announced(name(), "127.9.0.11", 8080)

    async def what(browser, announcer) -> None:
        await seen(browser, node)
        sent = announcer.sent
        announcer.nodes.append(late)
        assert await seen(browser, late)
        assert announcer.sent - sent <= 3, "the node that was known already answered again"

    browse(what, node)


def virtual(node: str, address: str, bench: str) -> Announced:
    """A node of that bench, as docs/node-interface.md 1 has it announce itself."""
    label = f"{node}-bench-{bench}"
    return Announced(node, address, 8080, {"bench": bench}, instance=label, host=label)


def test_two_benches_and_real_nodes_of_one_name_do_not_mix() -> None:
    one, other, real = "0a1b2c3d", "4e5f6a7b", Announced(name(), "127.9.0.14", 8080)
    mine, theirs = virtual(real.node, "127.9.0.15", one), virtual(real.node, "127.9.0.16", other)
    for bench, address in ((one, "127.9.0.15"), (other, "127.9.0.16"), (None, "127.9.0.14")):

        async def what(browser, announcer, address=address) -> None:
            assert [s.address for s in await seen(browser, real)] == [address]

        browse(what, mine, theirs, real, bench=bench)


def test_a_virtual_node_is_known_by_its_label_until_its_txt_comes() -> None:
    node = virtual(name(), "127.9.0.17", "0a1b2c3d")
    last = Announced(name(), "127.9.0.18", 8080)

    async def what(browser, announcer) -> None:
        _, service, _, host = node.records()
        pointer = node.records()[0]
        announcer._transport.sendto(packet([pointer, service, host]), (GROUP, PORT))
        assert await seen(browser, last)
        assert [s for s in browser.sightings() if s.address == node.address] == []

    browse(what, last)


def test_nothing_on_a_network_hides_behind_a_bench() -> None:
    """Virtual nodes have loopback addresses; what says so of another address is looked at like any node."""
    node = virtual(name(), "192.0.2.7", "0a1b2c3d")

    async def what(browser, announcer) -> None:
        assert [s.address for s in await seen(browser, node)] == ["192.0.2.7"]

    browse(what, node)


def test_forged_packets_change_nothing() -> None:
    """Noise, cut-off answers, compression loops (RFC 1035 4.1.4), names and texts that are not text."""
    node = Announced(name(), "127.9.0.12", 8080)
    good = node.records()
    whole = packet(good)
    forged = [b"", b"\x00" * 12, secrets.token_bytes(300), whole[: len(whole) // 2]]
    forged.append(
        b"\x00\x00\x84\x00\x00\x00\x00\x01\x00\x00\x00\x00\xc0\x0c\x00\x0c\x00\x01\x00\x00\x11\x94\x00\x02\xc0\x0c"
    )
    odd = Announced(
        "x", "127.9.0.13", 8080, {"id": "\x1b[31m", "release": "\u202e"}, instance=f"\x07{name()}"
    )
    forged.append(packet(odd.records()))

    async def what(browser, announcer) -> None:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
            sock.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, socket.inet_aton(LOOPBACK))
            for data in forged:
                sock.sendto(data, (GROUP, PORT))
        assert await seen(browser, node)
        for sighting in browser.sightings():
            assert "\x1b" not in repr(sighting.txt.values())

    browse(what, node)


def test_a_flood_of_names_leaves_room_for_those_that_are_looked_for(monkeypatch) -> None:
    monkeypatch.setattr("fleet.find.browse.SIGHTINGS", 5)
    ours, late = Announced(name(), "127.9.1.1", 8080), Announced(name("late"), "127.9.1.2", 8080)
    flood = [Announced(name("flood"), f"127.9.2.{n + 1}", 8080) for n in range(20)]

    async def whole() -> None:
        async with Announcer(flood) as announcer, browsing(LOOPBACK, None, [ours.node]) as browser:
            await browser.ask()
            await until(lambda: browser.passed_over, browser)
            announcer.announce(late)
            announcer.announce(ours)
            await until(lambda: ours.node in {s.node for s in browser.sightings()}, browser)
            assert late.node not in {s.node for s in browser.sightings()}

    asyncio.run(whole())


def test_who_does_not_say_where_it_is_keeps_no_node_that_is_looked_for_waiting(monkeypatch) -> None:
    """An instance without SRV is asked for it; here one at a time, each for longer than the test."""
    monkeypatch.setattr("fleet.find.browse.RESOLVE_AT_ONCE", 1)
    monkeypatch.setattr("fleet.find.browse.RESOLVE_TIMEOUT_S", 1000)
    ours = Announced(name("zz"), "127.9.1.1", 8080, with_additionals=False)
    mute = [Announced(name("a"), "127.9.2.1", 8080, with_additionals=False) for _ in range(30)]

    async def whole() -> None:
        async with Announcer([*mute, ours]) as announcer, browsing(LOOPBACK, None, [ours.node]) as browser:
            await browser.ask()
            await until(lambda: len(browser._lacking) > len(mute), browser)
            announcer.nodes = [ours]
            await until(lambda: ours.node in {s.node for s in browser.sightings()}, browser)

    asyncio.run(whole())


def test_an_interface_that_is_not_ours_is_said_so() -> None:
    async def whole() -> None:
        async with browsing("192.0.2.1"):
            pass

    with pytest.raises(UsageError, match=r"192\.0\.2\.1"):
        asyncio.run(whole())


def test_txt_records_are_read_as_rfc_6763_says() -> None:
    """6.4: the first of a key counts, keys are case-insensitive, a key may have no value."""
    entries = [b"id=ridge-01", b"ID=other", b"flag", b"release=1=2", b"=nokey", b"bad=\x1b[0m", b""]
    text = b"".join(bytes([len(entry)]) + entry for entry in entries)
    assert read_txt([text, b"\x05id=xx"]) == {
        "id": "ridge-01",
        "flag": "",
        "release": "1=2",
        "bad": "\\x1b[0m",
    }
    assert read_txt([]) == {}
    assert read_txt([b"\xffshort"]) == {"short": ""}
    assert SERVICE == "_tanknode._tcp.local."
