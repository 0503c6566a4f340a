"""What a meter must show between a probe and the common electrode for the board to tell wet from dry."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.facts.electrodes import about_electrodes, loads_ohm
from fleet.limits import HIGH_SHARE, LOW_SHARE, SUPPLY_V
from fleet.sheet.step import Step
from fleet.water.electrodes import chip_pull, kohm, on_at_once, pull_of, sharing
from fleet.water.filling import rising

if TYPE_CHECKING:
    from fleet.boards.board import Board
    from fleet.model.node import Served
    from fleet.model.tank import Tank


def meter_steps(tank: Tank, served: Served, board: Board) -> tuple[Step, ...]:
    """Two steps, with the limits that `check` goes by for one pair, and what is calculated where electrodes and water
    are given; none where the pull-up's resistance is not known."""
    pull = pull_of(served, chip_pull(*board.pull_up.limits_ohm))
    if pull is None:
        return ()
    pull = pull.loaded(*loads_ohm(served, board))
    facts = about_electrodes(tank, served, board)
    calculated = f"; calculated {kohm(facts.wet_ohm[0])} to {kohm(facts.wet_ohm[1])}" if facts else ""
    # A meter sees one pair, the pins with resistors outside all of them at once.
    most_ohm = pull.low_at_most_ohm / sharing(on_at_once(served))
    wet, dry = f"at most {kohm(most_ohm)}{calculated}", f"at least {kohm(pull.high_at_least_ohm)}"
    do = "Probe wires off: ohms to the common electrode, wet. Read at once: it creeps."
    names = _names(tank)
    return (
        Step(do, wet, "kohm", each=names),
        Step("The same, lifted out and dripping.", dry, "kohm", each=names),
    )


def volt_steps(tank: Tank, served: Served, board: Board) -> tuple[Step, Step] | None:
    """At the pins, wet and dry, by the limits of the inputs; None with the chip's own pull-up or with resistors
    that a pin feeds: they are on for moments, which a meter does not show."""
    if not served.always_on:
        return None
    do = f"DC volts from each probe's pin to {board.ground}"
    names = _names(tank)
    return (
        Step(f"All still wet: {do}.", f"at most {LOW_SHARE * SUPPLY_V:.1f} V", "V", each=names),
        Step(f"{do}, dry.", f"at least {HIGH_SHARE * SUPPLY_V:.1f} V", "V", each=names),
    )


def _names(tank: Tank) -> tuple[str, ...]:
    return tuple(mark.name for mark in rising(tank))
