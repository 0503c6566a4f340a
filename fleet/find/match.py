"""Inventory + confirmations + last known addresses -> what became of each node. Pure.

Identity is the name in a state signed with the node's key; two boards are told apart by their MAC.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum

from fleet.find.seen import Seen
from fleet.find.sighting import AskResult, Confirmation, Sighting, Source
from fleet.limits import PLACES_TOLD, SIGHTINGS
from fleet.link.state import NodeState


class Status(StrEnum):
    """What became of a node."""

    FOUND = "found"
    MISSING = "missing"
    UNKNOWN = "unknown"
    """Not in the inventory."""
    MOVED = "moved"
    """Found, at another address than last time."""
    DOUBLE = "double"
    """More than one board answers under its key."""
    IMPOSTOR = "impostor"
    """Something announces its name without its key."""
    CROWDED = "crowded"
    """Something is where it is said to be, but never had a free connection."""


@dataclass(frozen=True, slots=True)
class Match:
    """One node or claim. `state` is signed by the node, unless status is unknown and `evidence` says so."""

    node: str
    status: Status
    address: str | None = None
    port: int | None = None
    txt: Mapping[str, str] = field(default_factory=dict)
    state: NodeState | None = None
    evidence: tuple[str, ...] = ()
    also_at: tuple[Sighting, ...] = ()
    """The other places: of the same board, of the other boards of a double, of an unknown name."""

    @property
    def reachable(self) -> bool:
        """Whether there is one board, at a known address, that proved to be this node."""
        return self.status in (Status.FOUND, Status.MOVED)


def match(
    expected: Sequence[str],
    known: Collection[str],
    confirmations: Iterable[Confirmation],
    last_seen: Mapping[str, Seen],
    *,
    passed_over: bool = False,
) -> list[Match]:
    """One match per expected node, in that order, then impostors, then unknown nodes by name.

    `known` holds all names of the inventory; sightings of known nodes that are not expected are left out.
    `passed_over`: more was announced than is looked at.
    """
    by_node: dict[str, list[Confirmation]] = defaultdict(list)
    for confirmation in confirmations:
        by_node[confirmation.sighting.node].append(confirmation)
    for name, group in by_node.items():
        group.sort(key=lambda c: _rank(c, last_seen.get(name)))
    matches = [_expected(name, by_node.get(name, []), last_seen.get(name)) for name in expected]
    if passed_over:
        matches = [_in_a_flood(m) if m.status is Status.MISSING else m for m in matches]
    matches += [m for name in expected for m in _impostors(name, by_node.get(name, [])) if m not in matches]
    matches += [_unknown(name, group) for name, group in sorted(by_node.items()) if name not in known]
    return matches


def _expected(node: str, group: Sequence[Confirmation], last: Seen | None) -> Match:
    evidence = tuple(_all_told([c for c in group if c.outcome is not AskResult.CONFIRMED]))
    boards, also = _boards(group)
    if not boards:
        impostors = _impostors(node, group)
        crowded = [
            _of(c, Status.CROWDED, evidence, state=False) for c in group if c.outcome is AskResult.CROWDED
        ]
        missing = Match(node, Status.MISSING, evidence=evidence or (_unheard(last),))
        return [*impostors, *crowded, missing][0]
    first = boards[0]
    if len(boards) > 1:
        places = (*(c.sighting for c in boards[1:]), *also)
        macs = ", ".join(f"{_mac(c)} at {c.sighting.place}" for c in boards)
        return _of(first, Status.DOUBLE, (f"boards {macs} all hold its key", *evidence), places)
    if also:
        evidence = (f"the same board also answers at {', '.join(at.place for at in also)}", *evidence)
    if last is not None and (last.address, last.port) != (first.sighting.address, first.sighting.port):
        moved = f"was at {last.address}:{last.port} on {last.seen_at}"
        return _of(first, Status.MOVED, (moved, *evidence), also)
    if first.sighting.source is Source.LAST_KNOWN:
        evidence = ("not announced; asked at its last known address", *evidence)
    return _of(first, Status.FOUND, evidence, also)


def _impostors(node: str, group: Sequence[Confirmation]) -> list[Match]:
    return [
        _of(c, Status.IMPOSTOR, (_told(c),), state=False) for c in group if c.outcome is AskResult.UNSIGNED
    ]


def _unknown(node: str, group: Sequence[Confirmation]) -> Match:
    best = min(group, key=lambda c: (c.outcome is not AskResult.CONFIRMED, c.state is None, c.sighting.order))
    if best.outcome is AskResult.STRANGER:
        how = "a stranger: no node can have such a name"
    elif best.outcome is AskResult.CONFIRMED:
        how = "not in the inventory, but holds a key of this fleet"
    elif best.state is not None:
        how = "not in the inventory; what it says of itself is not signed with a key of this fleet"
    else:
        how = f"not in the inventory; {_told(best)}"
    also = _places(c for c in group if c.sighting != best.sighting)
    return _of(best, Status.UNKNOWN, (how,), also)


def _rank(confirmation: Confirmation, last: Seen | None) -> tuple[bool, bool, tuple[int, int]]:
    """Who stands for a node that is seen at several places: who proved to be it; then where it was last known, for
    whoever passes its answers on from elsewhere is newer than that; then the lowest address."""
    at = confirmation.sighting
    elsewhere = last is None or (last.address, last.port) != (at.address, at.port)
    return confirmation.outcome is not AskResult.CONFIRMED, elsewhere, at.order


def _boards(ranked: Sequence[Confirmation]) -> tuple[list[Confirmation], tuple[Sighting, ...]]:
    """One confirmation per board (MAC), and the other places where one of these boards answers."""
    boards: dict[str, Confirmation] = {}
    others = []
    for confirmation in ranked:
        if (
            confirmation.outcome is AskResult.CONFIRMED
            and boards.setdefault(_mac(confirmation), confirmation) is not confirmation
        ):
            others.append(confirmation)
    taken = {c.sighting for c in boards.values()}
    return list(boards.values()), tuple(at for at in _places(others) if at not in taken)


def _places(confirmations: Iterable[Confirmation]) -> tuple[Sighting, ...]:
    sightings = sorted((c.sighting for c in confirmations), key=lambda at: at.order)
    return tuple(dict.fromkeys(sightings))


def _mac(confirmation: Confirmation) -> str:
    return confirmation.state.mac if confirmation.state else ""


def _of(
    found: Confirmation,
    status: Status,
    evidence: tuple[str, ...],
    also_at: tuple[Sighting, ...] = (),
    *,
    state: bool = True,
) -> Match:
    at: Sighting = found.sighting
    said = found.state if state else None
    return Match(at.node, status, at.address, at.port, dict(at.txt), said, evidence, also_at)


def _in_a_flood(missing: Match) -> Match:
    said = f"over {SIGHTINGS} announcements arrived, and the rest are ignored: find out who sends them"
    return replace(missing, evidence=(*missing.evidence, said))


def _all_told(group: Sequence[Confirmation]) -> Iterator[str]:
    """What came of asking at each place, of so many of one outcome; then how many more there are."""
    by_outcome: dict[AskResult, list[Confirmation]] = defaultdict(list)
    for confirmation in group:
        by_outcome[confirmation.outcome].append(confirmation)
    not_asked = len(by_outcome.pop(AskResult.NOT_ASKED, ()))
    for outcome, alike in by_outcome.items():
        yield from map(_told, alike[:PLACES_TOLD])
        if len(alike) > PLACES_TOLD:
            yield f"{len(alike) - PLACES_TOLD} more addresses that claim its name: {outcome}"
    if not_asked:
        yield f"{not_asked} more addresses claim its name, and no time was left to ask them"


def _told(confirmation: Confirmation) -> str:
    at, state = confirmation.sighting, confirmation.state
    where = f"{at.source} at {at.place}"
    if confirmation.outcome is AskResult.OTHER_NODE and state is not None:
        return f"{where}, where {state.node} answers"
    if confirmation.outcome is AskResult.UNSIGNED:
        return f"{where}, but what answers there does not hold its key"
    if confirmation.outcome is AskResult.SOMETHING_ELSE:
        return f"{where}, where another device answers: {confirmation.why}"
    if confirmation.outcome is AskResult.NOT_ASKED:
        return f"{where}, where no time was left to ask"
    if confirmation.outcome is AskResult.CROWDED:
        return f"{where}, but all connections there are in use"
    return f"{where}, but no answer: {confirmation.why}"


def _unheard(last: Seen | None) -> str:
    return (
        "never found before"
        if last is None
        else f"last found at {last.address}:{last.port} on {last.seen_at}"
    )
