"""What an announcement or a list of last known addresses claims: such a node is at such an address."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from fleet.link.state import NodeState


class Source(StrEnum):
    """Where a claim comes from."""

    ANNOUNCED = "announced"
    LAST_KNOWN = "last known"


@dataclass(frozen=True, slots=True)
class Sighting:
    """A claim, not yet believed: `node` is the TXT id, or the instance label where there is none."""

    node: str
    address: str
    port: int
    txt: Mapping[str, str] = field(default_factory=dict, compare=False)
    source: Source = field(default=Source.ANNOUNCED, compare=False)
    bench: str | None = field(default=None, compare=False)
    """Id of the bench that the node says it is on; None: a real node."""

    @property
    def place(self) -> str:
        """`ADDRESS:PORT`."""
        return f"{self.address}:{self.port}"


class Outcome(StrEnum):
    """What asking at a sighting's address showed."""

    CONFIRMED = "confirmed"
    """The state is signed with the node's key."""
    UNSIGNED = "unsigned"
    """Says that it is the node, but not under a key of this fleet."""
    OTHER_NODE = "other-node"
    """Another node of the fleet answers there, signed."""
    SOMETHING_ELSE = "something-else"
    """What answers there is not the node, nor says so."""
    UNREACHABLE = "unreachable"
    CROWDED = "crowded"
    """All connections there are taken; asked again as long as there is time."""


@dataclass(frozen=True, slots=True)
class Confirmation:
    """A sighting, what became of it, the state read there (None without an answer), and the reason."""

    sighting: Sighting
    outcome: Outcome
    state: NodeState | None = None
    why: str = ""
