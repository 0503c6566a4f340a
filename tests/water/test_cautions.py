"""Which cautions a tank has: each where it applies, and nowhere else."""

from __future__ import annotations

from typing import Any

import pytest

from fleet.water.cautions import cautions, refill_h
from tests.water.shapes import tank

MARKS = {"low": "0.2 m", "full": "0.7 m"}
FILL = {"name": "p", "does": "fill", "flow": "40 L/min"}
DRAIN = {"name": "p", "does": "drain", "flow": "40 L/min"}
LOW_BOX = {"kind": "box", "length": "1 m", "width": "1 m", "height": "0.8 m"}
ALWAYS_WITH_A_PUMP = {"pump relay", "without the node"}


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
        ({"shape": {**LOW_BOX, "height": "2 m"}, "duty": "sump"}, {"probes", "confined space"}),
        ({"shape": {**LOW_BOX, "height": "0.89 m"}}, {"probes"}),
        ({"pump": FILL, "water": {"kind": "mains"}},
         {"mains near water", "overflow", "backflow"} | ALWAYS_WITH_A_PUMP),
        ({"pump": FILL, "water": {"kind": "bore"}}, {"mains near water", "overflow"} | ALWAYS_WITH_A_PUMP),
        ({"pump": DRAIN, "water": {"kind": "mains"}}, {"mains near water"} | ALWAYS_WITH_A_PUMP),
        ({"water": {"kind": "mains"}}, {"probes"}),
    ],
)  # fmt: skip
def test_each_applies_where_its_source_says(keys: dict[str, Any], expected: set[str]) -> None:
    """IEC 60364-4-41 for mains, 29 CFR 1910.146 for spaces that can be entered (0.9 m: own choice), NSF/ANSI/CAN 61 for
    drinking water, NFPA 22 and 25 for fire reserves, plumbing codes for air gap and overflow."""
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
