"""The watches of pumps in random tanks: the real core, and water simulated in tests/firmware/tank_life.cpp."""

from __future__ import annotations

from statistics import median

import pytest

from tests.water.random_tanks import KINDS, dead, has_finding, is_drawn, is_late, lines, live, tanks


@pytest.mark.parametrize("kind", KINDS)
def test_no_healthy_pump_trips(kind: str) -> None:
    """Not at any draw that is stated, with stirred water, nor interrupted each day; and stirred marks are no fault."""
    lived = live([lines(one, 3, works=True, **KINDS[kind]) for one in tanks(40, 7)])
    assert sum(one.starts for one in lived) > 60
    assert [(one.fault, one.contradictory, one.flapping) for one in lived] == [("none", 0, 0)] * 40


def test_each_dead_pump_is_stopped_and_named_where_that_is_late() -> None:
    """Before runs had a watch of their own for the first rise: 2.1 h median."""
    drawn = [one for one in tanks(60, 11) if is_drawn(one)]
    lived = dead(drawn)
    assert {one.fault for one in lived} <= {"no-rise", "longest-run"}
    assert median(one.on_s for one in lived) < 1.5 * 3600
    late = [one for one, its in zip(drawn, lived, strict=True) if is_late(one, its)]
    assert late
    assert [one for one in late if not has_finding(one)] == []
