"""Electrodes: the resistance of the water between them, and whether a pin surely tells wet from dry by it.

A probe joins its pin to the common electrode through the water; a pull-up lifts the pin. With the inputs' limits of a
quarter and three quarters of the supply, a pin surely reads LOW (wet) while the water has at most a third of the
pull-up's resistance, and surely HIGH (dry) while what is left has at least three times of it. In between it may read
either.

R = K / conductivity, with the cell constant K: of plates distance / area; of two parallel rods
acosh(spacing / diameter) / (pi x wetted length), the dual of the capacitance of twin wires (from memory; ends and
tank walls left out).

All probes of a tank share one common electrode. The chip's own pull-ups are turned on one after the other, for a
reading each (core/control.cpp, the ports' probe_is_low), so a reading has the water to itself. Resistors outside are
on at once, always or while a pin feeds them: through the half of a pair's resistance that lies at the common electrode
(two electrodes of one kind) then runs the current of all wet probes, so each of n sees (1 + n) / 2 times the resistance
of one pair (Kirchhoff). The highest mark, with all wet, has it worst: that is the one that stops a filling pump. (Where
those below it are wetted over a greater length, and the common electrode is not, up to 4 % more: left out.) Pure
arithmetic.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from math import acosh, inf, log, pi, sqrt
from typing import TYPE_CHECKING, Final

from fleet.limits import (
    CABLE_LEAK_OHM_M,
    CABLE_PF_PER_M,
    ELECTRODE_CURRENT_UA,
    FEED_SETTLE_S,
    FILM_WET_FACTOR,
    HIGH_SHARE,
    LARGEST_PULL_UP_OHM,
    LOW_SHARE,
    MEASURED_SPREAD,
    PIN_PF,
    RESISTOR_TOLERANCE,
    SAMPLE_PERIOD_MS,
    SLIME_MM,
    SPLASH_MM,
    SUPPLY_V,
)
from fleet.model.tank import Duty, Plates, Rods

if TYPE_CHECKING:
    from fleet.model.node import Served
    from fleet.model.tank import Electrodes, Tank, Water

PER_KELVIN: Final = 0.02
"""Rise of conductivity per kelvin (from memory); figures are for 25 degrees."""
COLDEST_C: Final = 5.0
WARMEST_C: Final = 35.0
E24: Final = (10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91)
"""IEC 60063, resistors of 5 %."""

# Conductivity at 25 degrees by kind of water, uS/cm.
_BY_KIND: Final[dict[str, tuple[float, float, str]]] = {
    "mains": (50.0, 1500.0, "potable water, Maine DHHS, pH and conductivity"),
    "bore": (50.0, 1500.0, "potable water, Maine DHHS, pH and conductivity, taken for bores too"),
    "rain": (5.0, 50.0, "from memory"),
    "river": (20.0, 1000.0, "datastream.org guide: streams to 200, rivers to 1,000; the least from memory"),
    "grey": (300.0, 3000.0, "from memory"),
    "brackish": (1000.0, 10_000.0, "datastream.org guide"),
}
_SLIMY: Final = ("grey", "river", "rain", "brackish")
_SLIMY_DUTIES: Final = (Duty.SUMP, Duty.LIVESTOCK)


class Sure(StrEnum):
    """Whether a state is surely read as what it is."""

    YES = "pass"
    DOUBTFUL = "doubtful"
    FAIL = "fail"


@dataclass(frozen=True, slots=True)
class Conductivity:
    """At 25 degrees, uS/cm: the least and the most that must be allowed for, and what says so."""

    least_us_per_cm: float
    most_us_per_cm: float
    source: str


@dataclass(frozen=True, slots=True)
class Pull:
    """A pull-up: its nominal resistance and its limits, ohm; what it is, in words; what the board has to ground beside
    the water."""

    ohm: float
    least_ohm: float
    most_ohm: float
    what: str
    down_ohm: float = inf

    @property
    def low_at_most_ohm(self) -> float:
        """At most this much water surely reads LOW, whatever the pull-up has within its limits."""
        return surely_low_ohm(self.least_ohm)

    @property
    def high_at_least_ohm(self) -> float:
        """At least this much surely reads HIGH; no end of it where the board's own pull-down never lets it."""
        return _beside(surely_high_ohm(self.most_ohm), self.down_ohm)

    @property
    def high_at_best_ohm(self) -> float:
        """At least this much may read HIGH, if the pull-up is as strong as it can be."""
        return _beside(surely_high_ohm(self.least_ohm), self.down_ohm)

    def loaded(self, up_ohm: float, down_ohm: float) -> Pull:
        """It and what the board itself hangs on the pin, to HIGH and to LOW; no load is no end of ohms."""
        if up_ohm == down_ohm == inf:
            return self
        least, ohm, most = (1 / (1 / own + 1 / up_ohm) for own in (self.least_ohm, self.ohm, self.most_ohm))
        hung = " and ".join(
            f"{kohm(load)} to {level}" for load, level in ((up_ohm, "HIGH"), (down_ohm, "LOW")) if load < inf
        )
        return Pull(
            ohm, least, most, f"{self.what}, with what the board hangs on the pin ({hung}),", down_ohm
        )


@dataclass(frozen=True, slots=True)
class Reading:
    """What a pin makes of a pair of electrodes.

    `wet_ohm` and `dry_ohm`: of one pair, from the best to the worst case (wet: rising, dry: falling). `shared`: how
    many times that of one pair the highest probe sees, with all wet.
    """

    cell_constant_per_cm: float
    film: bool
    shared: float
    wet_ohm: tuple[float, float]
    dry_ohm: tuple[float, float]
    wet: Sure
    dry: Sure
    current_ua: float
    """Direct current through the water at its worst, of one probe while its pull-up is on."""

    @property
    def highest_ohm(self) -> tuple[float, float]:
        """What the highest probe sees, wet: the resistance of a pair, shared with all below it."""
        return self.wet_ohm[0] * self.shared, self.wet_ohm[1] * self.shared


def surely_low_ohm(pull_up_ohm: float) -> float:
    """The largest resistance to ground at which a pin with that pull-up surely reads LOW: a third of it."""
    return pull_up_ohm * LOW_SHARE / (1 - LOW_SHARE)


def surely_high_ohm(pull_up_ohm: float) -> float:
    """The smallest at which it surely reads HIGH: three times the pull-up."""
    return pull_up_ohm * HIGH_SHARE / (1 - HIGH_SHARE)


def cell_constant_per_cm(electrodes: Electrodes) -> float:
    """K in 1/cm: resistance times conductivity. Rods that touch have none: 0."""
    match electrodes:
        case Rods():
            ratio = electrodes.spacing_m / electrodes.diameter_m
            return acosh(ratio) / (pi * electrodes.wetted_m) / 100 if ratio > 1 else 0.0
        case Plates():
            return electrodes.distance_m / electrodes.area_m2 / 100
    return electrodes.cell_constant_per_cm


def film_constant_per_cm(electrodes: Electrodes, film_mm: float) -> float:
    """K of a film of water left on the holder from one electrode to the other: length / (thickness x width).

    The width is that of an electrode; a given constant counts as a square of film.
    """
    match electrodes:
        case Rods():
            squares = electrodes.spacing_m / electrodes.diameter_m
        case Plates():
            squares = electrodes.distance_m / sqrt(electrodes.area_m2)
        case _:
            squares = 1.0
    return squares / (film_mm / 10)


def resistance_ohm(constant_per_cm: float, conductivity_us_per_cm: float) -> float:
    """R = K / conductivity, ohm."""
    return 1e6 * constant_per_cm / conductivity_us_per_cm


def at_c(conductivity_us_per_cm: float, celsius: float) -> float:
    """A conductivity given for 25 degrees, at another temperature."""
    return conductivity_us_per_cm * (1 + PER_KELVIN * (celsius - 25.0))


def conductivity(water: Water | None) -> Conductivity | None:
    """What the water of a tank may conduct: as measured, give or take, else by its kind; None if neither is known."""
    if water is None:
        return None
    measured = water.conductivity_us_per_cm
    if measured is not None:
        source = f"measured, {100 * MEASURED_SPREAD:.0f} % either way for the seasons (own allowance)"
        return Conductivity(measured * (1 - MEASURED_SPREAD), measured * (1 + MEASURED_SPREAD), source)
    return by_kind(water.kind) if water.kind else None


def by_kind(kind: str) -> Conductivity:
    """What water of a kind may conduct; KeyError if there is no such kind."""
    return Conductivity(*_BY_KIND[kind])


def has_film(tank: Tank) -> bool:
    """Whether its electrodes must be thought of with scale or slime: as given, else by duty and kind of water."""
    if tank.electrodes is not None and tank.electrodes.film is not None:
        return tank.electrodes.film
    return tank.duty in _SLIMY_DUTIES or (tank.water is not None and tank.water.kind in _SLIMY)


def chip_pull(ohm: float, least_ohm: float, most_ohm: float) -> Pull:
    """The pull-up inside of a chip."""
    return Pull(ohm, least_ohm, most_ohm, f"the chip's own pull-up ({kohm(least_ohm)} to {kohm(most_ohm)})")


def resistor_pull(ohm: float) -> Pull:
    """A resistor of 5 % outside of the chip."""
    spread = RESISTOR_TOLERANCE * ohm
    return Pull(
        ohm, ohm - spread, ohm + spread, f"a resistor of {kohm(ohm)}, {100 * RESISTOR_TOLERANCE:.0f} %"
    )


def pull_of(served: Served, chip: Pull) -> Pull | None:
    """The pull-up of its probes, `chip` being the board's own; None for one outside whose value is not given."""
    if served.pull_up == "internal":
        return chip
    return resistor_pull(served.pull_up_resistor_ohm) if served.pull_up_resistor_ohm else None


def sharing(probes: int) -> float:
    """How many times the resistance of one pair each of so many wet probes sees, their pull-ups being on at once."""
    return (1 + probes) / 2


def on_at_once(served: Served) -> int:
    """Of how many probes at one tank the pull-ups are on at the same time: of all, or with the chip's own, of one."""
    return len(served.probes) if served.pull_up == "external" else 1


def waits_s(served: Served, chip_s: float) -> float:
    """How long the firmware waits before it reads these probes: `chip_s` for the chip's own pull-up; 0 where resistors
    outside are always on."""
    if served.pull_up == "internal":
        return chip_s
    return FEED_SETTLE_S if served.is_fed else 0.0


def on_share(served: Served) -> float:
    """How much of the time resistors outside are on."""
    return FEED_SETTLE_S * 1e3 / SAMPLE_PERIOD_MS if served.is_fed else 1.0


def largest_current_ua(pull: Pull, water_ohm: float = 0.0) -> float:
    """Direct current through water of that resistance while the pull-up is on, in microamperes."""
    return 1e6 * SUPPLY_V / (pull.least_ohm + water_ohm)


def wet_ohm(electrodes: Electrodes, water: Conductivity, film: bool) -> tuple[float, float]:
    """Of electrodes under water: warm, clean and as conductive as it gets, to cold, coated and pure."""
    constant = cell_constant_per_cm(electrodes)
    worst = resistance_ohm(constant, at_c(water.least_us_per_cm, COLDEST_C))
    best = resistance_ohm(constant, at_c(water.most_us_per_cm, WARMEST_C))
    return best, worst * (FILM_WET_FACTOR if film else 1.0)


def dry_ohm(electrodes: Electrodes, water: Conductivity, film: bool, cable_m: float) -> tuple[float, float]:
    """Of electrodes just out of the water: a splash of pure, cold water on a perfect cable, to slime of
    conductive, warm water and an old damp cable beside it."""
    best = resistance_ohm(film_constant_per_cm(electrodes, SPLASH_MM), at_c(water.least_us_per_cm, COLDEST_C))
    coat = film_constant_per_cm(electrodes, SLIME_MM if film else SPLASH_MM)
    worst = resistance_ohm(coat, at_c(water.most_us_per_cm, WARMEST_C))
    leak = CABLE_LEAK_OHM_M / cable_m if cable_m else inf
    return best, 1 / (1 / worst + 1 / leak)


def reading(
    electrodes: Electrodes, water: Conductivity, film: bool, pull: Pull, cable_m: float, probes: int = 1
) -> Reading:
    """What a pin with that pull-up makes of them, at best and at worst, of so many probes `on_at_once` the highest."""
    wet = wet_ohm(electrodes, water, film)
    dry = dry_ohm(electrodes, water, film, cable_m)
    shared = sharing(probes)
    return Reading(
        cell_constant_per_cm=cell_constant_per_cm(electrodes),
        film=film,
        shared=shared,
        wet_ohm=wet,
        dry_ohm=dry,
        wet=_sure(wet[1] * shared <= pull.low_at_most_ohm, wet[0] * shared <= surely_low_ohm(pull.most_ohm)),
        dry=_sure(dry[1] >= pull.high_at_least_ohm, dry[0] >= pull.high_at_best_ohm),
        current_ua=largest_current_ua(pull, wet[0]),
    )


def resistor_to_fit_ohm(
    wet: tuple[float, float], dry: tuple[float, float], probes: int = 1, most_ohm: float = LARGEST_PULL_UP_OHM
) -> float | None:
    """The resistor outside (E24, ohm) that reads a pair surely, in the middle of those that do; None if none does.

    `probes`: so many at the tank have one each, and share the common electrode. It lets no more current through the
    water than electrodes bear, and is no larger than `most_ohm`: what a pin's leakage allows, or `fed_at_most_ohm`.
    """
    least = wet[1] * sharing(probes) / surely_low_ohm(1 - RESISTOR_TOLERANCE)
    most = min(dry[1] / surely_high_ohm(1 + RESISTOR_TOLERANCE), most_ohm)
    least = max(least, 1e6 * SUPPLY_V / ELECTRODE_CURRENT_UA / (1 - RESISTOR_TOLERANCE))
    fit = [ohm for ohm in _e24() if least <= ohm <= most]
    middle = log(least * most) / 2 if least <= most else 0.0
    return min(fit, key=lambda ohm: abs(log(ohm) - middle), default=None)


def needs_resistor(read: Reading, pull: Pull | None, cable_m: float, settle_s: float) -> bool:
    """Whether another pull-up than the one there must be fitted.

    `pull` is None for a resistor outside whose value is not given. `settle_s`: how long the firmware `waits_s`.
    """
    if pull is None or not (read.wet is Sure.YES and read.dry is Sure.YES):
        return True
    return (
        settles_s(pull.most_ohm, cable_m) > settle_s if settle_s else read.current_ua > ELECTRODE_CURRENT_UA
    )


def settles_s(pull_up_ohm: float, cable_m: float) -> float:
    """How long a pull-up takes to lift a dry pin with that cable to where it surely reads HIGH."""
    farad = (PIN_PF + CABLE_PF_PER_M * cable_m) * 1e-12
    return pull_up_ohm * farad * -log(1 - HIGH_SHARE)


def fed_at_most_ohm(served: Served) -> float:
    """The largest resistor at its probes: by a pin's leakage, and where a pin feeds it, by what settles in time."""
    if not served.is_fed:
        return LARGEST_PULL_UP_OHM
    per_ohm_s = settles_s(1 + RESISTOR_TOLERANCE, served.cable_length_m or 0.0)
    return min(LARGEST_PULL_UP_OHM, FEED_SETTLE_S / per_ohm_s)


def longest_cable_m(pull_up_ohm: float, settle_s: float) -> float:
    """The cable that a pull-up lifts within that time."""
    farad = settle_s / (pull_up_ohm * -log(1 - HIGH_SHARE))
    return max(0.0, (farad * 1e12 - PIN_PF) / CABLE_PF_PER_M)


def kohm(ohm: float) -> str:
    """Such as `850 ohm`, `4.7 kohm`, `100 kohm`, `1.2 Mohm`; no end of it is `more than any`."""
    if ohm == inf:
        return "more than any"
    if ohm < 1e3:
        return f"{ohm:.3g} ohm"
    return f"{ohm / 1e3:.3g} kohm" if ohm < 0.9995e6 else f"{ohm / 1e6:.3g} Mohm"


def _beside(needed_ohm: float, down_ohm: float) -> float:
    """What the water must have where both together must have `needed_ohm`."""
    return 1 / (1 / needed_ohm - 1 / down_ohm) if down_ohm > needed_ohm else inf


def _sure(at_worst: bool, at_best: bool) -> Sure:
    return Sure.YES if at_worst else Sure.DOUBTFUL if at_best else Sure.FAIL


def _e24() -> tuple[float, ...]:
    return tuple(float(two * 10**power) for power in range(2, 6) for two in E24)
