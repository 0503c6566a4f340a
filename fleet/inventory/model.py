"""The model of a fleet: sites, tanks, pumps, nodes, stock and the policy for pushes.

Field names end in the unit they hold; the keys in the files (aliases) do not, for there each quantity is
written with its unit (`diameter: 2.4 m`). All parts are immutable.
"""

from __future__ import annotations

from enum import StrEnum
from functools import cached_property
from typing import Annotated, Any, Literal

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    GetJsonSchemaHandler,
    model_validator,
)
from pydantic_core import CoreSchema

from fleet.inventory.units import (
    Area_m2,
    CellConstant_per_cm,
    Conductivity_uS_per_cm,
    Duration_s,
    Flow_l_per_min,
    Inertia_lb_ft2,
    Length_m,
    Power_kw,
    Pumped_l_per_min,
    Resistance_ohm,
    Share,
    Size_m,
    Span_s,
    Volume_l,
)
from fleet.inventory.values import (
    Bssid,
    Domain,
    IsoDate,
    Line,
    LocalTime,
    Mac,
    MarkName,
    Name,
    Number,
    PinName,
    Reason,
    Release,
    WholeNumber,
    WireColor,
    YesNo,
)
from fleet.limits import (
    ACCESS_POINTS_PER_SITE,
    BSSIDS_PER_ACCESS_POINT,
    MARKS_PER_TANK,
    NETWORK_LOST_S,
    RUN_ON_S,
    STRAP_POINTS,
    TANKS_PER_NODE,
)


class Part(BaseModel):
    """Base of all parts: unknown keys are errors, nothing changes after loading."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=False, str_strip_whitespace=False)


class Duty(StrEnum):
    """What the water is for."""

    POTABLE = "potable"
    IRRIGATION = "irrigation"
    LIVESTOCK = "livestock"
    FIRE_RESERVE = "fire-reserve"
    RAIN = "rain"
    SUMP = "sump"
    PROCESS = "process"


# ------------------------------------------------------------------ shapes (design 5.1)
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


# ------------------------------------------------------------------ tanks
class Mark(Part):
    """A level at which a probe sits, measured from the lowest inside point of the tank."""

    name: MarkName
    height_m: Length_m = Field(alias="height")


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


class Setting(Part):
    """A time that the tool would compute, set by hand instead: `40 min`, or the same with a reason."""

    seconds: Span_s = Field(alias="is")
    because: Reason = ""

    @model_validator(mode="before")
    @classmethod
    def _plain(cls, value: Any) -> Any:
        return value if isinstance(value, dict) else {"is": value}

    @classmethod
    def __get_pydantic_json_schema__(cls, core: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        own = handler.resolve_ref_schema(handler(core))
        return {"anyOf": [own["properties"]["is"], own]}


class Rest(Setting):
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
    longest_run: Setting | None = None
    no_rise: Setting | None = None
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


# ------------------------------------------------------------------ nodes
OTHER_WIRES = ("common", "relay")
"""Names of wires beside those of marks."""


class PumpRelay(Part):
    """The electrical relay that switches the pump."""

    pin: PinName
    active: Literal["high", "low"] = "high"
    supply: Literal["3.3 V", "5 V", "12 V", "24 V"] | None = Field(
        default=None, description="of the input side of the relay module: VCC beside IN"
    )


class Served(Part):
    """One tank that a node serves: the pin of each mark's probe, and of the pump relay."""

    tank: Name
    probes: dict[MarkName, PinName]
    pull_up: Literal["internal", "external"] = "internal"
    pull_up_resistor_ohm: Resistance_ohm | None = Field(
        default=None, alias="pull_up_resistor", description="of each probe, with `pull_up: external`"
    )
    pull_up_feed: PinName | None = Field(
        default=None,
        description="with `pull_up: external`: the pin that feeds all these resistors, only while the probes are read; "
        "without it they hang on 3.3 V",
    )
    cable_length_m: Length_m | None = Field(
        default=None, alias="cable_length", description="from the board to the electrodes"
    )
    pump_relay: PumpRelay | None = None
    wires: dict[MarkName, WireColor] = Field(
        default_factory=dict, description="colours, by mark, `common` and `relay`; printed on sheets"
    )

    @property
    def is_fed(self) -> bool:
        """Whether resistors outside hang on a pin that is on only while the probes are read."""
        return self.pull_up == "external" and self.pull_up_feed is not None

    @property
    def always_on(self) -> bool:
        """Whether they hang on the supply, so that current flows for as long as a probe is wet."""
        return self.pull_up == "external" and self.pull_up_feed is None


class Node(Part):
    """One board in its enclosure."""

    name: Name
    board: Name
    serves: Annotated[tuple[Served, ...], Field(min_length=1, max_length=TANKS_PER_NODE)]
    mac: Mac | None = Field(default=None, description="once claimed")
    place: Line = Field(default="", max_length=200)
    fitted: IsoDate | None = None
    access_point: Name | None = Field(
        default=None, description="that it should be joined to; one of the site's, where that lists them"
    )
    debounce_s: Span_s | None = Field(default=None, alias="debounce")
    clear_button: PinName | None = Field(
        default=None, description="pin of a button to ground that clears faults; `none`: there is none"
    )
    notes: str = Field(default="", max_length=500)


# ------------------------------------------------------------------ sites
class Window(Part):
    """When a site may be updated: an RFC 5545 recurrence from `first`, in local time, for `length`."""

    rule: Line = Field(min_length=6, max_length=300, description="RFC 5545 RRULE without the name, FREQ=...")
    first: LocalTime
    length_s: Span_s = Field(alias="length")


class Stock(Part):
    """Spare boards that lie at a site."""

    board: Name
    count: Annotated[WholeNumber, Field(ge=0, le=10_000)]


class NetworkTrait(StrEnum):
    """What is out of the ordinary about a network, and may keep a board from joining it."""

    HIDDEN = "hidden"
    """The access point does not say its name."""
    HIGH_CHANNELS = "high-channels"
    """It is, or may go, on channel 12, 13 or 14."""
    WPA3_ONLY = "wpa3-only"
    NO_80211N = "no-802.11n"
    """802.11n does not work with it."""


def _in_a_list(value: Any) -> Any:
    return [value] if isinstance(value, str) else value


_BssidList = Annotated[tuple[Bssid, ...], Field(min_length=1, max_length=BSSIDS_PER_ACCESS_POINT)]
Bssids = Annotated[_BssidList, BeforeValidator(_in_a_list, json_schema_input_type=Bssid | _BssidList)]
"""One, or a list: an access point has one for each of its radios and networks."""


class Site(Part):
    """A place with its own network and hours."""

    name: Name
    title: Line = Field(default="", max_length=120)
    time_zone: Line = Field(max_length=64, description="IANA name, such as Europe/Lisbon")
    network: Name = Field(description="name of the WiFi credentials in the key folder")
    network_traits: tuple[NetworkTrait, ...] = Field(
        default=(), max_length=len(NetworkTrait), description="what may keep a board from joining the network"
    )
    access_points: dict[Name, Bssids] = Field(
        default_factory=dict,
        max_length=ACCESS_POINTS_PER_SITE,
        description="by name, the BSSID of each, or a list: one for each radio and network",
    )
    network_lost_s: Span_s = Field(
        default=NETWORK_LOST_S,
        alias="network_lost",
        description="without its network for longer, a node looks for it only now and then",
    )
    contact: Line = Field(default="", max_length=200)
    windows: tuple[Window, ...] = ()
    spare_boards: tuple[Stock, ...] = ()

    def access_point_of(self, bssid: str) -> str | None:
        """The name of the access point with that BSSID; None: the site lists none with it."""
        return next((name for name, known in self.access_points.items() if bssid in known), None)


# ------------------------------------------------------------------ fleet and policy
class Policy(Part):
    """How pushes are staged."""

    first_wave: Annotated[WholeNumber, Field(ge=1, le=1000)] = Field(
        default=2, description="nodes in the first wave"
    )
    growth: Annotated[Number, Field(ge=1, le=10)] = Field(
        default=3.0, description="each wave at most this times the last"
    )
    largest_wave: Annotated[WholeNumber, Field(ge=1, le=1000)] = 50
    at_once: Annotated[WholeNumber, Field(ge=1, le=200)] = Field(
        default=8, description="transfers at the same time"
    )
    at_once_per_site: Annotated[WholeNumber, Field(ge=1, le=200)] = 4
    failures_allowed: Share = Field(
        default=0.0, description="share of a wave that may fail before the gate rolls back"
    )
    soak_s: Duration_s = Field(
        default=120.0, alias="soak", description="a new image is watched this long before keep"
    )
    trial_s: Span_s = Field(
        default=300.0, alias="trial", description="a node falls back by itself after this"
    )
    spare_time_margin: Annotated[Number, Field(ge=1, le=20)] = 2.0
    pilot_share_found: Share = Field(
        default=0.10, description="a fault of this share of the fleet should show in the pilot"
    )


class Fleet(Part):
    """The fleet as a whole."""

    name: Name
    domain: Domain = Field(description="DNS name that the vendor id is derived from")
    release: Release = "1.0.0"


# ------------------------------------------------------------------ rulings
class Ruling(Part):
    """What a person has decided about a finding: to accept it, or how severe it is here."""

    code: Line = Field(max_length=40, description="of the finding, such as INV501")
    about: Line | None = Field(
        default=None,
        max_length=160,
        description="subject of the finding, such as `node roof pin D5`; none: all",
    )
    ruled: Literal["accepted", "note", "warning", "error"] = Field(alias="as")
    because: Reason
    on: IsoDate = Field(description="day of the decision")
    until: IsoDate | None = Field(default=None, description="last day on which it holds")


class InventoryFile(Part):
    """One file: any of these keys. All files together are one inventory."""

    fleet: Fleet | None = None
    policy: Policy | None = None
    sites: tuple[Site, ...] = ()
    tanks: tuple[Tank, ...] = ()
    nodes: tuple[Node, ...] = ()
    rulings: tuple[Ruling, ...] = ()


class Inventory(Part):
    """The whole inventory, in the order of names. Look-ups are by name."""

    fleet: Fleet
    policy: Policy
    sites: tuple[Site, ...]
    tanks: tuple[Tank, ...]
    nodes: tuple[Node, ...]
    rulings: tuple[Ruling, ...] = ()

    def site(self, name: str) -> Site:
        """The site of that name; KeyError if there is none."""
        return self._sites_by_name[name]

    def tank(self, name: str) -> Tank:
        """The tank of that name; KeyError if there is none."""
        return self._tanks_by_name[name]

    def node(self, name: str) -> Node:
        """The node of that name; KeyError if there is none."""
        return self._nodes_by_name[name]

    def site_of(self, node: Node) -> Site:
        """The site of the first tank that the node serves (a rule holds all its tanks to one site)."""
        return self.site(self.tank(node.serves[0].tank).site)

    @cached_property
    def _sites_by_name(self) -> dict[str, Site]:
        return {site.name: site for site in self.sites}

    @cached_property
    def _tanks_by_name(self) -> dict[str, Tank]:
        return {tank.name: tank for tank in self.tanks}

    @cached_property
    def _nodes_by_name(self) -> dict[str, Node]:
        return {node.name: node for node in self.nodes}
