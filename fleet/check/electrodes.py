"""Electrodes: wet and dry are surely told apart through the pull-up, the cable and the water that there are."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.boards.board import board_ids, load_board
from fleet.check.codes.electrodes import (
    CABLE_TOO_LONG,
    DRY_DOUBTFUL,
    DRY_READS_WET,
    PULL_UP_UNKNOWN,
    RESISTOR_UNUSED,
    RODS_TOUCH,
    TOO_MUCH_CURRENT,
    WATER_UNKNOWN,
    WET_DOUBTFUL,
    WET_NOT_READ,
)
from fleet.check.drinking import drinking_water_is_pulsed
from fleet.check.feeds import feeds_fit
from fleet.check.loads import loads_fit
from fleet.check.pull_ups import current_fits, pull_ups_fit
from fleet.finding import Figure, Finding, Subject, SubjectKind
from fleet.inventory.parsed import subject_of
from fleet.limits import CABLE_PF_PER_M
from fleet.water.electrodes import (
    Sure,
    cell_constant_per_cm,
    chip_pull,
    conductivity,
    fed_at_most_ohm,
    has_film,
    kohm,
    longest_cable_m,
    on_at_once,
    on_share,
    pull_of,
    reading,
    resistor_to_fit_ohm,
    settles_s,
    waits_s,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleet.boards.board import Board
    from fleet.inventory.parsed import Parsed, ParsedPart
    from fleet.model.node import Node, Served
    from fleet.model.tank import Electrodes, Tank
    from fleet.water.electrodes import Conductivity, Pull, Reading


def electrodes_fit(survey: Parsed) -> Iterator[Finding]:
    """The electrodes of all tanks, through the board that reads them; cables and resistors of all nodes."""
    for tank in survey.tanks:
        electrodes = tank.part.electrodes
        if electrodes is not None and cell_constant_per_cm(electrodes) == 0:
            what = "the rods are no further apart, from centre to centre, than their diameter"
            place = tank.value("electrodes", "spacing")
            yield Finding(RODS_TOUCH, what, place, subject=subject_of(tank))
    for node in survey.nodes:
        if node.part.board not in board_ids():
            continue
        board = load_board(node.part.board)
        for index, served in enumerate(node.part.serves):
            yield from _resistor(node, index, served)
            yield from feeds_fit(node, index, served)
            yield from _cable(node, index, served, board)
            of = survey.tank_by_name.get(served.tank)
            yield from pull_ups_fit(node, index, served, of, board)
            yield from drinking_water_is_pulsed(node, index, served, of, board)
            if of is not None and of.part.electrodes is not None:
                yield from _read(node, index, served, of, of.part.electrodes, board)


def _resistor(node: ParsedPart[Node], index: int, served: Served) -> Iterator[Finding]:
    ohm = served.pull_up_resistor_ohm
    if ohm is not None and served.pull_up == "internal":
        what = f"a resistor of {kohm(ohm)} is given, but the pull-up is the chip's own"
        place = node.value("serves", index, "pull_up_resistor")
        yield Finding(RESISTOR_UNUSED, what, place, subject=Subject(SubjectKind.TANK, served.tank))


def _cable(node: ParsedPart[Node], index: int, served: Served, board: Board) -> Iterator[Finding]:
    cable_m, pull = served.cable_length_m, pull_of(served, chip_pull(*board.pull_up.limits_ohm))
    settle_s = waits_s(served, board.pull_up.settle_s)
    if not settle_s or not cable_m or pull is None:
        return
    needed_s = settles_s(pull.most_ohm, cable_m)
    if needed_s <= settle_s:
        return
    what = (
        f"{cable_m:g} m of cable, {CABLE_PF_PER_M:g} pF/m, take up to {_us(needed_s)} to rise through {pull.what}; "
        f"this firmware reads after {_us(settle_s)}, enough for {longest_cable_m(pull.most_ohm, settle_s):.1f} m"
    )
    if served.is_fed:
        what += f" or for {kohm(fed_at_most_ohm(served))}"
    figures = (
        Figure("time to rise", needed_s, "s"),
        Figure("time that the firmware waits", settle_s, "s"),
    )
    place = node.value("serves", index, "cable_length")
    yield Finding(
        CABLE_TOO_LONG, what, place, subject=Subject(SubjectKind.TANK, served.tank), figures=figures
    )


def _us(seconds: float) -> str:
    return f"{seconds * 1e6:,.0f} us"


def _read(
    node: ParsedPart[Node],
    index: int,
    served: Served,
    tank: ParsedPart[Tank],
    electrodes: Electrodes,
    board: Board,
) -> Iterator[Finding]:
    if cell_constant_per_cm(electrodes) == 0:
        return
    chip = chip_pull(*board.pull_up.limits_ohm)
    water, pull = conductivity(tank.part.water), pull_of(served, chip)
    subject, cable_m = subject_of(tank), served.cable_length_m or 0.0
    if water is None:
        what = "its electrodes are given, but not its water"
        yield Finding(WATER_UNKNOWN, what, tank.key("electrodes"), subject=subject)
        return
    film = has_film(tank.part)
    if pull is None:
        read = reading(electrodes, water, film, chip, cable_m)
        fit = _to_fit(read, served)
        what = f"its probes have external resistors at {node.part.name}, of unknown value"
        there = node.value("serves", index, "pull_up")
        yield Finding(PULL_UP_UNKNOWN, what, there, subject=subject, fix_here=f"{PULL_UP_UNKNOWN.fix} {fit}")
        return
    probes = on_at_once(served)
    read = reading(electrodes, water, film, pull, cable_m, probes)
    fit = _to_fit(read, served)
    yield from _wet(tank, read, water, pull, fit)
    yield from _dry(tank, read, water, pull, cable_m, fit)
    yield from loads_fit(
        node, index, board, pull, lambda loaded: reading(electrodes, water, film, loaded, cable_m, probes)
    )
    if served.pull_up == "external":
        fix, share = f"{TOO_MUCH_CURRENT.fix} {fit}", on_share(served)
        yield from current_fits(read.current_ua, pull, tank.key("electrodes"), subject, fix, share)


def _wet(
    tank: ParsedPart[Tank], read: Reading, water: Conductivity, pull: Pull, fit: str
) -> Iterator[Finding]:
    if read.wet is Sure.YES:
        return
    code = WET_NOT_READ if read.wet is Sure.FAIL else WET_DOUBTFUL
    best, worst = read.wet_ohm
    what = (
        f"wet, its electrodes have {kohm(best)} to {kohm(worst)} {_because(read, water)}{_shared(read)}; "
        f"{pull.what} reliably reads them LOW at {kohm(pull.low_at_most_ohm)} at most"
    )
    figures = (
        Figure("least resistance wet", best, "ohm"),
        Figure("greatest resistance wet", worst, "ohm"),
        Figure("greatest at the highest probe", read.highest_ohm[1], "ohm"),
        Figure("reliably LOW at most", pull.low_at_most_ohm, "ohm"),
    )
    fix, subject = f"{code.fix} {fit}", subject_of(tank)
    yield Finding(code, what, tank.key("electrodes"), subject=subject, fix_here=fix, figures=figures)


def _dry(
    tank: ParsedPart[Tank], read: Reading, water: Conductivity, pull: Pull, cable_m: float, fit: str
) -> Iterator[Finding]:
    if read.dry is Sure.YES:
        return
    code = DRY_READS_WET if read.dry is Sure.FAIL else DRY_DOUBTFUL
    best, worst = read.dry_ohm
    left = f"{'slime' if read.film else 'drops'} on the holder{f' and {cable_m:g} m of cable' if cable_m else ''}"
    what = (
        f"dry, its electrodes still have {kohm(best)} to {kohm(worst)} between them, through {left} "
        f"{_because(read, water)}; "
        f"{pull.what} reliably reads them HIGH from {kohm(pull.high_at_least_ohm)} on"
    )
    figures = (
        Figure("greatest resistance dry", best, "ohm"),
        Figure("least resistance dry", worst, "ohm"),
        Figure("reliably HIGH from", pull.high_at_least_ohm, "ohm"),
    )
    fix, subject = f"{code.fix} {fit}", subject_of(tank)
    yield Finding(code, what, tank.key("electrodes"), subject=subject, fix_here=fix, figures=figures)


def _because(read: Reading, water: Conductivity) -> str:
    return (
        f"(cell constant {read.cell_constant_per_cm:.3g} /cm, water of {water.least_us_per_cm:g} to "
        f"{water.most_us_per_cm:g} uS/cm: {water.source})"
    )


def _shared(read: Reading) -> str:
    """Nothing where each reading has the water to itself."""
    if read.shared == 1:
        return ""
    best, worst = read.highest_ohm
    return (
        f", and as all external resistors are on at once, the highest probe shares the common electrode with all below "
        f"it: {read.shared:g} times that, {kohm(best)} to {kohm(worst)}"
    )


def _to_fit(read: Reading, served: Served) -> str:
    ohm = resistor_to_fit_ohm(read.wet_ohm, read.dry_ohm, len(served.probes), fed_at_most_ohm(served))
    if ohm is None:
        return "No single resistor reads these electrodes reliably, both wet and dry."
    return f"A resistor of {kohm(ohm)} outside of the chip reads both reliably."
