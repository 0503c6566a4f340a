"""The bench with the real firmware and boot loader, built for the host: one two-slot and two other
boards."""

from __future__ import annotations

import asyncio
import json
import os
import secrets
import signal
import time
import urllib.request
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import TypeVar

import pytest

from fleet.bench.control import BenchControl
from fleet.bench.paths import BenchPaths
from fleet.bench.start import states_of
from fleet.build.shelf import Shelf
from fleet.keys.folder import KeyFolder
from fleet.link.client import NodeLink, open_session
from fleet.link.state import NodeState
from tests.bench.scenery import eventually, processes_of
from tests.real_fleet import build, real_project, tankfleet

pytestmark = [pytest.mark.slow, pytest.mark.timeout(600)]
NODES = ("kestrel-01", "kestrel-03", "kestrel-04")
"""An ESP32 (two slots), an ESP8266 (copy in place), an ESP32-C3."""
TANK = "header-east"
_Said = TypeVar("_Said")


@pytest.fixture(scope="module")
def project(tmp_path_factory):
    """The project, with the bench of three nodes up at speed 20; in the end nothing of it may run."""
    project = real_project(
        tmp_path_factory.mktemp("real-nodes"), tmp_path_factory.getbasetemp() / "shared-build"
    )
    build(project, *NODES)
    tankfleet(project, "bench", "up", *NODES, "--speed", "20")
    yield project
    tankfleet(project, "bench", "down")
    assert processes_of(project) == {}


@pytest.fixture
def control(project) -> BenchControl:
    control = BenchControl(BenchPaths(project / ".tankfleet" / "bench").socket)
    for name in NODES:
        control.heal(name)
    return control


def _state(control: BenchControl, name: str) -> NodeState | None:
    return states_of([control.node(name)])[name]


def _answers(control: BenchControl, name: str) -> NodeState:
    return eventually(f"{name} answers", lambda: _state(control, name), within_s=30.0)


def test_each_node_says_what_was_flashed(project, control) -> None:
    views = control.nodes()
    assert [view.name for view in views] == list(NODES)
    for view, state in zip(views, states_of(views).values(), strict=True):
        assert state is not None
        assert (state.node, state.mac, state.board) == (view.name, view.mac, view.board)
        assert state.phase == "kept"
        assert state.faults == ()
        assert [tank.name for tank in state.tanks] == [tank.name for tank in view.tanks]
    listed = json.loads(tankfleet(project, "bench", "list", "--json").stdout)["nodes"]
    shelf = json.loads(tankfleet(project, "shelf", "--json").stdout)["entries"]
    assert {n["name"]: n["says"]["image"] for n in listed} == {e["node"]: e["image"] for e in shelf}


def _speak(
    project: Path, control: BenchControl, name: str, say: Callable[[NodeLink], Awaitable[_Said]]
) -> _Said:
    """What a node answers over its signed link."""
    key, view = KeyFolder.open(project / "keys").node_key(name), control.node(name)

    async def speak() -> _Said:
        async with open_session() as session:
            return await say(
                NodeLink(name, view.address, view.port, key, session=session, entropy=secrets.token_bytes)
            )

    return asyncio.run(speak())


def test_answers_are_signed_with_the_key_given_at_first_flash(project, control) -> None:
    assert _speak(project, control, "kestrel-01", lambda link: link.state()).node == "kestrel-01"


@pytest.mark.parametrize("name", ["kestrel-03", "kestrel-04"])
def test_image_that_crashes_at_boot_is_put_back_by_the_node_itself(project, control, name) -> None:
    """Three starts without a healthy loop (docs/node-interface.md 7), each of them a crash that the bench saw."""
    before = _answers(control, name)
    last = control.events()[-1].number
    build(project, name, "--release", "9.9.8", "--defect", "crash-at-boot")
    shelf = Shelf(project / ".tankfleet" / "shelf")
    bad = shelf.newest(name)
    assert bad is not None
    assert bad.defect == "crash-at-boot"
    image, ticket = shelf.image(bad.image), shelf.ticket(bad.ticket)
    _speak(project, control, name, lambda link: link.put_image(image, ticket))

    def is_back() -> bool:
        state = _state(control, name)
        return state is not None and state.phase == "put-back"

    eventually(f"{name} has put itself back", is_back, within_s=60.0)
    state = _answers(control, name)
    assert (state.image, state.release) == (before.image, before.release)
    assert (state.last_image, state.last_reason) == (bad.image, "no-healthy-boot")
    ends = [e.detail for e in control.events(after=last) if (e.subject, e.what) == (f"node {name}", "ended")]
    assert ends[0] == "needs a restart"
    assert ends.count("signal 6") == 3, "abort() of the defect: SIGABRT"


def test_level_that_the_node_sees_is_that_of_the_water(control) -> None:
    control.draw(TANK, 0.0)
    for share, level in ((0.05, 0), (0.2, 1), (0.7, 2)):
        control.level(TANK, share)
        wet = len(control.tank(TANK).wet)
        assert wet == level

        def sees(wanted: int = level) -> bool:
            state = _state(control, "kestrel-01")
            return state is not None and state.tanks[0].level == wanted

        eventually(f"the node sees level {level}", sees)
    control.draw(TANK, None)


def test_node_switches_its_pump_and_the_tank_fills(control) -> None:
    control.draw(TANK, 0.0)
    control.level(TANK, 0.05)
    eventually("the pump runs", lambda: control.tank(TANK).pump == "on", within_s=30.0)
    before_l = control.tank(TANK).volume_l
    eventually("the water rises", lambda: control.tank(TANK).volume_l > before_l + 10)
    control.level(TANK, 0.99)
    eventually("the pump is off", lambda: control.tank(TANK).pump == "off", within_s=30.0)
    control.draw(TANK, None)


def test_lost_probe_is_a_contradiction_and_the_pump_is_off(control) -> None:
    control.level(TANK, 0.7)
    control.hurt("kestrel-01", "lost-probe")

    def contradictory() -> bool:
        state = _state(control, "kestrel-01")
        return state is not None and state.tanks[0].fault == "contradictory"

    eventually("the node sees the contradiction", contradictory)
    assert control.tank(TANK).pump == "off"


def test_power_cut_gives_a_power_on_reset_and_stops_the_pump(control) -> None:
    boots = _answers(control, "kestrel-03").boots
    control.hurt("kestrel-03", "power-cut")
    eventually("its process is gone", lambda: control.node("kestrel-03").pid is None)
    assert _state(control, "kestrel-03") is None
    control.heal("kestrel-03")
    state = _answers(control, "kestrel-03")
    assert (state.reset, state.boots) == ("power-on", boots + 1)


def test_killed_node_comes_back(control) -> None:
    boots = _answers(control, "kestrel-04").boots
    control.hurt("kestrel-04", "kill")
    eventually("a new start", lambda: control.node("kestrel-04").reset == "crash")
    state = _answers(control, "kestrel-04")
    assert (state.reset, state.boots) == ("crash", boots + 1)


def test_a_brown_out_is_told_and_counted(control) -> None:
    before = _answers(control, "kestrel-04")
    control.hurt("kestrel-04", "brown-out")
    eventually("a new start", lambda: control.node("kestrel-04").reset == "brown-out")
    state = _answers(control, "kestrel-04")
    assert (state.reset, state.boots, state.brown_outs) == (
        "brown-out",
        before.boots + 1,
        before.brown_outs + 1,
    )


def test_stopped_process_is_reset_by_the_watchdog(control) -> None:
    os.kill(control.node("kestrel-04").pid, signal.SIGSTOP)
    eventually("a watchdog reset", lambda: control.node("kestrel-04").reset == "watchdog", within_s=20.0)
    assert _answers(control, "kestrel-04").reset == "watchdog"


def test_unreachable_node_does_not_answer_but_controls_its_tank(control) -> None:
    control.hurt("kestrel-01", "unreachable")
    assert _state(control, "kestrel-01") is None
    control.draw(TANK, 0.0)
    control.level(TANK, 0.05)
    eventually("the pump runs", lambda: control.tank(TANK).pump == "on", within_s=30.0)
    control.heal("kestrel-01")
    assert _answers(control, "kestrel-01").tanks[0].pump.relay == "on"
    control.draw(TANK, None)


def test_slow_link_slows_the_metrics_page(control) -> None:
    """At 600 bytes a second a page of more than 900 bytes takes over a second."""
    view = control.node("kestrel-01")
    url = f"http://{view.address}:{view.port}/metrics"
    with urllib.request.urlopen(url, timeout=10) as answer:
        size = len(answer.read())
    assert size > 900
    control.hurt("kestrel-01", "slow-link", rate_bytes_per_s=600)
    began_s = time.monotonic()
    with urllib.request.urlopen(url, timeout=60) as answer:
        assert len(answer.read()) > 900
    assert time.monotonic() - began_s > 1.0


def test_hang_of_the_firmware_is_reset_by_the_watchdog(project, control) -> None:
    """The defect hangs after a simulated minute: three real seconds at speed 20, and 8 s of watchdog."""
    build(project, "kestrel-01", "--release", "9.9.9", "--defect", "hang-after-minute")
    tankfleet(project, "bench", "up", "kestrel-01", "--reflash", "--release", "9.9.9")
    eventually("a watchdog reset", lambda: control.node("kestrel-01").reset == "watchdog", within_s=30.0)
    assert _answers(control, "kestrel-01").reset == "watchdog"


def test_down_leaves_no_process_and_up_goes_on(project, control) -> None:
    boots = _answers(control, "kestrel-03").boots
    tankfleet(project, "bench", "down")
    assert processes_of(project) == {}
    tankfleet(project, "bench", "up", "kestrel-03", "--speed", "20")
    state = _answers(control_of(project), "kestrel-03")
    assert (state.reset, state.boots) == ("power-on", boots + 1)


def control_of(project: Path) -> BenchControl:
    """The bench of a project."""
    return BenchControl(BenchPaths(project / ".tankfleet" / "bench").socket)
