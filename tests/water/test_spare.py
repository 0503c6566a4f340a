"""Spare time at the worst level that the probes allow, against arithmetic done by hand."""

from __future__ import annotations

from math import inf

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.water.quantities import duration
from fleet.water.spare import Bounds, bounds, fire_floor_m, needed_s, spare_time, suffices
from tests.water.shapes import tank

MARKS = {"empty": "0.2 m", "half": "1 m", "full": "1.8 m"}
FILL = {"name": "p", "does": "fill", "flow": "40 L/min"}
DRAIN = {"name": "p", "does": "drain", "flow": "60 L/min"}
LATE_S = 4.2 + 60 + 0.1 + 4.2 + 10
"""By hand, with a debounce of 2 s, samples of 0.1 s, the usual rest of a minute and 10 s of run-up: a mark may flap for
twice 2.1 s before it is believed, when the state is told and at the mark where the pump starts; a sample ends the
rest."""


@pytest.mark.parametrize(
    ("wet", "litres_above_the_reserve"),
    [({"empty"}, 100), ({"empty", "half"}, 900), ({"empty", "half", "full"}, 1700), (set(), 0)],
)
def test_down_to_the_reserve(wet: set[str], litres_above_the_reserve: float) -> None:
    """The level is at least at the highest wet mark: 1,000 L per metre, reserve at 100 L, 10 L/min drawn."""
    it = tank(MARKS, reserve="0.1 m", largest_draw="10 L/min", uncontrolled_inflow="3 L/min", pump=FILL)
    spare = spare_time(it, wet)
    assert spare.until_reserve_s == pytest.approx(6 * litres_above_the_reserve)
    assert spare.worst_s == pytest.approx(max(0, spare.until_reserve_s - LATE_S))
    assert "reserve" in spare.why


@pytest.mark.parametrize(
    ("wet", "litres_to_the_overflow"),
    [(set(), 1700), ({"empty"}, 900), ({"empty", "half"}, 100), ({"empty", "half", "full"}, 0)],
)
def test_up_to_the_overflow(wet: set[str], litres_to_the_overflow: float) -> None:
    """The level is at most at the lowest dry mark: overflow at 1,900 L, 20 L/min flow in."""
    it = tank(MARKS, overflow="1.9 m", largest_draw="5 L/min", uncontrolled_inflow="20 L/min", pump=DRAIN)
    spare = spare_time(it, wet)
    assert spare.until_overflow_s == pytest.approx(3 * litres_to_the_overflow)
    assert spare.worst_s == pytest.approx(max(0, spare.until_overflow_s - LATE_S))
    assert "overflow" in spare.why


def test_a_pump_that_must_rest_comes_back_later_than_its_node() -> None:
    """10,200 s down to the reserve, by hand; a 6-inch well motor rests 15 min from the node's start, others 1 min, none
    less than the 10 s for which a node holds its pumps off.

    (templates/firmware/core/pump.cpp counts the rest from the node's start.)
    """
    motor = {"kind": "submersible", "diameter": "6 in"}
    for pump, rest_s in (
        (FILL, 60),
        ({**FILL, "shortest_off": "90 s"}, 90),
        ({**FILL, "shortest_off": "5 s"}, 10),
        ({**FILL, "power": "7.5 kW", "phase": "three", "motor": motor}, 900),
    ):
        it = tank(MARKS, reserve="0.1 m", largest_draw="10 L/min", pump=pump)
        spare = spare_time(it, {"empty", "half", "full"})
        late_s = LATE_S - 60 + rest_s
        assert (spare.until_reserve_s, spare.worst_s) == pytest.approx((10_200, 10_200 - late_s))
        assert f"less {duration(late_s)} until its probes are accepted" in spare.why
        assert spare.why_at_any_level == spare.why.replace(", from mark full", "")
        assert spare_time(it, set()).worst_s == 0
        assert spare_time(tank(MARKS, duty="irrigation", pump=pump), {"full"}).worst_s == inf
    rests = {**FILL, "shortest_off": "20 min"}
    short = tank({"low": "0.15 m", "full": "1.8 m"}, reserve="0.1 m", largest_draw="10 L/min", pump=rests)
    assert spare_time(short, {"low"}).worst_s == 0  # 300 s of water, and 20 min of rest
    still = spare_time(tank(MARKS, duty="irrigation", pump=rests), {"empty"})
    assert (still.worst_s, still.why) == (inf, "nothing draws from it, from mark empty")
    sump = tank(
        MARKS, uncontrolled_inflow="20 L/min", overflow="1.9 m", pump={**DRAIN, "shortest_off": "4 min"}
    )
    assert spare_time(sump, {"empty"}).worst_s == pytest.approx(3 * 900 - LATE_S - 180)


def test_a_long_debounce_is_late_each_time_that_a_mark_must_be_believed() -> None:
    """By hand: 8 s, twice 8.1 s each time. One longer than the rest is waited for as such."""
    slow = tank(MARKS, largest_draw="10 L/min", pump={**FILL, "shortest_off": "5 s"})
    for debounced_s, late_s in ((8.0, 16.2 + 10 + 0.1 + 16.2 + 10), (20.0, 40.2 + 20 + 0.1 + 40.2 + 10)):
        spare = spare_time(slow, {"empty", "half"}, debounced_s=debounced_s)
        assert spare.worst_s == pytest.approx(6000 - late_s)


def test_nothing_to_prevent() -> None:
    """What the pump could not prevent does not count: no pump, no draw, rain into a tank filled by it."""
    assert (
        spare_time(tank(MARKS, largest_draw="10 L/min", uncontrolled_inflow="9 L/min"), set()).worst_s == inf
    )
    assert spare_time(tank(MARKS, duty="fire-reserve", pump=FILL), {"empty"}).worst_s == inf
    rain = tank(MARKS, largest_draw="1 L/min", uncontrolled_inflow="200 L/min", pump=FILL)
    full = spare_time(rain, {"empty", "half", "full"})
    assert full.worst_s == pytest.approx(1800 * 60 - LATE_S)
    assert full.until_overflow_s == 0


def test_unknown_and_contradictory_levels_are_the_worst_ones() -> None:
    it = tank(MARKS, largest_draw="10 L/min", pump=FILL)
    assert spare_time(it, None).worst_s == 0
    assert "not known" in spare_time(it, None).why
    assert spare_time(it, {"full"}).worst_s == 0
    assert "contradict" in spare_time(it, {"empty", "full"}).why
    to_the_brim = tank(MARKS, overflow="1.9 m")
    assert bounds(to_the_brim, None) == bounds(to_the_brim, {"half"}) == Bounds(0.0, 1.9, certain=False)


def test_a_fire_reserve_is_left_alone_only_while_it_is_there() -> None:
    """Own rule: at or above the reserve by what the marks show, else the mark at which its pump starts."""
    marks = {"short": "1.0 m", "low": "1.2 m", "full": "1.8 m"}
    fire = tank(marks, duty="fire-reserve", reserve="0.9 m", pump={**FILL, "on_at": "low", "off_at": "full"})
    assert spare_time(fire, {"short"}).worst_s == inf
    short = spare_time(fire, set())
    assert short.worst_s == 0
    assert "0.90 m" in short.held
    assert spare_time(fire, None).worst_s == 0
    unsaid = tank(marks, duty="fire-reserve", pump={**FILL, "on_at": "low", "off_at": "full"})
    assert fire_floor_m(unsaid) == 1.2
    assert spare_time(unsaid, {"short"}).worst_s == 0
    assert spare_time(unsaid, {"short", "low"}).worst_s == inf
    assert fire_floor_m(tank(marks, duty="fire-reserve")) == 1.0


def test_drinking_water_is_left_alone_only_at_a_known_level() -> None:
    """Own rule: even when nothing is said to be drawn."""
    it = tank(MARKS, duty="potable", pump=FILL)
    assert spare_time(it, {"empty"}).worst_s == inf
    assert spare_time(it, None).worst_s == 0
    assert spare_time(it, {"full"}).held
    assert spare_time(tank(MARKS, duty="irrigation", pump=FILL), None).worst_s == inf


def test_what_an_update_needs() -> None:
    assert needed_s(300, 2.0) == 600
    assert suffices(600, 600)
    assert not suffices(599, 600)
    assert suffices(None, 600)
    assert suffices(inf, 600)


def test_two_marks() -> None:
    it = tank({"low": "0.5 m", "high": "1.5 m"}, largest_draw="50 L/min", pump=FILL)
    assert spare_time(it, {"low"}).worst_s == pytest.approx(600 - LATE_S)
    assert spare_time(it, {"low", "high"}).worst_s == pytest.approx(1800 - LATE_S)


def test_the_edges_are_named() -> None:
    filled = tank(MARKS, largest_draw="10 L/min", pump=FILL)
    assert spare_time(filled, {"empty"}).why.split(";")[0].endswith("from mark empty")
    assert spare_time(filled, set()).why.endswith("from an empty tank")
    sump = tank(MARKS, uncontrolled_inflow="10 L/min", pump=DRAIN)
    assert spare_time(sump, {"empty"}).why.split(";")[0].endswith("from mark half")
    assert spare_time(sump, {"empty", "half", "full"}).why.endswith("from a full tank")


@given(st.integers(0, 3), st.integers(1, 400), st.integers(0, 200))
def test_more_water_is_more_time_and_more_draw_less(level: int, draw: int, more: int) -> None:
    wet = list(MARKS)[:level]
    one = tank(MARKS, largest_draw=f"{draw} L/min", pump=FILL)
    other = tank(MARKS, largest_draw=f"{draw + more} L/min", pump=FILL)
    assert spare_time(other, wet).worst_s <= spare_time(one, wet).worst_s
    if level:
        assert spare_time(one, wet[:-1]).worst_s <= spare_time(one, wet).worst_s
