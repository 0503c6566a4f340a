"""How often motors may start, by published tables.

NEMA MG 10 table 2-3 for surface motors, Franklin Electric's frequency of starts for submersible motors. Only
rows that were read in a copy of the table are here; between rows the larger motor counts.

The load's moment of inertia (column B) was checked in one place, 25 hp with 4 poles, and is from memory elsewhere; it
counts only where the inventory gives `load_inertia`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from fleet.inventory.model import Pump

NEMA: Final = "NEMA MG 10 table 2-3"
FRANKLIN: Final = "Franklin Electric, frequency of starts"
H_PER_DAY: Final = 24.0
SUBMERSIBLE_RUN_S: Final = 60.0
"""A submersible motor runs at least this long per start (Franklin Electric), to get rid of the heat of starting."""
_ROUNDING: Final = 1.03
"""The kilowatts of a table are rounded: 5.5 hp are 4.10 kW, and 4 in the table."""
_ASSUMED_POLES: Final = 2


@dataclass(frozen=True, slots=True)
class Column:
    """Of one number of poles: most starts an hour (A), the load's inertia times those (B), shortest off (C)."""

    starts_per_hour: float
    inertia_lb_ft2_per_hour: float
    off_s: int


@dataclass(frozen=True, slots=True)
class Allowance:
    """What a motor may do. `off_s` and `run_s` are 0 where the table says nothing of them."""

    starts_per_hour: float
    origin: str
    off_s: int = 0
    run_s: float = 0.0


def _row(two: Column, four: Column, six: Column) -> dict[int, Column]:
    return {2: two, 4: four, 6: six}


_C = Column
NEMA_ROWS: Final[tuple[tuple[float, dict[int, Column]], ...]] = (
    (0.75, _row(_C(15, 1.2, 75), _C(30, 5.8, 38), _C(34, 15, 33))),
    (1.1, _row(_C(12.9, 1.8, 76), _C(25.7, 8.6, 38), _C(29.1, 23, 34))),
    (1.5, _row(_C(11.5, 2.4, 77), _C(23, 11, 39), _C(26.1, 30, 35))),
    (2.2, _row(_C(9.9, 3.5, 80), _C(19.8, 17, 40), _C(22.4, 44, 36))),
    (3.7, _row(_C(8.1, 5.7, 83), _C(16.3, 27, 42), _C(18.4, 71, 37))),
    (5.5, _row(_C(7.0, 8.3, 88), _C(13.9, 39, 44), _C(15.8, 104, 39))),
    (7.5, _row(_C(6.2, 11, 92), _C(12.5, 51, 46), _C(14.2, 137, 41))),
    (11, _row(_C(5.4, 16, 100), _C(10.7, 75, 50), _C(12.1, 200, 44))),
    (15, _row(_C(4.8, 21, 110), _C(9.6, 99, 55), _C(10.9, 262, 48))),
    (18.5, _row(_C(4.4, 26, 115), _C(8.8, 122, 58), _C(10.0, 324, 51))),
    (37, _row(_C(3.4, 49, 145), _C(6.8, 232, 72), _C(7.7, 620, 64))),
    (75, _row(_C(2.6, 92, 220), _C(5.2, 441, 110), _C(5.9, 1181, 97))),
    (150, _row(_C(2.0, 172, 600), _C(4.0, 831, 300), _C(4.5, 2228, 265))),
    (185, _row(_C(1.8, 210, 1000), _C(3.7, 1017, 500), _C(4.2, 2727, 440))),
)
"""Up to so many kilowatts, by poles."""
FRANKLIN_ROWS: Final[tuple[tuple[float, int | None, int], ...]] = (
    (0.55, 300, 300),
    (4.0, 100, 300),
    (22.0, 50, 100),
    (10_000.0, None, 100),
)
"""Up to so many kilowatts: most starts in 24 h, single-phase and three-phase."""


def allowance(pump: Pump) -> Allowance | None:
    """What the pump's motor may do; None where no table knows: no power given, DC, or larger than the largest.

    A motor of which the inventory says nothing counts as a surface motor with 2 poles, which may start least often.
    """
    motor = pump.motor
    submersible = motor is not None and motor.kind == "submersible"
    run_s = SUBMERSIBLE_RUN_S if submersible else 0.0
    table = _of_table(pump, submersible)
    if motor is None or motor.most_starts_per_hour is None:
        return table
    return Allowance(motor.most_starts_per_hour, "given in the inventory", table.off_s if table else 0, run_s)


def _of_table(pump: Pump, submersible: bool) -> Allowance | None:
    if pump.power_kw is None or pump.phase == "dc":
        return None
    return _franklin(pump.power_kw, pump.phase) if submersible else _nema(pump, pump.power_kw)


def _franklin(power_kw: float, phase: str) -> Allowance | None:
    for up_to_kw, single, three in FRANKLIN_ROWS:
        if power_kw <= up_to_kw * _ROUNDING:
            per_day = single if phase == "single" else three
            if per_day is None:
                return None
            told = f"{FRANKLIN}: {per_day} in 24 h for {power_kw:.3g} kW submersible, {phase}-phase"
            return Allowance(per_day / H_PER_DAY, told, run_s=SUBMERSIBLE_RUN_S)
    return None


def _nema(pump: Pump, power_kw: float) -> Allowance | None:
    motor = pump.motor
    poles = motor.poles if motor is not None and motor.poles else None
    column = nema_column(power_kw, poles or _ASSUMED_POLES)
    if column is None:
        return None
    told = nema_words(pump)
    inertia = motor.load_inertia_lb_ft2 if motor is not None else None
    if inertia is None:
        return Allowance(column.starts_per_hour, told, column.off_s)
    return Allowance(starts_with_load(column, inertia), f"{told}, Wk2 {inertia:.3g} lb ft2", column.off_s)


def nema_words(pump: Pump) -> str:
    """The place in NEMA's table that counts for a surface motor."""
    poles = pump.motor.poles if pump.motor is not None else None
    assumed = "" if poles else " taken, for the inventory does not say"
    return f"{NEMA}, {pump.power_kw:.3g} kW, {poles or _ASSUMED_POLES} poles{assumed}"


def nema_column(power_kw: float, poles: int) -> Column | None:
    """The row for that power, or the next larger one; None above the largest."""
    for up_to_kw, by_poles in NEMA_ROWS:
        if power_kw <= up_to_kw * _ROUNDING:
            return by_poles[poles]
    return None


def starts_with_load(column: Column, inertia_lb_ft2: float) -> float:
    """Starts an hour with a load of that inertia: the smaller of A and B / Wk2 (NEMA MG 10)."""
    return min(column.starts_per_hour, column.inertia_lb_ft2_per_hour / inertia_lb_ft2)
