"""What an audit looks at.

The inventory, the shelf, what was found, the journal, what would be rendered today.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from fleet.build.entry import ShelfEntry
    from fleet.check.rulings import AppliedRuling
    from fleet.find.match import Match
    from fleet.model.inventory import Inventory


@dataclass(frozen=True, slots=True)
class ShelfFacts:
    """Entries of the shelf for one target, oldest first for each node; `elsewhere`: those for the other target."""

    entries: Mapping[str, Sequence[ShelfEntry]] = field(default_factory=dict)
    elsewhere: Mapping[str, Sequence[ShelfEntry]] = field(default_factory=dict)

    def newest(self, node: str) -> ShelfEntry | None:
        """The entry of the highest sequence for that node."""
        listed = self.entries.get(node, ())
        return listed[-1] if listed else None

    def entry_for(self, node: str, image: str) -> ShelfEntry | None:
        """The newest entry of that node with that image (SHA-256)."""
        return next((e for e in reversed(self.entries.get(node, ())) if e.image == image), None)

    def is_elsewhere(self, node: str, image: str) -> bool:
        """Whether that image of the node (SHA-256) was built for the other target."""
        return any(entry.image == image for entry in self.elsewhere.get(node, ()))


@dataclass(frozen=True, slots=True)
class LastPush:
    """How a node fared in the last push that touched it.

    `stands` as the push says it (`kept`, `lost`, ...).
    """

    push: str
    release: str
    image: str
    stands: str
    reason: str
    at: str
    """UTC, ISO 8601."""


@dataclass(frozen=True, slots=True)
class JournalFacts:
    """What the journal tells.

    Per node its last push; images that a push was halted on; the push under way.
    """

    last: Mapping[str, LastPush] = field(default_factory=dict)
    halted_images: Mapping[str, str] = field(default_factory=dict)
    """SHA-256 of an image to the id of the push that was halted or rolled back with it."""
    unfinished: str | None = None
    unfinished_nodes: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Facts:
    """All of them.

    `matches` is None when nobody was asked. `wanted_crc`: by node and release text, the checksum of the node
    block that the inventory gives today; empty if there are no keys.
    """

    inventory: Inventory
    shelf: ShelfFacts
    journal: JournalFacts
    matches: Sequence[Match] | None = None
    wanted_crc: Mapping[tuple[str, str], str] = field(default_factory=dict)
    rulings: Sequence[AppliedRuling] = ()
