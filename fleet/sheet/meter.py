"""What an ohmmeter must show between a probe and the common electrode for the board to tell wet from dry."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.inventory.about_electrodes import about_electrodes
from fleet.sheet.step import Step
from fleet.water.electrodes import chip_pull, kohm, pull_of

if TYPE_CHECKING:
    from fleet.boards.board import Board
    from fleet.inventory.model import Served, Tank


def meter_steps(tank: Tank, served: Served, board: Board) -> tuple[Step, ...]:
    """Two steps, with the limits that `check` goes by and what is reckoned where electrodes and water are given; none
    where the pull-up's resistance is not known."""
    pull = pull_of(served, chip_pull(*board.pull_up.limits_ohm))
    if pull is None:
        return ()
    facts = about_electrodes(tank, served, board)
    reckoned = f"; reckoned {kohm(facts.wet_ohm[0])} to {kohm(facts.wet_ohm[1])}" if facts else ""
    wet = f"at most {kohm(pull.low_at_most_ohm)}{reckoned}"
    return (
        Step("Probe wires off the board: meter from each probe to the common electrode, wet.", wet, "kohm"),
        Step("The same, lifted out and dripping.", f"at least {kohm(pull.high_at_least_ohm)}", "kohm"),
    )
