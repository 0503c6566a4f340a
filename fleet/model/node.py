"""A node: its board, the tanks that it serves, their wiring."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import (
    Field,
)

from fleet.limits import (
    TANKS_PER_NODE,
)
from fleet.model.part import Part
from fleet.model.units import (
    Length_m,
    Resistance_ohm,
    Span_s,
)
from fleet.model.values import (
    IsoDate,
    Line,
    Mac,
    MarkName,
    Name,
    PinName,
    WireColor,
)

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
