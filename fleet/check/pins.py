"""Pins: the board has them, and each is used once on its node, whatever name it goes by."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

from fleet.boards.board import board_ids, load_board
from fleet.boards.pins import label, may, probe_use, relay_use
from fleet.boards.uses import Answer, Use
from fleet.check.codes import NO_SUCH_PIN, PIN_TWICE
from fleet.finding import Finding, Subject
from fleet.inventory.parsed import subject_of

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleet.boards.board import Board
    from fleet.inventory.parsed import Parsed, ParsedPart
    from fleet.inventory.suggest import Suggester
    from fleet.model.node import Node


def pins_fit(survey: Parsed) -> Iterator[Finding]:
    """The pins of all nodes."""
    for node in survey.nodes:
        if node.part.board in board_ids():
            yield from _pins(survey, node, subject_of(node))


def _used(node: Node) -> Iterator[tuple[str, str, Use, tuple[str | int, ...]]]:
    """Each use of a pin: the pin's name, the use in words and as it is judged, the path in the node."""
    for index, served in enumerate(node.serves):
        for mark, pin in served.probes.items():
            use = f"the probe `{mark}` of `{served.tank}`"
            yield pin, use, probe_use(served.pull_up), ("serves", index, "probes", mark)
        if served.pull_up_feed is not None:
            use = f"the feed of the probes at `{served.tank}`"
            yield served.pull_up_feed, use, Use.PROBE_FEED, ("serves", index, "pull_up_feed")
        if served.pump_relay is not None:
            use = f"the pump relay of `{served.tank}`"
            want = relay_use(served.pump_relay.active)
            yield served.pump_relay.pin, use, want, ("serves", index, "pump_relay", "pin")


def _pins(survey: Parsed, node: ParsedPart[Node], subject: Subject) -> Iterator[Finding]:
    board = load_board(node.part.board)
    taken: dict[int, str] = {}
    for name, use, want, path in _used(node.part):
        try:
            pin = board.pin_as_said(name)
        except KeyError:
            pins = ", ".join(f"`{pin.name}`" for pin in board.pins)
            fix = f"Its pins are {pins}; `GPIOn` also works."
            what = _no_such(survey.suggester, board, name, want)
            yield Finding(NO_SUCH_PIN, what, node.value(*path), subject=subject, fix_here=fix)
            continue
        if pin.gpio in taken:
            what = f"the pin {label(pin)} is already used by {taken[pin.gpio]}"
            yield Finding(PIN_TWICE, what, node.value(*path), subject=subject)
        taken.setdefault(pin.gpio, use)


def _no_such(suggester: Suggester, board: Board, name: str, want: Use) -> str:
    """Why the board has no pin of that name, with a suggestion where it can only be a slip of the letters.

    A name that differs in its number is another pin, a name that other boards print is no slip, and nobody is sent to a
    pin that is refused.
    """
    wanted = name.casefold()
    for unclear, why in board.unclear:
        if unclear.casefold() == wanted:
            return f"`{name}` of the board `{board.id}` {why}"
    if wanted in (other.casefold() for row in board.rows for other in row):
        return f"`{name}` of the board `{board.id}` is no GPIO"
    others = [kind for kind in board_ids() if wanted in _printed(kind)]
    if others:
        return f"the board `{board.id}` has no pin `{name}`; that is a name on {', '.join(f'`{o}`' for o in others)}"
    alike = (n for n in board.pin_names() if _number(n) == _number(name) or _look(n) == _look(name))
    fit = [n for n in alike if may(board, board.pin(n), want).answer is not Answer.REFUSED]
    return f"the board `{board.id}` has no pin `{name}`.{suggester.hint(name, fit)}"


@cache
def _printed(board_id: str) -> frozenset[str]:
    """All names of a kind of board, folded."""
    board = load_board(board_id)
    return frozenset(name.casefold() for name in (*board.rows[0], *board.rows[1], *board.pin_names()))


def _look(name: str) -> str:
    """`O` and `0`, `I`, `l` and `1` look the same."""
    return name.upper().translate(str.maketrans("OIL", "011"))


def _number(name: str) -> str:
    return "".join(letter for letter in name if letter.isdigit())
