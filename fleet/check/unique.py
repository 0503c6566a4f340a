"""Values that may be given once only: names per kind, and MACs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from fleet.check.codes import MAC_TWICE, NAME_TWICE
from fleet.finding import Finding

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from fleet.codes import Code
    from fleet.inventory.parsed import Parsed, ParsedPart

    Given = tuple[str, ParsedPart[Any], tuple[str, ...]]
    """A value, the entry that it is in, and the keys in there."""


def names_once(survey: Parsed) -> Iterator[Finding]:
    """No two sites, tanks, nodes or pumps of one name."""
    for kind, entries in (("site", survey.sites), ("tank", survey.tanks), ("node", survey.nodes)):
        named: list[Given] = [(entry.part.name, entry, ("name",)) for entry in entries]
        yield from _once(NAME_TWICE, f"a {kind} `{{}}`", named)
    pumps = [(e.part.pump.name, e, ("pump", "name")) for e in survey.tanks if e.part.pump is not None]
    yield from _once(NAME_TWICE, "a pump `{}`", pumps)


def macs_once(survey: Parsed) -> Iterator[Finding]:
    """No two nodes of one MAC."""
    macs = [(entry.part.mac, entry, ("mac",)) for entry in survey.nodes if entry.part.mac is not None]
    yield from _once(MAC_TWICE, "a node with the MAC {}", macs)


def _once(code: Code, words: str, given: Iterable[Given]) -> Iterator[Finding]:
    firsts: dict[str, Given] = {}
    for value, entry, keys in given:
        first = firsts.setdefault(value, (value, entry, keys))
        if first[1] is not entry:
            there = first[1].value(*first[2])
            yield Finding(code, f"{words.format(value)} exists already, at {there}", entry.value(*keys))
