"""What each pin is after reset: the chips' files against a second transcription, in package order and by pad name.

Sources: ESP hardware design guidelines, <chip>-table-io-mux.inc, column "After Reset" (C3: "Reset"), in the order of
the package; which GPIO a pad is: esp-idf components/soc/<chip> io_mux_reg.h (ESP32, S2, S3), the table itself (C3).
ESP8266: Espressif's pin list (from memory) and the measurements of esp8266.com viewtopic t=16141.
"""

from __future__ import annotations

import pytest

from fleet.boards.board import Reset, board_ids, chip_pins, load_board
from fleet.boards.data_file import ResetPull, Trait

# Pads by their name in the order of the package, with the words of the column: - nothing, I input enabled, U weak
# pull-up, D weak pull-down, O output enabled, B pull-up of the USB port.
ESP32 = """
36 -  37 -  38 -  39 -  34 -  35 -  32 -  33 -  25 -  26 -  27 -  MTMS IU  MTDI ID  MTCK ID  MTDO IU  2 ID  0 IU  4 ID
16 I  17 I  SD_DATA_2 IU  SD_DATA_3 IU  SD_CMD IU  SD_CLK IU  SD_DATA_0 IU  SD_DATA_1 IU  5 IU  18 I  23 I  19 I  22 I
U0RXD IU  U0TXD IU  21 I
"""
# GPIO5: the data sheet's table 3-1 (default pull-up) against the guidelines (wpd); see the chip's file.
S2 = """
0 IU  1 I  2 I  3 -  4 -  5 -  6 -  7 -  8 -  9 I  10 I  11 I  12 I  13 I  14 I  XTAL_32K_P -  XTAL_32K_N -  DAC_1 I
DAC_2 IU  19 -  20 -  21 -  SPICS1 IU  SPIHD IU  SPIWP IU  SPICS0 IU  SPICLK IU  SPIQ IU  SPID IU  33 I  34 I  35 I
36 I  37 I  38 I  MTCK I  MTDO I  MTDI I  MTMS I  U0TXD IU  U0RXD IU  45 ID  46 ID
"""
S3 = """
0 IU  1 I  2 I  3 I  4 -  5 -  6 -  7 -  8 -  9 I  10 I  11 I  12 I  13 I  14 I  XTAL_32K_P -  XTAL_32K_N -  17 I  18 I
19 -  20 B  21 -  SPICS1 IU  SPIHD IU  SPIWP IU  SPICS0 IU  SPICLK IU  SPIQ IU  SPID IU  SPICLK_N I  SPICLK_P I  33 I
34 I  35 I  36 I  37 I  38 I  MTCK I  MTDO I  MTDI I  MTMS I  U0TXD IU  U0RXD IU  45 ID  46 ID
"""
C3_DIGITS = "0 0 1 1 1 1 1* 1 1 3 1 0 3 3 3 3 3 3 0 0* 3 4"
"""GPIO0 to 21; its legend: 0 nothing, 1 input, 3 input and pull-up, 4 output and pull-up, 0* the USB pull-up, 1* input
and pull-up unless an eFuse turns that off."""
C3 = {"0": "-", "1": "I", "3": "IU", "4": "OU", "0*": "B", "1*": "IU"}
ESP8266 = """
XPD_DCDC OD  MTMS IU  MTDI IU  MTCK IU  MTDO IU  2 IU  0 IU  4 I  SD_DATA_2 IU  SD_DATA_3 IU  SD_CMD IU  SD_CLK IU
SD_DATA_0 IU  SD_DATA_1 IU  5 I  U0RXD IU  U0TXD IU
"""

SD_PADS = {"SD_CLK": 6, "SD_DATA_0": 7, "SD_DATA_1": 8, "SD_DATA_2": 9, "SD_DATA_3": 10, "SD_CMD": 11}
ESP32_PADS = SD_PADS | {
    "MTDI": 12,
    "MTCK": 13,
    "MTMS": 14,
    "MTDO": 15,
    "U0RXD": 3,
    "U0TXD": 1,
    "XPD_DCDC": 16,
}
S2_PADS = {
    "XTAL_32K_P": 15, "XTAL_32K_N": 16, "DAC_1": 17, "DAC_2": 18, "SPICS1": 26, "SPIHD": 27, "SPIWP": 28,
    "SPICS0": 29, "SPICLK": 30, "SPIQ": 31, "SPID": 32, "SPICLK_P": 47, "SPICLK_N": 48, "MTCK": 39, "MTDO": 40,
    "MTDI": 41, "MTMS": 42, "U0TXD": 43, "U0RXD": 44,
}  # fmt: skip


def _read(text: str, pads: dict[str, int]) -> dict[int, str]:
    words = text.split()
    return {
        int(name) if name.isdigit() else pads[name]: state
        for name, state in zip(words[::2], words[1::2], strict=True)
    }


SECOND = {
    "esp32": _read(ESP32, ESP32_PADS),
    "esp32-s2": _read(S2, S2_PADS),
    "esp32-s3": _read(S3, S2_PADS),
    "esp32-c3": {gpio: C3[digit] for gpio, digit in enumerate(C3_DIGITS.split())},
    "esp8266": _read(ESP8266, ESP32_PADS),
}
PULLS = {"U": ResetPull.UP, "D": ResetPull.DOWN, "B": ResetPull.USB_UP}


def letters(reset: Reset) -> set[str]:
    """The state in the letters of the tables above."""
    said = {letter for letter, pull in PULLS.items() if reset.pull is pull}
    return said | ({"I"} if reset.input else set()) | ({"O"} if reset.output else set())


@pytest.mark.parametrize("chip", SECOND)
def test_every_pin_of_every_chip_is_what_the_second_transcription_says(chip: str) -> None:
    pins = {pin.gpio: letters(pin.reset) for pin in chip_pins(chip)}
    assert pins == {gpio: set(state) - {"-"} for gpio, state in SECOND[chip].items()}


def test_all_chips_are_looked_at() -> None:
    assert set(SECOND) == {load_board(board_id).chip for board_id in board_ids()}


@pytest.mark.parametrize("chip", SECOND)
def test_a_pin_that_is_pulled_is_known_for_it(chip: str) -> None:
    """Relays follow the pull: whatever is pulled has a fact that says so. Flash pins are no matter: nothing may hang
    there."""
    up = {Trait.BOOT_HIGH, Trait.BOOT_WEAK_HIGH, Trait.STRAP_HIGH}
    for pin in chip_pins(chip):
        traits = {fact.trait for fact in pin.facts}
        if pin.reset.output:
            assert Trait.BOOT_HIGH in traits, pin.gpio
        elif pin.reset.pull is ResetPull.DOWN:
            assert Trait.BOOT_LOW in traits, pin.gpio
        elif pin.reset.pull is not ResetPull.NONE:
            assert traits & up, pin.gpio


@pytest.mark.parametrize(
    ("gpio", "pull"), [(4, ResetPull.DOWN), (13, ResetPull.DOWN), (14, ResetPull.UP), (25, ResetPull.NONE)]
)
def test_the_esp32_pins_that_misled_a_probe(gpio: int, pull: ResetPull) -> None:
    """esp32-table-io-mux.inc: GPIO4 and MTCK wpd, MTMS wpu, GPIO25 nothing; the board's pins have it too."""
    pin = load_board("esp32-devkit").pin(f"GPIO{gpio}")
    assert pin.reset.pull is pull
    assert pin.reset.source
