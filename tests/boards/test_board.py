"""Boards: every data file loads, agrees with the chips' tables, and pins are found by their names."""

from __future__ import annotations

import pytest

from fleet.boards.board import board_ids, load_board
from fleet.boards.data_file import gpios
from fleet.errors import UsageError

BOARDS = board_ids()


def test_kinds() -> None:
    assert BOARDS == (
        "d1-mini",
        "esp32-c3-devkit",
        "esp32-devkit",
        "esp32-s2-devkit",
        "esp32-s3-devkit",
        "nodemcu-v2",
    )


@pytest.mark.parametrize("board_id", BOARDS)
def test_each_name_means_one_pin(board_id: str) -> None:
    board = load_board(board_id)
    names = board.pin_names()
    assert len(names) == len(set(names))
    for pin in board.pins:
        assert board.pin(pin.name) is pin
        assert board.pin(f"GPIO{pin.gpio}") is pin
    assert len({pin.gpio for pin in board.pins}) == len(board.pins)


@pytest.mark.parametrize("board_id", BOARDS)
def test_facts_and_choices_name_their_source(board_id: str) -> None:
    board = load_board(board_id)
    assert {"platform", "flash", "pins"} <= {name for name, _ in board.sources}
    assert all(text for _, text in board.sources)
    assert all(fact.source and fact.what for pin in board.pins for fact in pin.facts)
    assert board.slot_bytes * 2 <= board.flash_bytes
    assert "@" in board.platform


def test_unknown_board_names_those_there_are() -> None:
    with pytest.raises(UsageError, match="nodemcu-v2"):
        load_board("nodemcu-v9")
    with pytest.raises(KeyError):
        load_board("nodemcu-v2").pin("D11")


def test_gpio_lists() -> None:
    assert gpios("0-2, 16") == {0, 1, 2, 16}


def test_esp8266_names_are_those_of_the_arduino_variants() -> None:
    """esp8266/Arduino variants/nodemcu/ and variants/d1_mini/pins_arduino.h (D9, D10: NodeMCU only)."""
    table = {
        "D0": 16,
        "D1": 5,
        "D2": 4,
        "D3": 0,
        "D4": 2,
        "D5": 14,
        "D6": 12,
        "D7": 13,
        "D8": 15,
        "RX": 3,
        "TX": 1,
    }
    for board_id in ("nodemcu-v2", "d1-mini"):
        board = load_board(board_id)
        assert {pin.name: pin.gpio for pin in board.pins} == table
    assert load_board("nodemcu-v2").pin("D10").gpio == 1
    with pytest.raises(KeyError):
        load_board("d1-mini").pin("D10")


def test_capabilities_against_soc_caps() -> None:
    """esp-idf soc/esp32 soc_caps.h: valid outputs exclude 34-39; gpio/esp32.inc: no pulls there."""
    board = load_board("esp32-devkit")
    assert {p.gpio for p in board.pins if not p.output and p.gpio > 11} == {34, 35, 36, 39}
    assert {p.gpio for p in board.pins if not p.pull_up and p.gpio > 11} == {34, 35, 36, 39}
    assert not load_board("nodemcu-v2").pin("D0").pull_up
    assert load_board("nodemcu-v2").pin("D0").output


def test_slots_against_partition_tables() -> None:
    """arduino-esp32 tools/partitions/min_spiffs.csv, default_8MB.csv; esp8266/Arduino eagle.flash.4m.ld."""
    assert load_board("esp32-c3-devkit").slot_bytes == 0x1E0000
    assert load_board("esp32-s3-devkit").slot_bytes == 0x330000
    assert load_board("d1-mini").slot_bytes == 1_044_464


def test_copy_in_place_is_out_for_longer() -> None:
    """500 kB are 123 sectors; erase 500 ms and 16 pages of 5 ms each at most (ESP32-S3 data sheet, 5-11)."""
    two_slot, copying = load_board("esp32-devkit").outage, load_board("nodemcu-v2").outage
    assert two_slot.copy_s(500_000) == pytest.approx(123 * 0.58)
    assert two_slot.worst_s(500_000, 300) == pytest.approx(500_000 / 60_000 + 123 * 0.58 + 10 + 300 + 10)
    assert copying.worst_s(500_000, 300) - two_slot.worst_s(500_000, 300) == pytest.approx(3 * 123 * 0.58)


def test_buttons_that_a_program_can_read() -> None:
    """FLASH and Boot join the pin that chooses the download mode with ground: NodeMCU 1.0 schematic; user guides of the
    kits in esp-idf docs/en/hw-reference; which pin: esptool docs, boot mode selection. The D1 mini has RESET alone
    (its schematic, from memory)."""
    assert {board_id: load_board(board_id).button_gpio for board_id in BOARDS} == {
        "nodemcu-v2": 0,
        "d1-mini": None,
        "esp32-devkit": 0,
        "esp32-s2-devkit": 0,
        "esp32-s3-devkit": 0,
        "esp32-c3-devkit": 9,
    }
