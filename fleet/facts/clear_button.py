"""The button that clears faults which stay: which pin of a node it is on. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleet.boards.board import Board
    from fleet.model.node import Node

NO_BUTTON: Final = "none"
"""As `clear_button`: no pin is looked at, not even that of the board's own button."""


def wired_names(node: Node) -> Iterator[str]:
    """The names of the pins that its probes, their feeds and its pump relays are on."""
    for served in node.serves:
        yield from served.probes.values()
        if served.pull_up_feed is not None:
            yield served.pull_up_feed
        if served.pump_relay is not None:
            yield served.pump_relay.pin


def wired_gpios(node: Node, board: Board) -> frozenset[int]:
    """The same as GPIOs; names that the board does not have are left out."""
    known = {name.casefold(): pin.gpio for pin in board.pins for name in (pin.name, *pin.aliases)}
    return frozenset(known[name.casefold()] for name in wired_names(node) if name.casefold() in known)


def clear_gpio(node: Node, board: Board) -> int | None:
    """The GPIO of the button, which pulls it LOW; None if there is none.

    It is the pin that the node's `clear_button` names, else that of the board's own button unless something is wired to
    it. KeyError for a name that the board does not have.
    """
    if node.clear_button == NO_BUTTON:
        return None
    if node.clear_button is not None:
        return board.pin(node.clear_button).gpio
    own = board.button_gpio
    return None if own in wired_gpios(node, board) else own
