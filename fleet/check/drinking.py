"""Drinking water: no direct current through it all the time, where the board can do without."""

from __future__ import annotations

from math import inf
from typing import TYPE_CHECKING

from fleet.boards.pins import best_pins, may
from fleet.boards.uses import Answer, Use
from fleet.check.codes.electrodes import CURRENT_IN_DRINKING_WATER
from fleet.check.wiring import pins_offered, pins_taken
from fleet.finding import Figure, Finding
from fleet.inventory.parsed import subject_of
from fleet.limits import FEED_SETTLE_S
from fleet.model.tank import Duty
from fleet.water.electrodes import (
    Sure,
    cell_constant_per_cm,
    chip_pull,
    conductivity,
    dry_ohm,
    fed_at_most_ohm,
    has_film,
    kohm,
    longest_cable_m,
    reading,
    resistor_to_fit_ohm,
    settles_s,
    wet_ohm,
)
from fleet.water.sensing import dissolved_g_per_year, sensing

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleet.boards.board import Board
    from fleet.inventory.parsed import ParsedPart
    from fleet.model.node import Node, Served
    from fleet.model.tank import Tank


def drinking_water_is_pulsed(
    node: ParsedPart[Node], index: int, served: Served, tank: ParsedPart[Tank] | None, board: Board
) -> Iterator[Finding]:
    """Resistors outside at a tank of drinking water, with what to wire instead."""
    if tank is None or tank.part.duty is not Duty.POTABLE or not served.always_on:
        return
    current = sensing(tank.part, served, chip_pull(*board.pull_up.limits_ohm), board.pull_up.settle_s)
    what = f"drinking water, and current flows {current.words}"
    figures: tuple[Figure, ...] = ()
    if current.most_ua is not None:
        grams = dissolved_g_per_year(current.most_ua)
        what += f"; that can take {grams:.1g} g of metal a year off each probe"
        figures = (
            Figure("direct current at a probe", current.most_ua, "uA"),
            Figure("iron that it can dissolve in a year", grams, "g"),
        )
    place = node.value("serves", index, "pull_up")
    fix = _instead(node.part, served, tank.part, board)
    yield Finding(
        CURRENT_IN_DRINKING_WATER,
        what,
        place,
        subject_of(tank),
        fix_here=fix,
        figures=figures,
    )


def _instead(node: Node, served: Served, tank: Tank, board: Board) -> str:
    """What to do here: the chip's own pull-up where it reads these probes, with pins that have one; else a feed."""
    hinders = _hinders(tank, served, board)
    if hinders:
        own = f"The chip's own pull-up, which is on in pulses, is not enough here: {hinders}."
        return f"{own} {_feed(node, served, tank, board)}"
    own = f"a pull-up of the chip's own, which is on for {1e3 * board.pull_up.settle_s:g} ms at a time"
    without = [name for name in served.probes.values() if not _has_pull_up(board, name)]
    if not without:
        return f"Remove the resistors and write `pull_up: internal`: these pins have {own}."
    if len(best_pins(board, Use.PROBE_INTERNAL, pins_taken(board, node))) < len(without):
        few = f"This {board.id} has not enough free pins with a pull-up of their own for {' and '.join(without)}."
        return f"{few} {_feed(node, served, tank, board)}"
    return (
        f"Wire {' and '.join(without)} to pins with {own}, remove the resistors and write `pull_up: "
        f"internal`. {pins_offered(board, node, Use.PROBE_INTERNAL)}"
    )


def _feed(node: Node, served: Served, tank: Tank, board: Board) -> str:
    """How to feed the resistors from a pin: which one, and what resistors; else what is left to do."""
    if not best_pins(board, Use.PROBE_FEED, pins_taken(board, node)):
        return f"{CURRENT_IN_DRINKING_WATER.fix} {pins_offered(board, node, Use.PROBE_FEED)}"
    fed = served.model_copy(update={"pull_up_feed": "one"})
    ohm, most_ohm = served.pull_up_resistor_ohm, fed_at_most_ohm(fed)
    resistors = "the resistors"
    if ohm is not None and ohm > most_ohm:
        fit = _fit_ohm(fed, tank)
        if fit is None:
            return CURRENT_IN_DRINKING_WATER.fix
        resistors = f"resistors of {kohm(fit)}"
    return (
        f"Join {resistors} to a pin in place of 3.3 V and name it with `pull_up_feed`: it is on for "
        f"{1e3 * FEED_SETTLE_S:g} ms at a time, while the probes are read. {pins_offered(board, node, Use.PROBE_FEED)}"
    )


def _fit_ohm(fed: Served, tank: Tank) -> float | None:
    """The resistor that settles in time and reads surely, as far as electrodes and water are known."""
    electrodes, water = tank.electrodes, conductivity(tank.water)
    most_ohm = fed_at_most_ohm(fed)
    if electrodes is None or water is None or not cell_constant_per_cm(electrodes):
        return resistor_to_fit_ohm((0.0, 0.0), (inf, inf), most_ohm=most_ohm)
    film, cable_m = has_film(tank), fed.cable_length_m or 0.0
    wet, dry = wet_ohm(electrodes, water, film), dry_ohm(electrodes, water, film, cable_m)
    return resistor_to_fit_ohm(wet, dry, len(fed.probes), most_ohm)


def _has_pull_up(board: Board, name: str) -> bool:
    try:
        return may(board, board.pin(name), Use.PROBE_INTERNAL).answer is Answer.ALLOWED
    except KeyError:
        return False


def _hinders(tank: Tank, served: Served, board: Board) -> str:
    """Why the chip's own pull-up would not do; empty if it does, as far as is known."""
    pull, cable_m = board.pull_up, served.cable_length_m or 0.0
    if settles_s(pull.most_ohm, cable_m) > pull.settle_s:
        return f"it lifts {longest_cable_m(pull.most_ohm, pull.settle_s):.0f} m of cable in time, not {cable_m:g} m"
    electrodes, water = tank.electrodes, conductivity(tank.water)
    if electrodes is None or water is None or not cell_constant_per_cm(electrodes):
        return ""
    read = reading(electrodes, water, has_film(tank), chip_pull(*pull.limits_ohm), cable_m)
    unsure = [state for state, sure in (("wet", read.wet), ("dry", read.dry)) if sure is not Sure.YES]
    return f"it does not reliably read them {' and '.join(unsure)}" if unsure else ""
