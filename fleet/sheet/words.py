"""Words of a sheet for shapes, electrodes and windows, which the inventory has as data."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from fleet.model.tank import (
    Box,
    CellConstant,
    Frustum,
    HorizontalCylinder,
    Plates,
    Rods,
    Sphere,
    VerticalCylinder,
)
from fleet.water.quantities import duration

if TYPE_CHECKING:
    from fleet.facts.site import WindowFacts
    from fleet.model.tank import Electrodes, Shape
    from fleet.water.quantities import Units

_DAYS: Final = {"MO": "Mon", "TU": "Tue", "WE": "Wed", "TH": "Thu", "FR": "Fri", "SA": "Sat", "SU": "Sun"}


def shape_words(shape: Shape, units: Units) -> str:
    """What to look for: the kind of tank with its inside measures."""
    tape = units.tape
    match shape:
        case VerticalCylinder():
            size = f"{tape(shape.diameter_m)} across, shell {tape(shape.height_m)} high"
            return f"vertical cylinder, {size}{_ends(shape.bottom, 'bottom')}"
        case HorizontalCylinder():
            size = f"{tape(shape.diameter_m)} across, shell {tape(shape.length_m)} long"
            return f"horizontal cylinder, {size}{_ends(shape.ends, 'ends')}"
        case Box():
            return f"box, {tape(shape.length_m)} x {tape(shape.width_m)}, {tape(shape.height_m)} high"
        case Frustum():
            across = f"{tape(shape.bottom_diameter_m)} across at the bottom, {tape(shape.top_diameter_m)} at the top"
            return f"round with leaning sides, {across}, {tape(shape.height_m)} high"
        case Sphere():
            return f"sphere, {tape(shape.diameter_m)} across"
    return f"measured by a table of {len(shape.table)} depths"


def electrode_words(electrodes: Electrodes | None, units: Units) -> str:
    """What `check` goes by; nothing where the inventory gives none."""
    match electrodes:
        case Rods():
            size, apart = _small(electrodes.diameter_m, units), _small(electrodes.spacing_m, units)
            under = _small(electrodes.wetted_m, units)
            return (
                f"rods {size} thick, {apart} from centre to centre; tips {under} under their marks, so that as much of "
                "each is under water there"
            )
        case Plates():
            area = (
                f"{electrodes.area_m2 / 0.0254**2:.3g} in2"
                if units.us
                else f"{electrodes.area_m2 * 1e4:.3g} cm2"
            )
            return f"plates of {area}, {_small(electrodes.distance_m, units)} apart"
        case CellConstant():
            return f"cell constant {electrodes.cell_constant_per_cm:.3g} /cm, as their maker gives it"
    return ""


def wetted_m(electrodes: Electrodes | None) -> float:
    """How far under its mark an electrode ends: a mark counts as reached when rods are wetted over that length."""
    return electrodes.wetted_m if isinstance(electrodes, Rods) else 0.0


def window_words(window: WindowFacts) -> str:
    """Such as `Mon, Tue at 10:00 for 5 h, since 2025-03-03`; rules other than days of each week as they are."""
    day, _, at = window.first.partition(" ")
    when = _days(window.rule) or f"{window.rule},"
    return f"{when} at {at} for {duration(window.length_s)}, since {day}"


def _days(rule: str) -> str:
    parts = dict(part.split("=", 1) for part in rule.split(";"))
    if parts == {"FREQ": "DAILY"}:
        return "every day"
    days = parts.get("BYDAY", "").split(",")
    if set(parts) == {"FREQ", "BYDAY"} and parts["FREQ"] == "WEEKLY" and set(days) <= set(_DAYS):
        return ", ".join(_DAYS[day] for day in days)
    return ""


def _small(metres: float, units: Units) -> str:
    """Of a part that is measured with a calliper: `6 mm`, `0.24 in`."""
    return f"{metres / 0.0254:.2g} in" if units.us else f"{metres * 1000:.3g} mm"


def _ends(kind: str, where: str) -> str:
    return "" if kind == "flat" else f", {'cone-shaped' if kind in ('cone', 'conical') else kind} {where}"
