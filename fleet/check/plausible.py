"""Figures of one tank that do not go together: a slip of a unit, a forgotten key, heights taken from the wrong end."""

from __future__ import annotations

from itertools import combinations
from typing import TYPE_CHECKING, Final

from fleet.check.codes.electrodes import CELL_CONSTANT_ODD, RODS_TOO_LONG, WATER_OUT_OF_KIND
from fleet.check.codes.water import NAMES_UPSIDE_DOWN, NOTHING_AGAINST, POWER_AND_FLOW
from fleet.finding import Figure, Finding
from fleet.inventory.parsed import subject_of
from fleet.limits import (
    CELL_LEAST_PER_CM,
    CELL_MOST_PER_CM,
    MOST_HEAD_M,
    MOTOR_MOST_M,
    SEA_US_PER_CM,
    SINGLE_PHASE_KW,
    VALVE_KW,
    WATER_KIND_FACTOR,
)
from fleet.model.tank import Duty, Rods
from fleet.water.electrodes import by_kind, cell_constant_per_cm
from fleet.water.filling import FLOW_ROUNDING, against_l_per_min, pump_marks, rising
from fleet.water.quantities import METRIC
from fleet.water.starts import head_m

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleet.inventory.parsed import Parsed, ParsedPart
    from fleet.model.node import Node
    from fleet.model.tank import Pump, Tank, Water

_RANKS: Final = {
    word: rank
    for rank, words in enumerate(
        (
            "empty low lower lowest lo ll min mini minimum bottom base floor dry",
            "half mid middle med medium centre center",
            "high higher highest hi hh max maxi maximum top upper full brim brimful",
        )
    )
    for word in words.split()
}
"""Usual names of marks that say where they are, and their parts: `low-alarm`, `top2`."""
_HAIR: Final = 1 + FLOW_ROUNDING
"""What rounding in units may make of two equal figures."""


def figures_agree(
    _survey: Parsed, tank: ParsedPart[Tank], _node: ParsedPart[Node] | None
) -> Iterator[Finding]:
    """The figures of one tank, its water, its rods and its pump."""
    yield from _names(tank)
    yield from _water(tank)
    yield from _rods(tank)
    yield from _cell(tank)
    pump = tank.part.pump
    if pump is not None:
        yield from _against(tank, pump)
        yield from _power(tank, pump)
        yield from _motor(tank, pump)


def _names(tank: ParsedPart[Tank]) -> Iterator[Finding]:
    """All pairs in one finding: they are one mistake, and a ruling accepts them together."""
    pairs = [
        (below, above)
        for below, above in combinations(rising(tank.part), 2)
        if (low := _rank(below.name)) is not None and (high := _rank(above.name)) is not None and low > high
    ]
    if not pairs:
        return
    below, above = pairs[0]
    what = f"mark `{below.name}` is at {below.height_m:.3g} m, below mark `{above.name}` at {above.height_m:.3g} m"
    others = ", ".join(f"`{low.name}` below `{high.name}`" for low, high in pairs[1:])
    place = tank.value("marks", tank.part.marks.index(below), "height")
    yield Finding(NAMES_UPSIDE_DOWN, f"{what}; and {others}" if others else what, place, subject_of(tank))


def _rank(name: str) -> float | None:
    """Where a mark is by its name, from 0 at the bottom to 2 at the top; None if it does not say, or says two things.

    `half-full` is a half; bare figures are percent.
    """
    if name.isdecimal():
        return int(name) / 50 if int(name) <= 100 else None
    words = [word.rstrip("0123456789") for word in name.split("-")]
    ranks = {_RANKS[word] for word in words if word in _RANKS}
    if _RANKS["half"] in ranks:
        return float(_RANKS["half"])
    return float(ranks.pop()) if len(ranks) == 1 else None


def is_of_its_kind(water: Water) -> bool:
    """Whether the measured conductivity, if there is one, is not far outside of what such water has."""
    measured = water.conductivity_us_per_cm
    if measured is None:
        return True
    least, most = _usual(water)
    return least / _HAIR <= measured <= most * _HAIR


def _usual(water: Water) -> tuple[float, float]:
    if water.kind is None:
        return 0.0, SEA_US_PER_CM
    usual = by_kind(water.kind)
    return usual.least_us_per_cm / WATER_KIND_FACTOR, usual.most_us_per_cm * WATER_KIND_FACTOR


def _water(tank: ParsedPart[Tank]) -> Iterator[Finding]:
    water = tank.part.water
    measured = water.conductivity_us_per_cm if water else None
    if water is None or measured is None or is_of_its_kind(water):
        return
    (_, most), called = _usual(water), "the sea has"
    if water.kind is not None:
        called = f"{water.kind} water has {by_kind(water.kind).least_us_per_cm:g} to"
    usually = SEA_US_PER_CM if water.kind is None else most / WATER_KIND_FACTOR
    what = f"its water was measured at {measured:,.6g} uS/cm, and {called} {usually:,.0f} uS/cm"
    figures = (Figure("conductivity", measured, "uS/cm"), Figure("at most", most, "uS/cm"))
    place = tank.value("water", "conductivity")
    yield Finding(WATER_OUT_OF_KIND, what, place, subject_of(tank), figures=figures)


def _rods(tank: ParsedPart[Tank]) -> Iterator[Finding]:
    rods, lowest = tank.part.electrodes, rising(tank.part)[0]
    if not isinstance(rods, Rods) or rods.wetted_m <= lowest.height_m * _HAIR:
        return
    what = (
        f"{1000 * rods.wetted_m:.0f} mm of rod are given as under water at each mark, and mark `{lowest.name}` is "
        f"{1000 * lowest.height_m:.0f} mm above the bottom"
    )
    figures = (Figure("wetted", rods.wetted_m, "m"), Figure("lowest mark", lowest.height_m, "m"))
    yield Finding(RODS_TOO_LONG, what, tank.value("electrodes", "wetted"), subject_of(tank), figures=figures)


def _cell(tank: ParsedPart[Tank]) -> Iterator[Finding]:
    electrodes = tank.part.electrodes
    constant = cell_constant_per_cm(electrodes) if electrodes is not None else 0.0
    if electrodes is None or constant == 0 or CELL_LEAST_PER_CM <= constant <= CELL_MOST_PER_CM:
        return
    what = (
        f"its electrodes have a cell constant of {constant:.3g} /cm; such electrodes have {CELL_LEAST_PER_CM:g} to "
        f"{CELL_MOST_PER_CM:g} /cm"
    )
    figures = (Figure("cell constant", constant, "1/cm"),)
    yield Finding(CELL_CONSTANT_ODD, what, tank.key("electrodes"), subject_of(tank), figures=figures)


def _against(tank: ParsedPart[Tank], pump: Pump) -> Iterator[Finding]:
    part, fills = tank.part, pump.does == "fill"
    if against_l_per_min(part, pump) > 0 or (fills and part.duty is Duty.FIRE_RESERVE):
        return
    nothing = "nothing is drawn from the tank" if fills else "nothing flows into it"
    other = part.uncontrolled_inflow_l_per_min if fills else part.largest_draw_l_per_min
    but = f", while {METRIC.flow(other)} {'flow in' if fills else 'are drawn'}" if other else ""
    what = f"the pump `{pump.name}` {pump.does}s, and by the inventory {nothing}{but}"
    yield Finding(NOTHING_AGAINST, what, tank.value("pump", "does"), subject_of(tank))


def _power(tank: ParsedPart[Tank], pump: Pump) -> Iterator[Finding]:
    power_kw = pump.power_kw
    if power_kw is None or power_kw < VALVE_KW:
        return
    head, (_, stop) = head_m(power_kw, pump.flow_l_per_min), pump_marks(tank.part, pump)
    high = f"{head:,.0f}" if head >= 100 else f"{head:.2g}"
    does = f"{power_kw:.3g} kW lift {METRIC.flow(pump.flow_l_per_min)} at most {high} m, without losses"
    figures = (Figure("head", head, "m"), Figure("power", power_kw, "kW"))
    if pump.does == "fill" and head * _HAIR < stop.height_m:
        what = f"{does}, and the pump `{pump.name}` stops at mark `{stop.name}`, {METRIC.length(stop.height_m)} up"
    elif head > MOST_HEAD_M:
        what = f"{does}, and no pump lifts water as high as that"
    elif pump.phase == "single" and power_kw > SINGLE_PHASE_KW:
        what = f"the pump `{pump.name}` has {power_kw:.3g} kW, and its motor is given as single-phase"
    else:
        return
    yield Finding(POWER_AND_FLOW, what, tank.value("pump", "power"), subject_of(tank), figures=figures)


def _motor(tank: ParsedPart[Tank], pump: Pump) -> Iterator[Finding]:
    motor = pump.motor
    across_m = motor.diameter_m if motor is not None else None
    if motor is None or across_m is None:
        return
    if motor.kind == "surface":
        what = f"the motor of `{pump.name}` has a diameter, as submersible ones have, but is given as a surface motor"
    elif across_m > MOTOR_MOST_M:
        what = f"the motor of `{pump.name}` is given as {across_m:.3g} m across, which fits no well"
    else:
        return
    figures = (Figure("diameter", across_m, "m"),)
    place, subject = tank.value("pump", "motor", "diameter"), subject_of(tank, "motor")
    yield Finding(POWER_AND_FLOW, what, place, subject, figures=figures)
