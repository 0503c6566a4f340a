"""Probes on pins that the board itself loads: whether their electrodes are still told wet from dry."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.boards.loads import pulls_ohm
from fleet.boards.pins import label, may, probe_use
from fleet.boards.uses import Answer
from fleet.check.codes.wiring import PROBE_BESIDE_LOAD
from fleet.finding import Figure, Finding
from fleet.inventory.parsed import subject_of
from fleet.water.electrodes import Sure, kohm

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from fleet.boards.board import Board, Pin
    from fleet.inventory.parsed import ParsedPart
    from fleet.model.node import Node
    from fleet.water.electrodes import Pull, Reading


def loads_fit(
    node: ParsedPart[Node], index: int, board: Board, pull: Pull, read: Callable[[Pull], Reading]
) -> Iterator[Finding]:
    """The probes at one tank whose pins the board loads without being refused for it; `read` says what a pull-up makes
    of the electrodes. What the electrodes lack on any pin is not said again."""
    served, alone = node.part.serves[index], read(pull)
    for mark, name in served.probes.items():
        pin = _pin(board, name)
        if (
            pin is None
            or not pin.loads
            or may(board, pin, probe_use(served.pull_up)).answer is Answer.REFUSED
        ):
            continue
        loaded = pull.loaded(*pulls_ohm(pin.loads))
        here = read(loaded)
        if _worse(here.wet, alone.wet):
            what = f"wet, up to {kohm(here.wet_ohm[1])}; {loaded.what} reliably reads LOW at "
            limit = f"{kohm(loaded.low_at_most_ohm)} at most"
            figures: tuple[Figure, ...] = (
                Figure("greatest resistance wet", here.wet_ohm[1], "ohm"),
                Figure("reliably LOW at most", loaded.low_at_most_ohm, "ohm"),
            )
        elif _worse(here.dry, alone.dry):
            what = f"dry, down to {kohm(here.dry_ohm[1])}; {loaded.what} reliably reads HIGH "
            never = here.dry is Sure.FAIL
            limit = "never" if never else f"from {kohm(loaded.high_at_least_ohm)} on"
            figures = (Figure("least resistance dry", here.dry_ohm[1], "ohm"),)
        else:
            continue
        said = f"the electrode `{mark}` of `{served.tank}` on {label(pin)} has, {what}{limit}"
        place = node.value("serves", index, "probes", mark)
        yield Finding(
            PROBE_BESIDE_LOAD,
            said,
            place,
            subject_of(node, "pin", name),
            figures=figures,
        )


def _worse(here: Sure, alone: Sure) -> bool:
    order = (Sure.YES, Sure.DOUBTFUL, Sure.FAIL)
    return order.index(here) > order.index(alone)


def _pin(board: Board, name: str) -> Pin | None:
    try:
        return board.pin_as_said(name)
    except KeyError:
        return None
