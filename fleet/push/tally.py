"""Counts over the nodes of a push, kept from change to change, so that no event has to look at all of them. Pure.

They follow from the nodes, the present wave and the places alone: counted afresh they are the same.
"""

from __future__ import annotations

from bisect import bisect_left, insort
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NamedTuple, TypeVar

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping

    from fleet.push.blame import Blame
    from fleet.push.state import NodeProgress, NodeStatus, Task

Key = TypeVar("Key")


class NodeKind(NamedTuple):
    """All that is counted by of a node; there are few kinds, however many nodes."""

    stands: NodeStatus
    task: Task
    blame: Blame | None
    settled: bool
    judged: bool


class Member(NamedTuple):
    """A node of the present wave: its turn in it, from 0, and its site."""

    turn: int
    site: str


class BusyPlace(NamedTuple):
    """Where a node takes a place among those that may be busy at the same time."""

    site: str
    access_point: str | None


class Census:
    """How many nodes there are of each kind."""

    __slots__ = ("of_kind",)

    def __init__(self, kinds: Iterable[NodeKind] = ()) -> None:
        self.of_kind: dict[NodeKind, int] = {}
        for kind in kinds:
            _shift(self.of_kind, kind, 1)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Census) and self.of_kind == other.of_kind

    __hash__ = None  # type: ignore[assignment]  # it is changed while a step is under way

    def copy(self) -> Census:
        """One that may be changed apart."""
        copy = Census()
        copy.of_kind = dict(self.of_kind)
        return copy

    def move(self, before: NodeKind, after: NodeKind) -> None:
        """One node is of another kind now."""
        _shift(self.of_kind, before, -1)
        _shift(self.of_kind, after, 1)

    def count(self, wanted: Callable[[NodeKind], bool]) -> int:
        """How many nodes are of such a kind."""
        return sum(number for kind, number in self.of_kind.items() if wanted(kind))

    def any(self, wanted: Callable[[NodeKind], bool]) -> bool:
        """Whether a node is of such a kind."""
        return any(wanted(kind) for kind in self.of_kind)


@dataclass(slots=True)
class Tally:
    """The counts. A state's are never changed: a step makes a copy, and changes that.

    `members` are the nodes of the present wave by name; `queued` the turns of those whose turn has not come, by site.
    `trial_ends_s` of its nodes whose trial runs out, and `soaked_ends_s`
    of those of them that are soaked, each sorted. `busy` counts those that take a place, by site and by access point.
    """

    fleet: Census = field(default_factory=Census)
    wave: Census = field(default_factory=Census)
    members: Mapping[str, Member] = field(default_factory=dict)
    queued: dict[str, tuple[int, ...]] = field(default_factory=dict)
    trial_ends_s: list[float] = field(default_factory=list)
    soaked_ends_s: list[float] = field(default_factory=list)
    busy: int = 0
    busy_at_site: dict[str, int] = field(default_factory=dict)
    busy_at_point: dict[str | None, int] = field(default_factory=dict)

    def copy(self) -> Tally:
        """One that may be changed apart."""
        return Tally(
            self.fleet.copy(),
            self.wave.copy(),
            self.members,
            dict(self.queued),
            list(self.trial_ends_s),
            list(self.soaked_ends_s),
            self.busy,
            dict(self.busy_at_site),
            dict(self.busy_at_point),
        )

    def begin_wave(self, wave: Iterable[tuple[NodeProgress, str]]) -> None:
        """These nodes, each with its site, are the present wave from now on, in this order."""
        pairs = tuple(wave)
        nodes = tuple(node for node, _ in pairs)
        self.members = {node.node: Member(turn, site) for turn, (node, site) in enumerate(pairs)}
        queued: dict[str, list[int]] = {}
        for turn, (node, site) in enumerate(pairs):
            if node.queued:
                queued.setdefault(site, []).append(turn)
        self.queued = {site: tuple(turns) for site, turns in queued.items()}
        self.wave = Census(node.kind for node in nodes)
        self.trial_ends_s = sorted(node.trial_ends_at_s for node in nodes if node.trial_runs)
        self.soaked_ends_s = sorted(node.trial_ends_at_s for node in nodes if node.soaked)

    def move(self, before: NodeProgress, after: NodeProgress) -> None:
        """A node has changed."""
        was, now = before.kind, after.kind
        if was != now:
            self.fleet.move(was, now)
        member = self.members.get(before.node)
        if member is None:
            return
        if before.queued != after.queued:
            self._queue(member, join=after.queued)
        if was != now:
            self.wave.move(was, now)
        for ends_s, counted_before, counted_after in (
            (self.trial_ends_s, before.trial_runs, after.trial_runs),
            (self.soaked_ends_s, before.soaked, after.soaked),
        ):
            if counted_before:
                del ends_s[bisect_left(ends_s, before.trial_ends_at_s)]
            if counted_after:
                insort(ends_s, after.trial_ends_at_s)

    def _queue(self, member: Member, *, join: bool) -> None:
        turns = self.queued.pop(member.site, ())
        turns = tuple(sorted((*turns, member.turn))) if join else tuple(t for t in turns if t != member.turn)
        if turns:
            self.queued[member.site] = turns

    def move_place(self, before: BusyPlace | None, after: BusyPlace | None) -> None:
        """A node takes a place, leaves it, or takes another."""
        if before == after:
            return
        for place, by in ((before, -1), (after, 1)):
            if place is not None:
                self.busy += by
                _shift(self.busy_at_site, place.site, by)
                _shift(self.busy_at_point, place.access_point, by)


def _shift(counts: dict[Key, int], key: Key, by: int) -> None:
    """What is counted no more leaves no trace: equal counts are equal dicts."""
    number = counts.get(key, 0) + by
    if number:
        counts[key] = number
    else:
        del counts[key]
