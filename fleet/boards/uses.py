"""What a pin may be wanted for, and how that stands."""

from __future__ import annotations

from enum import StrEnum
from typing import Final


class Use(StrEnum):
    """What a pin is wanted for."""

    PROBE_INTERNAL = "probe-internal-pull-up"
    PROBE_EXTERNAL = "probe-external"
    RELAY_HIGH = "relay-active-high"
    RELAY_LOW = "relay-active-low"
    PROBE_FEED = "probe-feed"
    """It feeds the resistors outside of a tank's probes: HIGH while they are read, else it floats."""
    ANALOG = "analog"
    SPARE = "spare"
    """A wire laid for later: nothing reads or drives it, but it hangs on the pin while the board starts."""


PROBES: Final = (Use.PROBE_INTERNAL, Use.PROBE_EXTERNAL)
RELAYS: Final = (Use.RELAY_HIGH, Use.RELAY_LOW)


class Answer(StrEnum):
    """How it stands."""

    ALLOWED = "allowed"
    CARE = "care"
    REFUSED = "refused"
