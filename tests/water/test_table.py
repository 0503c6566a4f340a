"""Depth against volume, and back."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.limits import DEPTH_ROWS
from fleet.water.geometry import total_l
from fleet.water.table import depths, holding
from tests.water.shapes import tank

GALLON_L = 3.785411784
LYING = {"kind": "horizontal-cylinder", "diameter": "6 ft", "length": "20 ft"}
MARKS = {"low": "0.4 m", "full": "1.6 m"}


def test_machinery_s_handbook() -> None:
    """Machinery's Handbook 31, page 74: 1,000 gal stand at 20.61 in, half of 4,230 gal at 36 in."""
    it = tank(MARKS, shape=LYING)
    assert holding(it, 1000 * GALLON_L).depth_m / 0.0254 == pytest.approx(20.61, abs=5e-3)
    rows = {round(row.depth_m / 0.0254, 3): row.volume_l / GALLON_L for row in depths(it, 0.0254)}
    assert round(rows[36]) == 2115
    assert round(rows[72]) == 4230


def test_rows_marks_and_ullage() -> None:
    """1,000 L per metre, overflow at 1.9 m of 2 m."""
    it = tank(MARKS, overflow="1.9 m", reserve="0.25 m")
    rows = depths(it, 0.5)
    assert [row.depth_m for row in rows] == [0, 0.25, 0.4, 0.5, 1.0, 1.5, 1.6, 1.9, 2.0]
    assert [row.at for row in rows] == ["", "reserve", "low", "", "", "", "full", "overflow", "top"]
    assert [row.ullage_l for row in rows] == pytest.approx([1900, 1650, 1500, 1400, 900, 400, 300, 0, 0])
    assert rows[-1].share == pytest.approx(2000 / 1900)


def test_what_cannot_be() -> None:
    it = tank(MARKS)
    with pytest.raises(ValueError, match="2000"):
        holding(it, 2001)
    with pytest.raises(ValueError, match="rows"):
        depths(it, 2.0 / DEPTH_ROWS)
    assert len(depths(tank({"top": "2 m"}), 2.0 / (DEPTH_ROWS - 1))) == DEPTH_ROWS
    assert holding(it, total_l(it.shape)).depth_m == 2.0
    assert holding(it, 0).depth_m == 0.0


@given(st.floats(0.01, 1.5), st.floats(0, 1))
def test_volumes_rise_and_turn_back(step_m: float, share: float) -> None:
    it = tank(MARKS, shape=LYING)
    rows = depths(it, step_m)
    assert all(a.volume_l < b.volume_l and a.ullage_l >= b.ullage_l for a, b in pairwise(rows))
    volume = share * total_l(it.shape)
    assert holding(it, volume).volume_l == pytest.approx(volume, rel=1e-6, abs=1e-3)
