"""The water of the bench. Expected values are worked out by hand from a box tank: 2 l for each mm of
level."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.bench.pattern import DAY_S, draw_share, inflow_share
from fleet.bench.spec import PumpSpec, TankSpec
from fleet.bench.world import FIRST_HOUR_S, Happening, TankWorld
from tests.bench.scenery import box_tank

STILL = {"largest_draw_l_per_min": 0.0, "largest_inflow_l_per_min": 0.0}
DUTIES = ("potable", "irrigation", "livestock", "fire-reserve", "rain", "sump", "process")


def _balance_l(world: TankWorld) -> float:
    totals = world.totals
    gained_l = totals.inflow_l + totals.pumped_in_l
    return gained_l - totals.drawn_l - totals.pumped_out_l - totals.spilled_l


@given(
    duty=st.sampled_from(DUTIES),
    does=st.sampled_from(["fill", "drain"]),
    steps=st.lists(
        st.tuples(st.floats(0.0, 600.0), st.booleans(), st.sampled_from([None, 0.0, 55.0, 4000.0])),
        max_size=40,
    ),
)
def test_no_litre_is_made_or_lost(duty, does, steps) -> None:
    pump = PumpSpec(does=does, flow_l_per_min=120.0, gpio=5, active_high=True)
    world = TankWorld(box_tank(duty=duty, pump=pump), speed=3.0)
    before_l = world.volume_l
    for real_s, pump_on, draw in steps:
        world.fixed_draw_l_per_min = draw
        world.advance(real_s, pump_on=pump_on)
        assert 0.0 <= world.volume_l <= 1900.0
    assert world.volume_l == pytest.approx(before_l + _balance_l(world), abs=1e-6)


def test_pump_fills_at_its_flow() -> None:
    """120 L/min for 60 s into 2 l/mm: 60 mm."""
    world = TankWorld(box_tank(**STILL), speed=1.0)
    world.set_share(0.25)
    before_m = world.level_m
    for _ in range(600):
        world.advance(0.1, pump_on=True)
    assert world.level_m - before_m == pytest.approx(0.060, abs=1e-9)
    assert world.totals.pumped_in_l == pytest.approx(120.0)
    assert world.totals.pump_run_s == pytest.approx(60.0)


def test_drain_pump_lowers_at_its_flow_and_stops_at_the_bottom() -> None:
    pump = PumpSpec(does="drain", flow_l_per_min=120.0, gpio=5, active_high=True)
    world = TankWorld(box_tank(pump=pump, **STILL), speed=1.0)
    world.set_share(0.2)  # of 1900 l: 380 l, three minutes and ten seconds
    world.advance(60.0, pump_on=True)
    assert world.volume_l == pytest.approx(260.0)
    world.advance(600.0, pump_on=True)
    assert world.volume_l == 0.0
    assert world.totals.pumped_out_l == pytest.approx(380.0)
    assert world.totals.lacked_l == pytest.approx(660 * 2 - 380.0)


def test_speed_is_simulated_seconds_per_real_second() -> None:
    """One real second at speed 60 is one minute of the pump: 120 l."""
    world = TankWorld(box_tank(**STILL), speed=60.0)
    world.set_share(0.1)
    before_l = world.volume_l
    world.advance(1.0, pump_on=True)
    assert world.volume_l - before_l == pytest.approx(120.0)
    assert world.at_s - FIRST_HOUR_S == pytest.approx(60.0)


def test_marks_are_wet_up_to_the_level() -> None:
    world = TankWorld(box_tank(**STILL), speed=1.0)
    for level_m, wet in (
        (0.19, (False, False, False)),
        (0.2, (True, False, False)),
        (0.91, (True, True, True)),
    ):
        world.set_share(level_m / 0.95)
        assert world.level_m == pytest.approx(level_m)
        assert world.wet() == wet


def test_overflow_spills_at_the_overflow_and_is_told_once() -> None:
    world = TankWorld(box_tank(**STILL), speed=1.0)
    world.set_share(0.99)
    events = [event for _ in range(100) for event in world.advance(1.0, pump_on=True)]
    assert [event.what for event in events] == [Happening.OVERFLOWED]
    assert world.level_m == pytest.approx(0.95)
    assert world.totals.spilled_l == pytest.approx(200.0 - 19.0)
    assert 89.0 <= world.totals.overflow_s <= 92.0
    world.set_share(0.5)
    world.advance(1.0, pump_on=False)
    world.set_share(1.0)
    assert [event.what for event in world.advance(1.0, pump_on=True)] == [Happening.OVERFLOWED]


def test_reserve_and_dryness_are_told_and_what_lacked_is_counted() -> None:
    """Reserve at 0.1 m: 200 l. 300 l drawn at 60 L/min from 210 l: below after 10 s, dry after 210 s."""
    world = TankWorld(box_tank(**STILL), speed=1.0)
    world.set_share(210 / 1900)
    world.fixed_draw_l_per_min = 60.0
    events = [event for _ in range(300) for event in world.advance(1.0, pump_on=False)]
    assert [event.what for event in events] == [Happening.BELOW_RESERVE, Happening.RAN_DRY]
    assert events[0].at_s - FIRST_HOUR_S == pytest.approx(11.0)
    assert world.totals.lacked_l == pytest.approx(90.0)
    assert world.totals.below_reserve_s == pytest.approx(290.0, abs=1.0)


def test_a_start_is_between_the_marks_and_the_same_each_time() -> None:
    for name in ("a", "b", "c", "header-east"):
        world = TankWorld(box_tank(name), speed=1.0)
        assert 0.2 < world.level_m < 0.9
        assert TankWorld(box_tank(name), speed=9.0).volume_l == world.volume_l
    assert len({TankWorld(box_tank(n), speed=1.0).volume_l for n in "abcdef"}) == 6


@given(duty=st.sampled_from(DUTIES), seed=st.text(max_size=8), at_s=st.floats(0.0, 30 * DAY_S))
def test_shares_stay_between_nothing_and_the_largest(duty, seed, at_s) -> None:
    assert 0.0 <= draw_share(duty, seed, at_s) <= 1.0
    assert 0.0 <= inflow_share(duty, seed, at_s) <= 1.0


def test_households_draw_more_in_the_morning_than_at_night() -> None:
    def day_l(hour: float) -> float:
        return sum(draw_share("potable", f"tank-{i}", hour * 3600) for i in range(20))

    assert day_l(7) > 3 * day_l(2)
    assert day_l(19) > 3 * day_l(13)
    assert draw_share("fire-reserve", "x", 7 * 3600) == 0.0


def test_a_table_that_does_not_rise_is_refused() -> None:
    facts = box_tank().model_dump()
    for broken in ({"volumes_l": (0.0, 5.0, 5.0)}, {"volumes_l": (0.0, 5.0)}, {"overflow_m": 1.2}):
        with pytest.raises(ValueError, match=r"table|volumes"):
            TankSpec(**facts | broken)
