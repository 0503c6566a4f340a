"""Pull-ups outside of the chip, and what can be told of probes whose electrodes are not given."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from fleet.check.codes.electrodes import (
    DRY_DOUBTFUL,
    LITTLE_CONDUCTING,
    RESISTOR_TOO_LARGE,
    TOO_MUCH_CURRENT,
)
from fleet.finding import Figure, Finding, Subject, SubjectKind
from fleet.inventory.parsed import subject_of
from fleet.limits import CABLE_LEAK_OHM_M, ELECTRODE_CURRENT_UA, LARGEST_PULL_UP_OHM, LITTLE_US_PER_CM
from fleet.model.tank import Rods
from fleet.water.electrodes import (
    Sure,
    cell_constant_per_cm,
    chip_pull,
    conductivity,
    has_film,
    kohm,
    largest_current_ua,
    on_at_once,
    on_share,
    pull_of,
    reading,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleet.boards.board import Board
    from fleet.finding import Place
    from fleet.inventory.parsed import ParsedPart
    from fleet.model.node import Node, Served
    from fleet.model.tank import Tank
    from fleet.water.electrodes import Pull

ORDINARY: Final = Rods(kind="rods", diameter="6 mm", spacing="20 mm", wetted="50 mm")
"""Electrodes such as people fit where nobody says otherwise (own choice): a cell constant of 0.12 /cm."""


def pull_ups_fit(
    node: ParsedPart[Node], index: int, served: Served, tank: ParsedPart[Tank] | None, board: Board
) -> Iterator[Finding]:
    """The pull-up of the probes at one tank, and its cable."""
    pull = pull_of(served, chip_pull(*board.pull_up.limits_ohm))
    if pull is None:
        return
    if served.pull_up == "external" and pull.ohm > LARGEST_PULL_UP_OHM:
        what = f"{pull.what}; {kohm(LARGEST_PULL_UP_OHM)} is the most for an input"
        place = node.value("serves", index, "pull_up_resistor")
        yield Finding(RESISTOR_TOO_LARGE, what, place, Subject(SubjectKind.TANK, served.tank))
    if tank is None or _is_read(tank.part):
        return
    if served.pull_up == "external":
        place = node.value("serves", index, "pull_up_resistor")
        share = on_share(served)
        yield from current_fits(
            largest_current_ua(pull), pull, place, Subject(SubjectKind.TANK, served.tank), share=share
        )
        yield from _leak(node, index, served, pull)
    if tank.part.electrodes is None:
        yield from _little(tank, served, pull)


def _is_read(tank: Tank) -> bool:
    """Whether electrodes and water are known, so that the reading itself is looked at."""
    electrodes = tank.electrodes
    return (
        electrodes is not None
        and cell_constant_per_cm(electrodes) > 0
        and conductivity(tank.water) is not None
    )


def current_fits(
    current_ua: float, pull: Pull, place: Place, subject: Subject, fix: str = "", share: float = 1.0
) -> Iterator[Finding]:
    """The current that a resistor outside lets through the water all the time, or by the mean, on for that share."""
    current_ua *= share
    if current_ua <= ELECTRODE_CURRENT_UA:
        return
    when = (
        "all the time" if share == 1.0 else f"on average, in pulses that take {100 * share:g} % of the time"
    )
    what = (
        f"up to {current_ua:,.0f} uA run through the water {when} ({pull.what}); {ELECTRODE_CURRENT_UA:g} uA "
        f"is the most for electrodes"
    )
    figures = (Figure("current", current_ua, "uA"), Figure("limit", ELECTRODE_CURRENT_UA, "uA"))
    yield Finding(TOO_MUCH_CURRENT, what, place, subject, fix_here=fix, figures=figures)


def _leak(node: ParsedPart[Node], index: int, served: Served, pull: Pull) -> Iterator[Finding]:
    leak_ohm = CABLE_LEAK_OHM_M / served.cable_length_m if served.cable_length_m else 0.0
    if not leak_ohm or leak_ohm >= pull.high_at_least_ohm:
        return
    what = (
        f"{served.cable_length_m:g} m of old damp cable have {kohm(leak_ohm)} between the wires; {pull.what} "
        f"reliably reads HIGH from {kohm(pull.high_at_least_ohm)} on"
    )
    figures = (
        Figure("resistance of the cable", leak_ohm, "ohm"),
        Figure("reliably HIGH from", pull.high_at_least_ohm, "ohm"),
    )
    place = node.value("serves", index, "cable_length")
    yield Finding(DRY_DOUBTFUL, what, place, Subject(SubjectKind.TANK, served.tank), figures=figures)


def _little(tank: ParsedPart[Tank], served: Served, pull: Pull) -> Iterator[Finding]:
    water = conductivity(tank.part.water)
    if water is None or water.most_us_per_cm > LITTLE_US_PER_CM:
        return
    probes = on_at_once(served)
    read = reading(ORDINARY, water, has_film(tank.part), pull, served.cable_length_m or 0.0, probes)
    if read.wet is Sure.YES:
        return
    best, worst = read.highest_ohm
    many = (
        f", {probes} of them on one common electrode through resistors that are on at once,"
        if probes > 1
        else ""
    )
    what = (
        f"water of {water.least_us_per_cm:g} to {water.most_us_per_cm:g} uS/cm ({water.source}); two ordinary rods in "
        f"it (6 mm, 20 mm apart, 50 mm under water){many} have {kohm(best)} to {kohm(worst)}, and "
        f"{pull.what} reliably reads them LOW at {kohm(pull.low_at_most_ohm)} at most"
    )
    figures = (
        Figure("greatest resistance wet", worst, "ohm"),
        Figure("reliably LOW at most", pull.low_at_most_ohm, "ohm"),
    )
    yield Finding(LITTLE_CONDUCTING, what, tank.key("water"), subject_of(tank), figures=figures)
