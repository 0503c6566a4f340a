"""What is to be said of the fleet as a whole: stock, kinds of boards, the shelf, the journal. Pure."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

from fleet.audit import codes
from fleet.boards.board import load_board
from fleet.finding import Finding, Subject, SubjectKind
from fleet.render.firmware_class import how_to_say
from fleet.water.quantities import counted, duration

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleet.audit.facts import Facts
    from fleet.build.entry import ShelfEntry
    from fleet.model.inventory import Inventory


def fleet_findings(facts: Facts) -> Iterator[Finding]:
    """All of them."""
    yield from _stock(facts.inventory)
    yield from _weak_boards(facts.inventory)
    yield from _macs(facts.inventory)
    yield from _shelf(facts)
    yield from _journal(facts)


def _kinds_by_site(inventory: Inventory) -> dict[tuple[str, str], list[str]]:
    kinds: dict[tuple[str, str], list[str]] = defaultdict(list)
    for node in inventory.nodes:
        kinds[inventory.site_of(node).name, node.board].append(node.name)
    return kinds


def _stock(inventory: Inventory) -> Iterator[Finding]:
    for (site, board), nodes in sorted(_kinds_by_site(inventory).items()):
        spares = sum(stock.count for stock in inventory.site(site).spare_boards if stock.board == board)
        if not spares:
            what = f"no spare {board}, of which {counted(len(nodes), 'node')} there: {', '.join(nodes)}"
            yield Finding(codes.NO_SPARE_BOARD, what, subject=Subject(SubjectKind.SITE, site))


def _weak_boards(inventory: Inventory) -> Iterator[Finding]:
    for (site, board), nodes in sorted(_kinds_by_site(inventory).items()):
        copy_s = copy_in_place_s(board, None)
        if copy_s is not None:
            what = (
                f"{board}, up to {duration(copy_s)} of each update and of each rollback: {', '.join(nodes)}"
            )
            yield Finding(codes.COPY_IN_PLACE, what, subject=Subject(SubjectKind.SITE, site))


def copy_in_place_s(board_id: str, newest: ShelfEntry | None) -> float | None:
    """Seconds that its boot loader copies at most: the newest image, or the largest if there is none for real boards.
    None for boards that do not copy in place."""
    board = load_board(board_id)
    if board.layout != "copy-in-place":
        return None
    size_bytes = newest.size_bytes if newest is not None and newest.target == "board" else board.slot_bytes
    return round(board.outage.copy_s(size_bytes), 1)


def _macs(inventory: Inventory) -> Iterator[Finding]:
    for node in inventory.nodes:
        if node.mac is None:
            what = f"it has no MAC in the inventory ({node.place or 'no place given'})"
            yield Finding(codes.MAC_NOT_CLAIMED, what, subject=Subject(SubjectKind.NODE, node.name))


def _shelf(facts: Facts) -> Iterator[Finding]:
    for node in facts.inventory.nodes:
        newest, subject = facts.shelf.newest(node.name), Subject(SubjectKind.NODE, node.name)
        if newest is None:
            other = facts.shelf.elsewhere.get(node.name)
            only = f", but for the target {other[-1].target}: {how_to_say(other[-1].target)}" if other else ""
            yield Finding(codes.NOT_BUILT, f"no image was built for it yet{only}", subject=subject)
            continue
        wanted = facts.wanted_crc.get((node.name, newest.release))
        if wanted is not None and wanted != newest.block_crc:
            what = f"{newest.release}, built {newest.built_at}, has another node block than the inventory gives today"
            yield Finding(codes.SHELF_OUT_OF_DATE, what, subject=subject)


def _journal(facts: Facts) -> Iterator[Finding]:
    journal = facts.journal
    if journal.unfinished is not None:
        count = counted(len(journal.unfinished_nodes), "node")
        what = f"push {journal.unfinished} of {count} is unfinished"
        yield Finding(codes.PUSH_UNFINISHED, what, subject=Subject(SubjectKind.PUSH, journal.unfinished))
    found = {match.node for match in facts.matches or () if match.reachable}
    known = {node.name for node in facts.inventory.nodes}
    for name, last in sorted(journal.last.items()):
        if last.stands == "lost" and name in known - found:
            what = f"lost in push {last.push} to {last.release} at {last.at}: {last.reason}"
            yield Finding(codes.LOST_IN_PUSH, what, subject=Subject(SubjectKind.NODE, name))
