"""Flows, powers, motors and times of one tank that are out of any scale."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.check.codes.plausible import FLOW_ODD, MOTOR_ODD, POWER_ODD, TIME_ODD
from fleet.finding import Figure, Finding, Subject, SubjectKind
from fleet.inventory.parsed import subject_of
from fleet.limits import (
    FLOW_MOST_L_PER_MIN,
    MOTOR_INERTIA_LB_FT2,
    MOTOR_LEAST_M,
    MOTOR_STARTS_PER_HOUR,
    POWER_DC_MOST_KW,
    POWER_LEAST_KW,
    POWER_MOST_KW,
    RUN_ON_MOST_S,
    TANK_FILLS_DAYS,
    TANK_LASTS_DAYS,
    TANK_TURNED_OVER_S,
)
from fleet.model.tank import Duty
from fleet.water.filling import overflow_m, time_s
from fleet.water.geometry import volume_l
from fleet.water.quantities import METRIC, duration

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleet.inventory.parsed import Parsed, ParsedPart
    from fleet.model.node import Node
    from fleet.model.tank import Motor, Pump, Tank

_DAY_S = 86_400.0


def scale_fits(_survey: Parsed, tank: ParsedPart[Tank], _node: ParsedPart[Node] | None) -> Iterator[Finding]:
    """Draw, inflow and pump of one tank."""
    part, pump = tank.part, tank.part.pump
    whole_l = volume_l(part.shape, overflow_m(part))
    lasts_s = TANK_LASTS_DAYS * _DAY_S if part.duty is not Duty.SUMP else None
    yield from _flow(
        tank, ("largest_draw",), "the largest draw", part.largest_draw_l_per_min, whole_l, lasts_s
    )
    yield from _flow(
        tank, ("uncontrolled_inflow",), "the inflow", part.uncontrolled_inflow_l_per_min, whole_l, None
    )
    if pump is None:
        return
    fills_s = TANK_FILLS_DAYS * _DAY_S
    yield from _flow(tank, ("pump", "flow"), "the pump's flow", pump.flow_l_per_min, whole_l, fills_s)
    yield from _power(tank, pump)
    if pump.motor is not None:
        yield from _motor(tank, pump.motor)
    if pump.run_on_s > RUN_ON_MOST_S:
        what = f"the pump `{pump.name}` is given as running on for {duration(pump.run_on_s)} after its relay opens"
        figures = (Figure("run on", pump.run_on_s, "s"), Figure("most", RUN_ON_MOST_S, "s"))
        place = tank.value("pump", "run_on")
        yield Finding(TIME_ODD, what, place, Subject(SubjectKind.TANK, part.name, "run_on"), figures=figures)


def _flow(
    tank: ParsedPart[Tank],
    path: tuple[str, ...],
    noun: str,
    flow: float,
    whole_l: float,
    longest_s: float | None,
) -> Iterator[Finding]:
    """`whole_l`: the tank up to its overflow; `longest_s`: how long it may take at that flow."""
    if flow == 0:
        return
    turned_s = time_s(whole_l, flow)
    if flow > FLOW_MOST_L_PER_MIN:
        what = f"{noun}: {METRIC.flow(flow)} is more than {METRIC.flow(FLOW_MOST_L_PER_MIN)}"
    elif turned_s < TANK_TURNED_OVER_S:
        what = (
            f"{noun}: {METRIC.flow(flow)} moves the whole tank, {METRIC.volume(whole_l)}, in {turned_s:.2g} s"
        )
    elif longest_s is not None and turned_s > longest_s:
        what = (
            f"{noun}: at {METRIC.flow(flow)} the whole tank, {METRIC.volume(whole_l)}, takes {duration(turned_s)}; "
            f"{duration(longest_s)} is the usual maximum"
        )
    else:
        return
    figures = (
        Figure(noun, flow, "L/min"),
        Figure("whole tank", whole_l, "L"),
        Figure("takes", turned_s, "s"),
    )
    yield Finding(
        FLOW_ODD,
        what,
        tank.value(*path),
        subject_of(tank, str(path[-1])),
        figures=figures,
    )


def _power(tank: ParsedPart[Tank], pump: Pump) -> Iterator[Finding]:
    most_kw = POWER_DC_MOST_KW if pump.phase == "dc" else POWER_MOST_KW
    if pump.power_kw is None or POWER_LEAST_KW <= pump.power_kw <= most_kw:
        return
    on = " on direct current" if pump.phase == "dc" else ""
    limits = f"{POWER_LEAST_KW:g} to {most_kw:g} kW"
    what = f"the pump `{pump.name}` has {pump.power_kw:,.4g} kW{on}; {limits} is usual"
    figures = (Figure("power", pump.power_kw, "kW"), Figure("most", most_kw, "kW"))
    yield Finding(
        POWER_ODD,
        what,
        tank.value("pump", "power"),
        subject_of(tank),
        figures=figures,
    )


def _motor(tank: ParsedPart[Tank], motor: Motor) -> Iterator[Finding]:
    least, most = MOTOR_STARTS_PER_HOUR
    starts, inertia, across_m = motor.most_starts_per_hour, motor.load_inertia_lb_ft2, motor.diameter_m
    odd: list[tuple[str, str, Figure]] = []
    if starts is not None and not least <= starts <= most:
        said = f"it may start {starts:g} times an hour; motors may {least:g} to {most:g} times"
        odd.append(("most_starts_per_hour", said, Figure("starts an hour", starts, "1/h")))
    if inertia is not None and inertia > MOTOR_INERTIA_LB_FT2:
        said = f"its load has {inertia:,.0f} lb ft2; {MOTOR_INERTIA_LB_FT2:,.0f} is the usual maximum"
        odd.append(("load_inertia", said, Figure("inertia", inertia, "lb ft2")))
    if across_m is not None and motor.kind == "submersible" and across_m < MOTOR_LEAST_M:
        said = f"it is {1000 * across_m:.0f} mm across; submersible ones have {1000 * MOTOR_LEAST_M:.0f} mm and more"
        odd.append(("diameter", said, Figure("diameter", across_m, "m")))
    for key, said, figure in odd:
        place, subject = tank.value("pump", "motor", key), subject_of(tank, key)
        yield Finding(MOTOR_ODD, f"the pump's motor: {said}", place, subject, figures=(figure,))
