"""`tankfleet bench` on a bench of stand-in nodes: what it prints, where, and with which exit status."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import jsonschema
import pytest

from fleet.bench.control import BenchControl
from fleet.bench.paths import BenchPaths
from fleet.bench.spec import NodeSpec
from fleet.bench.start import start_bench
from fleet.cli.app import run
from fleet.codes import Exit
from tests.bench.scenery import box_tank, eventually, flashed, node_spec, processes_of

pytestmark = pytest.mark.slow
ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def project(tmp_path_factory):
    """A project with the demo inventory and a bench of two stand-in nodes, one of them a brick."""
    project = tmp_path_factory.mktemp("project")
    shutil.copytree(ROOT / "inventory", project / "inventory")
    folder = project / ".tankfleet" / "bench"

    def nodes_at(subnet: int) -> list[NodeSpec]:
        return [
            flashed(node_spec(folder, "kestrel-01", 1, subnet, (box_tank("header-east"),))),
            flashed(node_spec(folder, "kestrel-02", 2, subnet, (box_tank("header-west"),)), "exit 78"),
        ]

    start_bench(folder, nodes_at, speed=10.0)
    yield project
    control = BenchControl(BenchPaths(folder).socket)
    if control.is_up():
        control.down()
    assert processes_of(folder) == {}


@pytest.fixture
def tankfleet(project, capsys):
    def call(*words: str) -> tuple[int, str, str]:
        status = run(["--project", str(project), "bench", *words])
        printed = capsys.readouterr()
        return status, printed.out, printed.err

    return call


def _control(project) -> BenchControl:
    return BenchControl(BenchPaths(project / ".tankfleet" / "bench").socket)


def test_list_shows_one_record_a_line(tankfleet, project) -> None:
    status, out, err = tankfleet("list")
    assert (status, err) == (Exit.OK, "")
    head, first, second = out.splitlines()
    assert head.split() == ["node", "address", "pid", "state", "image", "starts", "tanks"]
    subnet = _control(project).subnet()
    assert first.split()[:2] == ["kestrel-01", f"127.{subnet}.0.1"]
    assert " 0.0.1 kept " in first
    assert " on " in first
    assert "header-east" in first
    assert second.split()[:4] == ["kestrel-02", f"127.{subnet}.0.2", "-", "brick"]
    assert "no answer" in second


def test_list_as_json_is_of_its_schema_and_says_the_same(tankfleet, project) -> None:
    status, out, _ = tankfleet("list", "--json")
    assert status == Exit.OK
    document = json.loads(out)
    schema = json.loads((ROOT / "fleet" / "schemas" / "bench.json").read_text())
    jsonschema.Draft202012Validator(schema).validate(document)
    assert (document["up"], document["speed"]) == (True, 10.0)
    first, second = document["nodes"]
    assert first["pid"] == _control(project).node("kestrel-01").pid
    assert first["says"]["phase"] == "kept"
    assert second["says"] is None


def test_hurt_and_heal_say_what_they_did_and_what_is_next(tankfleet, project) -> None:
    status, out, err = tankfleet("hurt", "kestrel-01", "slow-link", "--rate", "3000")
    assert (status, out) == (Exit.OK, "")
    assert "slow-link until it is healed" in err
    assert "next: tankfleet bench hurt kestrel-01 heal" in err
    assert _control(project).node("kestrel-01").hurts == ("slow-link 3000 B/s",)
    status, _, err = tankfleet("hurt", "kestrel-01", "heal")
    assert status == Exit.OK
    assert _control(project).node("kestrel-01").hurts == ()


def test_kill_starts_it_again(tankfleet, project) -> None:
    starts = _control(project).node("kestrel-01").starts
    assert tankfleet("hurt", "kestrel-01", "kill")[0] == Exit.OK
    eventually("started again", lambda: _control(project).node("kestrel-01").starts > starts)


@pytest.mark.parametrize(
    ("words", "status", "told"),
    [
        (("hurt", "kestrel-1", "kill"), Exit.USAGE, "Did you mean 'kestrel-01'?"),
        (("hurt", "kestrel-01", "burn"), Exit.USAGE, "slow-link"),
        (("hurt", "kestrel-01", "kill", "--for", "3"), Exit.USAGE, "BEN109"),
        (("hurt", "kestrel-01", "heal", "--for", "3"), Exit.USAGE, "heal takes no options"),
        (("hurt", "kestrel-01", "unreachable", "--rate", "3"), Exit.USAGE, "takes no rate"),
        (("draw", "header-eats", "3 L/min"), Exit.USAGE, "Did you mean 'header-east'?"),
        (("draw", "header-east", "3"), Exit.USAGE, "3 has no unit"),
        (("level", "header-east", "150 %"), Exit.USAGE, "SHARE"),
        (("up", "kestrel-99"), Exit.USAGE, "CLI103"),
    ],
)
def test_what_cannot_be_is_explained(tankfleet, words, status, told) -> None:
    got, out, err = tankfleet(*words)
    assert (got, out) == (status, "")
    assert told in err
    assert "fix:" in err


def test_water_is_set_with_units(tankfleet, project) -> None:
    assert tankfleet("draw", "header-east", "1 gal/min")[0] == Exit.OK
    assert _control(project).tank("header-east").draw_l_per_min == pytest.approx(3.785, abs=1e-3)
    status, _, err = tankfleet("level", "header-east", "50 %")
    assert status == Exit.OK
    assert "Tank header-east: 50 %, 0.48 m" in err or "Tank header-east: 50 %, 0.47 m" in err
    assert tankfleet("draw", "header-east", "daily")[0] == Exit.OK
    assert _control(project).tank("header-east").draw_l_per_min != pytest.approx(3.785, abs=1e-3)


def test_zz_down_twice_is_once(tankfleet) -> None:
    status, out, err = tankfleet("down")
    assert (status, out) == (Exit.OK, "")
    assert "Stopped 2 nodes." in err
    status, _, err = tankfleet("down")
    assert status == Exit.OK
    assert "nothing was done" in err
    status, out, err = tankfleet("list")
    assert (status, out) == (Exit.OK, "")
    assert "The bench is not up." in err
    assert json.loads(tankfleet("list", "--json")[1]) == {
        "schema": "tankfleet/bench/1",
        "up": False,
        "speed": None,
        "nodes": [],
    }
    status, _, err = tankfleet("hurt", "kestrel-01", "kill")
    assert status == Exit.PROBLEMS
    assert "BEN101" in err
