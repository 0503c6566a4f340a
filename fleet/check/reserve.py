"""What the duty of a tank asks for: fire reserves, reserves in general, drinking water."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from fleet.check.codes.plausible import TOO_SALTY
from fleet.check.codes.water import (
    BELOW_RESERVE,
    FIRE_DRAWN,
    FIRE_NO_RESERVE,
    FIRE_REFILL,
    NOT_DRINKING,
)
from fleet.check.plausible import is_of_its_kind
from fleet.codes import Severity
from fleet.finding import Figure, Finding, Subject, SubjectKind
from fleet.inventory.parsed import subject_of
from fleet.limits import CROP_US_PER_CM, DRINKING_US_PER_CM, STOCK_US_PER_CM
from fleet.model.tank import Duty
from fleet.water.cautions import FIRE_REFILL_H, refill_h
from fleet.water.filling import FLOW_ROUNDING, overflow_m, pump_marks
from fleet.water.geometry import volume_l
from fleet.water.quantities import METRIC

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleet.inventory.parsed import Parsed, ParsedPart
    from fleet.model.node import Node
    from fleet.model.tank import Tank

_SALT: Final = {
    Duty.LIVESTOCK: ("for stock it is advised against above", STOCK_US_PER_CM),
    Duty.IRRIGATION: ("for irrigation use is severely restricted above", CROP_US_PER_CM),
}
_NOT_DRUNK: Final = ("grey", "brackish")


def duty_fits(_survey: Parsed, tank: ParsedPart[Tank], _node: ParsedPart[Node] | None) -> Iterator[Finding]:
    """The conditions of one tank's duty."""
    part = tank.part
    if part.duty is Duty.FIRE_RESERVE:
        yield from _fire(tank)
    if part.duty is Duty.POTABLE and part.water is not None and part.water.kind in _NOT_DRUNK:
        what = f"the tank is for drinking water, and its water is {part.water.kind}"
        yield Finding(NOT_DRINKING, what, tank.value("water", "kind"), Subject(SubjectKind.TANK, part.name))
    elif part.duty is Duty.POTABLE and part.water is not None:
        yield from _salty(tank, part.water.conductivity_us_per_cm or 0.0)
    elif part.duty in _SALT and part.water is not None and is_of_its_kind(part.water):
        yield from _too_salty(tank, part.water.conductivity_us_per_cm or 0.0)
    yield from _reserve(tank)


def _salty(tank: ParsedPart[Tank], us_per_cm: float) -> Iterator[Finding]:
    if us_per_cm <= DRINKING_US_PER_CM * (1 + FLOW_ROUNDING):
        return
    limit = f"{DRINKING_US_PER_CM:,.0f} are a limit"
    what = f"the tank is for drinking water, and its water has {us_per_cm:,.0f} uS/cm; {limit}"
    figures = (Figure("conductivity", us_per_cm, "uS/cm"), Figure("limit", DRINKING_US_PER_CM, "uS/cm"))
    place, subject = tank.value("water", "conductivity"), subject_of(tank)
    yield Finding(NOT_DRINKING, what, place, subject, severity_here=Severity.WARNING, figures=figures)


def _too_salty(tank: ParsedPart[Tank], us_per_cm: float) -> Iterator[Finding]:
    who, limit = _SALT[tank.part.duty]
    if us_per_cm <= limit * (1 + FLOW_ROUNDING):
        return
    duty = tank.part.duty.value
    what = f"the tank is for {duty}, and its water has {us_per_cm:,.0f} uS/cm; {who} {limit:,.0f}"
    figures = (Figure("conductivity", us_per_cm, "uS/cm"), Figure("limit", limit, "uS/cm"))
    yield Finding(
        TOO_SALTY,
        what,
        tank.value("water", "conductivity"),
        subject_of(tank),
        figures=figures,
    )


def _fire(tank: ParsedPart[Tank]) -> Iterator[Finding]:
    part, subject = tank.part, subject_of(tank)
    if part.reserve_m is None:
        yield Finding(FIRE_NO_RESERVE, "the fire tank has no `reserve`", tank.value("duty"), subject)
    if part.largest_draw_l_per_min > 0:
        draw = METRIC.flow(part.largest_draw_l_per_min)
        what = f"up to {draw} are drawn from a fire reserve, besides what a fire takes"
        drawn = (Figure("largest draw", part.largest_draw_l_per_min, "L/min"),)
        yield Finding(FIRE_DRAWN, what, tank.value("largest_draw"), subject, figures=drawn)
    if part.pump is None or part.pump.does != "fill":
        return
    hours = refill_h(part, part.pump)
    if hours > FIRE_REFILL_H:
        held = METRIC.volume(volume_l(part.shape, overflow_m(part)))
        what = (
            f"the pump `{part.pump.name}` needs {hours:.1f} h to refill {held} at "
            f"{METRIC.flow(part.pump.flow_l_per_min)}; {FIRE_REFILL_H:.0f} h are allowed"
        )
        figures = (Figure("refill", hours, "h"), Figure("most", FIRE_REFILL_H, "h"))
        yield Finding(FIRE_REFILL, what, tank.value("pump", "flow"), subject, figures=figures)


def _reserve(tank: ParsedPart[Tank]) -> Iterator[Finding]:
    part = tank.part
    if part.reserve_m is None or part.pump is None:
        return
    start, stop = pump_marks(part, part.pump)
    fills = part.pump.does == "fill"
    mark = start if fills else stop
    if mark.height_m > part.reserve_m or (not fills and mark.height_m == part.reserve_m):
        return
    does = "starts only" if fills else "stops"
    what = (
        f"the pump `{part.pump.name}` {does} at mark `{mark.name}`, {mark.height_m:.3g} m, and the reserve begins at "
        f"{part.reserve_m:.3g} m"
    )
    figures = (Figure("mark", mark.height_m, "m"), Figure("reserve", part.reserve_m, "m"))
    fire = Severity.ERROR if part.duty is Duty.FIRE_RESERVE else None
    place = tank.value("reserve")
    yield Finding(
        BELOW_RESERVE, what, place, Subject(SubjectKind.TANK, part.name), severity_here=fire, figures=figures
    )
