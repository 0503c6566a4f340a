"""A tank: its duty, shape, marks, water, electrodes and pump."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated, Any, Literal

from pydantic import (
    Field,
    GetJsonSchemaHandler,
    model_validator,
)
from pydantic_core import CoreSchema

from fleet.limits import (
    MARKS_PER_TANK,
    RUN_ON_S,
    STRAP_POINTS,
)
from fleet.model.part import Part
from fleet.model.units import (
    Area_m2,
    CellConstant_per_cm,
    Conductivity_uS_per_cm,
    Duration_s,
    Flow_l_per_min,
    Inertia_lb_ft2,
    Length_m,
    Power_kw,
    Pumped_l_per_min,
    Size_m,
    Span_s,
    Volume_l,
)
from fleet.model.values import (
    MarkName,
    Name,
    Number,
    Reason,
    YesNo,
)


class Duty(StrEnum):
    """What the water is for."""

    POTABLE = "potable"
    IRRIGATION = "irrigation"
    LIVESTOCK = "livestock"
    FIRE_RESERVE = "fire-reserve"
    RAIN = "rain"
    SUMP = "sump"
    PROCESS = "process"


class Ends(StrEnum):
    """Ends of a horizontal cylinder."""

    FLAT = "flat"
    DISHED = "dished"
    ELLIPSOIDAL = "ellipsoidal"
    HEMISPHERICAL = "hemispherical"
    CONICAL = "conical"


class VerticalCylinder(Part):
    """Upright cylinder; `bottom_depth` is the depth of a bottom that is not flat, below the shell."""

    kind: Literal["vertical-cylinder"]
    diameter_m: Size_m = Field(alias="diameter")
    height_m: Size_m = Field(alias="height", description="of the straight shell")
    bottom: Literal["flat", "cone", "dished", "ellipsoidal", "hemispherical"] = "flat"
    bottom_depth_m: Size_m | None = Field(default=None, alias="bottom_depth")


class HorizontalCylinder(Part):
    """Lying cylinder; heads of ASME flanged-and-dished, ellipsoidal, hemispherical or conical form, or flat.

    `ends_depth` is how far each end stands out: a cone must have it, an ellipsoid is a 2:1 one without.
    """

    kind: Literal["horizontal-cylinder"]
    diameter_m: Size_m = Field(alias="diameter")
    length_m: Size_m = Field(alias="length", description="of the straight shell")
    ends: Ends = Ends.FLAT
    ends_depth_m: Size_m | None = Field(default=None, alias="ends_depth")


class Box(Part):
    """Rectangular tank."""

    kind: Literal["box"]
    length_m: Size_m = Field(alias="length")
    width_m: Size_m = Field(alias="width")
    height_m: Size_m = Field(alias="height")


class Frustum(Part):
    """Round tank whose sides lean, such as a stock trough."""

    kind: Literal["frustum"]
    bottom_diameter_m: Size_m = Field(alias="bottom_diameter")
    top_diameter_m: Size_m = Field(alias="top_diameter")
    height_m: Size_m = Field(alias="height")


class Sphere(Part):
    """Spherical tank."""

    kind: Literal["sphere"]
    diameter_m: Size_m = Field(alias="diameter")


class StrapPoint(Part):
    """One line of a strapping table."""

    depth_m: Length_m = Field(alias="depth")
    volume_l: Volume_l = Field(alias="volume")


class Strapped(Part):
    """A tank known by its measured strapping table, depths and volumes rising."""

    kind: Literal["strapped"]
    table: Annotated[tuple[StrapPoint, ...], Field(min_length=2, max_length=STRAP_POINTS)]


Shape = Annotated[
    VerticalCylinder | HorizontalCylinder | Box | Frustum | Sphere | Strapped, Field(discriminator="kind")
]


class Mark(Part):
    """A level at which a probe sits, measured from the lowest inside point of the tank."""

    name: MarkName
    height_m: Length_m = Field(alias="height")


def height_mm(height_m: float) -> int:
    """A height as the node block holds it."""
    return round(height_m * 1000)


class Water(Part):
    """The water, by kind or by a measured conductivity (at 25 °C)."""

    kind: Literal["mains", "bore", "rain", "river", "grey", "brackish"] | None = None
    conductivity_us_per_cm: Conductivity_uS_per_cm | None = Field(default=None, alias="conductivity")


class Rods(Part):
    """Two parallel rods, or a rod and its neighbour; `spacing` from centre to centre, `wetted` at the mark."""

    kind: Literal["rods"]
    diameter_m: Size_m = Field(alias="diameter")
    spacing_m: Size_m = Field(alias="spacing", description="from centre to centre")
    wetted_m: Size_m = Field(
        alias="wetted",
        description="length under water when the mark counts as reached: the tip hangs so far below the mark",
    )
    film: YesNo | None = Field(default=None, description="may carry scale or slime; default by the water")


class Plates(Part):
    """Two plates that face each other."""

    kind: Literal["plates"]
    area_m2: Area_m2 = Field(alias="area", description="of one face")
    distance_m: Size_m = Field(alias="distance")
    film: YesNo | None = Field(default=None, description="may carry scale or slime; default by the water")


class CellConstant(Part):
    """Electrodes whose cell constant their maker gives."""

    kind: Literal["constant"]
    cell_constant_per_cm: CellConstant_per_cm = Field(alias="cell_constant")
    film: YesNo | None = Field(default=None, description="may carry scale or slime; default by the water")


Electrodes = Annotated[Rods | Plates | CellConstant, Field(discriminator="kind")]


class Motor(Part):
    """The pump's motor, for how often it may start. Poles left out: 2, which may start least often."""

    kind: Literal["submersible", "surface"] = "surface"
    diameter_m: Size_m | None = Field(
        default=None, alias="diameter", description="across a submersible one: `4 in`, `6 in`, or as measured"
    )
    soft_start: YesNo = Field(
        default=False, description="a soft starter or a frequency converter starts it (submersible ones)"
    )
    poles: Literal[2, 4, 6] | None = None
    load_inertia_lb_ft2: Inertia_lb_ft2 | None = Field(
        default=None, alias="load_inertia", description="Wk2 of what the motor turns, at its shaft"
    )
    most_starts_per_hour: Annotated[Number, Field(ge=0.01, le=3600)] | None = Field(
        default=None, description="from the plate or the sheet of the motor; goes before all tables"
    )


class TimeOverride(Part):
    """A time that the tool would compute, set by hand instead: `40 min`, or the same with a reason."""

    seconds: Span_s = Field(alias="is")
    reason: Reason = ""

    @model_validator(mode="before")
    @classmethod
    def _plain(cls, value: Any) -> Any:
        return value if isinstance(value, dict) else {"is": value}

    @classmethod
    def __get_pydantic_json_schema__(cls, core: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        own = handler.resolve_ref_schema(handler(core))
        return {"anyOf": [own["properties"]["is"], own]}


class Rest(TimeOverride):
    """The same for a time that may be nothing."""

    seconds: Duration_s = Field(alias="is")


class Pump(Part):
    """What fills or drains the tank.

    `on_at` and `off_at` are names of marks; defaults: fill lowest to highest mark, drain highest to lowest.
    """

    name: Name
    does: Literal["fill", "drain"]
    flow_l_per_min: Pumped_l_per_min = Field(alias="flow")
    power_kw: Power_kw | None = Field(default=None, alias="power")
    phase: Literal["single", "three", "dc"] = "single"
    on_at: MarkName | None = None
    off_at: MarkName | None = None
    motor: Motor | None = None
    run_on_s: Duration_s = Field(
        default=RUN_ON_S, alias="run_on", description="from the relay's opening until the flow stops"
    )
    longest_run: TimeOverride | None = None
    no_rise: TimeOverride | None = None
    shortest_off: Rest | None = None


class Tank(Part):
    """A vessel with a shape, a duty and level marks (any order in the file; rules want them rising)."""

    name: Name
    site: Name
    duty: Duty
    shape: Shape
    marks: Annotated[tuple[Mark, ...], Field(min_length=1, max_length=MARKS_PER_TANK)]
    overflow_m: Length_m | None = Field(default=None, alias="overflow", description="height of the overflow")
    reserve_m: Length_m | None = Field(
        default=None, alias="reserve", description="level never to be drawn below"
    )
    largest_draw_l_per_min: Flow_l_per_min = Field(default=0.0, alias="largest_draw")
    uncontrolled_inflow_l_per_min: Flow_l_per_min = Field(default=0.0, alias="uncontrolled_inflow")
    water: Water | None = None
    electrodes: Electrodes | None = Field(default=None, description="of each probe and the common one")
    supply_group: Name | None = Field(default=None, description="tanks that stand in for each other")
    pump: Pump | None = None
    notes: str = Field(default="", max_length=500)
