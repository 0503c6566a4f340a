"""All parts of an inventory that could be read, each with its place: what the rules look at."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any, Generic, TypeVar

from fleet.finding import Subject, SubjectKind
from fleet.inventory.suggest import Suggester
from fleet.model.node import Node
from fleet.model.policy import Fleet, Policy, Ruling
from fleet.model.site import Site
from fleet.model.tank import Tank

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

    from fleet.finding import Place
    from fleet.inventory.source import Source

PartT = TypeVar("PartT", Fleet, Policy, Site, Tank, Node, Ruling)
NamedT = TypeVar("NamedT", Site, Tank, Node)


@dataclass(frozen=True, slots=True)
class ParsedPart(Generic[PartT]):
    """One part, the file that it is in, and where in it."""

    part: PartT
    source: Source
    at: tuple[str | int, ...]

    def key(self, *path: str | int) -> Place:
        """The place of a key of this part, in the words of the file: `entry.key("shape", "height")`."""
        return self.source.key((*self.at, *path))

    def value(self, *path: str | int) -> Place:
        """The place of the text at a key; of the key, if it holds a list or a mapping."""
        return self.source.value((*self.at, *path))


def subject_of(
    entry: ParsedPart[Site] | ParsedPart[Tank] | ParsedPart[Node], part: str = "", which: str = ""
) -> Subject:
    """What a finding about a part, or about a thing in it, is about: `subject_of(tank, "mark", "full")`."""
    return Subject(SubjectKind(type(entry.part).__name__.lower()), entry.part.name, part, which)


@dataclass
class Parsed:
    """What was read. `unread` has, per kind, names of parts that have findings of their own already."""

    first_place: Place
    fleets: list[ParsedPart[Fleet]] = field(default_factory=list)
    policies: list[ParsedPart[Policy]] = field(default_factory=list)
    sites: list[ParsedPart[Site]] = field(default_factory=list)
    tanks: list[ParsedPart[Tank]] = field(default_factory=list)
    nodes: list[ParsedPart[Node]] = field(default_factory=list)
    rulings: list[ParsedPart[Ruling]] = field(default_factory=list)
    unread: dict[str, set[str]] = field(default_factory=dict)
    whole: bool = True
    """Whether every file and every part's name was read: if not, what is missing may just be unread."""
    today: date | None = None
    """The day of the check; without it nothing is said about what is past or still to come."""
    suggester: Suggester = field(default_factory=Suggester)

    @cached_property
    def site_by_name(self) -> dict[str, ParsedPart[Site]]:
        """Sites by name; of a name used twice, the first."""
        return _by_name(self.sites)

    @cached_property
    def tank_by_name(self) -> dict[str, ParsedPart[Tank]]:
        """Tanks by name; of a name used twice, the first."""
        return _by_name(self.tanks)

    @cached_property
    def node_by_name(self) -> dict[str, ParsedPart[Node]]:
        """Nodes by name; of a name used twice, the first."""
        return _by_name(self.nodes)

    def place(self, kind: str, name: str, key: str) -> Place | None:
        """Where a key of a part stands, in the words of the files (`place("tank", "header", "marks")`), or what is
        nearest above it; the fleet and the policy have no name. None if there is no such part."""
        for entry in self._of_kind(kind):
            if not name or getattr(entry.part, "name", "") == name:
                return entry.key(key)
        return None

    def _of_kind(self, kind: str) -> Sequence[ParsedPart[Any]]:
        kinds: dict[str, Sequence[ParsedPart[Any]]] = {
            "fleet": self.fleets,
            "policy": self.policies,
            "site": self.sites,
            "tank": self.tanks,
            "node": self.nodes,
        }
        return kinds[kind]

    def missing(self, kind: str, name: str, known: dict[str, ParsedPart[NamedT]]) -> bool:
        """Whether there surely is no part of that kind (`sites`, `tanks`) and name."""
        return self.whole and name not in known and name not in self.unread.get(kind, ())


def _by_name(entries: list[ParsedPart[NamedT]]) -> dict[str, ParsedPart[NamedT]]:
    return {entry.part.name: entry for entry in reversed(entries)}
