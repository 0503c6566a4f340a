"""Periods of the first sloshing mode, against figures worked out from the textbook formulas."""

from __future__ import annotations

from math import inf, isclose, pi, sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.water.slosh import period_s, rectangular_period_s, round_period_s, surface_m, wave_m
from tests.water.shapes import shape


def test_published_formulas() -> None:
    """L 1 m, h 0.5 m: 0.846 Hz; R 0.6 m, h 1 m: 0.871 Hz (formulas from memory, figures computed from them)."""
    assert 1 / rectangular_period_s(1.0, 0.5) == pytest.approx(0.846, abs=5e-4)
    assert rectangular_period_s(1.0, 0.5) == pytest.approx(1.18, abs=5e-3)
    assert 1 / round_period_s(0.6, 1.0) == pytest.approx(0.871, abs=5e-4)
    assert round_period_s(0.6, 1.0) == pytest.approx(1.15, abs=5e-3)


def test_shallow_water_goes_at_the_speed_of_a_long_wave() -> None:
    """To and fro once along a shallow box: 2 L / sqrt(g h), the long-wave limit (fluid mechanics)."""
    assert rectangular_period_s(10.0, 0.02) == pytest.approx(2 * 10 / sqrt(9.80665 * 0.02), rel=1e-3)


def test_deep_water_does_not_know_of_its_depth() -> None:
    assert rectangular_period_s(1.0, 50) == pytest.approx(2 * pi / sqrt(9.80665 * pi))
    assert round_period_s(1.0, 50) == pytest.approx(round_period_s(1.0, 500))
    assert rectangular_period_s(1.0, 0.0) == inf


def test_each_shape_has_its_surface() -> None:
    assert surface_m(shape("box", length="1 m", width="3 m", height="1 m"), 0.5) == 3
    assert surface_m(shape("sphere", diameter="2 m"), 1.0) == 2
    assert surface_m(shape("horizontal-cylinder", diameter="2 m", length="5 m"), 1.0) == 5
    assert surface_m(shape("horizontal-cylinder", diameter="2 m", length="1 m"), 1.0) == 2
    upright = shape("vertical-cylinder", diameter="1.2 m", height="2 m")
    assert period_s(upright, 1.0) == round_period_s(0.6, 1.0)
    trough = shape("box", length="0.4 m", width="0.9 m", height="1 m")
    assert period_s(trough, 0.3) == rectangular_period_s(0.9, 0.3)
    lying = shape("horizontal-cylinder", diameter="2 m", length="5 m")
    assert period_s(lying, 1.0) == rectangular_period_s(5.0, 1.0)
    assert wave_m(upright, 1.0) == pytest.approx(0.024)
    assert (
        wave_m(shape("box", length="50 m", width="30 m", height="3 m"), 2.0) == 0.15
    )  # own allowance for a pond
    assert period_s(shape("sphere", diameter="2 m"), 0.0) == 0.0


@given(st.floats(0.1, 20), st.floats(0.05, 10), st.floats(1.01, 3))
def test_wider_is_slower_and_deeper_is_quicker(size_m: float, depth_m: float, more: float) -> None:
    assert rectangular_period_s(size_m * more, depth_m) > rectangular_period_s(size_m, depth_m)
    quicker, slower = round_period_s(size_m, depth_m * more), round_period_s(size_m, depth_m)
    assert quicker < slower or isclose(quicker, slower)
