"""Resistors outside that a pin feeds: what `check` says beside the files of `mistakes/` and `sound/`."""

from __future__ import annotations

from math import log
from pathlib import Path

import pytest

from fleet.check.load import read_texts
from fleet.model.node import Served
from fleet.water.electrodes import fed_at_most_ohm, on_at_once, waits_s

HERE = Path(__file__).resolve().parent
SOUND = (HERE / "sound" / "fed-resistors.yaml").read_text(encoding="utf-8")


def found(text: str) -> list[tuple[str, str]]:
    return [
        (finding.code.code, f"{finding.what} {finding.fix}")
        for finding in read_texts([("a.yaml", text.encode())])[1]
    ]


def with_feed(feed: str) -> str:
    return SOUND.replace("pull_up_feed: IO13", f"pull_up_feed: {feed}")


def test_the_installation_is_sound() -> None:
    assert found(SOUND) == []


def test_a_pin_serves_once() -> None:
    for pin, by in {"IO18": "the probe `full`", "GPIO25": "the feed of the probes"}.items():
        said = dict(found(with_feed(pin)))
        assert list(said) == ["INV169"]
        assert by in said["INV169"]


def test_a_pin_that_the_board_does_not_have() -> None:
    assert [code for code, _ in found(with_feed("IO24"))] == ["INV168"]


def test_without_the_feed_the_same_wires_are_a_finding_that_offers_one() -> None:
    """IO34 and IO35 have no pull-up (esp-idf gpio/esp32.inc), but other pins have: those are offered first. 150 m of
    cable are too long for the chip's own (85 kohm at most x 15 nF x ln 4 = 1.7 ms, against 1 ms): then a feed is."""
    alone = SOUND.replace("        pull_up_feed: IO13\n", "")
    ((code, said),) = found(alone)
    assert code == "INV616"
    assert "Wire IO34 and IO35 to pins" in said
    longer = alone.replace("cable_length: 100 m", "cable_length: 150 m").replace("100 kohm", "56 kohm")
    ((code, said),) = found(longer)
    assert code == "INV616"
    assert "Join the resistors to a pin in place of 3.3 V and name it with `pull_up_feed`" in said
    assert "IO13 (GPIO13)" in said


def test_where_no_pins_with_a_pull_up_are_left_a_feed_is_offered() -> None:
    """An ESP32 devkit with three more tanks on it: of the pins with a pull-up one is left, and two probes have none."""
    alone = SOUND.replace("        pull_up_feed: IO13\n", "")
    tanks, nodes = "", ""
    pins = (
        ("IO16", "IO17", "IO19", "IO21"),
        ("IO22", "IO23", "IO26", "IO27"),
        ("IO32", "IO33", "IO4", "IO14"),
    )
    for n, four in enumerate(pins):
        marks = "".join(f"      - {{name: m{i}, height: {0.3 + 0.5 * i:g} m}}\n" for i in range(4))
        tanks += f"""  - name: trough-{n}
    site: farm
    duty: livestock
    shape: {{kind: vertical-cylinder, diameter: 2 m, height: 2.2 m}}
    largest_draw: 5 L/min
    marks:
{marks}"""
        probes = ", ".join(f"m{i}: {pin}" for i, pin in enumerate(four))
        nodes += f"      - {{tank: trough-{n}, probes: {{{probes}}}}}\n"
    crowded = alone.replace("nodes:\n", f"{tanks}nodes:\n") + nodes
    said = dict(found(crowded))
    assert set(said) == {"INV616"}
    assert "not enough free pins with a pull-up of their own for IO34 and IO35" in said["INV616"]
    assert "name it with `pull_up_feed`" in said["INV616"]
    assert "IO13 (GPIO13)" in said["INV616"]


@pytest.mark.parametrize("cable_m", [30, 100, 150])
def test_the_largest_resistor_that_a_feed_lifts(cable_m: float) -> None:
    """3 ms / (ln 4 x 1.05 x (10 pF + 100 pF/m)), the charge of a capacitor to three quarters of the supply
    through a resistor of 5 %; 100 pF/m: common practice."""
    keys = {"pull_up": "external", "pull_up_feed": "IO13", "cable_length": f"{cable_m} m"}
    fed = Served.model_validate({"tank": "t", "probes": {"low": "IO16", "full": "IO17"}, **keys})
    by_hand = 3e-3 / (log(4) * 1.05 * (100e-12 * cable_m + 10e-12))
    assert fed_at_most_ohm(fed) == pytest.approx(by_hand, rel=1e-6)
    assert waits_s(fed, 0.001) == pytest.approx(3e-3)
    assert on_at_once(fed) == 2
