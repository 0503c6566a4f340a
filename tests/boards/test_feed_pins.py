"""Pins that may feed resistors outside, against the chips' documents and node voltages reckoned here."""

from __future__ import annotations

import pytest

from fleet.boards.board import chip_pins, load_board
from fleet.boards.data_file import LoadKind
from fleet.boards.loads import judge
from fleet.boards.pins import best_pins, may
from fleet.boards.uses import Answer, Use

# Of every GPIO of the chip: the flash's (esp-idf gpio/CHIP.inc; esp8266/Arduino doc/boards.rst), what is read at reset
# (boot mode tables of the data sheets, esptool docs), UART0 (soc/CHIP/uart_channel.h), and input only: ESP32 GPIO34 to
# 39, ESP32-S2 GPIO46 (gpio/CHIP.inc).
REFUSED = {
    "d1-mini": {0, 1, 2, 3, *range(6, 12), 15},
    "esp32-devkit": {0, 1, 2, 3, 5, *range(6, 12), 12, 15, *range(34, 40)},
    "esp32-s2-devkit": {0, *range(26, 33), 43, 44, 45, 46},
    "esp32-s3-devkit": {0, 3, *range(26, 33), 43, 44, 45, 46},
    "esp32-c3-devkit": {2, 8, 9, *range(11, 18), 20, 21},
}
# HIGH or pulsing while the chip starts: measured table (tttapa.github.io ESP8266 chapter 4), ESP hardware design
# guidelines (io-mux and glitch tables). USB pads and octal memory: data sheets.
CARE = {
    "d1-mini": {16},
    "esp32-devkit": {14},
    "esp32-s2-devkit": {18, 19, 20},
    "esp32-s3-devkit": {18, 19, 20, *range(33, 38)},
    "esp32-c3-devkit": {18, 19},
}


@pytest.mark.parametrize("board_id", REFUSED)
def test_every_gpio_of_the_chip(board_id: str) -> None:
    board = load_board(board_id)
    answers = {pin.gpio: may(board, pin, Use.PROBE_FEED).answer for pin in chip_pins(board.chip)}
    assert {gpio for gpio, answer in answers.items() if answer is Answer.REFUSED} == REFUSED[board_id]
    assert {gpio for gpio, answer in answers.items() if answer is Answer.CARE} == CARE[board_id]


@pytest.mark.parametrize("board_id", ["nodemcu-v2", *REFUSED])
def test_every_board_has_a_pin_for_it(board_id: str) -> None:
    board = load_board(board_id)
    best = best_pins(board, Use.PROBE_FEED)
    assert best
    assert best[0].gpio not in board.relay_first, "good relay pins are few"


@pytest.mark.parametrize(
    ("board_id", "pin", "answer", "words"),
    [
        ("esp32-devkit", "IO34", Answer.REFUSED, ""),
        ("esp32-devkit", "IO0", Answer.REFUSED, "the wet probes pull it LOW"),
        ("esp32-devkit", "IO12", Answer.REFUSED, "the pins of the dry ones HIGH"),
        ("esp32-devkit", "IO1", Answer.REFUSED, "also goes through the water"),
        ("d1-mini", "D0", Answer.CARE, "while the board starts"),
        # The blue LED from 3.3 V through 470 ohm: off, the feed floats no more.
        ("nodemcu-v2", "D0", Answer.REFUSED, "current never stops"),
    ],
)
def test_the_reason_says_what_would_happen(board_id: str, pin: str, answer: Answer, words: str) -> None:
    board = load_board(board_id)
    verdict = may(board, board.pin(pin), Use.PROBE_FEED)
    assert verdict.answer is answer
    assert words in verdict.reason
    assert verdict.source


def test_a_led_to_3_3_v_feeds_the_probes_of_a_feed_that_is_off() -> None:
    """3.3 V less 2.0 V of the LED (data sheet of such LEDs, typical) over 470 ohm and 100 kohm, the water a short:
    13 uA all the time, against none with a LED to ground."""
    board = load_board("nodemcu-v2")
    (load,) = (load for load in board.pin("D0").loads if load.kind is LoadKind.LED)
    assert load.to == "high"
    assert load.ohm is not None
    current_ua = 1e6 * (3.3 - 2.0) / (load.ohm + 100e3)
    assert current_ua > 10
    assert judge(load, Use.PROBE_FEED, board.pull_up).answer is Answer.REFUSED
