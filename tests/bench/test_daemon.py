"""The program in the background with real processes: the stand-in of standin.py plays boot loader and
firmware."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import signal
import socket
import stat
import subprocess
import sys
from contextlib import ExitStack

import pytest

from fleet.bench.codes import ADDRESS_TAKEN, BAD_MESSAGE, NOT_STARTED, NOT_UP, OTHER_SPEED
from fleet.bench.control import BenchControl
from fleet.bench.first_flash import FirstFlash, write_flash
from fleet.bench.paths import BenchPaths
from fleet.bench.spec import NodeSpec
from fleet.bench.start import ensure_up, start_bench, states_of
from fleet.errors import BenchError
from fleet.socket_path import connect_to
from tests.bench.scenery import eventually, flashed, node_spec, processes_of, standin_image, standin_program

pytestmark = pytest.mark.slow


@pytest.fixture
def folder(tmp_path):
    """A bench's folder; whatever a test leaves running is ended, and what a bench may not leave is a
    failure."""
    folder = tmp_path / "bench"
    yield folder
    control = BenchControl(BenchPaths(folder).socket)
    if control.is_up():
        control.down()
    assert processes_of(folder) == {}


def _up(folder, *scripts: tuple[str, ...], speed: float = 10.0) -> BenchControl:
    def nodes_at(subnet: int) -> list[NodeSpec]:
        return [
            flashed(node_spec(folder, f"ridge-{i}", i, subnet), *script)
            for i, script in enumerate(scripts, 1)
        ]

    control, silent = start_bench(folder, nodes_at, speed=speed)
    assert silent == ()
    return control


def test_up_list_down(folder) -> None:
    told: list[str] = []

    def nodes_at(subnet: int) -> list[NodeSpec]:
        return [flashed(node_spec(folder, f"ridge-{i}", i, subnet)) for i in (1, 2, 3)]

    control, silent = start_bench(folder, nodes_at, speed=10.0, tell=told.append)
    assert silent == ()
    assert told[-1] == "3 of 3 nodes answer"
    assert stat.S_IMODE(BenchPaths(folder).socket.stat().st_mode) == 0o600
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    views = control.nodes()
    assert [view.name for view in views] == ["ridge-1", "ridge-2", "ridge-3"]
    assert {view.pid for view in views} <= set(processes_of(folder))
    states = states_of(views)
    assert {name: state.node for name, state in states.items()} == {n: n for n in states}
    assert os.getsid(control.pid()) == control.pid()
    control.down()
    assert not control.is_up()
    assert processes_of(folder) == {}
    assert not BenchPaths(folder).socket.exists()
    assert "the bench is down" in BenchPaths(folder).log.read_text()


def test_pump_fills_the_tank_of_a_node_that_runs(folder) -> None:
    """Speed 100: 120 L/min are 200 l each real second; from 0.2 m (400 l) to the mark at 0.9 m in about 7
    s."""
    control = _up(folder, ("serve",), speed=100.0)
    control.draw("tank-of-ridge-1", 0.0)
    control.level("tank-of-ridge-1", 0.15)
    eventually("the pump runs", lambda: control.tank("tank-of-ridge-1").pump == "on")
    eventually("the pump is off again", lambda: control.tank("tank-of-ridge-1").pump == "off")
    tank = control.tank("tank-of-ridge-1")
    assert tank.wet == ("empty", "half", "full")
    assert 0.9 <= tank.level_m <= 0.95


def test_killed_daemon_leaves_no_process_and_no_trap(folder) -> None:
    control = _up(folder, ("serve",), ("serve",))
    assert len(processes_of(folder)) == 3
    os.kill(control.pid(), signal.SIGKILL)
    eventually("no process is left", lambda: not processes_of(folder), within_s=5.0)
    assert BenchPaths(folder).socket.exists(), "SIGKILL leaves the socket: that it is stale must be seen"
    assert not control.is_up()
    with pytest.raises(BenchError) as caught:
        control.nodes()
    assert caught.value.code is NOT_UP
    again = _up(folder, ("serve",), ("serve",))
    assert [view.starts for view in again.nodes()] == [1, 1]


def test_sigterm_ends_it_like_down(folder) -> None:
    control = _up(folder, ("serve",))
    os.kill(control.pid(), signal.SIGTERM)
    eventually("no process is left", lambda: not processes_of(folder), within_s=5.0)
    eventually("the socket is gone", lambda: not BenchPaths(folder).socket.exists())


def test_it_ends_when_its_folder_is_deleted(folder) -> None:
    """Else nobody could end it, and its addresses would stay taken."""
    _up(folder, ("serve",), ("serve",))
    shutil.rmtree(folder)
    eventually("all ended", lambda: processes_of(folder) == {})


def test_killed_node_starts_again(folder) -> None:
    control = _up(folder, ("serve",))
    first = control.node("ridge-1").pid
    control.hurt("ridge-1", "kill")
    eventually("another process", lambda: control.node("ridge-1").pid not in (None, first))
    eventually("it answers", lambda: states_of(control.nodes())["ridge-1"])
    assert states_of(control.nodes())["ridge-1"].reset == "crash"


def test_hung_node_is_reset_by_the_watchdog(folder) -> None:
    """SIGSTOP stops the heartbeat as a hang does."""
    control = _up(folder, ("serve",))
    os.kill(control.node("ridge-1").pid, signal.SIGSTOP)
    eventually("a watchdog reset", lambda: control.node("ridge-1").reset == "watchdog", within_s=20.0)
    state = eventually("it answers", lambda: states_of(control.nodes())["ridge-1"])
    assert state.reset == "watchdog"
    assert "watchdog" in [event.what for event in control.events()]


def test_power_cut_and_back(folder) -> None:
    control = _up(folder, ("serve",))
    control.hurt("ridge-1", "power-cut", for_s=1.0)
    assert control.node("ridge-1").power == "off"
    assert states_of(control.nodes()) == {"ridge-1": None}
    state = eventually("it answers", lambda: states_of(control.nodes())["ridge-1"])
    assert (state.reset, state.boots) == ("power-on", 2)


def test_unreachable_and_healed(folder) -> None:
    control = _up(folder, ("serve",))
    control.hurt("ridge-1", "unreachable")
    assert states_of(control.nodes()) == {"ridge-1": None}
    control.heal("ridge-1")
    assert states_of(control.nodes())["ridge-1"] is not None


def test_ends_and_restarts_reach_the_boot_loader(folder) -> None:
    """Wanted restart, crash, then it serves: the reasons are those of the ends before."""
    control = _up(folder, ("exit 75", "exit 3", "serve"))
    assert states_of(control.nodes())["ridge-1"].reset == "crash"
    log = BenchPaths(folder).node("ridge-1").log.read_text().split("\n")
    assert log[:3] == ["boot 1 power-on", "boot 2 restart", "boot 3 crash"]


def test_a_brick_is_shown_and_not_waited_for(folder) -> None:
    def nodes_at(subnet: int) -> list[NodeSpec]:
        return [flashed(node_spec(folder, "ridge-1", 1, subnet), "exit 78")]

    control, silent = start_bench(folder, nodes_at, speed=1.0, ready_timeout_s=60.0)
    assert silent == ("ridge-1",)
    assert control.node("ridge-1").power == "brick"


def test_output_pins_float_when_the_process_dies(folder) -> None:
    control = _up(folder, ("serve", "exit 78"))
    control.level("tank-of-ridge-1", 0.01)
    control.draw("tank-of-ridge-1", 0.0)
    eventually("the pump runs", lambda: control.tank("tank-of-ridge-1").pump == "on")
    control.hurt("ridge-1", "kill")
    eventually("the pump is off", lambda: control.tank("tank-of-ridge-1").pump == "off")
    pins = BenchPaths(folder).node("ridge-1").pins.read_bytes()
    assert pins[64:192] == b"\x00" * 128


def test_nothing_is_said_of_no_nodes(folder) -> None:
    told: list[str] = []
    assert start_bench(folder, lambda subnet: [], tell=told.append)[1] == ()
    assert told == []


def test_another_speed_is_refused_while_up(folder) -> None:
    _up(folder, ("serve",), speed=10.0)
    with pytest.raises(BenchError) as caught:
        ensure_up(folder, 20.0)
    assert caught.value.code is OTHER_SPEED


def test_only_one_bench_in_a_folder(folder) -> None:
    """A second start of the program itself is refused by the lock, and does not take the first one's
    socket."""
    control = _up(folder, ("serve",))
    done = subprocess.run(
        [sys.executable, "-m", "fleet.bench.daemon", str(folder), "1"],
        capture_output=True,
        text=True,
        timeout=20,
        check=False,
    )
    assert done.returncode == 1
    assert "Resource temporarily unavailable" in done.stderr
    assert control.is_up()


def test_taken_address_is_named(folder) -> None:
    with ExitStack() as stack:

        def nodes_at(subnet: int) -> list[NodeSpec]:
            stack.enter_context(socket.create_server((f"127.{subnet}.0.1", 8080)))
            return [flashed(node_spec(folder, "ridge-1", 1, subnet))]

        with pytest.raises(BenchError) as caught:
            start_bench(folder, nodes_at)
    assert caught.value.code is ADDRESS_TAKEN
    assert "ridge-1" in caught.value.what
    assert not BenchControl(BenchPaths(folder).socket).is_up(), "what started for nothing must end"


def test_start_that_fails_says_why(tmp_path) -> None:
    blocked = tmp_path / "bench"
    blocked.mkdir()
    (blocked / "bench.lock").mkdir()
    with pytest.raises(BenchError) as caught:
        ensure_up(blocked, 1.0)
    assert caught.value.code is NOT_STARTED
    assert "Is a directory" in caught.value.what


def test_socket_path_may_be_long(tmp_path) -> None:
    """unix(7): sun_path holds 108 bytes; projects may lie deeper than that."""
    folder = tmp_path / ("long-" * 20) / ("name-" * 20) / "bench"
    control = _up(folder, ("serve",))
    assert len(str(BenchPaths(folder).socket)) > 200
    assert control.node("ridge-1").power == "running"
    control.down()


@pytest.mark.parametrize(
    "line", [b"{}\n", b"not json\n", b'{"op":"list","more":1}\n', b'{"op":"hurt"}\n', b"\n"]
)
def test_what_is_no_message_is_refused_and_harms_nothing(folder, line) -> None:
    control = ensure_up(folder, 1.0)
    with connect_to(BenchPaths(folder).socket, 5.0) as connection, connection.makefile("rwb") as stream:
        stream.write(line)
        stream.flush()
        assert BAD_MESSAGE.code.encode() in stream.readline()
    assert control.is_up()


def test_a_line_without_end_is_cut_off(folder) -> None:
    control = ensure_up(folder, 1.0)
    with (
        connect_to(BenchPaths(folder).socket, 5.0) as connection,
        pytest.raises(OSError, match=r"reset|pipe"),
    ):
        for _ in range(200):
            connection.sendall(b"x" * 65536)
    assert control.is_up()


def test_first_flash_hands_the_key_over_on_stdin(folder) -> None:
    spec = node_spec(folder, "ridge-1", 1, 91)
    image = json.dumps(standin_image(spec)).encode()
    paths, key = BenchPaths(folder).node("ridge-1"), bytes(range(32))
    first = FirstFlash("ridge-1", "two-slot", image, b"ticket", key)
    write_flash(standin_program(folder), paths, first)
    flash = json.loads(paths.flash.read_text())
    assert flash["layout"] == "two-slot"
    assert flash["key_seen"] == hashlib.sha256(key.hex().encode()).hexdigest()
    assert sorted(path.name for path in paths.folder.iterdir()) == ["flash.bin"]
    with pytest.raises(BenchError, match="the ticket is not this image's"):
        write_flash(standin_program(folder), paths, FirstFlash("ridge-1", "two-slot", image, b"other", key))
    assert not paths.flash.exists()
    with pytest.raises(BenchError, match="No such file"):
        write_flash(folder / "nothing", paths, first)
