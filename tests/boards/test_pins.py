"""Pins: which may carry a pump relay or a probe, against the chips' documents."""

from __future__ import annotations

import pytest

from fleet.boards.board import load_board
from fleet.boards.pins import Answer, Use, may

# GPIOs that pick a relay up, or stop the start, at reset: ESP hardware design guidelines (io-mux and glitch
# tables, strapping pins), ESP32 and ESP32-S3 data sheets, esp8266/Arduino doc/boards.rst.
BAD_FOR_RELAY = {
    "nodemcu-v2": {0, 1, 2, 3, 15, 16},
    "d1-mini": {0, 1, 2, 3, 15, 16},
    "esp32-devkit": {0, 1, 2, 3, 5, *range(6, 12), 12, 14, 15, *range(34, 40)},
    "esp32-s2-devkit": {0, 18, *range(26, 33), *range(43, 47)},
    "esp32-s3-devkit": {0, 3, 18, 19, 20, *range(26, 33), *range(43, 47)},
    "esp32-c3-devkit": {2, 8, 9, *range(11, 18), 18, 19, 20, 21},
}
# The same documents' good choices.
GOOD_FOR_RELAY = {
    "nodemcu-v2": {4, 5},
    "d1-mini": {4, 5},
    "esp32-devkit": {4, 25, 26, 27, 32, 33},
    "esp32-s2-devkit": {21, 33, 34, 35, 36, 37, 38},
    "esp32-s3-devkit": {21, 38, 47},
    "esp32-c3-devkit": {0, 1, 3, 10},
}


@pytest.mark.parametrize("board_id", BAD_FOR_RELAY)
def test_relay(board_id: str) -> None:
    board = load_board(board_id)
    brought_out = {pin.gpio for pin in board.pins}
    answers = {pin.gpio: may(board, pin, Use.RELAY).answer for pin in board.pins}
    assert {g for g, a in answers.items() if a is Answer.REFUSED} == BAD_FOR_RELAY[board_id] & brought_out
    assert {answers[g] for g in GOOD_FOR_RELAY[board_id]} == {Answer.ALLOWED}


@pytest.mark.parametrize(
    ("board_id", "no_pull_up"),
    [
        ("nodemcu-v2", {16}),
        ("esp32-devkit", {34, 35, 36, 39}),
        ("esp32-s2-devkit", {46}),
        ("esp32-c3-devkit", set()),
    ],
)
def test_probe_needs_a_pull_up(board_id: str, no_pull_up: set[int]) -> None:
    """esp8266/Arduino doc/reference.rst; esp-idf gpio/esp32.inc, gpio/esp32s2.inc."""
    board = load_board(board_id)
    for pin in board.pins:
        inside, outside = may(board, pin, Use.PROBE_INTERNAL), may(board, pin, Use.PROBE_EXTERNAL)
        if pin.gpio in no_pull_up:
            assert inside.answer is Answer.REFUSED
            assert pin.name in inside.reason
            assert inside.source
        if outside.answer is Answer.REFUSED:
            assert inside.answer is Answer.REFUSED
    nodemcu = load_board("nodemcu-v2")
    assert may(nodemcu, nodemcu.pin("D0"), Use.PROBE_EXTERNAL).answer is not Answer.REFUSED


def test_probe_that_would_stop_the_start_is_refused() -> None:
    """A wet probe holds its pin LOW: esp8266/Arduino doc/boards.rst; esptool docs, boot mode selection.
    ESP32 GPIO12 HIGH at reset selects 1.8 V for the flash (ESP32 data sheet 3.3)."""
    for board_id, names in (
        ("d1-mini", "D3 D4 D8"),
        ("esp32-devkit", "IO0 IO12"),
        ("esp32-c3-devkit", "IO9"),
    ):
        board = load_board(board_id)
        for name in names.split():
            assert may(board, board.pin(name), Use.PROBE_INTERNAL).answer is Answer.REFUSED, (board_id, name)


def test_enough_pins_for_four_marks_and_a_pump() -> None:
    for board_id in BAD_FOR_RELAY:
        board = load_board(board_id)
        free = [p for p in board.pins if may(board, p, Use.PROBE_INTERNAL).answer is Answer.ALLOWED]
        assert len(free) >= 5, board_id
