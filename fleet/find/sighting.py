"""What an announcement or a list of last known addresses claims: such a node is at such an address."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from ipaddress import IPv4Address

from fleet.limits import LABEL_CHARS
from fleet.link.state import NodeState
from fleet.model.values import NAME_PATTERN


class Source(StrEnum):
    """Where a claim comes from."""

    ANNOUNCED = "announced"
    LAST_KNOWN = "last known"


@dataclass(frozen=True, slots=True)
class Sighting:
    """A claim, not yet believed: `node` is the TXT id, or the instance label where there is none, made printable."""

    node: str
    address: str
    port: int
    txt: Mapping[str, str] = field(default_factory=dict, compare=False)
    source: Source = field(default=Source.ANNOUNCED, compare=False)
    bench: str | None = field(default=None, compare=False)
    """Id of the bench that the node says it is on; None: a real node."""

    @property
    def can_be_a_node(self) -> bool:
        """Whether a node could have that name at all; only then is there a key to ask it under."""
        return len(self.node) <= LABEL_CHARS and re.fullmatch(NAME_PATTERN, self.node) is not None

    @property
    def order(self) -> tuple[int, int]:
        """The place as numbers, to compare by: 10.0.0.9 comes before 10.0.0.10."""
        return int(IPv4Address(self.address)), self.port

    @property
    def place(self) -> str:
        """`ADDRESS:PORT`."""
        return f"{self.address}:{self.port}"


class AskResult(StrEnum):
    """What asking at a sighting's address showed."""

    CONFIRMED = "confirmed"
    """The state is signed with the node's key."""
    UNSIGNED = "unsigned"
    """Says that it is the node, but not under a key of this fleet."""
    OTHER_NODE = "other-node"
    """Another node of the fleet answers there, signed."""
    SOMETHING_ELSE = "something-else"
    """What answers there is not the node, nor says so."""
    STRANGER = "stranger"
    """Its name cannot be a node's; it was not asked."""
    UNREACHABLE = "unreachable"
    CROWDED = "crowded"
    """All connections there are taken; asked again as long as there is time."""
    NOT_ASKED = "not-asked"
    """So many claim to be nodes that it never had its turn."""


@dataclass(frozen=True, slots=True)
class Confirmation:
    """A sighting, what became of it, the state read there (None without an answer), and the reason."""

    sighting: Sighting
    outcome: AskResult
    state: NodeState | None = None
    why: str = ""
