"""Trouble in the field: the network that goes away, the serial console, and what the fuzz targets found."""

from __future__ import annotations

import contextlib
import os
import re
import socket
import tty
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from tests.firmware.firmware_build import CRYPTO, FIRMWARE, ROOT, compile_and_check, core_sources
from tests.firmware.firmware_host import EMPTY, FULL, HALF, RELAY, HostNode, image_of, node_block


def test_lost_network_and_console() -> None:
    compile_and_check(["tests/firmware/console_test.cpp", CRYPTO, *core_sources()])


def test_what_the_fuzz_targets_found() -> None:
    compile_and_check(["tests/firmware/fuzz_found_test.cpp", CRYPTO, *core_sources()])


def test_the_words_of_the_console_are_those_of_the_interface_page() -> None:
    table = re.search(r"kWords\[\] = \{(.*?)\n\};", (FIRMWARE / "core/console.cpp").read_text(), re.S)
    assert table is not None
    page = (
        (ROOT / "docs" / "node-interface.md")
        .read_text(encoding="utf-8")
        .split("## 10.")[1]
        .split("## 11.")[0]
    )
    rows = re.findall(r"^\| `([a-z]+)` \|", page, re.M)
    assert rows == re.findall(r'\{"([a-z]+)"', table[1])


class _Terminal:
    """The person's end of a pseudo-terminal; `name` is the board's."""

    def __init__(self) -> None:
        self._end, self._board_end = os.openpty()
        tty.setraw(self._board_end)
        os.set_blocking(self._end, False)
        self.name = os.ttyname(self._board_end)
        self.text = ""

    def says(self, what: str) -> bool:
        """Whether it has said that since the last word typed."""
        with contextlib.suppress(BlockingIOError):
            self.text += os.read(self._end, 65536).decode("ascii")
        return what in self.text

    def type(self, word: str) -> None:
        self.text = ""
        os.write(self._end, word.encode() + b"\r")

    def close(self) -> None:
        os.close(self._end)
        os.close(self._board_end)


@pytest.fixture
def terminal() -> Iterator[_Terminal]:
    made = _Terminal()
    yield made
    made.close()


@pytest.fixture
def board(tmp_path: Path) -> Iterator[HostNode]:
    node = HostNode(tmp_path, f"127.{180 + os.getpid() % 70}.{os.getpid() // 70 % 250}.3")
    yield node
    node.end()
    assert "Sanitizer" not in node.log() and "runtime error" not in node.log(), node.log()


@pytest.mark.slow
def test_a_person_at_the_board_sees_it_and_starts_it_again(board: HostNode, terminal: _Terminal) -> None:
    board.load(image_of(node_block("1.0.0", "two-slot")), "two-slot")
    board.start(console=terminal.name)
    board.wait_for(lambda: terminal.says("tank node upper-barn: type `help`\r\n"), "it says hello")
    board.wait_up()
    terminal.type("state")
    board.wait_for(lambda: terminal.says("tank header: "), "it shows its state")
    assert f"image {board.state().image[:16]}, kept, no older image" in terminal.text
    terminal.type("back")
    board.wait_for(lambda: terminal.says("There is no older image"), "it has nothing to go back to")
    terminal.type("restart")
    assert board.wait_exit() == 75
    assert terminal.says("starting again")


@pytest.mark.slow
def test_a_node_whose_network_is_lost_goes_quiet_and_controls_its_pump(
    board: HostNode, terminal: _Terminal
) -> None:
    block = replace(node_block("1.0.0", "two-slot"), network_lost_s=1)
    board.speed = 50
    board.load(image_of(block), "two-slot")
    board.start(console=terminal.name)
    board.wait_up()
    board.pins.set_network_down(True)

    def waits() -> bool:
        terminal.type("faults")
        return terminal.says("network lost: ")

    board.wait_for(waits, "it waits")
    board.pins.set_network_down(False)  # its radio is off: nothing answers, though the network is there again
    with socket.create_connection((board.address, 8080)) as unheard:
        unheard.sendall(b"GET /metrics HTTP/1.1\r\nHost: a\r\n\r\n")
        unheard.settimeout(1.0)
        with pytest.raises(TimeoutError):
            unheard.recv(10)
    board.wait_for(lambda: board.pins.driven_high(RELAY) is True, "an empty tank is filled")
    for gpio in (EMPTY, HALF, FULL):
        board.pins.set_input(gpio, high=False)
    board.wait_for(lambda: board.pins.driven_high(RELAY) is False, "a full tank is not")
    terminal.type("join")
    board.wait_for(lambda: terminal.says("looking for the network"), "it looks again")
    assert board.state().faults == ()
