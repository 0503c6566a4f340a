"""Two benches on one machine with nodes of the same names, as two checkouts have: neither hears of the other."""

from __future__ import annotations

import json
import os
import shutil
import signal
from pathlib import Path

import pytest

from fleet.audit.codes import NODE_IMPOSTOR
from fleet.bench.control import BenchControl
from fleet.codes import Exit
from fleet.find.scope import read_bench_id
from fleet.workspace import Workspace
from tests.bench.scenery import eventually, processes_of
from tests.real_fleet import build, real_project, tankfleet

pytestmark = [pytest.mark.slow, pytest.mark.timeout(600)]
NODES = ("kestrel-03", "kestrel-04")


class Bench:
    """A project whose two nodes are on a bench of its own; keys are its own too."""

    def __init__(self, folder: Path, shared_build: Path) -> None:
        folder.mkdir()
        self.project = real_project(folder, shared_build)
        self.workspace = Workspace(self.project, self.project / "inventory", self.project / "keys")
        self.control = BenchControl(self.workspace.bench_socket_path)
        build(self.project, *NODES)

    @property
    def bench_id(self) -> str | None:
        return read_bench_id(self.workspace.bench_id_path)

    def up(self) -> None:
        tankfleet(self.project, "bench", "up", *NODES)

    def finds_its_own(self) -> None:
        """Both of its nodes at its own addresses, and nothing else at all."""
        found = json.loads(tankfleet(self.project, "find", *NODES, "--json").stdout)["nodes"]
        assert [(one["node"], one["status"]) for one in found] == [(name, "found") for name in NODES]
        assert [one["address"] for one in found] == [view.address for view in self.control.nodes()]
        assert {one["announced"]["bench"] for one in found} == {self.bench_id}


@pytest.fixture(scope="module")
def benches(tmp_path_factory):
    folder = tmp_path_factory.mktemp("two-benches")
    shared = tmp_path_factory.getbasetemp() / "shared-build"
    benches = [Bench(folder / name, shared) for name in ("one", "two")]
    for bench in benches:
        bench.up()
    yield benches
    for bench in benches:
        tankfleet(bench.project, "bench", "down")
        assert processes_of(bench.project) == {}


def test_each_finds_and_audits_its_own_nodes_alone(benches) -> None:
    one, two = benches
    assert one.bench_id != two.bench_id
    assert one.control.subnet() != two.control.subnet()
    for bench in benches:
        bench.finds_its_own()
        found = json.loads(
            tankfleet(bench.project, "find", "--timeout", "1", "--json", expect=Exit.UNREACHABLE).stdout
        )
        assert {one["status"] for one in found["nodes"]} == {"found", "missing"}, (
            "no impostor, nobody unknown"
        )
        audited = tankfleet(bench.project, "audit", "--timeout", "1", expect=Exit.UNREACHABLE)
        assert NODE_IMPOSTOR.code not in audited.stdout + audited.stderr


def test_a_push_updates_its_own_nodes_alone(benches) -> None:
    one, two = benches
    before = [state.image for state in _states(two)]
    build(one.project, *NODES, "--release", "1.1.0")
    plan = str(one.project / "own.plan")
    tankfleet(one.project, "plan", *NODES, "--any-hour", "--soak", "1 s", "--out", plan)
    tankfleet(one.project, "push", plan, "--yes")
    assert {state.release for state in _states(one)} == {"1.1.0"}
    assert [state.image for state in _states(two)] == before


def _states(bench: Bench):
    from fleet.bench.start import states_of

    states = list(states_of(bench.control.nodes()).values())
    assert None not in states
    return states


def test_who_looks_for_real_nodes_hears_of_no_virtual_one(benches, tmp_path) -> None:
    """Another project of the same fleet, whose bench is down, listening where the virtual nodes announce themselves."""
    project = tmp_path / "real"
    shutil.copytree(benches[0].project / "inventory", project / "inventory")
    shutil.copytree(benches[0].project / "keys", project / "keys")
    (project / "keys").chmod(0o700)
    (project / "tankfleet.toml").write_text('keys = "keys"\nfind_on = "127.0.0.1"\n', encoding="utf-8")
    done = tankfleet(project, "find", "--timeout", "1", "--json", expect=Exit.UNREACHABLE)
    assert {one["status"] for one in json.loads(done.stdout)["nodes"]} == {"missing"}


def test_one_that_is_killed_takes_nothing_from_the_other_and_starts_clean(benches) -> None:
    one, two = benches
    known, pids = one.bench_id, [view.pid for view in two.control.nodes()]
    os.kill(one.control.pid(), signal.SIGKILL)
    eventually("no process is left", lambda: not processes_of(one.project), within_s=5.0)
    two.finds_its_own()
    one.up()
    assert one.bench_id == known
    for bench in benches:
        bench.finds_its_own()
    assert [view.pid for view in two.control.nodes()] == pids
