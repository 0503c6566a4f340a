"""What follows for one tank's electrodes from its water, the board that reads them, cable and pull-up. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite
from typing import TYPE_CHECKING, Annotated

from fleet.boards.loads import pulls_ohm
from fleet.model.tank import Rods
from fleet.water.electrodes import (
    cell_constant_per_cm,
    chip_pull,
    conductivity,
    fed_at_most_ohm,
    has_film,
    needs_resistor,
    on_at_once,
    pull_of,
    reading,
    resistor_to_fit_ohm,
    waits_s,
)
from fleet.water.sensing import sensing

if TYPE_CHECKING:
    from pydantic import Field

    from fleet.boards.board import Board
    from fleet.json_values import Some
    from fleet.model.node import Served
    from fleet.model.tank import Electrodes, Tank
    from fleet.water.electrodes import Pull, Reading, Sure

SAMPLED = (
    "Direct current wears electrodes away and makes gas (level relays use alternating current for this reason): here "
    "it flows "
)


@dataclass(frozen=True, slots=True)
class ElectrodeFacts:
    """Of the probes at one tank; resistances in ohm, from the best to the worst case."""

    tank: str
    kind: str
    cell_constant_per_cm: float
    film: bool
    least_us_per_cm: float
    most_us_per_cm: float
    water_source: str
    pull_up: str | None
    """In words, with what the board itself hangs on the worst pin; null for a resistor outside of unknown value."""
    probes_on_at_once: Some
    """Whose pull-ups are on at the same time: all with resistors outside, else one."""
    shared: Annotated[float, Field(ge=1)]
    """How many times the resistance of one pair the highest probe sees, wet with all that are on at once."""
    wet_ohm: tuple[float, float]
    """Of one pair."""
    dry_ohm: tuple[float, float]
    low_at_most_ohm: float | None
    high_at_least_ohm: float | None
    """Null too where the board's own pull-down never lets a probe read HIGH."""
    wet: Sure | None
    dry: Sure | None
    surely_wet_from_m: float | None
    """Length of rod under water from which on a wet probe is surely read; null for other electrodes."""
    current_ua: float | None
    """At its worst, of one probe, while the pull-up is on."""
    resistor_to_fit_ohm: float | None
    """Reads both surely; null where nothing need be fitted, or no single one reads both."""
    needs_resistor: bool
    """Whether another pull-up than the one there must be fitted."""
    sampled: str


def about_electrodes(tank: Tank, served: Served, board: Board) -> ElectrodeFacts | None:
    """The facts; None where electrodes or water are not given, or the rods touch."""
    electrodes, water = tank.electrodes, conductivity(tank.water)
    if electrodes is None or water is None or not cell_constant_per_cm(electrodes):
        return None
    chip = chip_pull(*board.pull_up.limits_ohm)
    pull, film = pull_of(served, chip), has_film(tank)
    cable_m = served.cable_length_m or 0.0
    probes = on_at_once(served)
    read = reading(electrodes, water, film, pull or chip, cable_m, probes)
    loaded = (pull or chip).loaded(*loads_ohm(served, board))
    at_worst = reading(electrodes, water, film, loaded, cable_m, probes)
    needs = needs_resistor(read, pull, cable_m, waits_s(served, board.pull_up.settle_s))
    return ElectrodeFacts(
        tank=tank.name,
        kind=electrodes.kind,
        cell_constant_per_cm=read.cell_constant_per_cm,
        film=film,
        least_us_per_cm=water.least_us_per_cm,
        most_us_per_cm=water.most_us_per_cm,
        water_source=water.source,
        pull_up=loaded.what.rstrip(",") if pull else None,
        probes_on_at_once=probes,
        shared=read.shared,
        wet_ohm=read.wet_ohm,
        dry_ohm=read.dry_ohm,
        low_at_most_ohm=loaded.low_at_most_ohm if pull else None,
        high_at_least_ohm=loaded.high_at_least_ohm if pull and isfinite(loaded.high_at_least_ohm) else None,
        wet=at_worst.wet if pull else None,
        dry=at_worst.dry if pull else None,
        surely_wet_from_m=_surely_wet_from_m(electrodes, read, loaded if pull else None),
        current_ua=at_worst.current_ua if pull else None,
        resistor_to_fit_ohm=resistor_to_fit_ohm(
            read.wet_ohm, read.dry_ohm, len(served.probes), fed_at_most_ohm(served)
        )
        if needs
        else None,
        needs_resistor=needs,
        sampled=f"{SAMPLED}{sensing(tank, served, chip, board.pull_up.settle_s).words}.",
    )


def loads_ohm(served: Served, board: Board) -> tuple[float, float]:
    """What the board hangs on the worst of these probes' pins, to HIGH and to LOW; KeyError if it lacks one."""
    each = [pulls_ohm(board.pin(name).loads) for name in served.probes.values()]
    return min(up for up, _ in each), min(down for _, down in each)


def _surely_wet_from_m(electrodes: Electrodes, read: Reading, pull: Pull | None) -> float | None:
    """The resistance of rods falls as the length under water grows."""
    if pull is None or not isinstance(electrodes, Rods):
        return None
    return electrodes.wetted_m * read.highest_ohm[1] / pull.low_at_most_ohm
