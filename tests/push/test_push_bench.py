"""Pushes on the bench: real firmware in real processes, real images, mDNS, HTTP and water; the tool as a
person runs it."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from fleet.push.journal import Journal
from fleet.push.state import NodeStatus, PushState, Task
from tests.real_fleet import ROOT, build, real_project, tankfleet

pytestmark = [pytest.mark.slow, pytest.mark.timeout(900)]
NODES = ("kestrel-01", "kestrel-02", "kestrel-03", "kestrel-05", "marram-07")
"""Two-slot and copy-in-place boards at two sites; the first two stand in for each other."""
PLAN = ("--any-hour", "--soak", "3 s")


class Bench:
    """A project on the bench, and the releases that its nodes run."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._release = 0

    def release(self, *words: str) -> str:
        """Build the next release for all nodes."""
        self._release += 1
        text = f"2.{self._release}.0"
        build(self.folder, *NODES, "--release", text, *words)
        return text

    def plan(self, *nodes: str, soak: str = "3 s") -> str:
        path = str(self.folder / f"{self._release}.plan")
        tankfleet(self.folder, "plan", *(nodes or NODES), "--any-hour", "--soak", soak, "--out", path)
        return path

    def states(self) -> dict[str, dict[str, Any]]:
        """What each node says of itself, signed. Another bench on this machine may hold nodes of the same
        names."""
        words = [sys.executable, "-m", "fleet", "--project", str(self.folder), "find", *NODES, "--json"]
        done = subprocess.run(words, capture_output=True, text=True, cwd=ROOT, timeout=60, check=False)
        found = json.loads(done.stdout)["nodes"]
        states = {node["node"]: node["state"] for node in found if node["state"] is not None}
        assert set(states) == set(NODES), done.stdout + done.stderr
        return states

    def releases(self) -> dict[str, str]:
        return {name: state["release"] for name, state in self.states().items()}

    def journal_until(self, wanted: Callable[[PushState], bool], within_s: float = 60.0) -> PushState:
        """Wait until the push under way stands like that."""
        until_s = time.monotonic() + within_s
        while time.monotonic() < until_s:
            journal = Journal.open_if_there(self.folder / ".tankfleet" / "journal.db")
            if journal is not None:
                push = journal.unfinished()
                state = journal.state(push) if push else None
                journal.close()
                if state is not None and wanted(state):
                    return state
            time.sleep(0.05)
        raise AssertionError("the push never stood like that")


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    project = real_project(tmp_path_factory.mktemp("push"), tmp_path_factory.getbasetemp() / "shared-build")
    policy = project / "inventory" / "fleet.yaml"
    text = policy.read_text(encoding="utf-8")
    assert "soak: 60 s" in text
    assert "trial: 3 min" in text
    policy.write_text(
        text.replace("soak: 60 s", "soak: 5 s").replace("trial: 3 min", "trial: 60 s"), encoding="utf-8"
    )
    build(project, *NODES)
    tankfleet(project, "bench", "up", *NODES, "--speed", "20")
    yield Bench(project)
    tankfleet(project, "bench", "down")


def test_a_good_update_is_kept_by_all_and_twice_is_once(bench: Bench) -> None:
    release = bench.release()
    before = bench.states()
    plan = bench.plan()
    told = tankfleet(bench.folder, "push", plan, "--yes")
    after = bench.states()
    assert {s["release"] for s in after.values()} == {release}
    assert {s["phase"] for s in after.values()} == {"kept"}
    assert all(after[name]["boots"] == before[name]["boots"] + 1 for name in NODES)
    assert "5 kept" in told.stderr
    again = tankfleet(bench.folder, "push", plan, "--yes")
    assert "Nothing to do" in again.stderr
    assert {name: s["boots"] for name, s in bench.states().items()} == {n: after[n]["boots"] for n in NODES}


@pytest.mark.parametrize(
    ("defect", "check"),
    [
        ("probes-inverted", "marks not contradictory|level moved no more than the water could"),
        ("crash-at-boot", "it fell back on its own: no-healthy-boot"),
        ("leaks-memory", "free memory and signal not much worse"),
        ("no-network", "returned in time: no answer"),
    ],
)
def test_a_bad_update_is_caught_in_the_first_wave(bench: Bench, defect: str, check: str) -> None:
    good = bench.releases()
    bench.release("--defect", defect)
    plan = bench.plan(soak="12 s")
    told = tankfleet(bench.folder, "push", plan, "--yes", expect=1)
    assert any(word in told.stderr for word in check.split("|")), told.stderr
    assert "PSH105" in told.stderr
    assert bench.releases() == good
    journal = Journal.open(bench.folder / ".tankfleet" / "journal.db")
    state = journal.state(json.loads(Path(plan).read_text())["id"])
    journal.close()
    first = {node.node for node in state.in_wave(1)}
    assert {name for name, node in state.nodes.items() if node.accepted} <= first
    assert all(state.nodes[name].stands is NodeStatus.PUT_BACK for name in first)


def test_a_pump_relay_that_sticks_shows_in_the_water(bench: Bench) -> None:
    """The firmware says that its pump is off; the level rises past a mark all the same. Nothing but its
    pump fills header-east."""
    name, tank = "kestrel-01", "header-east"
    bench.release("--defect", "pump-stuck-on")
    just_below_full = 2.69 / 2.85
    """Marks at 0.4, 1.2 and 2.7 m, overflow at 2.85 m."""
    tankfleet(bench.folder, "bench", "level", tank, f"{100 * just_below_full:.2f} %")
    plan = bench.plan(name, soak="25 s")
    told = tankfleet(bench.folder, "push", plan, expect=1)
    assert "its pump is reported off and nothing else can" in told.stderr
    assert bench.states()[name]["phase"] == "put-back"


def test_killed_in_the_middle_of_a_wave_resume_finishes(bench: Bench) -> None:
    release = bench.release()
    before = bench.states()
    plan = bench.plan(soak="6 s")
    command = [sys.executable, "-m", "fleet", "--project", str(bench.folder), "push", plan, "--yes"]
    tool = subprocess.Popen(command, cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        wave = bench.journal_until(
            lambda s: any(n.task in (Task.SEND, Task.RETURN) for n in s.in_wave(max(1, s.wave)))
        )
    finally:
        tool.send_signal(signal.SIGKILL)
        tool.wait()
    assert any(node.pending is not None for node in wave.nodes.values())
    refused = tankfleet(bench.folder, "push", plan, "--yes", expect=1)
    assert "PSH101" in refused.stderr
    assert "tankfleet resume" in refused.stderr
    told = tankfleet(bench.folder, "resume")
    assert "taking over" in told.stderr
    after = bench.states()
    assert {s["release"] for s in after.values()} == {release}
    assert {s["phase"] for s in after.values()} == {"kept"}
    assert all(after[name]["boots"] == before[name]["boots"] + 1 for name in NODES), "one start, one image"
    assert "Nothing to resume" in tankfleet(bench.folder, "resume").stderr


def test_ctrl_c_leaves_at_a_safe_point_and_says_how_to_go_on(bench: Bench) -> None:
    release = bench.release()
    plan = bench.plan(soak="6 s")
    command = [sys.executable, "-m", "fleet", "--project", str(bench.folder), "push", plan, "--yes"]
    tool = subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    bench.journal_until(lambda s: any(n.task is Task.SOAK for n in s.nodes.values()))
    tool.send_signal(signal.SIGINT)
    _, said = tool.communicate(timeout=60)
    assert tool.returncode == 130
    assert "interrupted" in said
    assert "Nodes on trial fall back on their own" in said
    assert "next: tankfleet resume" in said
    tankfleet(bench.folder, "resume")
    assert set(bench.releases().values()) == {release}


def test_stop_and_roll_back(bench: Bench) -> None:
    good = bench.releases()
    bench.release()
    plan = bench.plan(soak="8 s")
    command = [sys.executable, "-m", "fleet", "--project", str(bench.folder), "push", plan, "--yes"]
    tool = subprocess.Popen(command, cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    bench.journal_until(lambda s: any(n.task is Task.SOAK for n in s.nodes.values()))
    assert "The push stops" in tankfleet(bench.folder, "stop").stderr
    assert tool.wait(timeout=120) == 1
    assert bench.releases() == good
    release = bench.release()
    tankfleet(bench.folder, "push", bench.plan(), "--yes")
    assert set(bench.releases().values()) == {release}
    tankfleet(bench.folder, "roll-back", "--yes")
    assert bench.releases() == good


def test_a_brown_out_in_a_trial_is_tried_again_and_the_image_kept(bench: Bench) -> None:
    """And the node is named by the next plan."""
    name = "kestrel-03"
    release = bench.release()
    before = bench.states()[name]
    plan = bench.plan(name, soak="8 s")
    command = [sys.executable, "-m", "fleet", "--project", str(bench.folder), "push", plan, "--yes"]
    tool = subprocess.Popen(command, cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    bench.journal_until(lambda s: s.nodes[name].task is Task.SOAK)
    tankfleet(bench.folder, "bench", "hurt", name, "brown-out")
    assert tool.wait(timeout=120) == 0
    after = bench.states()[name]
    assert (after["release"], after["phase"], after["reset"]) == (release, "kept", "brown-out")
    assert (after["boots"], after["brown_outs"]) == (before["boots"] + 2, before["brown_outs"] + 1)
    bench.release()
    told = tankfleet(bench.folder, "plan", name, "--any-hour", "--soak", "3 s", "--json")
    (notice,) = json.loads(told.stdout)["notices"]
    assert (notice["node"], notice["about"], notice["count"]) == (name, "brown-outs", after["brown_outs"])


def test_a_node_that_browns_out_at_every_try_fails_for_its_supply(bench: Bench) -> None:
    """Three tries, then it goes back by itself, and the image is not given up."""
    name = "kestrel-03"
    good = bench.releases()[name]
    bench.release()
    plan = bench.plan(name, soak="12 s")
    command = [sys.executable, "-m", "fleet", "--project", str(bench.folder), "push", plan, "--yes", "--json"]
    tool = subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
    try:
        for tries in range(4):
            bench.journal_until(
                lambda s, n=tries: s.nodes[name].task is Task.SOAK and s.nodes[name].brown_outs == n
            )
            tankfleet(bench.folder, "bench", "hurt", name, "brown-out")
    finally:
        said, _ = tool.communicate(timeout=120)
    assert tool.returncode == 1
    (outcome,) = json.loads(said.splitlines()[-1])["nodes"]
    assert (outcome["stands"], outcome["blame"], outcome["brown_outs"]) == ("put-back", "supply", 4)
    state = bench.states()[name]
    assert (state["release"], state["phase"], state["last_reason"]) == (good, "put-back", "brown-out")
    told = tankfleet(bench.folder, "plan", name, "--any-hour", "--soak", "3 s", "--json")
    assert [(out["node"], out["reason"]) for out in json.loads(told.stdout)["left_out"]] == [
        (name, "weak-supply")
    ]
