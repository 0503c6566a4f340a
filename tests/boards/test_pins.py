"""Pins: which may carry a pump relay or a probe, against the chips' documents."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from fleet.boards.board import chip_pins, load_board
from fleet.boards.pins import best_pins, label, may, probe_use, relay_use
from fleet.boards.uses import Answer, Use
from tests.firmware.firmware_build import ROOT

# GPIOs that pick a relay up, or stop the start, at reset: ESP hardware design guidelines (io-mux and glitch
# tables, strapping pins), ESP32 and ESP32-S3 data sheets, esp8266/Arduino doc/boards.rst.
BAD_FOR_RELAY = {
    "nodemcu-v2": {0, 1, 2, 3, *range(6, 12), 15, 16},
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
    "esp32-s3-devkit": {21, 47},
    "esp32-c3-devkit": {0, 1, 3, 10},
}


@pytest.mark.parametrize("board_id", BAD_FOR_RELAY)
def test_relay(board_id: str) -> None:
    board = load_board(board_id)
    brought_out = {pin.gpio for pin in board.pins}
    answers = {pin.gpio: may(board, pin, Use.RELAY_HIGH).answer for pin in board.pins}
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


# Every GPIO of every chip, not only those that a board brings out. Relays: pins that are pulled up, pulse, carry the
# boot log or are read at reset (io-mux and glitch tables of the ESP hardware design guidelines; ESP32 Series
# Datasheet 5.2, table 3-1; ESP32-S3 Series Datasheet, table 2-2; esp8266/Arduino doc/boards.rst).
RELAY_REFUSED = {
    "d1-mini": {0, 1, 2, 3, *range(6, 12), 15, 16},
    "esp32-devkit": {0, 1, 2, 3, 5, *range(6, 12), 12, 14, 15, *range(34, 40)},
    "esp32-s2-devkit": {0, 18, *range(26, 33), *range(43, 47)},
    "esp32-s3-devkit": {0, 3, 18, 19, 20, *range(26, 33), *range(43, 47)},
    "esp32-c3-devkit": {2, 8, 9, *range(11, 22)},
}
NO_PULL_UP = {"d1-mini": {16}, "esp32-devkit": set(range(34, 40)), "esp32-s2-devkit": {46}}
# Held LOW at reset by a wet probe, the chip does not start (esptool docs, boot mode selection; doc/boards.rst).
HIGH_AT_RESET = {
    "d1-mini": {0, 1, 2},
    "esp32-devkit": {0},
    "esp32-s2-devkit": {0},
    "esp32-s3-devkit": {0},
    "esp32-c3-devkit": {9},
}
LOW_AT_RESET = {
    "d1-mini": {15},
    "esp32-devkit": {12},
    "esp32-s2-devkit": {45, 46},
    "esp32-s3-devkit": {45, 46},
    "esp32-c3-devkit": set(),
}
FLASH = {
    "d1-mini": set(range(6, 12)),
    "esp32-devkit": set(range(6, 12)),
    "esp32-s2-devkit": set(range(26, 33)),
    "esp32-s3-devkit": set(range(26, 33)),
    "esp32-c3-devkit": set(range(11, 18)),
}
ADC1 = {
    "d1-mini": set(),
    "esp32-devkit": set(range(32, 40)),
    "esp32-s2-devkit": set(range(1, 11)),
    "esp32-s3-devkit": set(range(1, 11)),
    "esp32-c3-devkit": set(range(5)),
}


# esp-idf docs/en/api-reference/peripherals/gpio/<chip>.inc and soc_caps.h, counted by hand; ESP8266_RTOS_SDK gpio.h.
EXIST = {
    "d1-mini": {*range(17)},
    "esp32-devkit": {*range(20), 21, 22, 23, 25, 26, 27, *range(32, 40)},
    "esp32-s2-devkit": {*range(22), *range(26, 47)},
    "esp32-s3-devkit": {*range(22), *range(26, 49)},
    "esp32-c3-devkit": {*range(22)},
}
HOW_MANY = {
    "d1-mini": 17,
    "esp32-devkit": 34,
    "esp32-s2-devkit": 43,
    "esp32-s3-devkit": 45,
    "esp32-c3-devkit": 22,
}


@pytest.mark.parametrize("board_id", EXIST)
def test_the_pins_that_exist(board_id: str) -> None:
    assert {pin.gpio for pin in chip_pins(load_board(board_id).chip)} == EXIST[board_id]
    assert len(EXIST[board_id]) == HOW_MANY[board_id]


def refused(board_id: str, use: Use) -> set[int]:
    board = load_board(board_id)
    pins = chip_pins(board.chip)
    return {pin.gpio for pin in pins if may(board, pin, use).answer is Answer.REFUSED}


@pytest.mark.parametrize("board_id", RELAY_REFUSED)
def test_every_gpio_of_the_chip(board_id: str) -> None:
    """Analog: ADC2 is shared with WiFi (esp-idf adc_oneshot.rst), so only ADC1 (gpio/<chip>.inc) counts."""
    stops = FLASH[board_id] | HIGH_AT_RESET[board_id] | LOW_AT_RESET[board_id]
    every = {pin.gpio for pin in chip_pins(load_board(board_id).chip)}
    assert refused(board_id, Use.RELAY_HIGH) == RELAY_REFUSED[board_id]
    assert refused(board_id, Use.PROBE_EXTERNAL) == stops
    assert refused(board_id, Use.PROBE_INTERNAL) == stops | NO_PULL_UP.get(board_id, set())
    assert refused(board_id, Use.ANALOG) == every - ADC1[board_id]
    assert refused(board_id, Use.SPARE) == FLASH[board_id]


@pytest.mark.parametrize("board_id", RELAY_REFUSED)
def test_a_relay_that_is_active_low_fears_what_is_low_at_reset(board_id: str) -> None:
    """ESP32 GPIO4 and GPIO13 are pulled down after reset (esp32-table-io-mux.inc); what is HIGH is to be minded."""
    board = load_board(board_id)
    low, high = refused(board_id, Use.RELAY_LOW), refused(board_id, Use.RELAY_HIGH)
    assert low - high == ({4, 13} if board_id == "esp32-devkit" else set())
    for gpio in high - low:
        pin = next(pin for pin in chip_pins(board.chip) if pin.gpio == gpio)
        assert may(board, pin, Use.RELAY_LOW).answer is Answer.CARE, gpio


# Taken with care. UART0: esp-idf soc/<chip>/uart_channel.h; USB: ESP32-C3 and -S3 data sheets (S2 from memory). Read
# at reset, but the chip starts with either level: boot mode tables of the data sheets. Octal memory: ESP32-S3 data
# sheet. Pulses, and pins that are HIGH: ESP hardware design guidelines, io-mux and glitch tables; GPIO12 to 14 of the
# ESP8266 weakly so (from memory).
UART0 = {
    "d1-mini": {1, 3},
    "esp32-devkit": {1, 3},
    "esp32-s2-devkit": {43, 44},
    "esp32-s3-devkit": {43, 44},
    "esp32-c3-devkit": {20, 21},
}
USB = {"esp32-s2-devkit": {19, 20}, "esp32-s3-devkit": {19, 20}, "esp32-c3-devkit": {18, 19}}
READ_AT_RESET = {"esp32-devkit": {2, 5, 15}, "esp32-s3-devkit": {3}, "esp32-c3-devkit": {2, 8}}
OCTAL = {"esp32-s3-devkit": set(range(33, 38))}
WEAKLY_HIGH = {"d1-mini": {12, 13, 14}, "esp32-c3-devkit": {6}}
HIGH_OR_PULSING = {
    "d1-mini": {16},
    "esp32-devkit": {14},
    "esp32-s2-devkit": {18},
    "esp32-s3-devkit": set(range(1, 19)),
}


def with_care(board_id: str, use: Use) -> set[int]:
    board = load_board(board_id)
    return {pin.gpio for pin in chip_pins(board.chip) if may(board, pin, use).answer is Answer.CARE}


@pytest.mark.parametrize("board_id", RELAY_REFUSED)
def test_what_is_taken_with_care(board_id: str) -> None:
    usb_or_octal = USB.get(board_id, set()) | OCTAL.get(board_id, set())
    talking = UART0[board_id] | usb_or_octal
    read = READ_AT_RESET.get(board_id, set())
    straps = read | HIGH_AT_RESET[board_id] | LOW_AT_RESET[board_id]
    for use, cared in {
        Use.PROBE_INTERNAL: talking | read,
        Use.PROBE_EXTERNAL: talking | read,
        Use.SPARE: talking | straps,
        Use.ANALOG: straps,
        Use.RELAY_HIGH: usb_or_octal | WEAKLY_HIGH.get(board_id, set()),
        Use.RELAY_LOW: usb_or_octal | HIGH_OR_PULSING.get(board_id, set()),
    }.items():
        assert with_care(board_id, use) == cared - refused(board_id, use), use


@pytest.mark.parametrize(
    ("board_id", "pin", "use", "words"),
    [
        ("d1-mini", "D0", Use.PROBE_INTERNAL, "needs an external resistor"),
        ("d1-mini", "D3", Use.PROBE_INTERNAL, "with water at it the board does not start"),
        ("d1-mini", "D3", Use.PROBE_EXTERNAL, "with water at it the board does not start"),
        ("d1-mini", "D8", Use.PROBE_INTERNAL, "a pull-up works against that"),
        ("esp32-devkit", "IO12", Use.PROBE_EXTERNAL, "the resistor of a dry probe holds it HIGH"),
        ("esp32-devkit", "IO15", Use.PROBE_INTERNAL, "a wet probe holds it LOW at reset"),
        ("esp32-devkit", "IO15", Use.PROBE_EXTERNAL, "LOW at reset, and the resistor of a dry one HIGH"),
        ("esp32-devkit", "IO1", Use.PROBE_INTERNAL, "the USB port also uses it"),
        ("esp32-devkit", "IO13", Use.RELAY_LOW, "the pump runs, while the board starts"),
        ("esp32-devkit", "IO14", Use.RELAY_HIGH, "the pump runs, while the board starts"),
        ("esp32-s3-devkit", "18", Use.RELAY_HIGH, "the pump runs, while the board starts"),
        ("esp32-devkit", "IO0", Use.RELAY_HIGH, "decides how the board starts"),
        ("esp32-devkit", "IO15", Use.RELAY_LOW, "decides how the board starts"),
        ("d1-mini", "D5", Use.RELAY_HIGH, "3.3 kOhm from its input to ground"),
        ("esp32-devkit", "IO4", Use.RELAY_LOW, "the pump runs, while the board starts"),
        ("esp32-devkit", "IO1", Use.RELAY_LOW, "boot log makes a relay that is active low pick up"),
        ("esp32-devkit", "IO14", Use.RELAY_LOW, "stays off"),
        ("esp32-s3-devkit", "18", Use.RELAY_LOW, "is not said"),
        ("esp32-s3-devkit", "4", Use.RELAY_LOW, "can follow it"),
        ("esp32-devkit", "IO25", Use.ANALOG, "while WiFi runs"),
        ("esp32-devkit", "IO0", Use.SPARE, "can stop the start"),
        ("esp32-devkit", "IO2", Use.SPARE, "can stop the start"),
    ],
)
def test_the_reason_says_what_would_happen(board_id: str, pin: str, use: Use, words: str) -> None:
    board = load_board(board_id)
    verdict = may(board, board.pin(pin), use)
    assert words in verdict.reason
    assert verdict.source


@pytest.mark.parametrize("board_id", RELAY_REFUSED)
@pytest.mark.parametrize("use", [use for use in Use if use is not Use.ANALOG])
def test_the_best_pins_are_free_fit_and_ranked(board_id: str, use: Use) -> None:
    board = load_board(board_id)
    best = best_pins(board, use)
    assert best
    assert all(may(board, pin, use).answer is Answer.ALLOWED for pin in best)
    assert best[0] not in best_pins(board, use, {best[0].gpio})
    gpios = [pin.gpio for pin in best]
    good_for_relays = [gpio for gpio in board.relay_first if gpio in gpios]
    if use in (Use.RELAY_HIGH, Use.RELAY_LOW):
        assert gpios[: len(good_for_relays)] == good_for_relays
    else:
        assert set(gpios[len(gpios) - len(good_for_relays) :]) == set(good_for_relays), "kept for relays"
    if use is Use.RELAY_HIGH:
        on_a_led = {38} if board_id == "esp32-s3-devkit" else set()
        assert good_for_relays == [gpio for gpio in board.relay_first if gpio not in on_a_led]


def test_pins_as_people_say_them_and_uses_as_inventories_do() -> None:
    mini, s3 = load_board("d1-mini"), load_board("esp32-s3-devkit")
    assert label(mini.pin("D5")) == "D5 (GPIO14)"
    assert label(replace(s3.pins[0], name="GPIO7", gpio=7)) == "GPIO7"
    assert (probe_use("internal"), probe_use("external")) == (Use.PROBE_INTERNAL, Use.PROBE_EXTERNAL)
    assert (relay_use("high"), relay_use("low")) == (Use.RELAY_HIGH, Use.RELAY_LOW)


def test_the_settling_times_are_those_of_the_firmware() -> None:
    ports = ROOT / "templates" / "firmware" / "ports"
    for board_id, path in (("d1-mini", "esp8266/pins.cpp"), ("esp32-devkit", "esp32/pins.h")):
        text = (ports / path).read_text(encoding="utf-8")
        found = re.search(r"kSettleUs = (\d+);", text)
        assert found
        assert load_board(board_id).pull_up.settle_s == pytest.approx(int(found[1]) / 1e6)
