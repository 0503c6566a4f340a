"""What an audit says of rulings: those that no longer rule, and which of them touch a node. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.audit.codes import RULING_STALE
from fleet.check.rulings import IN_FORCE
from fleet.finding import Finding

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from fleet.check.rulings import RulingLine
    from fleet.model.inventory import Inventory
    from fleet.model.node import Node


def ruling_findings(rulings: Sequence[RulingLine]) -> Iterator[Finding]:
    """One for each that is past its date, or that no finding needs."""
    for ruling in rulings:
        if ruling.stands != IN_FORCE:
            until = f", which was {ruling.expires}" if ruling.expires else ""
            what = f"{ruling.stands}{until}; ruled {ruling.ruled} on {ruling.date}: {ruling.reason}"
            yield Finding(RULING_STALE, what, subject=f"ruling on {ruling.name}")


def touching(rulings: Sequence[RulingLine], inventory: Inventory, node: Node) -> tuple[str, ...]:
    """The rulings in force on findings about the node, its tanks or its site, each in a line."""
    mine = {("node", node.name), ("site", inventory.site_of(node).name)}
    mine.update(("tank", served.tank) for served in node.serves)
    return tuple(
        f"{ruling.code} {subject}: {ruling.ruled} on {ruling.date}: {ruling.reason}"
        for ruling in rulings
        for subject in ruling.subjects
        if tuple(subject.split()[:2]) in mine
    )
