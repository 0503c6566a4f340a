"""Which cautions a tank has: each where it applies, and nowhere else."""

from __future__ import annotations

from typing import Any

import pytest

from fleet.boards.board import load_board
from fleet.facts.tank import wired_to
from fleet.model.node import Node
from fleet.water.cautions import Caution, cautions, refill_h
from tests.water.shapes import tank

MARKS = {"low": "0.2 m", "full": "0.7 m"}
FILL = {"name": "p", "does": "fill", "flow": "40 L/min"}
DRAIN = {"name": "p", "does": "drain", "flow": "40 L/min"}
LOW_BOX = {"kind": "box", "length": "1 m", "width": "1 m", "height": "0.8 m"}
ALWAYS_WITH_A_PUMP = {"pump relay", "without the node", "dry running"}


def matters(**keys: Any) -> set[str]:
    """Of an irrigation tank of 0.8 m, too low to enter, unless said otherwise."""
    return {c.matter for c in cautions(tank(MARKS, **{"duty": "irrigation", "shape": LOW_BOX, **keys}))}


@pytest.mark.parametrize(
    ("keys", "expected"),
    [
        ({}, {"probes"}),
        ({"uncontrolled_inflow": "5 L/min"}, {"probes", "overflow"}),
        ({"pump": FILL}, {"mains near water", "overflow"} | ALWAYS_WITH_A_PUMP),
        ({"pump": {**FILL, "phase": "dc"}}, {"DC pump", "overflow"} | ALWAYS_WITH_A_PUMP),
        ({"pump": DRAIN, "uncontrolled_inflow": "5 L/min"}, {"mains near water"} | ALWAYS_WITH_A_PUMP),
        ({"duty": "potable"}, {"probes", "drinking water"}),
        ({"duty": "fire-reserve"}, {"probes", "fire reserve"}),
        ({"shape": {**LOW_BOX, "height": "0.9 m"}}, {"probes", "confined space", "ladder and roof"}),
        ({"shape": {**LOW_BOX, "height": "2 m"}, "duty": "sump"}, {"probes", "confined space", "gas"}),
        ({"duty": "sump"}, {"probes", "gas"}),
        ({"water": {"kind": "grey"}}, {"probes", "gas"}),
        ({"shape": {**LOW_BOX, "height": "0.89 m"}}, {"probes"}),
        ({"pump": FILL, "water": {"kind": "mains"}},
         {"mains near water", "overflow", "backflow"} | ALWAYS_WITH_A_PUMP),
        ({"pump": FILL, "water": {"kind": "bore"}}, {"mains near water", "overflow"} | ALWAYS_WITH_A_PUMP),
        ({"pump": DRAIN, "water": {"kind": "mains"}}, {"mains near water"} | ALWAYS_WITH_A_PUMP),
        ({"water": {"kind": "mains"}}, {"probes"}),
    ],
)  # fmt: skip
def test_each_applies_where_its_source_says(keys: dict[str, Any], expected: set[str]) -> None:
    """Gas: what rots, 29 CFR 1910.146. IEC 60364-4-41 for mains, 29 CFR 1910.146 for spaces that can be entered (0.9 m:
    own choice), NSF/ANSI/CAN 61 for drinking water, NFPA 22 and 25 for fire reserves, plumbing codes for air gap and
    overflow."""
    assert matters(**keys) == expected


def text(matter: str, **keys: Any) -> str:
    (found,) = [c.text for c in cautions(tank(MARKS, **keys)) if c.matter == matter]
    return found


def test_what_must_work_without_the_node_is_about_the_way_it_can_go_wrong() -> None:
    assert "high-level cut-out" in text("without the node", pump=FILL)
    assert "high-level alarm" in text("without the node", pump=DRAIN)


def test_the_overflow_carries_all_that_can_come_in() -> None:
    assert "must carry 45 L/min" in text("overflow", pump=FILL, uncontrolled_inflow="5 L/min")


@pytest.mark.parametrize(
    ("flow", "words"),
    [
        ("40 L/min", "in 0.8 h, within the 8 h"),
        ("4 L/min", "in 7.9 h, within"),
        ("3.9 L/min", "in 8.1 h, more than"),
    ],
)
def test_refill_of_a_fire_reserve(flow: str, words: str) -> None:
    """NFPA 22 4.2.1.4 (2023): within 8 h. 1,900 L up to the overflow."""
    pump = {**FILL, "flow": flow}
    assert words in text("fire reserve", duty="fire-reserve", overflow="1.9 m", pump=pump)


def test_only_a_pump_that_fills_refills() -> None:
    for keys in ({}, {"pump": DRAIN}):
        assert text("fire reserve", duty="fire-reserve", **keys).endswith("It has no pump to refill it.")
    it = tank(MARKS, overflow="1.8 m", pump={**FILL, "flow": "30 L/min"})
    assert it.pump is not None
    assert refill_h(it, it.pump) == pytest.approx(1.0)


def told(matter: str, served: dict[str, Any], board: str = "esp32-devkit", **keys: Any) -> Caution:
    """That caution of a tank that a node serves."""
    it = tank(MARKS, **keys)
    node = Node.model_validate(
        {
            "name": "n",
            "board": board,
            "serves": [{"tank": "t", "probes": {"low": "IO34", "full": "IO35"}, **served}],
        }
    )
    (found,) = [c for c in cautions(it, wired=wired_to(it, node)) if c.matter == matter]
    return found


def test_drinking_water_is_told_what_is_true_of_its_node() -> None:
    """Ohm's law at 3.3 V and with 5 % off: 100 kohm let 34.7 uA through, two of them 69.5 uA. The chip's own pull-up
    (least of the ESP32: its data file) for 1 ms of each 100 ms, as the port waits (esp32_port.h, kSettleUs)."""
    always = told("drinking water", {"pull_up": "external", "pull_up_resistor": "100 kohm"}).text
    assert "all the time: direct current of at most 35 uA at each wet probe" in always
    assert "69 uA at the common electrode" in always
    assert "pulse" not in always
    assert "INV616" in always
    unknown = told("drinking water", {"pull_up": "external"}).text
    assert "all the time: direct current at each wet probe (external resistors of unknown value)" in unknown
    pulsed = told("drinking water", {}).text
    most_ua = 3.3e6 / load_board("esp32-devkit").pull_up.least_ohm
    assert (
        f"in pulses: 1 of every 100 ms (1 %), one probe after the other, at most {most_ua:.3g} uA" in pulsed
    )
    assert "all the time" not in pulsed
    (alone,) = [c.text for c in cautions(tank(MARKS)) if c.matter == "drinking water"]
    assert "Here" not in alone
    assert "here" not in alone


def test_a_relay_works_from_three_volts_and_one_that_is_on_at_low_is_fed_with_them() -> None:
    """A pin has 3.3 V at HIGH; an optocoupler's LED from 5 V to it has 1.7 V left (common practice: VCC from 3.3 V)."""
    for active, warned in (("low", True), ("high", False)):
        said = told("pump relay", {"pump_relay": {"pin": "IO25", "active": active}}, pump=FILL).text
        assert "a 3.3 V signal" in said
        assert ("may not release" in said) == warned


@pytest.mark.parametrize(
    ("water", "words"),
    [
        (None, "its source may run out"),
        ("bore", "level electrode in the bore"),
        ("rain", "float in its cistern"),
        ("river", "at its intake"),
        ("mains", "pressure switch at its inlet"),
    ],
)
def test_every_pump_that_fills_is_kept_from_running_dry_without_the_node(
    water: str | None, words: str
) -> None:
    """Common practice by source; the watch of the node as it is set."""
    pump = {**FILL, "no_rise": {"is": "25 min", "reason": "a slow bore"}}
    said = text("dry running", pump=pump, **({"water": {"kind": water}} if water else {}))
    assert words in said
    assert "without the node" in said
    assert "Only after 10 min, at the earliest," in said
    assert "and after 25 min where the pump dies" in said


def test_when_the_node_sees_a_dry_pump_is_when_its_watches_end() -> None:
    """By hand: 40 L/min into 1 m2 from 0.2 m. Half a wave (10 mm) and a drop (10 mm) are 20 L, half a minute: the least
    first rise, 10 min, ends a dead pump before the no-rise watch, 1.5 x 12.5 min and 2 x (debounce + 0.1 s). A stretch
    of 0.2 m takes 5 min, its watch 7.5 min, which is sooner. With a debounce of 30 s that is a minute more."""
    assert "Only after 10 min, at the earliest, does" in text("dry running", pump=FILL)
    near = {"low": "0.2 m", "full": "0.4 m"}

    def said(debounce: str) -> str:
        node = {"name": "n", "board": "esp32-devkit", "debounce": debounce, "serves": [
            {"tank": "t", "probes": {"low": "IO16", "full": "IO17"}, "pump_relay": {"pin": "IO25"}}]}  # fmt: skip
        one = tank(near, pump=FILL)
        return next(
            c.text
            for c in cautions(one, wired=wired_to(one, Node.model_validate(node)))
            if c.matter == "dry running"
        )

    assert "Only after 7 min 35 s, at the earliest, does the node see that the level does not rise." in said(
        "2 s"
    )
    assert "Only after 8 min 31 s, at the earliest" in said("30 s")


def test_a_pump_that_drains_is_kept_from_drawing_air() -> None:
    assert "Fit a float below mark low, or a current switch" in text("dry running", pump=DRAIN)


def test_a_dc_pump_s_contactor_breaks_dc() -> None:
    """IEC 60947-4-1: DC-3 for shunt, DC-5 for series motors."""
    said = text("DC pump", pump={**FILL, "phase": "dc"})
    assert "rated for DC" in said
    assert "DC-3 or DC-5" in said


def test_gas_and_fire_reserves_say_what_must_not_be_done() -> None:
    said = text("gas", duty="sump", pump=DRAIN)
    for words in ("hydrogen sulphide", "methane", "ATEX", "no flame", "licensed"):
        assert words in said
    assert "never by drawing it down" in text("fire reserve", duty="fire-reserve")
