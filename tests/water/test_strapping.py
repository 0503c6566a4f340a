"""Slips in strapping tables. True tables are cross-sections integrated here, not by the tool's geometry."""

from __future__ import annotations

import random
from itertools import pairwise
from math import pi, sqrt
from typing import TYPE_CHECKING

import pytest

from fleet.water.strapping import slipped_line

if TYPE_CHECKING:
    from collections.abc import Callable

    Table = list[tuple[float, float]]

SLICES = 1000
GALLON_L, INCH_M = 3.785411784, 0.0254
KINDS = (
    "upright",
    "lying",
    "lying, ellipsoidal ends",
    "sphere",
    "cone",
    "frustum",
    "cone bottom",
    "cone roof",
    "dished",
)


def section(rng: random.Random, kind: str) -> tuple[float, Callable[[float], float]]:
    """Height, and square metres at a height: solid geometry."""
    r, high = rng.uniform(0.4, 6), rng.uniform(0.8, 8)
    cone = high * rng.uniform(0.1, 0.45)
    long, end = rng.uniform(1, 15), r * rng.uniform(0.1, 1)

    def chord2(h: float) -> float:
        return max(0.0, h * (2 * r - h))

    def dish(h: float) -> float:
        from_end = min(h, high - h)
        return pi * r * r * (1 - max(0.0, 1 - from_end / cone) ** 2)

    other = r * rng.uniform(0.3, 2.5)
    return {
        "upright": (high, lambda _h: pi * r * r),
        "lying": (2 * r, lambda h: 2 * sqrt(chord2(h)) * long),
        "lying, ellipsoidal ends": (2 * r, lambda h: 2 * sqrt(chord2(h)) * long + pi * end / r * chord2(h)),
        "sphere": (2 * r, lambda h: pi * chord2(h)),
        "cone": (high, lambda h: pi * (r * h / high) ** 2),
        "frustum": (high, lambda h: pi * (r + (other - r) * h / high) ** 2),
        "cone bottom": (high, lambda h: pi * (r * min(1, h / cone)) ** 2),
        "cone roof": (high, lambda h: pi * (r * min(1, (high - h) / cone)) ** 2),
        "dished": (high, dish),
    }[kind]


def true_table(rng: random.Random) -> tuple[Table, float]:
    """4 to 60 lines, evenly spaced or not, from the bottom or not, rounded as people do (never coarser than a two
    hundredth of the whole); with the unit that its volumes were written in."""
    while True:
        high, area = section(rng, rng.choice(KINDS))
        count, top = rng.randint(4, 60), high * rng.choice([1, 0.95, 0.9])
        first = rng.choice([0, 0, 0, 1])
        depths = [top * i / (count - 1 + first) for i in range(first, count + first)]
        if rng.random() < 0.3:
            depths = [0.0, *sorted(rng.uniform(0.02 * top, top) for _ in range(count - 1))]
        grain_m = rng.choice([1e-3, 1e-3, 1e-2, INCH_M, INCH_M / 8])
        depths = [min(round(depth / grain_m), int(high / grain_m)) * grain_m for depth in depths]
        if any(b - a < max(grain_m, 0.004 * top) for a, b in pairwise(depths)):
            continue
        below = [0.0]
        for i in range(SLICES):
            below.append(below[-1] + 1000 * area((i + 0.5) * high / SLICES) * high / SLICES)
        unit = rng.choice([1.0, 1.0, GALLON_L])
        grain = unit * rng.choice([0.1, 1, 1, 1, 5, 10, 100])
        table = []
        for depth in depths:
            at = min(int(depth / high * SLICES), SLICES - 1)
            volume = below[at] + (below[at + 1] - below[at]) * (depth / high * SLICES - at)
            table.append((depth, round(volume / grain) * grain))
        coarse = grain > max(unit, table[-1][1] / 200)
        if not coarse and all(b[1] > a[1] for a, b in pairwise(table)):
            return table, unit


def slip(rng: random.Random, figures: str, how: str) -> str:
    """One digit changed, or two beside each other exchanged."""
    if how == "changed":
        at = rng.choice([n for n, figure in enumerate(figures) if figure.isdigit()])
        return figures[:at] + rng.choice("0123456789") + figures[at + 1 :]
    at = rng.randrange(max(1, len(figures) - 1))
    return figures[:at] + figures[at + 1 : at + 2] + figures[at] + figures[at + 2 :]


@pytest.mark.parametrize("seed", range(3))
def test_no_true_table_is_found(seed: int) -> None:
    rng = random.Random(seed)
    found = [table for table in (true_table(rng)[0] for _ in range(300)) if slipped_line(table) is not None]
    assert found == []


@pytest.mark.slow
def test_none_of_6000_true_tables_is_found() -> None:
    rng = random.Random("true")
    found = [table for table in (true_table(rng)[0] for _ in range(6000)) if slipped_line(table) is not None]
    assert found == []


def counts(how: str, tables: int) -> dict[str, int]:
    """Of slips within a table that still rises, by more than a fifth of the mean stretch."""
    rng, count = random.Random(how), {"slips": 0, "found": 0, "at its line": 0}
    while count["slips"] < tables:
        table, unit = true_table(rng)
        line = rng.randrange(1, len(table) - 1)
        slipped = float(slip(rng, f"{table[line][1] / unit:.0f}", how)) * unit
        off = abs(slipped - table[line][1])
        wrong = [*table[:line], (table[line][0], slipped), *table[line + 1 :]]
        if off < 0.2 * table[-1][1] / len(table) or any(b[1] <= a[1] for a, b in pairwise(wrong)):
            continue
        at = slipped_line(wrong)
        count["slips"] += 1
        count["found"] += at is not None
        count["at its line"] += at == line
    return count


@pytest.mark.parametrize("how", ["changed", "exchanged"])
def test_most_slips_within_a_table_are_found_at_their_line(how: str) -> None:
    count = counts(how, 150)
    assert count["found"] >= 0.75 * count["slips"], count
    assert count["at its line"] >= 0.7 * count["slips"], count


UPRIGHT = [(1.0, 1800.0), (2.0, 3600.0), (3.0, 5400.0), (4.0, 7200.0)]


@pytest.mark.parametrize(
    ("line", "volume"),
    [(0, 180.0), (0, 3000.0), (0, 800.0), (1, 3300.0), (2, 4500.0), (2, 6300.0), (3, 17200.0)],
)
def test_a_slip_in_a_table_of_four_lines(line: int, volume: float) -> None:
    """An upright cylinder of 1,800 L a metre: each stretch beside the slip is off by a sixth at least."""
    assert slipped_line(UPRIGHT) is None
    wrong = [(depth, volume if n == line else litres) for n, (depth, litres) in enumerate(UPRIGHT)]
    assert slipped_line(wrong) == line
    assert slipped_line([(0.0, 0.0), *wrong]) == line + 1


@pytest.mark.parametrize("lines", [10, 13, 25, 60])
@pytest.mark.parametrize(("low", "high"), [(600, 3000), (3000, 600), (1000, 1500)])
def test_a_tank_with_a_step_is_left_alone(low: float, high: float, lines: int) -> None:
    """Two boxes, one on the other."""
    depths = [3.0 * n / (lines - 1) for n in range(lines)]
    assert slipped_line([(h, min(h, 1.5) * low + max(0.0, h - 1.5) * high) for h in depths]) is None
