"""Wiring: each pin can do what it is asked to, and lets the board start with the pump off and the tank full."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, Final

from fleet.boards.board import board_ids, load_board
from fleet.boards.data_file import LoadKind, Trait
from fleet.boards.pins import PinVerdict, best_pins, label, may, probe_use, relay_use
from fleet.boards.uses import PROBES, Answer, Use
from fleet.check.codes.feeds import FEED_PIN_CANNOT, FEED_WITH_CARE
from fleet.check.codes.wiring import (
    PROBE_HOLDS_STRAP_HIGH,
    PROBE_HOLDS_STRAP_LOW,
    PROBE_LOADED,
    PROBE_NEEDS_RESISTOR,
    PROBE_ON_USB,
    PROBE_PIN_TAKEN,
    PROBE_WITH_CARE,
    RELAY_ON_STRAP,
    RELAY_PICKS_UP,
    RELAY_PIN_CANNOT,
    RELAY_PIN_DRIVEN,
    RELAY_WITH_CARE,
)
from fleet.finding import Figure, Finding
from fleet.inventory.parsed import subject_of
from fleet.limits import PINS_OFFERED

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleet.boards.board import Board
    from fleet.codes import Code
    from fleet.inventory.parsed import Parsed, ParsedPart
    from fleet.model.node import Node

    Wire = tuple[str, str, Use, tuple[str | int, ...]]
    """A pin's name, what hangs on it in words, the use, the path in the node."""

_PROBE_CODES: Final = {
    Trait.FLASH: PROBE_PIN_TAKEN,
    Trait.NO_PULL_UP: PROBE_NEEDS_RESISTOR,
    Trait.STRAP_HIGH: PROBE_HOLDS_STRAP_LOW,
    Trait.STRAP_LOW: PROBE_HOLDS_STRAP_HIGH,
}
_RELAY_CODES: Final = {
    Trait.FLASH: RELAY_PIN_CANNOT,
    Trait.INPUT_ONLY: RELAY_PIN_CANNOT,
    Trait.STRAP: RELAY_ON_STRAP,
    Trait.STRAP_HIGH: RELAY_ON_STRAP,
    Trait.STRAP_LOW: RELAY_ON_STRAP,
}


def wiring_fits(survey: Parsed) -> Iterator[Finding]:
    """What each pin in use is good for (pins that the board does not have are spoken of elsewhere)."""
    for node in survey.nodes:
        if node.part.board not in board_ids():
            continue
        for name, what, use, path in _wires(node.part):
            verdict = _verdict(node.part.board, name, use)
            if verdict is not None and verdict.answer is not Answer.ALLOWED:
                yield _finding(node, name, what, use, verdict, path)


def _wires(node: Node) -> Iterator[Wire]:
    for index, served in enumerate(node.serves):
        use = probe_use(served.pull_up)
        for mark, pin in served.probes.items():
            yield pin, f"the probe `{mark}` of `{served.tank}`", use, ("serves", index, "probes", mark)
        if served.pull_up_feed is not None:
            what = f"the feed of the probes at `{served.tank}`"
            yield served.pull_up_feed, what, Use.PROBE_FEED, ("serves", index, "pull_up_feed")
        relay = served.pump_relay
        if relay is not None:
            what = f"the pump relay of `{served.tank}`, active {relay.active}"
            yield relay.pin, what, relay_use(relay.active), ("serves", index, "pump_relay", "pin")


@lru_cache(maxsize=4096)
def _verdict(board_id: str, pin: str, use: Use) -> PinVerdict | None:
    board = load_board(board_id)
    try:
        return may(board, board.pin_as_said(pin), use)
    except KeyError:
        return None


def _finding(
    node: ParsedPart[Node], pin: str, what: str, use: Use, verdict: PinVerdict, path: tuple[str | int, ...]
) -> Finding:
    code = _code(use, verdict)
    board = load_board(node.part.board)
    said = f"{what}: {verdict.reason} ({verdict.source})"
    fix = f"{code.fix} {pins_offered(board, node.part, use)}"
    figures = (Figure(*verdict.limit, "ohm"),) if verdict.limit else ()
    subject = subject_of(node, "pin", pin)
    return Finding(code, said, node.value(*path), subject, fix_here=fix, figures=figures)


def _code(use: Use, verdict: PinVerdict) -> Code:
    if use is Use.PROBE_FEED:
        return FEED_PIN_CANNOT if verdict.answer is Answer.REFUSED else FEED_WITH_CARE
    if verdict.load is not None and verdict.answer is Answer.REFUSED:
        if use in PROBES:
            return PROBE_ON_USB if verdict.load is LoadKind.USB_SOCKET else PROBE_LOADED
        return RELAY_PICKS_UP if verdict.load in (LoadKind.RESISTOR, LoadKind.LED) else RELAY_PIN_DRIVEN
    trait = verdict.trait or Trait.ASIDE
    if use in PROBES:
        return _PROBE_CODES[trait] if verdict.answer is Answer.REFUSED else PROBE_WITH_CARE
    return _RELAY_CODES.get(trait, RELAY_PICKS_UP) if verdict.answer is Answer.REFUSED else RELAY_WITH_CARE


def pins_taken(board: Board, node: Node) -> set[int]:
    """GPIO numbers of the pins that the node uses."""
    known = {name.casefold(): pin.gpio for pin in board.pins for name in (pin.name, *pin.aliases)}
    return {known[name.casefold()] for name, *_ in _wires(node) if name.casefold() in known}


def pins_offered(board: Board, node: Node, use: Use) -> str:
    """The best pins of the board that nothing on this node uses."""
    names = [label(pin) for pin in best_pins(board, use, pins_taken(board, node))[:PINS_OFFERED]]
    if not names:
        return f"No pin of this {board.id} is free and suitable."
    return f"Free and suitable on this {board.id}: {', '.join(names)}."
