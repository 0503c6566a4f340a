"""Packing nodes into waves: who goes first, who never goes together, how large a wave may be."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from math import ceil, floor
from typing import TYPE_CHECKING

from fleet.limits import SITE_SHARE_PER_WAVE
from fleet.model.tank import Duty

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

CRITICALITY = {
    Duty.RAIN: 0,
    Duty.IRRIGATION: 1,
    Duty.PROCESS: 2,
    Duty.SUMP: 3,
    Duty.LIVESTOCK: 4,
    Duty.POTABLE: 5,
    Duty.FIRE_RESERVE: 6,
}
"""Rising: what a bad update would cost. Rain water can wait; a fire reserve cannot (common practice)."""


@dataclass(frozen=True, slots=True)
class Candidate:
    """A node that can be updated, as far as waves are concerned."""

    node: str
    site: str
    board: str
    class_id: str
    duty: Duty
    access_point: str | None = None
    groups: frozenset[str] = frozenset()

    @property
    def criticality(self) -> int:
        """0 (least) to 6."""
        return CRITICALITY[self.duty]

    @property
    def features(self) -> frozenset[tuple[str, str]]:
        """What the first waves should meet at least once each."""
        return frozenset({("firmware class", self.class_id), ("board", self.board), ("site", self.site)})


@dataclass(frozen=True, slots=True)
class Sizes:
    """How large waves may be. `fits` is what the trial time leaves room for."""

    first: int
    growth: float
    largest: int
    fits: int

    def of_next(self, last: int | None) -> int:
        """Most nodes of the wave after one of `last` nodes; None: of the first."""
        grown = self.first if last is None else max(1, floor(self.growth * last))
        return min(grown, self.largest, self.fits)


@dataclass(frozen=True, slots=True)
class Placed:
    """A node in a wave, with the reason."""

    candidate: Candidate
    why: str


@dataclass(slots=True)
class _Filling:
    """A wave that is being filled."""

    size: int
    per_site: dict[str, int]
    placed: list[Placed] = field(default_factory=list)
    groups: set[str] = field(default_factory=set)
    sites: Counter[str] = field(default_factory=Counter)

    def takes(self, one: Candidate) -> bool:
        return (
            len(self.placed) < self.size
            and not (one.groups & self.groups)
            and self.sites[one.site] < self.per_site[one.site]
        )

    def put(self, one: Candidate, why: str) -> None:
        self.placed.append(Placed(one, why))
        self.groups |= one.groups
        self.sites[one.site] += 1


def pack(candidates: Iterable[Candidate], sizes: Sizes) -> tuple[list[list[Placed]], int]:
    """The waves in order, and how many of them are pilot waves: those until every class, board and site
    was met.

    Least critical nodes first. Nodes of one supply group are never in one wave, nor more than half of a site.

    """
    waiting = sorted(candidates, key=lambda one: (one.criticality, one.node))
    per_site = _per_site(waiting)
    unmet = set().union(*(one.features for one in waiting)) if waiting else set()
    waves: list[list[Placed]] = []
    pilots = 0
    while waiting:
        if unmet:
            pilots += 1
        wave = _Filling(sizes.of_next(len(waves[-1]) if waves else None), per_site)
        waiting = _without(waiting, _meet(wave, waiting, unmet))
        for one in waiting:
            if wave.takes(one):
                wave.put(one, f"by cost of a failure: {one.duty}")
        waiting = _without(waiting, {p.candidate.node for p in wave.placed})
        waves.append(wave.placed)
    return waves, pilots


def _per_site(candidates: Sequence[Candidate]) -> dict[str, int]:
    count = Counter(one.site for one in candidates)
    return {site: max(1, ceil(n * SITE_SHARE_PER_WAVE)) for site, n in count.items()}


def _without(candidates: Sequence[Candidate], nodes: set[str]) -> list[Candidate]:
    return [one for one in candidates if one.node not in nodes]


def _meet(wave: _Filling, waiting: Sequence[Candidate], unmet: set[tuple[str, str]]) -> set[str]:
    """Put in nodes that meet something not met so far: least critical first, then those that meet most.
    Their names."""
    placed: set[str] = set()
    while unmet:
        fitting = [
            one for one in waiting if one.node not in placed and one.features & unmet and wave.takes(one)
        ]
        if not fitting:
            break
        best = min(fitting, key=lambda one: (one.criticality, -len(one.features & unmet), one.node))
        new = sorted(best.features & unmet)
        unmet -= best.features
        placed.add(best.node)
        wave.put(best, "first of " + ", ".join(_feature(kind, name) for kind, name in new))
    return placed


def _feature(kind: str, name: str) -> str:
    return "firmware class" if kind == "firmware class" else f"{kind} {name}"
