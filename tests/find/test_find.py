"""A whole search: real multicast DNS on loopback, real HTTP to stand-ins, every status in one fleet."""

from __future__ import annotations

import asyncio
import secrets
from contextlib import AsyncExitStack
from datetime import UTC, datetime
from functools import partial

import pytest

from fleet.errors import UsageError
from fleet.find.find import find
from fleet.find.match import Match, Status
from fleet.find.scope import interface_for
from fleet.find.search import Search
from fleet.find.seen import Seen, read_seen, write_seen
from fleet.model.inventory import Inventory
from fleet.socket_path import listen_at
from fleet.workspace import Workspace
from tests.announcer import Announced, Announcer
from tests.fake_node import FakeNode
from tests.link_helpers import fake, key_of

LOOPBACK = "127.0.0.1"
OWN, OTHER = "0a1b2c3d", "4e5f6a7b"
"""Ids of two benches."""
NOW = datetime(2026, 3, 1, 6, 0, tzinfo=UTC)


def inventory_of(*names: str) -> Inventory:
    """The least inventory that has these nodes; finding looks at names alone."""
    parts = {"sites": [], "tanks": [], "fleet": {"name": "ridge", "domain": "ridge.example"}, "policy": {}}
    serves = [{"tank": "header", "probes": {"full": "D1"}}]
    nodes = [{"name": name, "board": "d1-mini", "serves": serves} for name in names]
    return Inventory.model_validate(parts | {"nodes": nodes})


def workspace_in(folder) -> Workspace:
    return Workspace(folder, folder / "inventory", folder / "keys")


class Ground:
    """Stand-ins and announcements on loopback; names end in a word that no other test uses."""

    def __init__(self, workspace: Workspace) -> None:
        self.workspace = workspace
        self.word = secrets.token_hex(3)
        self.announcer = Announcer()
        self.stack = AsyncExitStack()
        self.told: list[tuple[str, ...]] = []

    async def __aenter__(self) -> Ground:
        await self.stack.enter_async_context(self.announcer)
        return self

    async def __aexit__(self, *_: object) -> None:
        await self.stack.aclose()

    def name(self, short: str) -> str:
        return f"{short}-{self.word}"

    async def node(self, short: str, *, announced: bool = True, **more) -> FakeNode:
        node = await self.stack.enter_async_context(fake(self.name(short), **more))
        if announced:
            self.announcer.nodes.append(Announced(node.name, node.address, node.port, node.txt()))
        return node

    async def find(self, *expected: str, timeout_s: float = 2.2, only: bool = False) -> dict[str, Match]:
        """Matches of this test's names, by short name."""
        names = [self.name(short) for short in expected]
        matches = await find(
            inventory_of(*names),
            key_of,
            self.workspace,
            interface=LOOPBACK,
            timeout_s=timeout_s,
            nodes=names if only else None,
            tell=lambda awaited, left_s: self.told.append(awaited),
            now=lambda: NOW,
        )
        return {m.node.removesuffix(f"-{self.word}"): m for m in matches if m.node.endswith(self.word)}


def on_ground(tmp_path, what) -> None:
    async def whole() -> None:
        async with Ground(workspace_in(tmp_path)) as ground:
            await what(ground)

    asyncio.run(whole())


def test_a_fleet_with_every_status(tmp_path) -> None:
    async def what(ground: Ground) -> None:
        here = await ground.node("here")
        moved = await ground.node("moved")
        quiet = await ground.node("quiet", announced=False)
        await ground.node("double", mac="02:00:00:00:00:01")
        await ground.node("double", mac="02:00:00:00:00:02")
        await ground.node("false", node_key=bytes(32))
        await ground.node("stranger")
        before = {
            moved.name: Seen("127.9.9.9", 80, moved.mac, "2026-02-01T00:00:00+00:00"),
            quiet.name: Seen(quiet.address, quiet.port, quiet.mac, "2026-02-01T00:00:00+00:00"),
        }
        write_seen(ground.workspace.seen_path, before)

        found = await ground.find("here", "moved", "quiet", "double", "false", "gone")

        assert {short: match.status for short, match in found.items()} == {
            "here": Status.FOUND,
            "moved": Status.MOVED,
            "quiet": Status.FOUND,
            "double": Status.DOUBLE,
            "false": Status.IMPOSTOR,
            "gone": Status.MISSING,
            "stranger": Status.UNKNOWN,
        }
        assert (found["here"].address, found["here"].port) == (here.address, here.port)
        assert found["here"].state is not None
        assert found["here"].state.mac == here.mac
        assert found["gone"].evidence == ("never found before",)
        assert any(ground.name("gone") in awaited for awaited in ground.told), (
            "nothing was said while waiting"
        )
        after = read_seen(ground.workspace.seen_path)
        assert after.keys() == {here.name, moved.name, quiet.name}
        assert after[moved.name] == Seen(moved.address, moved.port, moved.mac, "2026-03-01T06:00:00+00:00")

    on_ground(tmp_path, what)


ODD_IDS = (
    "Guest",
    "a_b",
    "-x",
    "x-",
    "a b",
    "",
    "ü",
    "a\x1b[2Jb",
    "a\nb",
    "\U000e0041",
    "\u202eb",
    "x" * 70,
    "y" * 240,
)


def test_names_that_cannot_be_ours_are_listed_as_strangers(tmp_path) -> None:
    """Whatever is announced, find goes on; the rules of a name are the inventory's (docs/inventory.md, names)."""

    async def what(ground: Ground) -> None:
        here = await ground.node("here")
        for number, odd in enumerate(ODD_IDS):
            announced = Announced(
                f"odd-{number}-{ground.word}", here.address, here.port, {"id": odd} if odd else {}
            )
            ground.announcer.nodes.append(announced)
        bare = Announced(
            f"bare-{ground.word}", here.address, here.port, {"id": ""}, instance=f"A\x07_{ground.word}"
        )
        ground.announcer.nodes.append(bare)
        matches = await find(
            inventory_of(here.name),
            key_of,
            ground.workspace,
            interface=LOOPBACK,
            timeout_s=2.2,
            now=lambda: NOW,
        )
        assert [m.status for m in matches if m.node == here.name] == [Status.FOUND]
        strangers = [m for m in matches if any("stranger" in told for told in m.evidence)]
        assert {"Guest", "a_b", "-x", "x-", "a b", "ü", "a\\x1b[2Jb", "a\\nb", "\\u202eb"} <= {
            m.node for m in strangers
        }
        assert f"A\\x07_{ground.word}" in {m.node for m in strangers}
        for match in matches:
            shown = (match.node, *match.evidence, *match.txt, *match.txt.values())
            assert all(text.isprintable() and len(text) < 400 for text in shown)

    on_ground(tmp_path, what)


@pytest.mark.slow
def test_all_found_ends_early_and_twice_is_once(tmp_path) -> None:
    async def what(ground: Ground) -> None:
        for short in ("a", "b", "c"):
            await ground.node(short)
        loop = asyncio.get_running_loop()
        for _ in range(2):
            begun_s = loop.time()
            found = await ground.find("a", "b", "c", timeout_s=30)
            assert {m.status for m in found.values()} == {Status.FOUND}
            assert loop.time() - begun_s < 6

    on_ground(tmp_path, what)


@pytest.mark.slow
def test_only_the_nodes_that_are_asked_for(tmp_path) -> None:
    async def what(ground: Ground) -> None:
        await ground.node("a")
        other = await ground.node("b")
        found = await ground.find("a", only=True)
        assert list(found) == ["a"]
        assert other.heard == []

    on_ground(tmp_path, what)


@pytest.mark.slow
def test_one_name_at_another_node_s_address(tmp_path) -> None:
    """A stale record: `a` is announced where `b` is."""

    async def what(ground: Ground) -> None:
        b = await ground.node("b")
        ground.announcer.nodes.append(Announced(ground.name("a"), b.address, b.port))
        found = await ground.find("a", "b", timeout_s=1)
        assert found["a"].status is Status.MISSING
        assert found["a"].evidence == (f"announced at {b.address}:{b.port}, where {b.name} answers",)
        assert found["b"].status is Status.FOUND

    on_ground(tmp_path, what)


@pytest.mark.slow
def test_a_node_that_just_restarts_is_asked_again(tmp_path) -> None:
    async def what(ground: Ground) -> None:
        node = await ground.node("a")
        node.faults.down = True
        asyncio.get_running_loop().call_later(1.5, setattr, node.faults, "down", False)
        assert (await ground.find("a", timeout_s=20))["a"].status is Status.FOUND

    on_ground(tmp_path, what)


@pytest.mark.slow
def test_a_node_that_announces_itself_late_is_found(tmp_path) -> None:
    async def what(ground: Ground) -> None:
        node = await ground.node("a", announced=False)
        late = Announced(node.name, node.address, node.port, node.txt())
        asyncio.get_running_loop().call_later(1.0, ground.announcer.announce, late)
        assert (await ground.find("a", timeout_s=20))["a"].status is Status.FOUND

    on_ground(tmp_path, what)


@pytest.mark.slow
def test_a_last_known_address_that_another_has_now(tmp_path) -> None:
    async def what(ground: Ground) -> None:
        b = await ground.node("b")
        old = Seen(b.address, b.port, "02:00:00:00:00:09", "2026-02-01T00:00:00+00:00")
        write_seen(ground.workspace.seen_path, {ground.name("a"): old})
        found = await ground.find("a", "b", timeout_s=1)
        assert found["a"].status is Status.MISSING
        assert found["a"].evidence == (f"last known at {b.address}:{b.port}, where {b.name} answers",)

    on_ground(tmp_path, what)


def test_a_node_where_it_was_last_is_found_however_many_places_are_claimed_for_it(
    tmp_path, monkeypatch
) -> None:
    """Strangers that answer slowly take all places, of which there is one here; they announce themselves first."""
    monkeypatch.setattr("fleet.find.find.Search", partial(Search, at_once=1))
    monkeypatch.setattr("fleet.find.search.CONFIRM_WHOLE_S", 0.2)

    async def what(ground: Ground) -> None:
        for number in range(3):
            false = await ground.node(f"false-{number}", announced=False, node_key=bytes(32))
            false.faults.answer_delay_s = 9.0
            label = f"a{number}-{ground.word}"
            text = {**false.txt(), "id": ground.name("one")}
            ground.announcer.nodes.append(Announced(label, false.address, false.port, text))
        one = await ground.node("one")
        seen = Seen(one.address, one.port, "02:00:00:00:00:01", "2026-02-28T06:00:00+00:00")
        write_seen(ground.workspace.seen_path, {one.name: seen})
        assert (await ground.find("one", timeout_s=1.0))["one"].status is Status.FOUND

    on_ground(tmp_path, what)


async def _claims(ground: Ground, count: int) -> None:
    """Places that claim to be `one`, each at an address of its own: who asks there gets a connection and no answer."""
    held = []

    async def hold(reader, writer) -> None:
        held.append(writer)
        await reader.read()
        writer.close()

    server = await asyncio.start_server(hold, "0.0.0.0")
    ground.stack.push_async_callback(server.wait_closed)
    ground.stack.callback(lambda: [writer.close() for writer in held])
    ground.stack.callback(server.close)
    port = server.sockets[0].getsockname()[1]
    for n in range(count):
        address = f"127.9.{n // 250}.{n % 250 + 1}"
        false = Announced(f"a{n}-{ground.word}", address, port, {"id": ground.name("one")})
        ground.announcer.nodes.append(false)


def test_a_node_that_is_claimed_elsewhere_gets_its_turn(tmp_path, monkeypatch) -> None:
    """Three places at once, 20 claims, each of which would be waited for longer than the whole search."""
    monkeypatch.setattr("fleet.find.find.Search", partial(Search, at_once=3))
    monkeypatch.setattr("fleet.find.search.CONFIRM_WHOLE_S", 0.2)
    monkeypatch.setattr("fleet.find.turns.FIND_TURN_S", 0.1)

    async def what(ground: Ground) -> None:
        await _claims(ground, 20)
        await ground.node("one")
        await ground.node("two")
        found = await ground.find("one", "two", timeout_s=2.5)
        assert {short: match.status for short, match in found.items()} == {
            "one": Status.FOUND, "two": Status.FOUND
        }  # fmt: skip

    on_ground(tmp_path, what)


@pytest.mark.slow
def test_a_node_is_found_among_1000_places_that_claim_its_name_and_hold_whoever_asks(tmp_path) -> None:
    """As it stands: its place was never known, and it is announced last."""

    async def what(ground: Ground) -> None:
        await _claims(ground, 1000)
        await ground.node("one")
        found = (await ground.find("one", timeout_s=8))["one"]
        assert found.status is Status.FOUND
        assert len(found.evidence) < 20

    on_ground(tmp_path, what)


def test_places_that_nobody_had_time_to_ask_are_counted(tmp_path, monkeypatch) -> None:
    monkeypatch.setattr("fleet.find.find.Search", partial(Search, at_once=2))
    monkeypatch.setattr("fleet.find.search.CONFIRM_WHOLE_S", 0.0)

    async def what(ground: Ground) -> None:
        await _claims(ground, 30)
        found = (await ground.find("one", timeout_s=0.6))["one"]
        assert found.status is Status.MISSING
        (counted,) = [told for told in found.evidence if "no time was left" in told]
        assert int(counted.split()[0]) + len(found.evidence) - 1 == 30, found.evidence

    on_ground(tmp_path, what)


def test_200_announced_nodes_are_all_found(tmp_path) -> None:
    """Their HTTP is one stand-in's each, so that all of it is real; see benchmarks/find.py for the time."""

    async def what(ground: Ground) -> None:
        shorts = [f"n{i}" for i in range(200)]
        for short in shorts:
            await ground.node(short)
        found = await ground.find(*shorts, timeout_s=20)
        assert {m.status for m in found.values()} == {Status.FOUND}
        assert len(found) == 200

    on_ground(tmp_path, what)


def test_on_a_bench_only_its_own_nodes_are_found_and_off_it_only_real_ones(tmp_path) -> None:
    """Two benches and a real fleet have a node of one name, each with keys of its own. Nobody is an impostor."""

    async def what(ground: Ground) -> None:
        workspace, nodes = ground.workspace, {}
        workspace.bench_dir.mkdir(parents=True)
        workspace.bench_id_path.write_text(f"{OWN} 1\n")
        for bench, key in ((OWN, None), (OTHER, b"o" * 32), ("", None)):
            node = nodes[bench] = await ground.node(
                "a", announced=False, **({"node_key": key} if key else {})
            )
            label = f"{node.name}-bench-{bench}" if bench else node.name
            txt = node.txt() | ({"bench": bench} if bench else {})
            ground.announcer.nodes.append(Announced(node.name, node.address, node.port, txt, label, label))
        with listen_at(workspace.bench_socket_path):
            on_bench = await ground.find("a")
            elsewhere = Seen(
                nodes[OTHER].address, nodes[OTHER].port, "02:00:00:00:00:01", "2026-02-01T00:00:00+00:00"
            )
            write_seen(workspace.bench_seen_path, {ground.name("b"): elsewhere})
            lacking = await ground.find("a", "b", timeout_s=1)
        off_bench = await ground.find("a")
        assert [(m.status, m.port) for m in on_bench.values()] == [(Status.FOUND, nodes[OWN].port)]
        assert [(m.status, m.port) for m in off_bench.values()] == [(Status.FOUND, nodes[""].port)]
        assert lacking["b"].status is Status.MISSING, "another bench may have that address by now"
        assert "last found at" in lacking["b"].evidence[0]
        assert nodes[OTHER].heard == [], "not even asked"

    on_ground(tmp_path, what)


def test_which_interface_a_setting_means(tmp_path) -> None:
    workspace = workspace_in(tmp_path)
    assert interface_for("auto", workspace) is None
    workspace.bench_dir.mkdir(parents=True)
    with listen_at(workspace.bench_socket_path):
        assert interface_for("auto", workspace) == LOOPBACK
    assert interface_for("auto", workspace) is None, (
        "the socket that a killed bench left behind is not a bench"
    )
    assert interface_for("all", workspace) is None
    assert interface_for("10.1.2.3", workspace) == "10.1.2.3"
    with pytest.raises(UsageError, match="wlan0"):
        interface_for("wlan0", workspace)
