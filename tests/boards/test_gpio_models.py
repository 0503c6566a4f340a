"""The models of the chips' pads that the ports are proved over start from what the chips' files say of reset.

The models are a transcription of their own (tests/firmware/esp32_gpio_model.h and esp8266_gpio_model_test.cpp).
"""

from __future__ import annotations

from collections import defaultdict

import pytest

from fleet.boards.board import board_ids, chip_pins, load_board
from fleet.boards.data_file import ResetPull, Trait
from tests.firmware.firmware_build import FLAGS, ROOT, compile_program, core_sources, run_program

CHIPS = {"esp32": "esp32", "esp32s2": "esp32-s2", "esp32s3": "esp32-s3", "esp32c3": "esp32-c3"}
"""The chips' files, by the models' names."""
VARIANT = "esp32, GPIO5 up"
STANDINS = ROOT / "tests" / "firmware" / "esp8266_core"
ESP8266_SOURCES = (
    "templates/firmware/ports/esp8266/pins.cpp",
    "tests/firmware/esp8266_gpio_model_test.cpp",
    *core_sources("node_block_check", "crc32"),
)

State = tuple[bool, bool, str]
"""Whether the input is enabled, whether the chip drives, what pulls."""


def _of_the_file(chip: str) -> dict[int, State]:
    return {pin.gpio: (pin.reset.input, pin.reset.output, pin.reset.pull.value) for pin in chip_pins(chip)}


@pytest.fixture(scope="module")
def modelled() -> dict[str, dict[int, State]]:
    """Of the ESP32 family, by chip and GPIO."""
    found: dict[str, dict[int, State]] = defaultdict(dict)
    for line in run_program(compile_program(["tests/firmware/esp32_reset_tool.cpp"])).splitlines():
        chip, _, words = line.partition(";")
        gpio, enabled, driven, pull = words.split()
        found[chip][int(gpio)] = (enabled == "1", driven == "1", pull)
    return found


def test_every_chip_has_its_model(modelled: dict[str, dict[int, State]]) -> None:
    assert set(modelled) == {*CHIPS, VARIANT}
    assert {load_board(board_id).chip for board_id in board_ids()} == {*CHIPS.values(), "esp8266"}


@pytest.mark.parametrize("name", [name for name in CHIPS if name != "esp32"])
def test_the_model_and_the_file_agree_on_every_pin(modelled: dict[str, dict[int, State]], name: str) -> None:
    assert modelled[name] == _of_the_file(CHIPS[name])


def test_of_the_esp32_they_agree_but_for_gpio5_on_which_its_sources_do_not(
    modelled: dict[str, dict[int, State]],
) -> None:
    """The file takes the data sheet's word (table 3-1: pulled up); the guidelines' is proved as well (pulled down)."""
    file = _of_the_file("esp32")
    assert modelled[VARIANT] == file
    assert file[5] == (True, False, ResetPull.UP.value)
    assert modelled["esp32"] == file | {5: (True, False, ResetPull.DOWN.value)}


def test_the_model_of_the_esp8266_starts_from_its_reset_among_others() -> None:
    """From whatever may have been left; the flash's pins are never touched. Inputs are always enabled in it."""
    program = compile_program(ESP8266_SOURCES, flags=(*FLAGS, "-isystem", str(STANDINS)))
    states: dict[int, set[tuple[bool, str]]] = defaultdict(set)
    for line in run_program(program, ["states"]).splitlines():
        gpio, driven, pull = line.split()
        states[int(gpio)].add((driven == "1", pull))
    pins = [pin for pin in chip_pins("esp8266") if not pin.fact(Trait.FLASH)]
    assert set(states) == {pin.gpio for pin in pins}
    for pin in pins:
        assert (pin.reset.output, pin.reset.pull.value) in states[pin.gpio], pin.gpio
