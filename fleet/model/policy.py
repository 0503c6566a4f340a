"""How pushes are staged, and what a person has ruled about findings."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import (
    Field,
)

from fleet.model.part import Part
from fleet.model.units import (
    Duration_s,
    Share,
    Span_s,
)
from fleet.model.values import (
    Domain,
    IsoDate,
    Line,
    Name,
    Number,
    Reason,
    Release,
    WholeNumber,
)


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
        default=300.0,
        alias="trial",
        description="a node that is not told to keep its image goes back after this",
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


class Ruling(Part):
    """What a person has decided about a finding: to accept it, or how severe it is here."""

    code: Line = Field(max_length=40, description="of the finding, such as INV501")
    about: Line | None = Field(
        default=None,
        max_length=160,
        description="subject of the finding, such as `node roof pin D5`; none: all",
    )
    ruled: Literal["accepted", "note", "warning", "error"] = Field(alias="as")
    reason: Reason
    date: IsoDate = Field(description="day of the decision")
    expires: IsoDate | None = Field(default=None, description="last day on which it holds")
