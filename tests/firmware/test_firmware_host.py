"""The host port: the real firmware as a process, through the real boot loader, over the tool's own link."""

from __future__ import annotations

import contextlib
import json
import os
import signal
import socket
import subprocess
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

from fleet.errors import NodeRefused
from fleet.link.state import Phase
from tests.firmware.firmware_build import compile_and_check, core_sources
from tests.firmware.firmware_host import (
    EMPTY,
    FULL,
    HALF,
    NAME,
    RELAY,
    HostNode,
    boot_loader,
    image_of,
    node_block,
    ticket_for,
)

pytestmark = pytest.mark.slow
WANTS_RESTART = 75
FEED = 20


@cache
def _image(release: str = "1.0.0", layout: str = "two-slot", defect: int = 0) -> bytes:
    return image_of(node_block(release, layout), defect)


@pytest.fixture
def board(tmp_path: Path) -> Iterator[HostNode]:
    # An address of this run's own: another run may be at work on the same machine.
    node = HostNode(tmp_path, f"127.{180 + os.getpid() % 70}.{os.getpid() // 70 % 250}.1")
    yield node
    node.end()
    assert "Sanitizer" not in node.log() and "runtime error" not in node.log(), node.log()


def _send(board: HostNode, image: bytes, sequence: int, release: str) -> None:
    ticket = ticket_for(image, sequence, release)
    assert board.ask(lambda link: link.put_image(image, ticket)) is Phase.ON_TRIAL


@pytest.mark.parametrize("layout", ["two-slot", "copy-in-place"])
def test_update_is_tried_and_kept(board: HostNode, layout: str) -> None:
    old, new = _image("1.0.0", layout), _image("1.1.0", layout)
    board.load(old, layout)
    board.start()
    state = board.wait_up()
    assert (state.phase, state.release, state.sequence, state.reset) == (Phase.KEPT, "1.0.0", 5, "power-on")
    assert (state.mac, state.boots, state.faults) == ("02:00:00:00:00:07", 1, ())
    _send(board, new, 6, "1.1.0")
    assert board.wait_exit() == WANTS_RESTART
    board.start("restart")
    state = board.wait_up()
    assert (state.phase, state.release, state.sequence, state.floor) == (Phase.ON_TRIAL, "1.1.0", 6, 5)
    assert board.ask(lambda link: link.keep()) is Phase.KEPT
    assert board.state().floor == 6
    assert board.ask(lambda link: link.put_back()) is Phase.PUT_BACK
    assert board.wait_exit() == WANTS_RESTART
    board.start("restart")
    state = board.wait_up()
    assert (state.phase, state.release, state.last_reason) == (Phase.PUT_BACK, "1.0.0", "told")


def test_pump_follows_the_probes_and_drops_out_for_an_update(board: HostNode) -> None:
    board.speed = 50
    board.load(_image(), "two-slot")
    board.start()
    assert board.pins.driven_high(RELAY) in (None, False)
    board.wait_for(lambda: board.pins.driven_high(RELAY) is True, "an empty tank is filled")
    pump = board.state().tanks[0].pump
    assert pump is not None and (pump.relay, pump.why, pump.starts) == ("on", "below-low", 1)
    for gpio in (EMPTY, HALF, FULL):
        board.pins.set_input(gpio, high=False)
    board.wait_for(lambda: board.pins.driven_high(RELAY) is False, "a full tank is not")
    assert board.state().tanks[0].level == 3
    for gpio in (EMPTY, HALF, FULL):
        board.pins.set_input(gpio, high=True)
    board.wait_for(lambda: board.pins.driven_high(RELAY) is True, "it is filled again")
    _send(board, _image("1.1.0"), 6, "1.1.0")
    assert board.pins.driven_high(RELAY) is False
    assert board.wait_exit() == WANTS_RESTART


def test_a_tank_whose_resistors_a_pin_feeds_is_read(board: HostNode) -> None:
    """The feed is never driven LOW: that would send current through wet probes the other way."""
    block = node_block("1.0.0", "two-slot")
    marks = tuple(replace(mark, pull=2) for mark in block.tanks[0].marks)
    fed = replace(
        block, tanks=(replace(block.tanks[0], marks=marks),), feed_pins=bytes([FEED, 255, 255, 255])
    )
    board.speed = 50
    board.load(image_of(fed), "two-slot")
    board.start()
    board.wait_up()
    for gpio in (EMPTY, HALF):
        board.pins.set_input(gpio, high=False)
    board.wait_for(lambda: board.state().tanks[0].level == 2, "two of its marks are wet")
    assert board.state().faults == ()
    assert all(board.pins.driven_high(FEED) is not False for _ in range(1000))


def test_metrics_and_refusals_over_a_plain_client(board: HostNode) -> None:
    board.load(_image(), "two-slot")
    board.start()
    board.wait_up()
    with urllib.request.urlopen(f"http://{board.address}:8080/metrics", timeout=5) as answer:
        assert answer.headers["Content-Type"].startswith("application/openmetrics-text; version=1.0.0")
        text = answer.read().decode()
    assert f'node="{NAME}"' in text and text.endswith("# EOF\n")
    with pytest.raises(urllib.error.HTTPError) as refused:
        urllib.request.urlopen(f"http://{board.address}:8080/nothing", timeout=5)
    with refused.value as answer:
        assert json.loads(answer.read())["code"] == "not-found"


def test_a_fifth_connection_is_answered_and_hanging_ones_are_dropped(board: HostNode) -> None:
    board.load(_image(), "two-slot")
    board.start()
    board.wait_up()
    hanging = [socket.create_connection((board.address, 8080)) for _ in range(4)]
    for each in hanging:
        each.sendall(b"GET /v1/st")
    with socket.create_connection((board.address, 8080)) as fifth:
        fifth.settimeout(5)
        fifth.sendall(b"GET /v1/state HTTP/1.1\r\nHost: node\r\n\r\n")
        assert fifth.recv(1000).startswith(b"HTTP/1.1 200 OK\r\n")
    before = board.pins.heartbeat()
    board.wait_for(lambda: board.pins.heartbeat() > before, "the loop goes on")
    for each in hanging:
        each.settimeout(15)
        assert each.recv(10) == b""
        each.close()
    board.state()


def test_network_down_is_silence_and_back_up_is_not(board: HostNode) -> None:
    board.load(_image(), "two-slot")
    board.start()
    board.wait_up()
    with socket.create_connection((board.address, 8080)) as held:
        held.sendall(b"GET")
        board.state()  # whoever dials later is answered, so `held` has been accepted
        board.pins.set_network_down(True)
        held.settimeout(5)
        assert held.recv(10) == b""
    with socket.create_connection((board.address, 8080)) as unheard:
        unheard.sendall(b"GET /metrics HTTP/1.1\r\nHost: a\r\n\r\n")
        unheard.settimeout(0.5)
        with pytest.raises(TimeoutError):
            unheard.recv(10)
    board.pins.set_network_down(False)
    assert board.state().node == NAME


def test_link_rate_holds(board: HostNode) -> None:
    """About 3 kB of metrics at 2,000 bytes a second take over a second, and arrive whole."""
    board.load(_image(), "two-slot")
    board.start()
    board.wait_up()
    board.pins.set_link_rate(2000)
    begun_s = time.monotonic()
    with urllib.request.urlopen(f"http://{board.address}:8080/metrics", timeout=20) as answer:
        size_bytes = len(answer.read())
    took_s = time.monotonic() - begun_s
    assert 0.7 * size_bytes / 2000 < took_s < 3 * size_bytes / 2000


def test_transfer_over_a_slow_link_is_held_to_it(board: HostNode) -> None:
    board.load(_image(), "two-slot")
    board.start()
    board.wait_up()
    image = _image("1.1.0")
    board.pins.set_link_rate(len(image) // 2)
    begun_s = time.monotonic()
    _send(board, image, 6, "1.1.0")
    assert 1.5 < time.monotonic() - begun_s < 6


def test_replayed_and_stale_requests_are_refused(board: HostNode) -> None:
    image = _image()
    board.load(image, "two-slot", sequence=5)
    board.start()
    board.wait_up()
    with pytest.raises(NodeRefused) as refused:
        board.ask(lambda link: link.put_image(image, ticket_for(image, 5, "1.0.0")))
    assert refused.value.refusal == "old-sequence"
    with pytest.raises(NodeRefused) as refused:
        board.ask(lambda link: link.keep())
    assert refused.value.refusal == "not-on-trial"


def test_damaged_node_block_is_named_and_drives_nothing(board: HostNode) -> None:
    block = node_block("1.0.0", "two-slot")
    twice = replace(block.tanks[0], pump_pin=EMPTY)
    board.load(image_of(replace(block, tanks=(twice,))), "two-slot")
    board.start()
    state = board.wait_up()
    assert (state.faults, state.tanks, state.site) == (("bad-block",), (), "")
    assert all(board.pins.driven_high(gpio) is None for gpio in range(64))
    assert "pin missing or used twice" in board.log()


# ------------------------------------------------------------------ defects, for the bench alone
def _with_defect(board: HostNode, defect: int) -> None:
    board.load(_image(defect=defect), "two-slot")
    board.start()


def test_defect_crash_at_boot_falls_back_after_three_starts(board: HostNode) -> None:
    board.load(_image(), "two-slot")
    board.start()
    board.wait_up()
    _send(board, _image("1.1.0", defect=1), 6, "1.1.0")
    assert board.wait_exit() == WANTS_RESTART
    for _ in range(3):
        board.start("crash")
        assert board.wait_exit() == -signal.SIGABRT
    board.start("crash")
    state = board.wait_up()
    assert (state.phase, state.release, state.last_reason) == (Phase.PUT_BACK, "1.0.0", "no-healthy-boot")


def test_defect_hang_after_a_minute_stops_the_heartbeat(board: HostNode) -> None:
    board.speed = 50  # a minute of process time is 1.2 s
    _with_defect(board, 2)
    board.wait_up()
    seen = [0, 0.0]

    def stands_still() -> bool:
        if board.pins.heartbeat() != seen[0]:
            seen[:] = [board.pins.heartbeat(), time.monotonic()]
        return time.monotonic() - seen[1] > 1.0

    begun_s = time.monotonic()
    board.wait_for(stands_still, "the heartbeat stops")
    assert time.monotonic() - begun_s > 1.5
    assert board.process is not None and board.process.poll() is None


def test_defect_probes_inverted(board: HostNode) -> None:
    board.speed = 20
    _with_defect(board, 3)
    board.wait_up()
    board.wait_for(lambda: board.state().tanks[0].level is not None, "the level settles")
    assert [mark.state for mark in board.state().tanks[0].marks] == ["wet", "wet", "wet"]  # nothing is


def test_defect_no_network(board: HostNode) -> None:
    _with_defect(board, 4)
    board.wait_for(lambda: board.pins.heartbeat() > 3, "the loop runs")
    with socket.create_connection((board.address, 8080)) as unheard:
        unheard.sendall(b"GET /metrics HTTP/1.1\r\nHost: a\r\n\r\n")
        unheard.settimeout(1)
        with pytest.raises(TimeoutError):
            unheard.recv(10)


def test_defect_pump_stuck_on_while_the_node_says_off(board: HostNode) -> None:
    _with_defect(board, 5)
    pump = board.wait_up().tanks[0].pump
    assert pump is not None and pump.relay == "off"
    assert board.pins.driven_high(RELAY) is True


def test_defect_leak_shows_and_ends_in_a_crash(board: HostNode) -> None:
    board.speed = 20  # 4,000 bytes a second
    _with_defect(board, 6)
    first = board.wait_up().free_bytes
    board.wait_for(lambda: board.state().free_bytes < first - 2000, "memory goes away")
    board.stop()
    board.speed = 1000
    board.start()
    board.wait_for(lambda: _ended_when_asked(board), "it runs out")
    assert board.wait_exit() == -signal.SIGABRT


def _ended_when_asked(board: HostNode) -> bool:
    """Whether the process has ended; it is asked for its metrics, for that looks at its free memory."""
    with contextlib.suppress(OSError):
        urllib.request.urlopen(f"http://{board.address}:8080/metrics", timeout=1).close()
    return board.process is not None and board.process.poll() is not None


def test_networks_in_the_air_and_causes_of_a_reset(tmp_path: Path) -> None:
    host = "templates/firmware/ports/host"
    parts = [f"{host}/air.cpp", f"{host}/host_arguments.cpp", *core_sources("node_view")]
    sources = ["tests/firmware/air_test.cpp", *parts]
    compile_and_check(sources, [str(tmp_path / "air")])


@pytest.mark.parametrize(
    "words",
    [
        ["--speed", "0"],
        ["--mac", "02:00"],
        ["--port", "70000"],
        ["--reset", "sunrise"],
        ["--bench", "0A1B2C3D"],
        ["--bench", "0a1b2c3"],
        ["--colour", "blue"],
    ],
)
def test_arguments_that_are_not_understood(board: HostNode, words: list[str]) -> None:
    board.load(_image(), "two-slot")
    good = {"--address": board.address, "--port": "8080", "--mac": "02:00:00:00:00:07"}
    good |= {"--speed": "1", "--reset": "crash"}
    good |= {
        "--flash": str(board.folder / "flash.bin"),
        "--pins": str(board.folder / "pins"),
        words[0]: words[1],
    }
    line = [str(boot_loader()), "run", *(word for pair in good.items() for word in pair)]
    done = subprocess.run(line, capture_output=True, text=True, timeout=20, check=False)
    (board.folder / "log").write_text(done.stderr, encoding="utf-8")
    assert done.returncode == 64
    assert words[0] in done.stderr
