"""Gathering what an audit looks at: thin adapters to the shelf and what nodes run."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.audit.facts import ShelfFacts

if TYPE_CHECKING:
    from collections.abc import Iterable

    from fleet.build.entry import ShelfEntry
    from fleet.build.shelf import Shelf
    from fleet.find.match import Match
    from fleet.model.inventory import Inventory
    from fleet.render.firmware_class import Target


def shelf_facts(shelf: Shelf, inventory: Inventory, target: Target) -> ShelfFacts:
    """The entries of the inventory's nodes for that target, and for the other. ShelfError if one is damaged."""
    entries: dict[str, list[ShelfEntry]] = {}
    elsewhere: dict[str, list[ShelfEntry]] = {}
    for node in inventory.nodes:
        for entry in shelf.entries(node.name):
            (entries if entry.target == target else elsewhere).setdefault(node.name, []).append(entry)
    return ShelfFacts(entries, elsewhere)


def releases(shelf: ShelfFacts, matches: Iterable[Match] | None) -> set[tuple[str, str]]:
    """Node and release text of what runs, and of what is newest on the shelf."""
    running = {(m.node, m.state.release) for m in matches or () if m.state is not None and m.state.release}
    newest = {(node, listed[-1].release) for node, listed in shelf.entries.items()}
    return running | newest
