"""How often motors may start, against the published tables and their worked example."""

from __future__ import annotations

from itertools import pairwise

import pytest

from fleet.model.tank import Pump
from fleet.water.motors import FRANKLIN_ROWS, NEMA_ROWS, Column, allowance, nema_column, starts_with_load


def pump(**keys: object) -> Pump:
    return Pump.model_validate({"name": "p", "does": "fill", "flow": "40 L/min", "phase": "three", **keys})


# NEMA MG 10 table 2-3, columns A and C, as reproduced in the EASA handbook; in horsepower, as printed.
NEMA_A_C = {
    "1 hp": {2: (15, 75), 4: (30, 38), 6: (34, 33)},
    "1.5 hp": {2: (12.9, 76), 4: (25.7, 38), 6: (29.1, 34)},
    "2 hp": {2: (11.5, 77), 4: (23, 39), 6: (26.1, 35)},
    "3 hp": {2: (9.9, 80), 4: (19.8, 40), 6: (22.4, 36)},
    "5 hp": {2: (8.1, 83), 4: (16.3, 42), 6: (18.4, 37)},
    "7.5 hp": {2: (7.0, 88), 4: (13.9, 44), 6: (15.8, 39)},
    "10 hp": {2: (6.2, 92), 4: (12.5, 46), 6: (14.2, 41)},
    "15 hp": {2: (5.4, 100), 4: (10.7, 50), 6: (12.1, 44)},
    "20 hp": {2: (4.8, 110), 4: (9.6, 55), 6: (10.9, 48)},
    "25 hp": {2: (4.4, 115), 4: (8.8, 58), 6: (10.0, 51)},
    "50 hp": {2: (3.4, 145), 4: (6.8, 72), 6: (7.7, 64)},
    "100 hp": {2: (2.6, 220), 4: (5.2, 110), 6: (5.9, 97)},
    "200 hp": {2: (2.0, 600), 4: (4.0, 300), 6: (4.5, 265)},
    "250 hp": {2: (1.8, 1000), 4: (3.7, 500), 6: (4.2, 440)},
}


@pytest.mark.parametrize("power", NEMA_A_C)
@pytest.mark.parametrize("poles", [2, 4, 6])
def test_nema_table(power: str, poles: int) -> None:
    may = allowance(pump(power=power, motor={"poles": poles}))
    assert may is not None
    assert (may.starts_per_hour, may.off_s) == NEMA_A_C[power][poles]
    assert f"{poles} poles" in may.origin


# The same table's kilowatts, row by row.
KILOWATTS = (0.75, 1.1, 1.5, 2.2, 3.7, 5.5, 7.5, 11, 15, 18.5, 37, 75, 150, 185)


@pytest.mark.parametrize(("kw", "hp"), [*zip(KILOWATTS, NEMA_A_C, strict=True)])
def test_kilowatts_and_horsepower_are_one_row(kw: float, hp: str) -> None:
    one, other = allowance(pump(power=f"{kw} kW")), allowance(pump(power=hp))
    assert one is not None and other is not None
    assert (one.starts_per_hour, one.off_s) == (other.starts_per_hour, other.off_s)


@pytest.mark.parametrize(("kw", "next_hp"), [*zip(KILOWATTS, [*list(NEMA_A_C)[1:], None], strict=True)])
def test_between_rows_the_larger_motor_counts(kw: float, next_hp: str | None) -> None:
    """Own choice, on the careful side; above the largest row no table knows."""
    more = allowance(pump(power=f"{1.05 * kw} kW"))
    assert (more and (more.starts_per_hour, more.off_s)) == (next_hp and NEMA_A_C[next_hp][2])


def test_the_worked_example_of_the_load() -> None:
    """EASA handbook: 25 hp, 4 poles, Wk2 of 50 lb ft2: 122 / 50 = 2.44 starts an hour, less than the 8.8 of A."""
    column = nema_column(18.5, 4)
    assert column is not None
    assert starts_with_load(column, 50) == pytest.approx(2.44)
    may = allowance(pump(power="25 hp", motor={"poles": 4, "load_inertia": "50 lb*ft2"}))
    assert may is not None
    assert may.starts_per_hour == pytest.approx(2.44)
    light = allowance(pump(power="25 hp", motor={"poles": 4, "load_inertia": "1 lb*ft2"}))
    assert light is not None
    assert light.starts_per_hour == 8.8
    metric = allowance(pump(power="18.5 kW", motor={"poles": 4, "load_inertia": "2.107 kg*m2"}))
    assert metric is not None
    assert metric.starts_per_hour == pytest.approx(2.44, rel=1e-4)  # 50 lb ft2 are 2.107 kg m2


@pytest.mark.parametrize(
    ("power", "phase", "per_day"),
    [
        ("0.5 hp", "single", 300), ("0.75 hp", "three", 300), ("0.55 kW", "single", 300),
        ("1 hp", "single", 100), ("5.5 hp", "single", 100), ("5 hp", "three", 300),
        ("7.5 hp", "single", 50), ("10 hp", "three", 100), ("30 hp", "three", 100), ("40 hp", "three", 100),
    ],
)  # fmt: skip
def test_submersible_table(power: str, phase: str, per_day: int) -> None:
    """Franklin Electric AIM manual, frequency of starts (in 24 h); at least a minute per run."""
    may = allowance(pump(power=power, phase=phase, motor={"kind": "submersible"}))
    assert may is not None
    assert may.starts_per_hour == pytest.approx(per_day / 24)
    assert may.run_s == 60


@pytest.mark.parametrize(
    ("power", "phase", "soft", "per_day"),
    [
        ("7.5 hp", "three", True, 200), ("30 hp", "three", True, 200), ("22 kW", "three", True, 200),
        ("7.5 hp", "three", False, 100), ("40 hp", "three", True, 100), ("5 hp", "three", True, 300),
        ("7.5 hp", "single", True, 50),
    ],
)  # fmt: skip
def test_submersible_with_a_soft_start(power: str, phase: str, soft: bool, per_day: int) -> None:
    """Franklin Electric: 200 starts in 24 h for 7.5 to 30 hp, three-phase, with a soft start or VFD."""
    may = allowance(pump(power=power, phase=phase, motor={"kind": "submersible", "soft_start": soft}))
    assert may is not None
    assert may.starts_per_hour == pytest.approx(per_day / 24)
    assert ("soft start" in may.origin) is soft
    assert ("not counted" in may.origin) is (soft and per_day != 200)


def test_soft_start_of_a_surface_motor_is_said_not_to_count() -> None:
    """NEMA MG 10 table 2-3 is for motors started across the line; it says nothing of others."""
    soft, plain = (
        allowance(pump(power="2 hp", phase="three", motor={"poles": 4, "soft_start": s}))
        for s in (True, False)
    )
    assert soft is not None
    assert plain is not None
    assert "soft start is not counted" in soft.origin
    assert (soft.starts_per_hour, soft.off_s) == (plain.starts_per_hour, plain.off_s)


@pytest.mark.parametrize("diameter", ["6 in", "8 in", "150 mm", "138 mm"])
def test_submersible_of_six_inches_and_more(diameter: str) -> None:
    """Franklin Electric: at least 15 min between starts from 6-inch motors on, which is 4 an hour at most.

    A 6-inch motor is 138 mm and more across as measured (from memory).
    """
    motor = {"kind": "submersible", "diameter": diameter}
    often = allowance(pump(power="5 hp", motor=motor))
    assert often is not None
    assert (often.starts_per_hour, often.off_s, often.run_s) == (4, 900, 60)
    assert "15 min" in often.origin and "15 min" in often.off_origin
    rarely = allowance(pump(power="10 hp", phase="single", motor=motor))
    assert rarely is not None
    assert (rarely.starts_per_hour, rarely.off_s) == (pytest.approx(50 / 24), 900)
    plate = allowance(pump(power="10 hp", motor={**motor, "most_starts_per_hour": 10}))
    assert plate is not None
    assert (plate.starts_per_hour, plate.off_s, plate.run_s) == (10, 900, 60)


@pytest.mark.parametrize("motor", [{"diameter": "4 in"}, {"diameter": "96 mm"}, {}])
def test_submersible_of_four_inches(motor: dict[str, str]) -> None:
    """They may start again at once, but for the starts in 24 h; 96 mm as measured (from memory)."""
    may = allowance(pump(power="5 hp", motor={"kind": "submersible", **motor}))
    assert may is not None
    assert (may.starts_per_hour, may.off_s) == (12.5, 0)


def test_a_power_that_is_not_given_counts_as_the_smallest() -> None:
    """NEMA MG 10 table 2-3: no row has more than that of 1 hp; Franklin: none more than 300 in 24 h."""
    surface, submersible = allowance(pump()), allowance(pump(motor={"kind": "submersible"}))
    assert surface is not None and submersible is not None
    assert (surface.starts_per_hour, surface.off_s) == (15, 0)
    assert submersible.starts_per_hour == 12.5
    assert "not given" in surface.origin and "not given" in submersible.origin


def test_where_no_table_knows() -> None:
    assert allowance(pump(phase="dc")) is None
    assert allowance(pump(power="300 hp")) is None
    assert allowance(pump(power="250 W", phase="dc")) is None
    assert allowance(pump(power="40 hp", phase="single", motor={"kind": "submersible"})) is None


def test_the_plate_goes_first_and_two_poles_are_assumed() -> None:
    plate = allowance(pump(power="1 hp", motor={"most_starts_per_hour": 20}))
    assert plate is not None
    assert (plate.starts_per_hour, plate.off_s) == (20, 75)
    assumed = allowance(pump(power="1 hp"))
    assert assumed is not None
    assert assumed.starts_per_hour == 15
    assert "does not say" in assumed.origin


def test_larger_motors_start_less_often() -> None:
    for poles in (2, 4, 6):
        columns: list[Column] = [row[poles] for _, row in NEMA_ROWS]
        for small, large in pairwise(columns):
            assert small.starts_per_hour > large.starts_per_hour
            assert small.inertia_lb_ft2_per_hour < large.inertia_lb_ft2_per_hour
            assert small.off_s <= large.off_s
    assert [row[0] for row in FRANKLIN_ROWS] == sorted(row[0] for row in FRANKLIN_ROWS)
