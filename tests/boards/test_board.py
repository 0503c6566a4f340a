"""Boards: every data file loads, agrees with the chips' tables, and pins are found by their names."""

from __future__ import annotations

from dataclasses import replace

import pytest
from esptool.targets import CHIP_DEFS
from semantic_version import SimpleSpec, Version

from fleet.boards.board import board_ids, chip_id, load_board
from fleet.boards.data_file import gpios
from fleet.errors import UsageError
from tests.boards.kinds import KINDS

BOARDS = board_ids()


def test_kinds() -> None:
    assert set(BOARDS) == set(KINDS)


@pytest.mark.parametrize("board_id", BOARDS)
def test_each_name_means_one_pin(board_id: str) -> None:
    board = load_board(board_id)
    names = board.pin_names()
    assert len(names) == len({name.casefold() for name in names})
    assert not {name.casefold() for name in names} & {name.casefold() for name, _ in board.unclear}
    for pin in board.pins:
        assert board.pin(pin.name) is pin
        assert replace(board, title="x").pin(pin.name) is pin
        assert board.pin(f"GPIO{pin.gpio}") is pin
    assert len({pin.gpio for pin in board.pins}) == len(board.pins)


@pytest.mark.parametrize("board_id", BOARDS)
def test_facts_and_choices_name_their_source(board_id: str) -> None:
    board = load_board(board_id)
    assert {"platform", "packages", "flash", "pins"} <= {name for name, _ in board.sources}
    assert all(text for _, text in board.sources)
    assert all(fact.source and fact.what for pin in board.pins for fact in pin.facts)
    assert board.slot_bytes * 2 <= board.flash_bytes
    assert "@" in board.platform


RANGES = {
    "platformio/espressif8266@4.2.1": {
        "toolchain-xtensa": "~2.100300.220621",
        "framework-arduinoespressif8266": "~3.30102.0",
        "tool-esptool": "<2",
        "tool-esptoolpy": "~1.30000.0",
    },
    "platformio/espressif32@6.13.0": {
        "toolchain-xtensa-esp32": "8.4.0+2021r2-patch5",
        "toolchain-xtensa-esp32s2": "8.4.0+2021r2-patch5",
        "toolchain-xtensa-esp32s3": "8.4.0+2021r2-patch5",
        "toolchain-riscv32-esp": "8.4.0+2021r2-patch5",
        "framework-arduinoespressif32": "~3.20017.0",
        "tool-esptoolpy": "~2.41100.0",
    },
}
"""What `platform.json` of each platform asks for at its tag; by `platform.py`, the Xtensa compiler of the chip alone,
and the RISC-V one of the C3, S2 and S3."""


@pytest.mark.parametrize("board_id", BOARDS)
def test_packages_are_those_that_the_platform_asks_for_in_versions_that_it_allows(board_id: str) -> None:
    """`semantic_version` is what PlatformIO itself compares with."""
    board = load_board(board_id)
    ranges = RANGES[board.platform]
    pinned = dict(package.split("@") for package in board.packages)
    chip = board.chip.replace("-", "")
    others = {f"toolchain-xtensa-{other}" for other in ("esp32", "esp32s2", "esp32s3") if other != chip}
    others |= {"toolchain-riscv32-esp"} if chip == "esp32" else set()
    assert set(pinned) == set(ranges) - others
    for name, version in pinned.items():
        assert Version(version) in SimpleSpec(ranges[name]), name


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
    flash = {
        "CLK": 6,
        "SD0": 7,
        "SD1": 8,
        "SD2": 9,
        "SD3": 10,
        "CMD": 11,
    }  # NodeMCU 1.0 schematic, sheet IO CONN
    for board_id, more in (("nodemcu-v2", flash), ("d1-mini", {})):
        board = load_board(board_id)
        assert {pin.name: pin.gpio for pin in board.pins} == table | more
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
    """500 kB are 123 sectors; erase 500 ms and 16 pages of 5 ms each at most (ESP32-S3 data sheet, 5-11). A node waits
    10 s and the time at 10 kB/s for them (docs/node-interface.md 2), though the board could take 60 kB/s. Before that,
    its word on its marks is up to 15 s under way, and a send that has not begun 30 s later is given up."""
    two_slot, copying = load_board("esp32-devkit").outage, load_board("nodemcu-v2").outage
    assert two_slot.copy_s(500_000) == pytest.approx(123 * 0.58)
    assert two_slot.worst_s(500_000, 300) == pytest.approx(45 + 60 + 123 * 0.58 + 10 + 300 + 10)
    assert copying.worst_s(500_000, 300) - two_slot.worst_s(500_000, 300) == pytest.approx(3 * 123 * 0.58)


@pytest.mark.parametrize("board_id", BOARDS)
def test_the_way_into_download_mode_names_the_boards_buttons(board_id: str) -> None:
    board, (button, reset) = load_board(board_id), KINDS[board_id].buttons
    assert board.button_gpio == KINDS[board_id].button_gpio
    assert f"press {reset}," in board.download_mode
    assert ("wire" in board.download_mode) is (button is None)
    if button:
        assert board.download_mode.startswith(f"hold {button},")


@pytest.mark.parametrize("board_id", BOARDS)
def test_facts_of_the_chip_are_esptools(board_id: str) -> None:
    """esptool's own table of chips; the ESP8266's images have no id (None there, too)."""
    board = load_board(board_id)
    theirs = CHIP_DEFS[board.chip.replace("-", "")]
    assert board.boot_loader_at == theirs.BOOTLOADER_FLASH_OFFSET
    assert chip_id(board.chip) == theirs.IMAGE_CHIP_ID
    assert theirs.CHIP_NAME.lower() == board.chip


@pytest.mark.parametrize("board_id", BOARDS)
def test_all_but_the_esp8266_join_networks_that_take_wpa3_only(board_id: str) -> None:
    """esp8266/Arduino issue 4862; ESP-IDF docs, wifi-security.rst."""
    board = load_board(board_id)
    assert board.wpa3 is (board.chip != "esp8266")


@pytest.mark.parametrize("board_id", BOARDS)
def test_names_as_they_are_printed(board_id: str) -> None:
    board = load_board(board_id)
    for name, gpio in KINDS[board_id].printed.items():
        assert board.pin(name).gpio == gpio
        assert board.pin(name.lower()).gpio == gpio
        assert board.pin_as_said(name.lower()).name == name, "by the name that was used, as it is printed"
    for pin in board.pins:
        assert board.pin_as_said(f"gpio{pin.gpio}").name == pin.name


def test_names_that_mean_different_pins_are_not_guessed() -> None:
    """D2 is GPIO9 (flash) on the DevKitC and GPIO2 on 30-pin boards; bare numbers on a NodeMCU may be Dn or GPIOn."""
    for board_id, name in (("esp32-devkit", "D2"), ("nodemcu-v2", "5"), ("d1-mini", "4"), ("d1-mini", "SD3")):
        with pytest.raises(KeyError):
            load_board(board_id).pin(name)
    assert "GPIO2" in dict(load_board("esp32-devkit").unclear)["D2"]
