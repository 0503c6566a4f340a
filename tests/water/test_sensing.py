"""Current at the probes: by Ohm's law, by Faraday's, and by how long the ports leave a pull-up on."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from fleet.boards.board import board_ids, load_board
from fleet.facts.tank import wired_to
from fleet.limits import FEED_SETTLE_S
from fleet.model.node import Node
from fleet.water.sensing import Sensing, dissolved_g_per_year, ua
from tests.water.shapes import tank

PORTS = Path(__file__).resolve().parent.parent.parent / "templates" / "firmware" / "ports"


def sensed(board: str, pins: dict[str, str], pull: dict[str, str], **keys: object) -> Sensing:
    it = tank({name: f"{0.4 * (1 + n):g} m" for n, name in enumerate(pins)}, **keys)
    node = {"name": "n", "board": board, "serves": [{"tank": "t", "probes": pins, **pull}]}
    return wired_to(it, Node.model_validate(node)).sensing


@pytest.mark.parametrize("board", board_ids())
def test_a_pull_up_of_the_chip_is_on_as_long_as_its_port_waits(board: str) -> None:
    """The ports' own constants, kSettleUs, once in each 100 ms (block.sample_period_ms)."""
    port = "esp8266/pins.cpp" if load_board(board).chip == "esp8266" else "esp32/pins.h"
    found = re.search(r"kSettleUs = (\d+)", (PORTS / port).read_text(encoding="utf-8"))
    assert found
    here = sensed(board, {"low": "GPIO4"}, {})
    assert not here.always
    assert here.on_s == pytest.approx(int(found[1]) / 1e6)
    assert here.period_s == pytest.approx(0.1)


@pytest.mark.parametrize("port", ["esp8266/pins.cpp", "esp32/pins.h"])
def test_a_feed_is_on_as_long_as_the_ports_wait(port: str) -> None:
    found = re.search(r"kFeedSettleUs = (\d+)", (PORTS / port).read_text(encoding="utf-8"))
    assert found
    assert pytest.approx(int(found[1]) / 1e6) == FEED_SETTLE_S


def test_what_a_feed_lets_through_in_words() -> None:
    """3.3 V over 100 kohm less 5 %: 34.7 uA; two of them; 3 ms of each 100 ms."""
    pins = {"low": "IO16", "full": "IO17"}
    pull = {"pull_up": "external", "pull_up_resistor": "100 kohm", "pull_up_feed": "IO13"}
    here = sensed("esp32-devkit", pins, pull)
    assert not here.always
    assert here.words == (
        "in pulses: 3 of every 100 ms (3 %), all probes at once, at most 35 uA at each wet probe, 69 uA at the common "
        "electrode with all wet (a resistor of 100 kohm, 5 %)"
    )
    unknown = sensed("esp32-devkit", pins, {"pull_up": "external", "pull_up_feed": "IO13"})
    assert "all probes at once, at each wet probe (external resistors of unknown value)" in unknown.words


def test_current_of_resistors_by_ohm_s_law() -> None:
    """3.3 V over 47 kohm less 5 %: 73.9 uA; through a cell of 1 /cm in water of 1,000 uS/cm, at its warmest and most
    conductive (20 % more, 20 % for 10 K): 694 ohm more, 72.8 uA."""
    pins, pull = {"low": "IO16", "full": "IO17"}, {"pull_up": "external", "pull_up_resistor": "47 kohm"}
    assert sensed("esp32-devkit", pins, pull).most_ua == pytest.approx(73.9, abs=0.05)
    water = {
        "water": {"conductivity": "1000 uS/cm"},
        "electrodes": {"kind": "constant", "cell_constant": "1 /cm"},
    }
    through = sensed("esp32-devkit", pins, pull, **water)
    assert through.most_ua == pytest.approx(72.8, abs=0.05)
    assert through.always
    assert "at most 73 uA at each wet probe, 146 uA at the common electrode" in through.words
    assert sensed("esp32-devkit", pins, {"pull_up": "external"}).most_ua is None


def test_what_it_dissolves_by_faraday_s_law() -> None:
    """F = 96,485 C/mol; iron leaves as Fe2+, 55.845 g/mol. 100 uA for a year of 365.25 days."""
    moles_of_electrons = 100e-6 * 365.25 * 24 * 3600 / 96_485
    assert dissolved_g_per_year(100) == pytest.approx(moles_of_electrons / 2 * 55.845, rel=1e-3)


def test_words() -> None:
    assert [ua(value) for value in (1.13, 8.91, 34.74, 99.7, 110.2, 1234)] == [
        "1.1 uA", "8.9 uA", "35 uA", "100 uA", "110 uA", "1,234 uA",
    ]  # fmt: skip
