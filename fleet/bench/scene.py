"""From the inventory to what the bench has to know: addresses, wires, tables of water. Pure."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING

from fleet.bench.codes import NO_BOARD_FOR_BENCH
from fleet.bench.paths import BenchPaths
from fleet.bench.spec import NodeSpec, ProbeSpec, PumpSpec, TankSpec
from fleet.boards.board import load_board
from fleet.errors import BenchError
from fleet.limits import BENCH_PORT
from fleet.water.geometry import top_m, volume_l

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from fleet.boards.board import Board
    from fleet.model.inventory import Inventory
    from fleet.model.node import Node, Served
    from fleet.model.tank import Shape, Tank

_TABLE_POINTS = 80
_HOSTS = 250


def node_specs(
    inventory: Inventory,
    names: Sequence[str],
    folder: Path,
    boot_loader: Path,
    subnet: int,
) -> tuple[NodeSpec, ...]:
    """What the bench needs of the nodes of these names. BenchError if a board or pin is not known.

    A node's address follows from its place in the inventory, so that it is the same whichever nodes are
    brought up.
    """
    paths = BenchPaths(folder)
    places = {node.name: place for place, node in enumerate(inventory.nodes)}
    return tuple(
        NodeSpec(
            name=name,
            board=inventory.node(name).board,
            address=address_of(places[name], subnet),
            port=BENCH_PORT,
            mac=mac_of(inventory.node(name)),
            folder=str(paths.node(name).folder),
            boot_loader=str(boot_loader),
            tanks=_tanks(inventory, inventory.node(name)),
        )
        for name in names
    )


def address_of(place: int, subnet: int) -> str:
    """Loopback address of the node at that place (from 0) in the inventory."""
    return f"127.{subnet}.{place // _HOSTS}.{place % _HOSTS + 1}"


def mac_of(node: Node) -> str:
    """The inventory's MAC; without one a locally administered, unicast one (IEEE 802: second bit of the
    first byte set, first clear) from the node's name."""
    if node.mac is not None:
        return node.mac
    digest = hashlib.sha256(node.name.encode()).digest()
    return ":".join(f"{byte:02x}" for byte in (0x02, *digest[:5]))


def table_of(shape: Shape) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Heights (m) and volumes (l) of a tank, both strictly rising, from its lowest to its highest inside
    point."""
    top = top_m(shape)
    points = [(0.0, volume_l(shape, 0.0))]
    for i in range(1, _TABLE_POINTS + 1):
        height = top * i / _TABLE_POINTS
        volume = volume_l(shape, height)
        if volume > points[-1][1]:
            points.append((height, volume))
    heights, volumes = zip(*points, strict=True)
    return heights, volumes


def _tanks(inventory: Inventory, node: Node) -> tuple[TankSpec, ...]:
    board = load_board(node.board)
    return tuple(_tank(inventory.tank(served.tank), served, board, node.name) for served in node.serves)


def _tank(tank: Tank, served: Served, board: Board, node: str) -> TankSpec:
    heights, volumes = table_of(tank.shape)
    marks = sorted(tank.marks, key=lambda mark: mark.height_m)
    probes = tuple(
        ProbeSpec(mark=mark.name, height_m=mark.height_m, gpio=_gpio(board, served.probes[mark.name], node))
        for mark in marks
        if mark.name in served.probes
    )
    pump = None
    if tank.pump is not None and served.pump_relay is not None:
        pump = PumpSpec(
            does=tank.pump.does,
            flow_l_per_min=tank.pump.flow_l_per_min,
            gpio=_gpio(board, served.pump_relay.pin, node),
            active_high=served.pump_relay.active == "high",
        )
    return TankSpec(
        name=tank.name,
        duty=tank.duty.value,
        heights_m=heights,
        volumes_l=volumes,
        overflow_m=min(tank.overflow_m or heights[-1], heights[-1]),
        reserve_m=tank.reserve_m,
        largest_draw_l_per_min=tank.largest_draw_l_per_min,
        largest_inflow_l_per_min=tank.uncontrolled_inflow_l_per_min,
        probes=probes,
        pump=pump,
    )


def _gpio(board: Board, pin: str, node: str) -> int:
    try:
        return board.pin(pin).gpio
    except KeyError:
        raise BenchError(NO_BOARD_FOR_BENCH, f"node {node}: board {board.id} has no pin {pin!r}") from None
