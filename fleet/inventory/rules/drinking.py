"""Drinking water: no direct current through it all the time, where the board can do without."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.boards.pins import may
from fleet.boards.uses import Answer, Use
from fleet.finding import Figure, Finding
from fleet.inventory.codes.electrodes import CURRENT_IN_DRINKING_WATER
from fleet.inventory.model import Duty
from fleet.inventory.rules.wiring import pins_offered
from fleet.water.electrodes import (
    Sure,
    cell_constant_per_cm,
    chip_pull,
    conductivity,
    has_film,
    longest_cable_m,
    reading,
    settles_s,
)
from fleet.water.sensing import dissolved_g_per_year, sensing

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleet.boards.board import Board
    from fleet.inventory.model import Node, Served, Tank
    from fleet.inventory.survey import Entry


def drinking_water_is_pulsed(
    node: Entry[Node], index: int, served: Served, tank: Entry[Tank] | None, board: Board
) -> Iterator[Finding]:
    """Resistors outside at a tank of drinking water, with what to wire instead."""
    if tank is None or tank.part.duty is not Duty.POTABLE or served.pull_up == "internal":
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
        CURRENT_IN_DRINKING_WATER, what, place, f"tank {tank.part.name}", fix_here=fix, figures=figures
    )


def _instead(node: Node, served: Served, tank: Tank, board: Board) -> str:
    """What to do here: the chip's own pull-up where it reads these probes, with pins that have one."""
    hinders = _hinders(tank, served, board)
    if hinders:
        own = f"The chip's own pull-up, which is on in pulses, does not do here: {hinders}."
        return f"{own} {CURRENT_IN_DRINKING_WATER.fix}"
    own = f"a pull-up of the chip's own, which is on for {1e3 * board.pull_up.settle_s:g} ms at a time"
    without = [name for name in served.probes.values() if not _has_pull_up(board, name)]
    if not without:
        return f"Take the resistors out and say `pull_up: internal`: these pins have {own}."
    return (
        f"Wire {' and '.join(without)} to pins with {own}, take the resistors out and "
        f"say `pull_up: internal`. {pins_offered(board, node, Use.PROBE_INTERNAL)}"
    )


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
    return f"it does not surely read them {' and '.join(unsure)}" if unsure else ""
