"""`rejoin` from the command line, with stand-ins over real HTTP: what it prints, asks, sends, and ends with."""

from __future__ import annotations

import asyncio
import io
import json
import re
import threading
import time
import zlib
from collections.abc import Iterator
from contextlib import AsyncExitStack, contextmanager
from pathlib import Path

import jsonschema
import pytest

from fleet.boards.board import load_board
from fleet.check.load import load_inventory
from fleet.cli.app import run
from fleet.cli.rejoin_words import Told
from fleet.codes import Exit
from fleet.find.match import Match, Status
from fleet.keys.networks import Network
from fleet.limits import NETWORK_TURN_S
from fleet.link.state import parse_state
from fleet.push.lock import runner_lock
from fleet.render.block_of import block_of
from tests.cli.commands import Terminal
from tests.fake_join import Join
from tests.fake_node import FakeNode
from tests.push.plans import plan_of, planned
from tests.push.stage import Stage, begun
from tests.push.yard import lay_out, stand_in

SCHEMA = json.loads(
    (Path(__file__).resolve().parent.parent.parent / "fleet" / "schemas" / "rejoin.json").read_text(
        encoding="utf-8"
    )
)
NAMES = ["n1", "n2", "n3"]
OLD, NEW = ("farm", "old passphrase"), ("Hill Farm", "correct horse battery")
SPEED = 40.0
"""The stand-ins' clocks run that much faster."""


class Yard:
    """A project of three nodes whose key folder has a new network; `air` is what is there to be joined."""

    def __init__(self, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        self.folder = folder
        self.field = lay_out(folder, NAMES)
        self.field.keys.set_network("n", Network(*NEW))
        self.air = {OLD, NEW}
        self.nodes: dict[str, FakeNode] = {}
        for name in NAMES:
            self.nodes[name] = stand_in(self.field, name, clock=lambda: SPEED * time.monotonic())
            self.nodes[name].join = Join(kept=OLD, air=self.air)
        self.away: set[str] = set()
        monkeypatch.setattr("fleet.push.context.look", self._look)
        monkeypatch.setattr("fleet.push.addresses.look", self._look)
        monkeypatch.setattr("fleet.rejoin.rejoining.REJOIN_POLL_S", 0.02)
        monkeypatch.setattr("fleet.rejoin.rejoining.RELOCATE_EVERY_S", 0.1)

    async def _look(self, field: object, names: list[str], timeout_s: float, tell: object) -> list[Match]:
        found = []
        for name in names:
            node = self.nodes[name]
            if name in self.away:
                found.append(Match(name, Status.MISSING, evidence=("never found before",)))
            else:
                state = parse_state(json.dumps(node.document()).encode(), node=name)
                found.append(Match(name, Status.FOUND, node.address, node.port, {}, state))
        return found

    def run(self, *words: str) -> int:
        return run(["--project", str(self.folder), "rejoin", *words])

    @contextmanager
    def living(self) -> Iterator[None]:
        """The stand-ins, in another thread, until the block ends."""
        started, ended = threading.Event(), threading.Event()

        async def live() -> None:
            async with AsyncExitStack() as stack:
                for node in self.nodes.values():
                    await stack.enter_async_context(node)
                started.set()
                await asyncio.get_running_loop().run_in_executor(None, ended.wait)

        thread = threading.Thread(target=lambda: asyncio.run(live()))
        thread.start()
        try:
            assert started.wait(10)
            yield
        finally:
            ended.set()
            thread.join()

    def changed(self) -> list[tuple[str, str]]:
        """Every request of all nodes that is not a question."""
        return [heard for node in self.nodes.values() for heard in node.heard if heard[0] != "GET"]


@pytest.fixture
def yard(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Yard:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    return Yard(tmp_path / "yard", monkeypatch)


def test_all_nodes_come_over_and_keep_it(yard: Yard, capsys) -> None:
    with yard.living():
        assert yard.run(*NAMES, "--yes") == Exit.OK
    printed = capsys.readouterr()
    assert {node.join.kept for node in yard.nodes.values()} == {NEW}
    assert printed.out.splitlines()[0].split()[:4] == ["node", "site", "network", "outcome"]
    assert [line.split()[:3] for line in printed.out.splitlines()[1:]] == [
        ["n1", "site-0", "n"],
        ["n2", "site-1", "n"],
        ["n3", "site-2", "n"],
    ]
    assert (
        "n1: holds the new network on trial, beside the old one; it gives the new one up on its own at "
        in printed.err
    )
    assert printed.err.index("n1: on the new network, and keeps it") < printed.err.index("n2: holds the new")
    assert "3 nodes: 3 kept." in printed.err
    assert "next: tankfleet find" in printed.err


def test_one_node_is_not_asked_about(yard: Yard, capsys) -> None:
    with yard.living():
        assert yard.run("--site", "site-1") == Exit.OK
    assert capsys.readouterr().out.splitlines()[1].startswith("n2 ")
    assert [len(node.networks_given) for node in yard.nodes.values()] == [0, 1, 0]


def test_more_nodes_need_a_word(yard: Yard, capsys) -> None:
    with yard.living():
        assert yard.run(*NAMES) == Exit.USAGE
    assert "Send 3 nodes the credentials of n? There is no terminal to ask on." in capsys.readouterr().err
    assert yard.changed() == []


def test_a_dry_run_only_asks(yard: Yard, capsys) -> None:
    yard.away = {"n3"}
    yard.nodes["n2"].faults.knows_networks = False
    with yard.living():
        assert yard.run(*NAMES, "--dry-run") == Exit.UNREACHABLE
        table = capsys.readouterr()
        assert yard.run(*NAMES, "--dry-run", "--json") == Exit.UNREACHABLE
    assert yard.changed() == []
    assert re.search(r"^n1 +site-0 +n +kept +give, follow, keep$", table.out, re.M)
    assert re.search(r"^n2 +site-1 +n +release 1\.0\.0 does not tell +give, follow, keep$", table.out, re.M)
    assert re.search(r"^n3 +site-2 +n +missing +nothing: it was not found$", table.out, re.M)
    assert "nothing was sent to any node" in table.err
    assert "One that is already on the new network receives it again" in table.err
    assert "next: tankfleet rejoin n1 n2 n3\n" in table.err
    document = json.loads(capsys.readouterr().out)
    jsonschema.Draft202012Validator(SCHEMA).validate(document)
    assert [one["would"] for one in document["nodes"]] == [
        "give, follow, keep", "give, follow, keep", "nothing: it was not found",
    ]  # fmt: skip


def test_json_has_the_same_facts(yard: Yard, capsys) -> None:
    yard.away = {"n3"}
    with yard.living():
        assert yard.run(*NAMES, "--yes", "--json", "--trial", "20 min") == Exit.UNREACHABLE
    document = json.loads(capsys.readouterr().out)
    jsonschema.Draft202012Validator(SCHEMA).validate(document)
    assert [(one["node"], one["stands"]) for one in document["nodes"]] == [
        ("n1", "kept"), ("n2", "kept"), ("n3", "not-found"),
    ]  # fmt: skip
    assert (document["trial_s"], document["counts"]) == (1200, {"kept": 2, "not-found": 1})


def test_a_refused_pilot_says_why_and_what_to_do(yard: Yard, capsys) -> None:
    yard.nodes["n1"].faults.knows_networks = False
    with yard.living():
        assert yard.run(*NAMES, "--yes") == Exit.PROBLEMS
    printed = capsys.readouterr()
    assert "n1: still on the old network, refused: its release 1.0.0 cannot take credentials" in printed.err
    assert (
        "PSH122: a node's firmware takes no credentials over the network. Push a newer release" in printed.err
    )
    assert "next: tankfleet explain PSH122" in printed.err
    assert len(re.findall("not started, nothing was sent", printed.out)) == 2
    assert yard.nodes["n2"].heard == []


def test_a_pilot_that_does_not_get_in_is_told_with_its_hour(yard: Yard, capsys, monkeypatch) -> None:
    monkeypatch.setattr("fleet.rejoin.rejoin.REJOIN_LEAVES_S", 1.0)
    yard.air.discard(NEW)
    with yard.living():
        assert yard.run(*NAMES, "--yes") == Exit.PROBLEMS
    printed = capsys.readouterr()
    assert re.search(
        r"n1: still on the old network: it tried .*; it gives the new one up on its own at \d\d:\d\d",
        printed.err,
    )
    assert "PSH120" in printed.err
    assert "next: tankfleet rejoin n1 n2 n3 --dry-run" in printed.err


def test_change_after_says_when(yard: Yard, capsys, monkeypatch) -> None:
    monkeypatch.setattr("fleet.rejoin.rejoining.REJOIN_LEAVES_S", 1.0)
    yard.air.discard(NEW)

    told = Told.change_now

    def change(this: Told, nodes: list[str], without: list[str]) -> None:
        told(this, nodes, without)
        yard.air.clear()
        yard.air.add(NEW)

    monkeypatch.setattr(Told, "change_now", change)
    with yard.living():
        assert yard.run(*NAMES, "--yes", "--single-network") == Exit.OK
    printed = capsys.readouterr()
    assert (
        "3 nodes hold both networks now: change the access point; each node changes over on its own."
        in printed.err
    )
    assert {node.join.kept for node in yard.nodes.values()} == {NEW}


def test_ctrl_c_says_what_stands_and_the_same_command_ends_it(yard: Yard, capsys, monkeypatch) -> None:
    from fleet.rejoin.node_access import LiveHands

    async def pressed(this: object, node: str) -> None:
        raise KeyboardInterrupt

    with yard.living():
        with monkeypatch.context() as patch:
            patch.setattr(LiveHands, "keep", pressed)
            assert yard.run(*NAMES, "--yes") == Exit.INTERRUPTED
        err = capsys.readouterr().err
        assert "CLI108: interrupted: 1 given, 2 not begun." in err
        assert "Nodes on trial return to the old network on their own, the last at " in err
        assert "next: tankfleet rejoin n1 n2 n3" in err
        assert yard.run(*NAMES, "--yes") == Exit.OK
    assert "n1: was already on the new network, and keeps it" in capsys.readouterr().err
    assert len(yard.nodes["n1"].networks_given) == 1


def test_not_while_a_push_runs(yard: Yard, capsys) -> None:
    with yard.living(), runner_lock(yard.field.workspace.journal_path, 4711):
        assert yard.run(*NAMES, "--yes") == Exit.LOCKED
    assert "process 4711" in capsys.readouterr().err
    assert yard.changed() == []


def test_not_while_a_push_is_cut_off(yard: Yard, capsys) -> None:
    stage = Stage(plan_of([planned("n1")]))
    begun(stage, yard.folder / ".tankfleet").close()
    with yard.living():
        assert yard.run(*NAMES, "--yes") == Exit.PROBLEMS
    assert f"PSH101: push {stage.plan.id} is unfinished" in capsys.readouterr().err
    assert yard.changed() == []


def test_its_tables_fit_the_terminal(yard: Yard, monkeypatch) -> None:
    yard.nodes["n2"].faults.knows_networks = False
    with yard.living():
        for width in (60, 80, 200):
            for words in (("n2",), (*NAMES, "--dry-run")):
                out = Terminal()
                with monkeypatch.context() as patch:
                    patch.setenv("COLUMNS", str(width))
                    patch.setattr("sys.stdout", out)
                    yard.run(*words)
                assert max(map(len, out.getvalue().splitlines())) <= width


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ((), "name the nodes, or one site"),
        (("n1", "--site", "site-0"), "exclude each other"),
        (("n1", "--trial", "10 s"), "a trial of 10 s is not possible"),
        (("n1", "--trial", "20 h"), "Give --trial a time from 60 s to 18 h"),
        (("n1", "--trial", "soon"), "--trial"),
    ],
)
def test_what_cannot_be_asked_for(words, told, yard: Yard, capsys) -> None:
    assert yard.run(*words) == Exit.USAGE
    assert told in capsys.readouterr().err


def test_a_network_without_credentials(yard: Yard, capsys) -> None:
    (yard.folder / "keys" / "networks.toml").unlink()
    assert yard.run("n1") == Exit.USAGE
    assert "KEY105" in capsys.readouterr().err
    yard.field.keys.set_network("n", Network("Hill", "a" * 64))
    assert yard.run("n1") == Exit.USAGE
    assert "KEY108" in capsys.readouterr().err


def test_nothing_secret_is_said_or_written(yard: Yard, capsys) -> None:
    yard.nodes["n2"].faults.network_cut = True
    yard.nodes["n3"].faults.refuse = {"/v1/network": (403, "bad-credentials")}
    with yard.living():
        assert yard.run(*NAMES, "--yes") == Exit.PROBLEMS
        assert yard.run(*NAMES, "--yes", "--json") == Exit.PROBLEMS
    printed = capsys.readouterr()
    assert NEW[1] not in printed.out + printed.err
    assert OLD[1] not in printed.out + printed.err
    written = {p: p.read_bytes() for p in yard.folder.rglob("*") if p.is_file() and "keys" not in p.parts}
    assert not [str(path) for path, data in written.items() if NEW[1].encode() in data]


def test_set_network_names_the_way_to_the_nodes(yard: Yard, capsys, monkeypatch) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO("another passphrase\n"))
    assert run(["--project", str(yard.folder), "keys", "set-network", "n", "--ssid", "Farm"]) == Exit.OK
    err = capsys.readouterr().err
    assert "nodes get them at their first flash, or by `rejoin`" in err
    assert "next: tankfleet rejoin --site site-1 --dry-run" in err


# ------------------------------------------------------------------ networks that are hard to join
ESP8266 = """board: nodemcu-v2
    debounce: 20 s
    serves: [{tank: tank-n2, probes: {low: D5, full: D6}, pump_relay: {pin: D1}}]"""
RULING = """rulings:
  - {code: INV450, as: note, reason: its board is changed next week, date: 2026-03-01}
"""


def _odd(yard: Yard) -> None:
    """A hidden network on high channels at site-0, one of WPA3 alone at site-1, where n2 is an ESP8266."""
    path = yard.folder / "inventory" / "all.yaml"
    text = path.read_text(encoding="utf-8")
    for site, traits in (("site-0", "hidden, high-channels, no-802.11n"), ("site-1", "wpa3-only")):
        line = f"{{name: {site}, time_zone: Europe/Lisbon, network: n"
        assert line in text
        text = text.replace(line, f"{line}, network_traits: [{traits}]")
    start, end = (
        text.index("board: esp32-devkit", text.index("name: n2")),
        text.index("  - name: n3", text.index("nodes:")),
    )
    path.write_text(f"{text[:start]}{ESP8266}\n{text[end:]}{RULING}", encoding="utf-8")


def test_what_keeps_nodes_out_is_said_before_anything_is_sent(yard: Yard, capsys) -> None:
    _odd(yard)
    with yard.living():
        assert yard.run(*NAMES, "--dry-run") == Exit.PROBLEMS
        table = capsys.readouterr()
        assert yard.run(*NAMES, "--dry-run", "--json") == Exit.PROBLEMS
    assert yard.changed() == []
    said = " ".join(table.err.split())
    assert (
        "network n at site-0: it is hidden and may be on channels 12 to 14: only a node whose image" in said
    )
    assert "network n at site-0: 802.11n does not work with it" in said
    assert "network n at site-1: it takes WPA3 only" in said
    assert "joins no WPA2 network: rejoin first, then build and push" in said
    assert "site-2" not in said
    assert "calls for the new network for 30 s, then for the old one" in said
    assert (
        "n2 can never join, and nothing is sent to it: the network takes WPA3 only, and the ESP8266" in said
    )
    assert "may not know what their network is like: n1. Build and push first" in said
    assert re.search(r"^n2 +site-1 +n +.*nothing: the network takes WPA3 only", table.out, re.M)
    document = json.loads(capsys.readouterr().out)
    jsonschema.Draft202012Validator(SCHEMA).validate(document)
    assert [(one["network_traits"], one["older_inventory"], one["code"]) for one in document["nodes"]] == [
        (["hidden", "high-channels", "no-802.11n"], True, None),
        (["wpa3-only"], None, "INV450"),
        ([], None, None),
    ]


def test_the_others_come_over_all_the_same(yard: Yard, capsys) -> None:
    _odd(yard)
    with yard.living():
        assert yard.run(*NAMES, "--yes") == Exit.PROBLEMS
    printed = capsys.readouterr()
    assert [node.join.kept for node in yard.nodes.values()] == [NEW, OLD, NEW]
    assert yard.nodes["n2"].heard == []
    assert "INV450: a board that cannot join its site's network" in printed.err


def test_an_image_that_was_built_for_it_is_not_warned_of(yard: Yard, capsys) -> None:
    """The checksum is that of the block which today's inventory gives, as the firmware reports it."""
    _odd(yard)
    inventory = load_inventory(yard.folder / "inventory")
    node = inventory.node("n1")
    block = block_of(
        inventory, node, load_board(node.board), yard.field.keys.trust(), "board", "1.0.0"
    ).pack()
    document = yard.nodes["n1"].document
    yard.nodes["n1"].document = lambda: document() | {"block_crc": f"{zlib.crc32(block[:-4]):08x}"}
    with yard.living():
        assert yard.run("n1", "n3", "--dry-run", "--json") == Exit.OK
    printed = capsys.readouterr()
    assert "older inventory" not in printed.err
    assert [one["older_inventory"] for one in json.loads(printed.out)["nodes"]] == [False, None]


def test_the_turns_are_those_of_the_firmware() -> None:
    head = Path(__file__).resolve().parent.parent.parent / "templates" / "firmware" / "core" / "join.h"
    found = re.search(r"kSteadyPauseMs = (\d+);", head.read_text(encoding="utf-8"))
    assert found
    assert int(found[1]) == NETWORK_TURN_S * 1000
