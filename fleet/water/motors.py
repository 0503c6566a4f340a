"""How often motors may start, by published tables.

NEMA MG 10 table 2-3 for surface motors, Franklin Electric's frequency of starts for submersible motors. Only
rows that were read in a copy of the table are here; between rows the larger motor counts. A motor whose power is not
given counts as the smallest of its table, which may start most often.

NEMA's table is for polyphase motors of designs A and B; it is taken for single-phase ones too (own choice). The
load's moment of inertia (column B) was checked in one place, 25 hp with 4 poles, and is from memory elsewhere; it
counts only where the inventory gives `load_inertia`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from fleet.model.tank import Motor
from fleet.water.quantities import METRIC, Units

if TYPE_CHECKING:
    from fleet.model.tank import Pump

NEMA: Final = "NEMA MG 10 table 2-3"
FRANKLIN: Final = "Franklin Electric, frequency of starts"
H_PER_DAY: Final = 24.0
SUBMERSIBLE_RUN_S: Final = 60.0
"""A submersible motor runs at least this long per start (Franklin Electric), to get rid of the heat of starting."""
WIDE_BETWEEN_S: Final = 900
"""At least so long from one start, or attempt, of a submersible motor of 6 inches and more to the next (Franklin
Electric). A rest as long as that makes sure of it, however short a run was."""
WIDE_FROM_M: Final = 0.130
"""A motor for wells of 4 inches is about 95 mm across, one for 6 inches about 140 mm (from memory)."""
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
    """What a motor may do. `off_s` and `run_s` are 0 where the table says nothing of them.

    `origin` says where the starts come from, `off_origin` where the rest does.
    """

    starts_per_hour: float
    origin: str
    off_s: int = 0
    off_origin: str = ""
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
FRANKLIN_ROWS: Final[tuple[tuple[float, int | None, int, int], ...]] = (
    (0.55, 300, 300, 300),
    (4.0, 100, 300, 300),
    (22.0, 50, 100, 200),
    (10_000.0, None, 100, 100),
)
"""Up to so many kilowatts: most starts in 24 h, single-phase, three-phase, and three-phase with a soft start."""


def allowance(pump: Pump, units: Units = METRIC) -> Allowance | None:
    """What the pump's motor may do, its origins in words of those units.

    None where no table knows: DC, or larger than the largest.

    A motor of which the inventory says nothing counts as a surface motor with 2 poles, which may start least often.
    """
    motor = pump.motor or Motor()
    table = _of_table(pump, motor, units)
    if motor.most_starts_per_hour is None:
        return table
    run_s = SUBMERSIBLE_RUN_S if motor.kind == "submersible" else 0.0
    off_s, off_origin = (table.off_s, table.off_origin) if table else (0, "")
    return Allowance(motor.most_starts_per_hour, "given in the inventory", off_s, off_origin, run_s)


def _of_table(pump: Pump, motor: Motor, units: Units) -> Allowance | None:
    if pump.phase == "dc":
        return None
    return (_franklin if motor.kind == "submersible" else _nema)(pump, motor, units)


def _franklin(pump: Pump, motor: Motor, units: Units) -> Allowance | None:
    power_kw = pump.power_kw or FRANKLIN_ROWS[0][0]
    row = next((row for row in FRANKLIN_ROWS if power_kw <= row[0] * _ROUNDING), None)
    if row is None:
        return None
    _, single, three, three_soft = row
    soft = motor.soft_start and pump.phase == "three" and three_soft > three
    per_day = single if pump.phase == "single" else three_soft if soft else three
    if per_day is None:
        return None
    started = ", soft start" if soft else _soft_not_counted(motor)
    size = f"{units.power(power_kw)} submersible, {pump.phase}-phase{started}"
    told = f"{FRANKLIN}: {per_day} in 24 h for {size}{_not_given(pump)}"
    if motor.diameter_m is None or motor.diameter_m < WIDE_FROM_M:
        return Allowance(per_day / H_PER_DAY, told, run_s=SUBMERSIBLE_RUN_S)
    wide = (
        f"{FRANKLIN}: {WIDE_BETWEEN_S // 60} min between starts of a submersible motor of 6 inches and more"
    )
    most, told = min((per_day / H_PER_DAY, told), (3600 / WIDE_BETWEEN_S, wide))
    return Allowance(most, told, WIDE_BETWEEN_S, wide, SUBMERSIBLE_RUN_S)


def _nema(pump: Pump, motor: Motor, units: Units) -> Allowance | None:
    power_kw = pump.power_kw or NEMA_ROWS[0][0]
    column = nema_column(power_kw, motor.poles or _ASSUMED_POLES)
    if column is None:
        return None
    assumed = "" if motor.poles else " taken, for the inventory does not say"
    of = f"{units.power(power_kw)}, {motor.poles or _ASSUMED_POLES} poles{assumed}{_soft_not_counted(motor)}"
    told = f"{NEMA}, {of}{_not_given(pump)}"
    off_s = column.off_s if pump.power_kw else 0
    inertia = motor.load_inertia_lb_ft2
    if inertia is None or not pump.power_kw:
        return Allowance(column.starts_per_hour, told, off_s, told)
    return Allowance(starts_with_load(column, inertia), f"{told}, Wk2 {inertia:.3g} lb ft2", off_s, told)


def _soft_not_counted(motor: Motor) -> str:
    return "; its soft start is not counted, for the table has none" if motor.soft_start else ""


def _not_given(pump: Pump) -> str:
    return (
        "" if pump.power_kw else "; its `power` is not given, and no motor of the table may start more often"
    )


def nema_column(power_kw: float, poles: int) -> Column | None:
    """The row for that power, or the next larger one; None above the largest."""
    for up_to_kw, by_poles in NEMA_ROWS:
        if power_kw <= up_to_kw * _ROUNDING:
            return by_poles[poles]
    return None


def starts_with_load(column: Column, inertia_lb_ft2: float) -> float:
    """Starts an hour with a load of that inertia: the smaller of A and B / Wk2 (NEMA MG 10)."""
    return min(column.starts_per_hour, column.inertia_lb_ft2_per_hour / inertia_lb_ft2)
