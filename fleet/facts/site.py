"""What the inventory says of one site, and of the whole fleet in short. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fleet.boards.board import board_ids, load_board
from fleet.facts.tank import node_of
from fleet.water.filling import overflow_m
from fleet.water.geometry import volume_l

if TYPE_CHECKING:
    from fleet.json_values import Mac
    from fleet.model.inventory import Inventory
    from fleet.model.node import Node
    from fleet.model.site import NetworkTrait, Site
    from fleet.model.tank import Tank


@dataclass(frozen=True, slots=True)
class TankLine:
    """One tank in short; `capacity_l` is the volume up to the overflow."""

    name: str
    site: str
    duty: str
    shape: str
    capacity_l: float
    marks: int
    pump: str | None
    node: str | None


@dataclass(frozen=True, slots=True)
class NodeLine:
    """One node in short."""

    name: str
    site: str
    board: str
    tanks: tuple[str, ...]
    place: str
    mac: str | None


@dataclass(frozen=True, slots=True)
class SiteLine:
    """One site in short."""

    name: str
    title: str
    time_zone: str
    tanks: int
    nodes: int
    windows: int
    spare_boards: int


@dataclass(frozen=True, slots=True)
class BoardLine:
    """One kind of board in short; `nodes` and `spares` are counted over the fleet."""

    id: str
    title: str
    chip: str
    layout: str
    slot_bytes: int
    nodes: int
    spares: int


@dataclass(frozen=True, slots=True)
class WindowFacts:
    """A window: its rule (RFC 5545) from `first` in the site's time zone, for `length_s`."""

    rule: str
    first: str
    length_s: float


@dataclass(frozen=True, slots=True)
class StockFacts:
    """Spare boards of a kind at the site, and how many nodes there are of that kind."""

    board: str
    count: int
    nodes: int


@dataclass(frozen=True, slots=True)
class AccessPointFacts:
    """An access point that the site lists, or that its nodes name: then without BSSIDs."""

    name: str
    bssids: tuple[Mac, ...]
    nodes: tuple[str, ...]
    """Those that are meant for it."""


@dataclass(frozen=True, slots=True)
class SiteFacts:
    """All of one site."""

    name: str
    title: str
    time_zone: str
    network: str
    network_traits: tuple[NetworkTrait, ...]
    """What may keep a board from joining it."""
    access_points: tuple[AccessPointFacts, ...]
    contact: str
    windows: tuple[WindowFacts, ...]
    spare_boards: tuple[StockFacts, ...]
    tanks: tuple[TankLine, ...]
    nodes: tuple[NodeLine, ...]


@dataclass(frozen=True, slots=True)
class FleetFacts:
    """The fleet in short."""

    fleet: str
    release: str
    sites: tuple[SiteLine, ...]
    tanks: tuple[TankLine, ...]
    nodes: tuple[NodeLine, ...]
    boards: tuple[BoardLine, ...]


def about_site(inventory: Inventory, name: str) -> SiteFacts:
    """The facts of the site of that name; KeyError if there is none."""
    site = inventory.site(name)
    nodes = _nodes_at(inventory, site)
    return SiteFacts(
        name=site.name,
        title=site.title,
        time_zone=site.time_zone,
        network=site.network,
        network_traits=tuple(site.network_traits),
        access_points=_access_points(site, nodes),
        contact=site.contact,
        windows=tuple(
            WindowFacts(w.rule, w.first.isoformat(sep=" ", timespec="minutes"), w.length_s)
            for w in site.windows
        ),
        spare_boards=_stock(site, nodes),
        tanks=tuple(_tank(inventory, tank) for tank in inventory.tanks if tank.site == name),
        nodes=tuple(_node(inventory, node) for node in nodes),
    )


def about_fleet(inventory: Inventory) -> FleetFacts:
    """The whole fleet in short."""
    return FleetFacts(
        fleet=inventory.fleet.name,
        release=inventory.fleet.release,
        sites=tuple(_site(inventory, site) for site in inventory.sites),
        tanks=tuple(_tank(inventory, tank) for tank in inventory.tanks),
        nodes=tuple(_node(inventory, node) for node in inventory.nodes),
        boards=board_lines(inventory),
    )


def board_lines(inventory: Inventory | None) -> tuple[BoardLine, ...]:
    """All kinds of boards in short; counts are 0 without an inventory."""
    nodes = inventory.nodes if inventory else ()
    stock = [stock for site in inventory.sites for stock in site.spare_boards] if inventory else []
    lines = []
    for board in map(load_board, board_ids()):
        used = sum(node.board == board.id for node in nodes)
        spares = sum(spare.count for spare in stock if spare.board == board.id)
        lines.append(
            BoardLine(board.id, board.title, board.chip, board.layout, board.slot_bytes, used, spares)
        )
    return tuple(lines)


def _nodes_at(inventory: Inventory, site: Site) -> list[Node]:
    return [node for node in inventory.nodes if inventory.site_of(node).name == site.name]


def _access_points(site: Site, nodes: list[Node]) -> tuple[AccessPointFacts, ...]:
    named = sorted({node.access_point for node in nodes if node.access_point is not None})
    return tuple(
        AccessPointFacts(
            name, site.access_points.get(name, ()), tuple(n.name for n in nodes if n.access_point == name)
        )
        for name in dict.fromkeys([*site.access_points, *named])
    )


def _stock(site: Site, nodes: list[Node]) -> tuple[StockFacts, ...]:
    kinds = dict.fromkeys([*(stock.board for stock in site.spare_boards), *(node.board for node in nodes)])
    counts = {stock.board: stock.count for stock in site.spare_boards}
    return tuple(
        StockFacts(kind, counts.get(kind, 0), sum(node.board == kind for node in nodes))
        for kind in sorted(kinds)
    )


def _site(inventory: Inventory, site: Site) -> SiteLine:
    return SiteLine(
        name=site.name,
        title=site.title,
        time_zone=site.time_zone,
        tanks=sum(tank.site == site.name for tank in inventory.tanks),
        nodes=len(_nodes_at(inventory, site)),
        windows=len(site.windows),
        spare_boards=sum(stock.count for stock in site.spare_boards),
    )


def _tank(inventory: Inventory, tank: Tank) -> TankLine:
    node = node_of(inventory, tank.name)
    return TankLine(
        name=tank.name,
        site=tank.site,
        duty=tank.duty.value,
        shape=tank.shape.kind,
        capacity_l=volume_l(tank.shape, overflow_m(tank)),
        marks=len(tank.marks),
        pump=tank.pump.does if tank.pump else None,
        node=node.name if node else None,
    )


def _node(inventory: Inventory, node: Node) -> NodeLine:
    return NodeLine(
        name=node.name,
        site=inventory.site_of(node).name,
        board=node.board,
        tanks=tuple(served.tank for served in node.serves),
        place=node.place,
        mac=node.mac,
    )
