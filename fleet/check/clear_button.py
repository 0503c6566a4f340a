"""The pin of the button that clears faults: the board has it, nothing else is on it, and it can read one."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from fleet.boards.board import board_ids, load_board
from fleet.boards.data_file import Trait
from fleet.boards.pins import label, may
from fleet.boards.uses import Answer, Use
from fleet.check.codes.button import BUTTON_PIN_CANNOT, BUTTON_PIN_TAKEN, NO_SUCH_BUTTON_PIN
from fleet.facts.clear_button import NO_BUTTON, wired_gpios
from fleet.finding import Finding
from fleet.inventory.parsed import subject_of

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleet.boards.board import Board, Pin
    from fleet.inventory.parsed import Parsed

_UNFIT: Final = (Trait.FLASH, Trait.NO_PULL_UP, Trait.STRAP_LOW, Trait.USB, Trait.UART)
"""Not free, nothing lifts it, pulled LOW on the board, or the USB port talks over it."""
_OFFERED: Final = 4


def buttons_fit(survey: Parsed) -> Iterator[Finding]:
    """The buttons that nodes name."""
    for node in survey.nodes:
        name = node.part.clear_button
        if name is None or name == NO_BUTTON or node.part.board not in board_ids():
            continue
        board, at, subject = (
            load_board(node.part.board),
            node.value("clear_button"),
            subject_of(node),
        )
        free = _free(board, wired_gpios(node.part, board))
        try:
            pin = board.pin(name)
        except KeyError:
            hint = survey.suggester.hint(name, board.pin_names())
            what = f"the board `{board.id}` has no pin `{name}` for a button.{hint}"
            yield Finding(NO_SUCH_BUTTON_PIN, what, at, subject=subject, fix_here=free)
            continue
        if pin.gpio in wired_gpios(node.part, board):
            what = f"the button is on {label(pin)}, which a probe or a pump relay uses"
            yield Finding(BUTTON_PIN_TAKEN, what, at, subject=subject, fix_here=free)
        unfit = pin.fact(*_UNFIT)
        if unfit is not None:
            what = f"the button is on {label(pin)}, which {unfit.what} ({unfit.source})"
            yield Finding(BUTTON_PIN_CANNOT, what, at, subject=subject, fix_here=free)


def _free(board: Board, wired: frozenset[int]) -> str:
    """What could be named instead: the board's own button first, then pins that suit a probe."""

    def suits(pin: Pin) -> bool:
        return may(board, pin, Use.PROBE_INTERNAL).answer is Answer.ALLOWED

    own = [pin.name for pin in board.pins if pin.gpio == board.button_gpio and pin.gpio not in wired]
    others = [pin.name for pin in board.pins if pin.gpio not in wired and suits(pin)]
    names = ", ".join(f"`{name}`" for name in [*own, *others][:_OFFERED])
    return (
        f"Free here: {names}."
        if names
        else "No pin of this board is free for it: write `clear_button: none`."
    )
