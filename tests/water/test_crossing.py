"""How far the water goes past a mark, against arithmetic done by hand: flow x (debounce + 0.1 s + run-on)."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.limits import (
    DEBOUNCE_GOOD_S,
    DEBOUNCE_MIN_S,
    DEBOUNCE_MS,
    LONGEST_RUN_FACTOR,
    POWER_UP_HOLD_S,
)
from fleet.water.crossing import Crossing, debounce_s, delay_s, starting, stopping
from tests.water.shapes import tank

MARKS = {"low": "0.4 m", "full": "1.8 m"}
FILL = {"name": "p", "does": "fill", "flow": "60 L/min"}
DRAIN = {"name": "p", "does": "drain", "flow": "60 L/min"}


def test_a_filling_pump() -> None:
    """(60 + 30) L/min for 2 + 0.1 + 3.9 s: 9 L, of 100 L up to the overflow; 1,000 L per metre."""
    it = tank(MARKS, overflow="1.9 m", uncontrolled_inflow="30 L/min", pump={**FILL, "run_on": "3.9 s"})
    assert it.pump is not None
    stops = stopping(it, it.pump, 2.0)
    assert (stops.mark.name, stops.up, stops.fits) == ("full", True, True)
    assert stops.seconds == pytest.approx(6.0)
    assert stops.past_l == pytest.approx(9.0)
    assert stops.room_l == pytest.approx(100)
    assert stops.reached_m(it) == pytest.approx(1.809)


def test_it_starts_on_the_way_down_to_the_reserve() -> None:
    it = tank(MARKS, reserve="0.395 m", largest_draw="120 L/min", pump=FILL)
    assert it.pump is not None
    starts = starting(it, it.pump, 2.9)
    assert starts.past_l == pytest.approx(6.0)  # 120 L/min for 3 s
    assert starts.room_l == pytest.approx(5.0)
    assert not starts.fits
    assert not starts.up
    assert starts.reached_m(it) == pytest.approx(0.394)


def test_a_draining_pump_goes_down_to_empty() -> None:
    it = tank(MARKS, overflow="1.9 m", uncontrolled_inflow="30 L/min", largest_draw="6 L/min", pump=DRAIN)
    assert it.pump is not None
    stops, starts = stopping(it, it.pump, 2.0), starting(it, it.pump, 2.0)
    assert (stops.mark.name, stops.up) == ("low", False)
    assert stops.past_l == pytest.approx(66 * 4.1 / 60)
    assert stops.room_l == pytest.approx(400)
    assert (starts.mark.name, starts.up) == ("full", True)
    assert starts.past_l == pytest.approx(30 * 2.1 / 60)


def test_a_pump_that_has_just_run_rests_first() -> None:
    """100 L between the marks last 60 s at 100 L/min; a rest of 15 min ends 840 s after the water is at the mark."""
    motor = {"kind": "submersible", "diameter": "6 in"}
    pump = {**FILL, "flow": "400 L/min", "power": "7.5 kW", "phase": "three", "motor": motor}
    it = tank({"low": "1.7 m", "full": "1.8 m"}, reserve="0.4 m", largest_draw="100 L/min", pump=pump)
    assert it.pump is not None
    starts = starting(it, it.pump, 2.0)
    assert starts.seconds == pytest.approx(900 - 60)
    assert starts.past_l == pytest.approx(1400)
    assert not starts.fits  # 1,300 L down to the reserve
    slow = tank({"low": "1.7 m", "full": "1.8 m"}, reserve="0.4 m", largest_draw="5 L/min", pump=pump)
    assert starting(slow, it.pump, 2.0).seconds == pytest.approx(2.1)


def test_room_down_to_the_reserve_to_empty_and_none() -> None:
    """1,000 L per metre under the mark at 0.4 m; none where the mark itself is in the reserve, or over the overflow."""
    for keys, room_l in (({"reserve": "0.1 m"}, 300), ({}, 400), ({"reserve": "0.7 m"}, 0)):
        it = tank(MARKS, largest_draw="6 L/min", pump=FILL, **keys)
        assert it.pump is not None
        starts = starting(it, it.pump, 2.0)
        assert starts.room_l == pytest.approx(room_l)
        assert starts.fits is (room_l > 0)
    over = tank(MARKS, overflow="1.7 m", uncontrolled_inflow="6 L/min", pump=DRAIN)
    assert over.pump is not None
    assert starting(over, over.pump, 2.0).room_l == 0


def test_what_fills_the_room_does_not_fit_and_nothing_always_does() -> None:
    mark = tank(MARKS).marks[0]
    assert not Crossing(mark, True, 60.0, 10.0, room_l=10.0).fits  # at the overflow it runs over
    assert Crossing(mark, True, 60.0, 10.0, room_l=10.01).fits
    still = tank(MARKS, reserve="0.7 m", pump=FILL)
    assert still.pump is not None
    assert starting(still, still.pump, 2.0).fits  # nothing is drawn


def test_the_firmware_s_defaults_are_those_of_level_relays() -> None:
    """Debounce of 0.1 to 10 s (Klemsan LLC35), 2 to 4 s against splashing (AMETEK NS210), and never under a second;
    10 s of lock-out after a power cut (MPE LPR-1); a run's watch of 1.5 to 2 times the fill (common practice)."""
    assert 1 <= DEBOUNCE_MIN_S <= DEBOUNCE_MS / 1000 <= 5
    assert 2 <= DEBOUNCE_MS / 1000 <= 4
    assert DEBOUNCE_GOOD_S == 10
    assert POWER_UP_HOLD_S >= 10
    assert 1.5 <= LONGEST_RUN_FACTOR <= 2


def test_default_debounce_and_no_node() -> None:
    assert debounce_s(None) == 2.0
    assert delay_s(2.0) == pytest.approx(2.1)


@given(st.floats(0.1, 60), st.integers(1, 5000), st.floats(1.0, 3.0))
def test_longer_debounce_is_more_past_the_mark(debounced_s: float, flow: int, more: float) -> None:
    it = tank(MARKS, pump={**FILL, "flow": f"{flow} L/min"})
    assert it.pump is not None
    assert stopping(it, it.pump, debounced_s * more).past_l >= stopping(it, it.pump, debounced_s).past_l
