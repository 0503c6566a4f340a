"""A site: its network, hours and spare boards."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated, Any

from pydantic import (
    BeforeValidator,
    Field,
)

from fleet.limits import (
    ACCESS_POINTS_PER_SITE,
    BSSIDS_PER_ACCESS_POINT,
    NETWORK_LOST_S,
)
from fleet.model.part import Part
from fleet.model.units import (
    Span_s,
)
from fleet.model.values import (
    Bssid,
    Line,
    LocalTime,
    Name,
    WholeNumber,
)


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
