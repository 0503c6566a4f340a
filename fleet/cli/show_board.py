"""How `show` prints a kind of board: its two rows of pins with what each is good for, then the reasons."""

from __future__ import annotations

from itertools import zip_longest
from typing import TYPE_CHECKING, Final

from fleet.cli.show_tank import paragraph
from fleet.water.electrodes import kohm

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleet.cli.output import Output
    from fleet.facts.node import BoardFacts, BoardPin, Fitness

_LETTERS: Final = "PXHLFAS"
_LEGEND: Final = (
    "P probe on the chip's own pull-up, X probe with an external resistor, H pump relay active high, L "
    "active low, F feeds external resistors, A analog, S a wire laid for later; a small letter: with "
    "care, a dot: no"
)
_PULLS: Final = {"none": "floats", "up": "pulled up", "down": "pulled down", "usb-up": "pulled up (USB)"}
_WORDS: Final = {"allowed": "yes", "care": "with care", "refused": "no"}


def print_board(out: Output, board: BoardFacts, counted: bool) -> None:
    """Everything of one kind of board; `counted`: the nodes of an inventory were looked at."""
    out.data(f"{out.style(board.id, 'bold')}: {board.title}")
    limits = f"{kohm(board.pull_up_least_ohm)} to {kohm(board.pull_up_most_ohm)}"
    pull_ups = (
        f"about {kohm(board.internal_pull_up_ohm)}, {limits} inside of the chip ({board.pull_up_source})"
    )
    facts = (
        ("chip", board.chip),
        ("platform", f"{board.platform}, board {board.platformio_board}, {board.framework}"),
        ("updates", f"{board.layout}, {board.payload_format}"),
        ("flash", f"{board.flash_bytes // 1024:,} KiB ({board.flash_map})"),
        ("slot", f"{board.slot_bytes:,} bytes: the largest image"),
        ("pull-ups", pull_ups),
        ("button", f"pulls GPIO{board.button_gpio} LOW" if board.button_gpio is not None else "none to read"),
        *((("nodes", ", ".join(board.nodes) or "none in this inventory"),) if counted else ()),
    )
    for name, text in facts:
        paragraph(out, f"  {name:10}{text}", "", " " * 12)
    for note in board.notes:
        paragraph(out, f"- {note}", "  ", "    ")
    out.data()
    for line in drawing(board):
        out.data(line)
    paragraph(out, _LEGEND, "", "  ")
    out.data()
    head = (
        "pin",
        "also",
        "GPIO",
        "at reset",
        "probe",
        "outside pull-up",
        "relay, high",
        "relay, low",
        "feed",
        "analog",
    )
    out.table((*head, "spare"), [_row(pin) for pin in board.pins])
    out.data()
    for pin in board.pins:
        for also in pin.also:
            paragraph(out, f"- {pin.pin} (GPIO{pin.gpio}) {also}", "", "  ")
    for name, source in board.sources.items():
        paragraph(out, f"source of {name}: {source}", "", "  ")


def _row(pin: BoardPin) -> tuple[str, ...]:
    also = ", ".join(alias for alias in pin.aliases if alias != f"GPIO{pin.gpio}") or "-"
    return (pin.pin, also, str(pin.gpio), _at_reset(pin), *(_WORDS[fit.answer] for fit in _fits(pin)))


def _at_reset(pin: BoardPin) -> str:
    """What holds it then: the chip as an output, a resistor on the board (stronger than the chip's pull), or that."""
    if pin.reset.output:
        return "driven"
    by_board = next((load.to for load in pin.loads if load.kind == "resistor"), None)
    if by_board is not None:
        return f"pulled {'up' if by_board == 'high' else 'down'} (board)"
    return _PULLS[pin.reset.pull]


def drawing(board: BoardFacts) -> Iterator[str]:
    """The board from above, its two rows of pins from the top down, each with what it is good for."""
    pins = {pin.pin: pin for pin in board.pins}
    left, right = board.rows
    wide = max(len(name) for name in (*left, *right))
    inside = max(len(board.id), 2 * wide + 4)
    blank = " " * len(_LETTERS)
    edge = f"{blank}   +{'-' * (inside + 2)}+"
    yield edge
    yield f"{blank}   | {board.id.center(inside)} |"
    for one, other in zip_longest(left, right, fillvalue=""):
        names = f"{one.ljust(inside - wide)}{other.rjust(wide)}"
        before = f"{good_for(pins[one])} --" if one in pins else f"{blank}   "
        after = f"-- {good_for(pins[other])}" if other in pins else ""
        yield f"{before}| {names} |{after}"
    yield edge


def good_for(pin: BoardPin) -> str:
    """A letter for each use: large where it is fit, small where it is with care, a dot where it is not."""
    letters = ({"allowed": letter, "care": letter.lower(), "refused": "."} for letter in _LETTERS)
    return "".join(said[fit.answer] for said, fit in zip(letters, _fits(pin), strict=True))


def _fits(pin: BoardPin) -> tuple[Fitness, ...]:
    return (pin.probe, pin.probe_external, pin.relay, pin.relay_low, pin.feed, pin.analog, pin.spare)
