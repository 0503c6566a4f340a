"""The button that clears faults: which pin the node block gets, and what `check` says of one that cannot be."""

from __future__ import annotations

import pytest

from fleet.boards.board import load_board
from fleet.check.codes.button import CODES as BUTTON_CODES
from fleet.check.load import read_texts
from fleet.keys.trust import Trust
from fleet.model.inventory import Inventory
from fleet.render.block_of import block_of
from fleet.render.node_block import NO_PIN, unpack

TEXT = """
fleet: {name: thornby, domain: thornby.example}
sites: [{name: farm, time_zone: Europe/London, network: farm-wifi}]
tanks:
  - name: loft
    site: farm
    duty: irrigation
    shape: {kind: box, length: 2 m, width: 1 m, height: 1 m}
    marks: [{name: low, height: 0.2 m}, {name: full, height: 0.8 m}]
nodes:
  - name: loft-node
    board: BOARD
    serves: [{tank: loft, probes: {low: LOW, full: FULL}}]
BUTTON"""
PROBES = {
    "nodemcu-v2": ("D5", "D6"),
    "d1-mini": ("D5", "D6"),
    "esp32-devkit": ("IO32", "IO33"),
    "esp32-c3-devkit": ("IO0", "IO1"),
    "esp32-s2-devkit": ("IO4", "IO5"),
    "esp32-s3-devkit": ('"4"', '"5"'),
}


def read(board: str, button: str = "", low: str = "") -> tuple[Inventory | None, list[tuple[str, str, str]]]:
    """The inventory, and the findings of the button: code, subject, words."""
    first, second = PROBES[board]
    text = TEXT.replace("BOARD", board).replace("LOW", low or first).replace("FULL", second)
    text = text.replace("BUTTON", f"    clear_button: {button}\n" if button else "")
    inventory, findings = read_texts([("farm.yaml", text.encode())])
    said = [
        (f.code.code, str(f.subject), f"{f.what} {f.fix_here}") for f in findings if f.code in BUTTON_CODES
    ]
    return inventory, said


def clear_pin(board: str, button: str = "", low: str = "") -> int:
    inventory, said = read(board, button, low)
    assert inventory is not None
    assert said == []
    block = block_of(
        inventory,
        inventory.node("loft-node"),
        load_board(board),
        Trust(b"\x04" + bytes(64)),
        "board",
        "1.0.0",
    )
    return unpack(block.pack()).clear_pin


@pytest.mark.parametrize(
    ("board", "gpio"),
    [
        ("nodemcu-v2", 0),
        ("d1-mini", NO_PIN),
        ("esp32-devkit", 0),
        ("esp32-c3-devkit", 9),
        ("esp32-s2-devkit", 0),
        ("esp32-s3-devkit", 0),
    ],
)
def test_by_default_it_is_the_boards_own_button(board: str, gpio: int) -> None:
    """GPIO0 where the button is FLASH or BOOT; GPIO9 on the C3; the D1 mini has RESET alone (user guides of the boards,
    and the NodeMCU schematic, named in each board's file)."""
    assert clear_pin(board) == gpio


def test_a_pin_may_be_named_or_none() -> None:
    assert clear_pin("d1-mini", "D7") == 13
    assert clear_pin("esp32-devkit", "GPIO27") == 27
    assert clear_pin("esp32-devkit", "none") == NO_PIN


def test_a_pin_that_the_board_lacks_is_found() -> None:
    (said,) = read("esp32-devkit", "D7")[1]
    assert said[:2] == ("INV176", "node loft-node")
    assert "has no pin `D7`" in said[2]
    assert "`IO0`" in said[2], "the board's own is offered"


def test_a_pin_in_use_is_found() -> None:
    (said,) = read("esp32-devkit", "GPIO32")[1]
    assert said[:2] == ("INV177", "node loft-node")
    assert "a probe or a pump relay" in said[2]


@pytest.mark.parametrize(
    ("board", "pin", "why"),
    [
        ("esp32-devkit", "IO34", "pull-up"),
        ("d1-mini", "D0", "pull-up"),
        ("d1-mini", "D8", "LOW"),
        ("nodemcu-v2", "RX", ""),
        ("esp32-c3-devkit", "IO18", "USB"),
    ],
)
def test_a_pin_that_cannot_read_a_button_is_found(board: str, pin: str, why: str) -> None:
    """GPIO34-39 have no pull-up (ESP32 data sheet, IO_MUX); GPIO16 of the ESP8266 has only a pull-down, GPIO15 is held
    LOW by the board (esp8266/Arduino, doc/reference.rst and boards.rst); GPIO18 and 19 of the C3 are its USB pads."""
    (said,) = read(board, pin)[1]
    assert said[:2] == ("INV178", "node loft-node")
    assert why in said[2]
