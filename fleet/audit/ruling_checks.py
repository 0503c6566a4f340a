"""What an audit says of rulings: those that no longer rule, and which of them touch a node. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.audit.codes import RULING_STALE
from fleet.check.rulings import IN_FORCE
from fleet.finding import Finding, Subject, SubjectKind

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from fleet.check.rulings import AppliedRuling, RulingLine
    from fleet.model.inventory import Inventory
    from fleet.model.node import Node


def ruling_findings(rulings: Iterable[RulingLine]) -> Iterator[Finding]:
    """One for each that is past its date, or that no finding needs."""
    for ruling in rulings:
        if ruling.stands != IN_FORCE:
            until = f", which was {ruling.expires}" if ruling.expires else ""
            what = f"{ruling.stands}{until}; ruled {ruling.ruled} on {ruling.date}: {ruling.reason}"
            yield Finding(RULING_STALE, what, subject=Subject(SubjectKind.RULING, f"on {ruling.name}"))


def touching(rulings: Sequence[AppliedRuling], inventory: Inventory, node: Node) -> tuple[str, ...]:
    """The rulings in force on findings about the node, its tanks or its site, each in a line."""
    mine = {Subject(SubjectKind.NODE, node.name), Subject(SubjectKind.SITE, inventory.site_of(node).name)}
    mine.update(Subject(SubjectKind.TANK, served.tank) for served in node.serves)
    return tuple(
        f"{said.code} {subject}: {said.ruled} on {said.date}: {said.reason}"
        for ruling in rulings
        for said in [ruling.line]
        for subject in ruling.subjects
        if subject.whole in mine
    )
