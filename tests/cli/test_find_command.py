"""`tankfleet find`: table, JSON, exit statuses, and what is said while waiting."""

from __future__ import annotations

import asyncio
import json
import re
import secrets
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import AsyncExitStack, contextmanager
from pathlib import Path

import jsonschema
import pytest

import fleet
from fleet.cli.app import run
from fleet.cli.find import _facts, _table
from fleet.cli.layout import Table, columns_of
from fleet.codes import Exit
from fleet.find.match import Match, Status
from fleet.keys.folder import KeyFolder
from fleet.link.state import NetworkState, Phase, parse_state
from tests.announcer import Announced, Announcer
from tests.fake_node import FakeNode
from tests.link_helpers import FLEET_KEY, fake

SCHEMA = json.loads((Path(fleet.__file__).parent / "schemas" / "find.json").read_text(encoding="utf-8"))
INVENTORY = """
fleet: {{name: ridge, domain: ridge.example}}
sites:
  - {{name: ridge, time_zone: Europe/Lisbon, network: ridge-wifi}}
tanks:
{tanks}
nodes:
{nodes}
"""
TANK = """  - name: {name}-tank
    site: ridge
    duty: irrigation
    shape: {{kind: box, length: 2 m, width: 1 m, height: 1 m}}
    marks: [{{name: full, height: 0.8 m}}]
    overflow: 0.9 m
"""
NODE = (
    "  - {{name: {name}, board: esp32-devkit, serves: [{{tank: {name}-tank, probes: {{full: GPIO21}}}}]}}\n"
)


class Project:
    """A project folder with an inventory of `shorts`, keys, and stand-ins that live in another thread."""

    def __init__(self, folder: Path, shorts: tuple[str, ...]) -> None:
        self.folder = folder
        self.word = secrets.token_hex(3)
        names = [self.name(short) for short in shorts]
        text = INVENTORY.format(
            tanks="".join(TANK.format(name=name) for name in names),
            nodes="".join(NODE.format(name=name) for name in names),
        )
        (folder / "inventory").mkdir()
        (folder / "inventory" / "all.yaml").write_text(text, encoding="utf-8")
        KeyFolder.create(folder / "keys", random_bytes=lambda count: FLEET_KEY[:count])
        (folder / "tankfleet.toml").write_text('keys = "keys"\nfind_on = "127.0.0.1"\n', encoding="utf-8")

    def name(self, short: str) -> str:
        return f"{short}-{self.word}"

    def run(self, *words: str) -> int:
        return run(["--project", str(self.folder), "find", *words])

    @contextmanager
    def with_nodes(self, *make: Callable[[], FakeNode]) -> Iterator[None]:
        """Announced stand-ins, until the block ends."""
        started, ended = threading.Event(), threading.Event()

        async def live() -> None:
            async with AsyncExitStack() as stack:
                announcer = await stack.enter_async_context(Announcer())
                for node in [await stack.enter_async_context(made()) for made in make]:
                    announcer.nodes.append(Announced(node.name, node.address, node.port, node.txt()))
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


@pytest.fixture
def project(tmp_path, monkeypatch) -> Project:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    return Project(tmp_path, ("a", "b"))


def test_all_found(project, capsys) -> None:
    a, b = project.name("a"), project.name("b")
    with project.with_nodes(lambda: fake(a), lambda: fake(b)):
        assert project.run(a, b) == Exit.OK
    printed = capsys.readouterr()
    header, *rows = printed.out.splitlines()
    assert header.split() == ["node", "status", "address", "release", "image", "phase", "tanks", "signal"]
    assert [row.split()[:2] for row in rows] == [[a, "found"], [b, "found"]]
    assert "header 1 of 2 wet, pump off" in rows[0]
    assert "-61 dBm" in rows[0]
    assert "2 found" in printed.err
    assert "searching for 2 nodes on 127.0.0.1" in printed.err
    assert "next: tankfleet audit" in printed.err


def _with_network(name: str, phase: str, on: str | None) -> FakeNode:
    """A stand-in whose network credentials stand like that, with the rest of a trial of ten minutes."""
    node = fake(name)
    join = node.join
    join.new, join.phase, join.on = ("yard", "new passphrase"), phase, on
    join.air.add(join.new)
    join.ends_s = time.monotonic() + 600
    return node


@pytest.mark.parametrize(
    ("phase", "on", "words"),
    [
        ("on-trial", "new", r"on-trial, on the new one, (9 min 5\d s|10 min) left"),
        ("on-trial", "kept", r"on-trial, on the old one, (9 min 5\d s|10 min) left"),
        ("put-back", "kept", "put-back"),
    ],
)
def test_network_has_a_column_while_one_is_not_kept(project, capsys, phase, on, words) -> None:
    a, b = project.name("a"), project.name("b")
    with project.with_nodes(lambda: _with_network(a, phase, on), lambda: fake(b)):
        assert project.run(a, b) == Exit.OK
    header, *rows = capsys.readouterr().out.splitlines()
    at, end = header.index("network"), header.index("tanks")
    assert header[:at].split()[-1] == "phase"
    assert re.fullmatch(words, rows[0][at:end].strip())
    assert rows[1][at:end].strip() == "kept"


def _found(name: str, network: NetworkState | None) -> Match:
    state = parse_state(json.dumps(fake(name).document()).encode(), node=name)
    return Match(name, Status.FOUND, "127.0.0.1", 80, state=state.model_copy(update={"network": network}))


def test_what_older_firmware_does_not_say_is_null_and_keeps_to_the_schema() -> None:
    document = fake("ridge-01").document()
    for key in ("brown_outs", "network", "largest_block"):
        document.pop(key, None)
    state = parse_state(json.dumps(document).encode(), node="ridge-01")
    line = _facts(Match("ridge-01", Status.FOUND, "127.0.0.1", 80, state=state), {})
    assert (line["state"]["brown_outs"], line["state"]["network"]) == (None, None)
    told = {"schema": "tankfleet/find/1", "nodes": [line], "counts": {"found": 1}}
    jsonschema.validate(json.loads(json.dumps(told)), SCHEMA)


def test_network_of_nodes_that_do_not_tell_or_did_not_answer() -> None:
    gave_up = NetworkState(phase=Phase.PUT_BACK, on=None, trial_left_s=0)
    kept = NetworkState(phase=Phase.KEPT, on=None, trial_left_s=0)
    others = [_found("ridge-02", kept), _found("ridge-03", None), Match("ridge-04", Status.MISSING)]
    columns, rows = _table([_found("ridge-01", gave_up), *others], {})
    assert [row[columns.index("network")] for row in rows] == ["put-back", "kept", "-", "-"]
    columns, rows = _table(others, {})
    assert "network" not in columns
    assert {len(row) for row in rows} == {len(columns)}


@pytest.mark.parametrize("width", [60, 100])
def test_network_fits_a_narrow_terminal(width: int) -> None:
    """Nothing is cut: what does not fit beside the others goes under its node."""
    networks = [NetworkState(phase=Phase.ON_TRIAL, on="new", trial_left_s=541), None]
    columns, rows = _table([_found("ridge-01", network) for network in networks], {})
    head, lines = Table(columns, rows).on_terminal(width)
    assert all(columns_of(line) <= width for line in (head, *lines))
    assert any("on-trial, on the new one, 9 min 1 s left" in line for line in lines)


def test_access_points_have_a_column_where_some_node_says_its_own(project, capsys) -> None:
    """By the name that the site gives them, else by the BSSID; the channel stands with the signal."""
    path = project.folder / "inventory" / "all.yaml"
    text = path.read_text(encoding="utf-8").replace(
        "network: ridge-wifi}", "network: ridge-wifi, access_points: {mast: [02:11:22:33:44:51]}}"
    )
    path.write_text(text, encoding="utf-8")
    a, b = project.name("a"), project.name("b")
    with project.with_nodes(
        lambda: _joined_to(a, "02:11:22:33:44:51"), lambda: _joined_to(b, "02:11:22:33:44:99")
    ):
        assert project.run(a, b) == Exit.OK
        header, *rows = capsys.readouterr().out.splitlines()
        assert project.run(a, b, "--json") == Exit.OK
    assert "access point" in header
    assert re.search(r" mast +-61 dBm, channel 13$", rows[0])
    assert re.search(r" 02:11:22:33:44:99 +-61 dBm, channel 13$", rows[1])
    document = json.loads(capsys.readouterr().out)
    jsonschema.validate(document, SCHEMA)
    told = [(one["access_point"], one["state"]["network"]["bssid"]) for one in document["nodes"]]
    assert told == [("mast", "02:11:22:33:44:51"), (None, "02:11:22:33:44:99")]
    assert [one["state"]["network"]["channel"] for one in document["nodes"]] == [13, 13]


def _joined_to(name: str, bssid: str) -> FakeNode:
    node = fake(name)
    said = node.join.document
    node.join.document = lambda now_s: said(now_s) | {"bssid": bssid, "channel": 13}
    return node


@pytest.mark.slow
def test_missing_is_said_while_waiting_and_afterwards(project, capsys) -> None:
    with project.with_nodes(lambda: fake(project.name("a"))):
        assert project.run(project.name("a"), project.name("b"), "--timeout", "2") == Exit.UNREACHABLE
    printed = capsys.readouterr()
    assert f"waiting for 1 node ({project.name('b')})" in printed.err
    assert f"FND102 {project.name('b')}, missing: never found before" in printed.err
    assert "1 found, 1 missing" in printed.err


@pytest.mark.slow
def test_a_double_is_a_problem(project, capsys) -> None:
    a = project.name("a")
    boards = [lambda mac=mac: fake(a, mac=mac) for mac in ("02:00:00:00:00:01", "02:00:00:00:00:02")]
    with project.with_nodes(*boards):
        assert project.run(a) == Exit.PROBLEMS
    assert "FND104" in capsys.readouterr().err


@pytest.mark.slow
def test_an_impostor_is_a_problem(project, capsys) -> None:
    a = project.name("a")
    with project.with_nodes(lambda: fake(a, node_key=bytes(32))):
        assert project.run(a, "--timeout", "1") == Exit.PROBLEMS
    printed = capsys.readouterr()
    assert "FND105" in printed.err
    assert "first image" not in printed.out


def test_json_has_the_same_facts_and_follows_its_schema(project, capsys) -> None:
    with project.with_nodes(lambda: fake(project.name("a")), lambda: fake(project.name("stranger"))):
        assert project.run("--json", "--timeout", "1.2") == Exit.UNREACHABLE
    document = json.loads(capsys.readouterr().out)
    jsonschema.validate(document, SCHEMA)
    by_name = {entry["node"]: entry for entry in document["nodes"]}
    assert by_name[project.name("a")]["status"] == "found"
    assert by_name[project.name("a")]["state"]["tanks"][0]["level"] == 1
    assert by_name[project.name("b")]["status"] == "missing"
    assert by_name[project.name("stranger")]["status"] == "unknown"
    assert "nonce" not in json.dumps(document)


def test_a_misspelt_node_gets_one_suggestion(project, capsys) -> None:
    assert project.run(project.name("a")[:-1]) == Exit.USAGE
    assert f"Did you mean '{project.name('a')}'?" in capsys.readouterr().err


def test_an_interface_that_is_not_ours(project, capsys) -> None:
    (project.folder / "tankfleet.toml").write_text('keys = "keys"\nfind_on = "192.0.2.1"\n', encoding="utf-8")
    assert project.run() == Exit.USAGE
    assert "FND101" in capsys.readouterr().err
