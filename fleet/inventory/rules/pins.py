"""Pins: the board has them, and each is used once on its node, whatever name it goes by."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.boards.board import board_ids, load_board
from fleet.finding import Finding
from fleet.inventory.codes import NO_SUCH_PIN, PIN_TWICE, TOO_LONG_FOR_NODE
from fleet.limits import NODE_BLOCK_U16

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleet.inventory.model import Node
    from fleet.inventory.survey import Entry, Survey


def pins_fit(survey: Survey) -> Iterator[Finding]:
    """The pins of all nodes, and their debounce time."""
    for node in survey.nodes:
        subject = f"node {node.part.name}"
        if node.part.board in board_ids():
            yield from _pins(survey, node, subject)
        debounce_ms = (node.part.debounce_s or 0.0) * 1000
        if debounce_ms > NODE_BLOCK_U16:
            what = f"a debounce of {debounce_ms / 1000:g} s is longer than {NODE_BLOCK_U16 / 1000:g} s"
            yield Finding(TOO_LONG_FOR_NODE, what, node.value("debounce"), subject=subject)


def _used(node: Node) -> Iterator[tuple[str, str, tuple[str | int, ...]]]:
    """Each use of a pin: the pin's name, the use in words, the path in the node."""
    for index, served in enumerate(node.serves):
        for mark, pin in served.probes.items():
            yield pin, f"the probe `{mark}` of `{served.tank}`", ("serves", index, "probes", mark)
        if served.pump_relay is not None:
            use = f"the pump relay of `{served.tank}`"
            yield served.pump_relay.pin, use, ("serves", index, "pump_relay", "pin")


def _pins(survey: Survey, node: Entry[Node], subject: str) -> Iterator[Finding]:
    board = load_board(node.part.board)
    taken: dict[int, str] = {}
    for name, use, path in _used(node.part):
        try:
            pin = board.pin(name)
        except KeyError:
            pins = ", ".join(f"`{pin.name}`" for pin in board.pins)
            fix = f"Its pins are {pins}; `GPIOn` is understood as well."
            hint = survey.suggester.hint(name, board.pin_names())
            what = f"the board `{board.id}` has no pin `{name}`.{hint}"
            yield Finding(NO_SUCH_PIN, what, node.value(*path), subject=subject, fix_here=fix)
            continue
        if pin.gpio in taken:
            label = name if name == f"GPIO{pin.gpio}" else f"{name} (GPIO{pin.gpio})"
            what = f"the pin {label} is used already, by {taken[pin.gpio]}"
            yield Finding(PIN_TWICE, what, node.value(*path), subject=subject)
        taken.setdefault(pin.gpio, use)
