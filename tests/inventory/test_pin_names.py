"""Names of pins as they are printed on boards, and what is said of names that a board does not have."""

from __future__ import annotations

from pathlib import Path

import pytest

from fleet.check.load import read_texts
from fleet.facts.node import about_node
from tests.inventory.test_sound import FOLDER, read

FARM = (Path(__file__).resolve().parent / "sound" / "fire-tank.yaml").read_text(encoding="utf-8")
MEANT = "Did you mean"


def said(board: str, pin: str, use: str = "probe") -> str:
    """What `check` finds where that pin is written, of those about names; nothing if it is sound."""
    text = FARM.replace("esp32-devkit", board)
    text = text.replace("{short: IO16, low: IO17, full: IO18}", "{short: GPIO4, low: GPIO5, full: GPIO14}")
    text = (
        text.replace("IO25", pin)
        if use == "relay"
        else text.replace("full: GPIO14", f"full: {pin}").replace("IO25", "GPIO12")
    )
    _, findings = read_texts([("farm.yaml", text.encode())])
    return next((finding.what for finding in findings if finding.code.code in ("INV122", "INV168")), "")


@pytest.mark.parametrize(
    ("board", "pin", "words"),
    [
        ("d1-mini", "SD3", "that is a name on `esp32-devkit`, `nodemcu-v2`"),
        ("d1-mini", "SD2", "that is a name on `esp32-devkit`, `nodemcu-v2`"),
        ("d1-mini", "D11", "has no pin `D11`"),
        ("nodemcu-v2", "D33", "that is a name on `esp32-devkit`"),
        ("d1-mini", "A0", "is no GPIO"),
        ("nodemcu-v2", "VIN", "is no GPIO"),
        ("esp32-devkit", "EN", "is no GPIO"),
        ("esp32-devkit", "D2", "GPIO2 on boards with 30 pins"),
        ("esp32-devkit", "d2", "a flash pin (GPIO9) on the DevKitC"),
        ("d1-mini", "5", "that is a name on"),
        ("d1-mini", "DD3", "has no pin `DD3`"),
        ("d1-mini", "GPIO77", "has no pin `GPIO77`"),
    ],
)
def test_nobody_is_sent_to_another_pin(board: str, pin: str, words: str) -> None:
    """SD3 is a flash pin of a NodeMCU, and D3 stops the start; a number that differs is another pin."""
    what = said(board, pin)
    assert words in what
    assert MEANT not in what


@pytest.mark.parametrize(
    ("board", "pin", "meant"),
    [
        ("d1-mini", "DD5", "D5"),
        ("d1-mini", "GPI014", "GPIO14"),
        ("d1-mini", "GPO5", "GPIO5"),
        ("esp32-devkit", "I016", "IO16"),
        ("esp32-devkit", "GIO33", "GPIO33"),
    ],
)
def test_a_slip_of_the_letters_is_put_right(board: str, pin: str, meant: str) -> None:
    assert f"{MEANT} `{meant}`?" in said(board, pin)


def test_a_slip_leads_to_no_pin_that_is_refused_for_that_use() -> None:
    """D0 of an ESP8266 has no pull-up (doc/reference.rst), D8 must be LOW at reset: no probe is sent there."""
    for pin in ("DD0", "DD8", "GPOI15"):
        assert MEANT not in said("d1-mini", pin)
    assert f"{MEANT} `IO25`?" in said("esp32-devkit", "IIO25", "relay")


def test_pins_are_shown_as_they_are_written() -> None:
    old = about_node(read(FOLDER / "names-printed-on-a-devkitc.yaml"), "node-a").pins
    assert [(use.pin, use.gpio) for use in old] == [("VP", 36), ("VN", 39), ("34", 34), ("26", 26)]
    new = about_node(read(FOLDER / "names-printed-on-30-pins.yaml"), "node-a").pins
    assert [(use.pin, use.gpio) for use in new] == [("D18", 18), ("RX2", 16), ("D33", 33), ("D25", 25)]


@pytest.mark.parametrize("number", ["16", "'16'", "IO16", "io16", "GPIO16", "d16"])
def test_one_pin_by_all_its_names(number: str) -> None:
    text = FARM.replace("short: IO16", f"short: {number}")
    inventory, findings = read_texts([("farm.yaml", text.encode())])
    if number == "d16":  # no board prints it: 16 is RX2 there
        assert [finding.code.code for finding in findings] == ["INV168"]
        return
    assert findings == []
    assert inventory is not None
    assert about_node(inventory, "node-a").pins[0].gpio == 16


@pytest.mark.parametrize("number", ["64", "3.5", "-1", "true"])
def test_what_cannot_be_a_pin_is_no_name(number: str) -> None:
    _, findings = read_texts([("farm.yaml", FARM.replace("short: IO16", f"short: {number}").encode())])
    assert findings
    assert {finding.code.code for finding in findings} == {"INV122"}
