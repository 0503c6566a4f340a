"""The wires of a node, each from its pin to what it serves, and the drawing of the board that shows them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from fleet.boards.board import load_board
from fleet.boards.pins import hold_off_ohm, relay_use
from fleet.facts.node import about_node
from fleet.sheet.board_svg import DrawnBoard, UsedPin
from fleet.sheet.svg import joined
from fleet.water.electrodes import kohm

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

    from fleet.boards.board import Board
    from fleet.facts.node import PinUse
    from fleet.model.inventory import Inventory
    from fleet.model.node import Node, Served
    from fleet.water.quantities import Units

_COLORS: Final = {
    "black": "#333",
    "blue": "#2563c9",
    "brown": "#8a5a2b",
    "gray": "#999",
    "green": "#2e9e3f",
    "grey": "#999",
    "orange": "#f5871f",
    "pink": "#f4a3c0",
    "purple": "#8244a8",
    "red": "#d62f2f",
    "turquoise": "#36c5c0",
    "violet": "#8244a8",
    "white": "#fff",
    "yellow": "#f7d117",
}
"""Colours of wires (IEC 60757 has names for these) as they are drawn; the words stand beside each one."""


@dataclass(frozen=True, slots=True)
class Wire:
    """One wire: `pin` is the name on the board, `gpio` None for ground; `care` what to mind about the pin."""

    what: str
    tank: str
    pin: str
    gpio: int | None
    color: str
    detail: str
    care: str

    @property
    def swatch(self) -> str | None:
        """Its colour as it is drawn; None where the inventory gives none."""
        return drawn_color(self.color)


def wires_of(inventory: Inventory, node: Node, tanks: Collection[str], units: Units) -> tuple[Wire, ...]:
    """The wires for these tanks of the node, common electrodes after their probes."""
    uses, board = about_node(inventory, node.name).pins, board_of(node)
    found: list[Wire] = []
    for served in node.serves:
        if served.tank not in tanks:
            continue
        mine = [use for use in uses if use.tank == served.tank]
        probes = [use for use in mine if use.for_what == "probe"]
        found += [_probe(use, served, board) for use in probes]
        found.append(_common(served, board, units))
        found += [_feed(use) for use in mine if use.for_what == "probe feed"]
        found += [_relay(use, served, board) for use in mine if use.for_what == "pump relay"]
    return tuple(found)


def drawn_color(words: str) -> str | None:
    """The CSS colour for such words as `red` or `white/blue` (the first one counts); None if there is none."""
    first = words.lower().replace("-", "/").replace(" ", "/").split("/")
    return next((_COLORS[word] for word in first if word in _COLORS), None)


def drawn_board(board: Board, wires: Sequence[Wire]) -> DrawnBoard:
    """The board with these wires; tanks are named where there are several. All that goes to ground is drawn at one
    ground pin. A pin is drawn by the name that the inventory uses for it."""
    several = len({wire.tank for wire in wires}) > 1
    used = [
        UsedPin(
            pin=wire.pin,
            words=joined((wire.what, wire.color)),
            more=wire.tank if several else "",
            wire=wire.swatch,
        )
        for wire in wires
        if wire.gpio is not None
    ]
    common = [wire for wire in wires if wire.gpio is None]
    if len(common) > 1:
        used.append(UsedPin(board.ground, f"{len(common)} common electrodes", ""))
    elif common:
        used.append(UsedPin(board.ground, joined((common[0].what, common[0].color)), "", common[0].swatch))
    said = {board.pin(wire.pin).name: wire.pin for wire in wires if wire.gpio is not None}
    left, right = (tuple(said.get(name, name) for name in row) for row in board.rows)
    return DrawnBoard(board.title, left, right, tuple(used))


def board_of(node: Node) -> Board:
    """The node's kind of board."""
    return load_board(node.board)


def _probe(use: PinUse, served: Served, board: Board) -> Wire:
    value = kohm(use.pull_up_ohm) if use.pull_up_ohm is not None else ""
    if use.pull_up == "internal":
        detail = f"the chip's own pull-up, about {value}"
    else:
        detail = f"resistor{value and f' of {value}'} from the pin to {use.fed_from or board.supply}"
    mark = use.mark or ""
    color = served.wires.get(mark, "")
    return Wire(f"probe {mark}", use.tank, use.pin, use.gpio, color, detail, _care(use))


def _feed(use: PinUse) -> Wire:
    """At the board: from this pin to the far end of each resistor."""
    detail = "to the resistors of all these probes, not to 3.3 V: it is on only while they are read"
    return Wire("probe feed", use.tank, use.pin, use.gpio, "", detail, _care(use))


def _common(served: Served, board: Board, units: Units) -> Wire:
    cable = f"; {units.long_length(served.cable_length_m)} of cable" if served.cable_length_m else ""
    detail = f"reaches below all other electrodes{cable}"
    return Wire(
        "common electrode", served.tank, board.ground, None, served.wires.get("common", ""), detail, ""
    )


def _relay(use: PinUse, served: Served, board: Board) -> Wire:
    """With the resistor that holds it off while the pin floats: docs/inventory.md (common practice)."""
    low = use.active == "low"
    ohm = hold_off_ohm(board, board.pin(use.pin), relay_use(use.active or "high"))
    works = "its input side fed from 3.3 V" if low else "which must switch at a 3.3 V signal"
    detail = (
        f"input of a relay module, {works}, on at {'LOW' if low else 'HIGH'}; {kohm(ohm)} from it to "
        f"{board.supply if low else board.ground}. The module switches the contactor's coil"
    )
    return Wire("pump relay", use.tank, use.pin, use.gpio, served.wires.get("relay", ""), detail, _care(use))


def _care(use: PinUse) -> str:
    return f"{use.reason} ({use.source})" if use.reason else ""
