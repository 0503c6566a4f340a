"""Filling times and what the firmware's watchdogs are set to, against arithmetic done by hand."""

from __future__ import annotations

from math import inf

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.limits import LONGEST_RUN_FACTOR, NO_RISE_FACTOR, SHORTEST_OFF_S
from fleet.model.tank import Pump
from fleet.water.filling import (
    between_l,
    normal_stretch_s,
    pump_marks,
    pump_times,
    rising,
    shortest_off,
    time_s,
)
from tests.water.shapes import tank

BELIEVED_S = 2 * (2 + 0.1)
"""The core believes a flapping probe after two debounces of 2 s, looked at each 100 ms (core/probe.h)."""
MARKS = {"full": "1.8 m", "half": "1 m", "empty": "0.2 m"}  # any order in the file


def test_marks_rise_and_the_pump_spans_them() -> None:
    filled = tank(MARKS, pump={"name": "p", "does": "fill", "flow": "40 L/min"})
    assert [mark.name for mark in rising(filled)] == ["empty", "half", "full"]
    assert [mark.name for mark in pump_marks(filled, filled.pump)] == ["empty", "full"]
    drained = tank(MARKS, pump={"name": "p", "does": "drain", "flow": "40 L/min"})
    assert [mark.name for mark in pump_marks(drained, drained.pump)] == ["full", "empty"]
    named = tank(
        MARKS, pump={"name": "p", "does": "fill", "flow": "40 L/min", "on_at": "half", "off_at": "full"}
    )
    assert [mark.name for mark in pump_marks(named, named.pump)] == ["half", "full"]


def test_a_filling_pump() -> None:
    """1,600 L between the marks at 40 - 10 L/min: 3,200 s; from empty 3,600 s; longest stretch 1,600 s.

    t = V / (q in - q out) (common practice); watchdog factor 1.5 to 2 (common practice).
    """
    pump = {"name": "p", "does": "fill", "flow": "40 L/min"}
    times = pump_times(tank(MARKS, largest_draw="10 L/min", uncontrolled_inflow="5 L/min", pump=pump))
    assert times.keeps_up
    assert times.fill_s == pytest.approx(3200)
    assert times.quiet_fill_s == pytest.approx(2400)
    assert times.longest_run.seconds == pytest.approx(LONGEST_RUN_FACTOR * 3600 + BELIEVED_S, abs=1)
    assert times.no_rise.seconds == pytest.approx(NO_RISE_FACTOR * 1600 + BELIEVED_S, abs=1)
    assert times.shortest_off.seconds == SHORTEST_OFF_S
    assert "empty" in times.longest_run.origin
    assert "10 L/min" in times.no_rise.origin


def test_origins_name_what_is_worked_against() -> None:
    """The largest draw of a pump that fills, the largest inflow of one that drains, or nothing."""
    for does, keys, words in (
        (
            "fill",
            {"largest_draw": "10 L/min", "uncontrolled_inflow": "5 L/min"},
            "less the largest draw (10 L/min)",
        ),
        (
            "drain",
            {"largest_draw": "10 L/min", "uncontrolled_inflow": "5 L/min"},
            "less the largest inflow (5 L/min)",
        ),
        ("fill", {"largest_draw": "1 L/min"}, "less the largest draw (1 L/min)"),
        ("fill", {}, "marks at 40 L/min"),
    ):
        times = pump_times(tank(MARKS, pump={"name": "p", "does": does, "flow": "40 L/min"}, **keys))
        assert times is not None
        assert times.no_rise.origin.endswith(words)


def test_a_draining_pump() -> None:
    """From the overflow at 1.9 m down to 0.2 m against 20 L/min: 1,700 L at 60 - 20 L/min: 2,550 s."""
    pump = {"name": "p", "does": "drain", "flow": "60 L/min"}
    sump = tank(MARKS, overflow="1.9 m", largest_draw="5 L/min", uncontrolled_inflow="20 L/min", pump=pump)
    times = pump_times(sump)
    assert times.fill_s == pytest.approx(1600 * 60 / 40)
    assert times.longest_run.seconds == pytest.approx(LONGEST_RUN_FACTOR * 2550 + BELIEVED_S, abs=1)
    assert times.no_rise.seconds == pytest.approx(NO_RISE_FACTOR * 800 * 60 / 40 + BELIEVED_S, abs=1)


def test_a_pump_that_cannot_keep_up() -> None:
    pump = {"name": "p", "does": "fill", "flow": "10 L/min"}
    times = pump_times(tank(MARKS, largest_draw="10 L/min", pump=pump))
    assert not times.keeps_up
    assert times.fill_s == inf
    assert times.longest_run.seconds == pytest.approx(LONGEST_RUN_FACTOR * 1800 * 6 + BELIEVED_S, abs=1)
    assert "takes up" in times.longest_run.origin


def test_what_the_inventory_gives_is_taken() -> None:
    given_times = {"longest_run": "2 h", "no_rise": "90 s", "shortest_off": "10 min"}
    pump = {"name": "p", "does": "fill", "flow": "40 L/min", **given_times}
    times = pump_times(tank(MARKS, pump=pump))
    assert (times.longest_run.seconds, times.no_rise.seconds, times.shortest_off.seconds) == (7200, 90, 600)
    assert times.longest_run.origin == "inventory"


def test_a_tank_without_pump_has_no_times() -> None:
    assert pump_times(tank(MARKS)) is None


@pytest.mark.parametrize(
    ("flow", "draw", "seconds"),
    [(40, 0, 1200), (40, 10, 1600), (40, 40, 1200), (30, 40, 1600)],
)
def test_the_longest_stretch_between_the_marks_of_the_pump(flow: int, draw: int, seconds: float) -> None:
    """From half to full, 800 L, less what is drawn; by the flow alone where that takes all of it. The stretch below,
    900 L, is not on the pump's ordinary way."""
    pump = {"name": "p", "does": "fill", "flow": f"{flow} L/min", "on_at": "half", "off_at": "full"}
    it = tank({"empty": "0.1 m", "half": "1 m", "full": "1.8 m"}, largest_draw=f"{draw} L/min", pump=pump)
    assert it.pump is not None
    assert normal_stretch_s(it, it.pump) == pytest.approx(seconds)


def test_of_several_stretches_the_longest_counts() -> None:
    """500, 900 and 300 L at 30 L/min."""
    pump = {"name": "p", "does": "fill", "flow": "30 L/min"}
    it = tank({"a": "0.1 m", "b": "0.6 m", "c": "1.5 m", "d": "1.8 m"}, pump=pump)
    assert it.pump is not None
    assert normal_stretch_s(it, it.pump) == pytest.approx(1800)


@pytest.mark.parametrize(
    ("power", "seconds", "origin"), [("0.75 kW", 75, "NEMA"), (None, SHORTEST_OFF_S, "default")]
)
def test_a_pump_rests_as_long_as_its_motor_must(power: str | None, seconds: int, origin: str) -> None:
    """1 hp with 2 poles: 75 s (NEMA MG 10 table 2-3); of an unknown motor, the firmware's default."""
    given = {"power": power} if power else {}
    rest = shortest_off(Pump.model_validate({"name": "p", "does": "fill", "flow": "1 L/s", **given}))
    assert rest.seconds == seconds
    assert rest.origin.startswith(origin)


def test_equal_flows_do_not_keep_up_in_any_unit() -> None:
    """A gallon is 3.785411784 L; 100 of them a minute are not more than the same flow written in litres."""
    pump = {"name": "p", "does": "fill", "flow": "100 gal/min"}
    times = pump_times(tank(MARKS, largest_draw="378.5411784 L/min", pump=pump))
    assert times is not None
    assert not times.keeps_up
    more = pump_times(tank(MARKS, largest_draw="378.5 L/min", pump=pump))
    assert more is not None
    assert more.keeps_up


def test_nothing_moves_without_flow() -> None:
    assert time_s(100, 0) == inf
    assert time_s(0, 0) == 0
    assert time_s(100, 50) == 120


@given(
    st.lists(st.integers(10, 1990), min_size=2, max_size=4, unique=True),
    st.integers(2, 500),
    st.integers(0, 499),
    st.sampled_from(["fill", "drain"]),
)
def test_watchdogs_never_bite_a_pump_that_works(
    heights: list[int], flow: int, against: int, does: str
) -> None:
    """A pump that keeps up finishes its longest way, and passes a mark, before either watchdog."""
    marks = {f"m{i}": f"{mm} mm" for i, mm in enumerate(heights)}
    flows = {"largest_draw": f"{against} L/min", "uncontrolled_inflow": f"{against} L/min"}
    it = tank(marks, pump={"name": "p", "does": does, "flow": f"{flow} L/min"}, **flows)
    times = pump_times(it)
    if not times.keeps_up:
        assert against >= flow
        return
    low, high = rising(it)[0].height_m, rising(it)[-1].height_m
    whole = between_l(it, 0.0, high) if does == "fill" else between_l(it, low, 2.0)
    assert times.longest_run.seconds >= time_s(whole, flow - against)
    assert times.longest_run.seconds >= times.fill_s
    assert times.no_rise.seconds <= times.longest_run.seconds
