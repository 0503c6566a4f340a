"""Starts an hour at the worst demand, against V = t q / 4 and its published examples."""

from __future__ import annotations

from math import inf

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.water.starts import Starts, control_volume_l, cycle_s, head_m, starts, worst_demand_l_per_min
from tests.water.shapes import tank

GALLON_L = 3.785411784


@pytest.mark.parametrize(
    ("flow_l_per_min", "per_hour", "volume_l"),
    [
        (100 * GALLON_L, 6, 250 * GALLON_L),  # 100 gpm, t = 10 min: 250 gal
        (60, 6, 150),
        (120, 10, 180),
        (300, 12, 375),
        (30, 20, 22.5),
        (30, 12, 37.5),
        (10, 20, 7.5),
    ],
)
def test_control_volume(flow_l_per_min: float, per_hour: float, volume_l: float) -> None:
    """V = t q / 4, US Army EI 11C201 (1997), wet wells."""
    assert control_volume_l(flow_l_per_min, flow_l_per_min / 2, per_hour) == pytest.approx(volume_l)


@pytest.mark.parametrize(("demand_gpm", "minutes"), [(50, 10.0), (25, 13.333), (75, 13.333)])
def test_cycle_of_the_navy_s_equations(demand_gpm: float, minutes: float) -> None:
    """MIL-HDBK-1005/9A equations 1 and 2: t = V / D (1 / (1 - Q / D) + 1 / (Q / D)); 250 gal, D = 100 gpm."""
    seconds = cycle_s(250 * GALLON_L, 100 * GALLON_L, demand_gpm * GALLON_L)
    assert seconds / 60 == pytest.approx(minutes, abs=5e-4)
    share = demand_gpm / 100
    assert seconds / 60 == pytest.approx(250 / 100 * (1 / (1 - share) + 1 / share))


@pytest.mark.parametrize(("demand", "seconds"), [(60, 360), (30, 480), (90, 480)])
def test_cycle_at_and_beside_half(demand: float, seconds: float) -> None:
    """2 L/s and 180 L: 360 s at 1 L/s, 480 s at 0.5 or 1.5 L/s (computed by hand from the same equation)."""
    assert cycle_s(180, 120, demand) == pytest.approx(seconds)


def test_of_a_tank() -> None:
    """1,000 L per metre: 100 L between the marks at 52 L/min: T = 4 x 100 / 52 min, 7.8 an hour."""
    marks = {"low": "0.5 m", "high": "0.6 m"}
    fill = {"name": "p", "does": "fill", "flow": "52 L/min"}
    drawn = starts(tank(marks, largest_draw="40 L/min", pump=fill))
    assert drawn is not None
    assert drawn.demand_l_per_min == 26
    assert drawn.per_hour == pytest.approx(7.8)
    assert drawn.quickest_run_s == pytest.approx(60 * 100 / 52)
    little = starts(tank(marks, largest_draw="2 L/min", pump=fill))
    assert little is not None
    assert little.cycle_s == pytest.approx(60 * (100 / 50 + 100 / 2))
    still = starts(tank(marks, pump=fill))
    assert still is not None
    assert (still.cycle_s, still.per_hour) == (inf, 0)
    sump = starts(tank(marks, uncontrolled_inflow="30 L/min", pump={**fill, "does": "drain"}))
    assert sump is not None
    assert sump.per_hour == pytest.approx(7.8)
    assert starts(tank(marks)) is None


@pytest.mark.parametrize(
    ("power_kw", "flow_l_per_min", "metres"),
    [
        (0.0980665, 60, 10.0),  # 1 kg/s of water lifted 10 m at 9.80665 m/s2, by hand
        (0.745699872, 3960 * GALLON_L / 100, 100 * 0.3048),
    ],
)
def test_hydraulic_power(power_kw: float, flow_l_per_min: float, metres: float) -> None:
    """P = density x g x Q x H. In US units one water horsepower lifts 3,960 gal/min by 1 ft (pump handbooks, from
    memory): 39.6 gal/min by 100 ft, give or take the density of the water."""
    assert head_m(power_kw, flow_l_per_min) == pytest.approx(metres, rel=2e-3)


def test_at_the_ends() -> None:
    """A demand of all that the pump gives never lets it stop; a cycle of half a second is 7,200 starts an hour."""
    assert cycle_s(100, 50, 50) == inf
    assert Starts(1.0, 30.0, 0.5, 0.25).per_hour == 7200
    assert Starts(0.0, 30.0, 0.0, 0.0).per_hour == inf


flows = st.floats(1, 5000, allow_nan=False)


@given(flows, flows, st.floats(0.001, 0.999))
def test_no_demand_is_worse_than_half(volume: float, flow: float, share: float) -> None:
    at_half = cycle_s(volume, flow, flow / 2)
    assert at_half == pytest.approx(240 * volume / flow)
    assert cycle_s(volume, flow, share * flow) >= at_half * (1 - 1e-9)


@given(flows, flows, flows)
def test_the_volume_that_would_do_does(flow: float, most: float, per_hour: float) -> None:
    demand = worst_demand_l_per_min(flow, most)
    least = control_volume_l(flow, demand, per_hour)
    assert 3600 / cycle_s(least, flow, demand) == pytest.approx(per_hour)
