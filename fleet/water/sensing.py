"""How current gets into the water at a tank's probes: in pulses, or all the time; and what that does to metal.

The firmware turns the chip's own pull-up on for one reading of one probe at a time (the ports' probe_is_low). A
resistor outside that hangs on the supply is always on: its current flows for as long as its probe is wet. Those that a
pin feeds are on together, for the readings of one tank (the ports' feed). Pure arithmetic.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from fleet.limits import SAMPLE_PERIOD_MS
from fleet.water.electrodes import (
    cell_constant_per_cm,
    conductivity,
    has_film,
    largest_current_ua,
    on_at_once,
    pull_of,
    reading,
    waits_s,
)

if TYPE_CHECKING:
    from fleet.model.node import Served
    from fleet.model.tank import Tank
    from fleet.water.electrodes import Pull

IRON_G_PER_AH: Final = 1.042
"""What a current dissolves of iron: molar mass / (2 x Faraday's constant) = 55.85 g / (2 x 26.80 A h)."""
_H_PER_YEAR: Final = 8766.0


@dataclass(frozen=True, slots=True)
class Sensing:
    """The current at the probes of one tank. `most_ua`: direct current of one wet probe at its worst, None where the
    resistor is not given; `on_s` of each `period_s`: how long it flows."""

    always: bool
    together: bool
    """The pull-ups of all probes are on at once."""
    probes: int
    pull: str
    """In words."""
    most_ua: float | None
    on_s: float
    period_s: float

    @property
    def when(self) -> str:
        """In two or three words."""
        return "all the time" if self.always else "in pulses"

    @property
    def how(self) -> str:
        """Such as `1 of every 100 ms (1 %), one probe after the other, at most 110 uA`."""
        if not self.always:
            share = f"{1e3 * self.on_s:g} of every {1e3 * self.period_s:g} ms ({100 * self.on_s / self.period_s:g} %)"
            if not self.together:
                return f"{share}, one probe after the other, at most {ua(self.most_ua or 0.0)}"
            return f"{share}, all probes at once, {self._each}"
        of = "" if self.most_ua is None else "of "
        return f"direct current {of}{self._each}"

    @property
    def _each(self) -> str:
        if self.most_ua is None:
            return f"at each wet probe ({self.pull})"
        several = ""
        if self.probes > 1:
            several = f", {ua(self.probes * self.most_ua)} at the common electrode with all wet"
        return f"at most {ua(self.most_ua)} at each wet probe{several} ({self.pull})"

    @property
    def words(self) -> str:
        """Both."""
        return f"{self.when}: {self.how}"


def sensing(tank: Tank, served: Served, chip: Pull, settle_s: float) -> Sensing:
    """Of the probes at one tank; `chip`: the board's own pull-up, which the firmware leaves on for `settle_s`."""
    always, period_s = served.always_on, SAMPLE_PERIOD_MS / 1e3
    pull = pull_of(served, chip)
    return Sensing(
        always=always,
        together=served.pull_up == "external",
        probes=len(served.probes),
        pull=pull.what if pull else "external resistors of unknown value",
        most_ua=_most_ua(tank, served, pull) if pull else None,
        on_s=period_s if always else waits_s(served, settle_s),
        period_s=period_s,
    )


def dissolved_g_per_year(current_ua: float) -> float:
    """How much iron direct current that never stops takes off an electrode in a year (Faraday's law)."""
    return current_ua * 1e-6 * _H_PER_YEAR * IRON_G_PER_AH


def ua(current_ua: float) -> str:
    """Such as `8.9 uA`, `110 uA`."""
    return f"{current_ua:.2g} uA" if current_ua < 99.5 else f"{current_ua:,.0f} uA"


def _most_ua(tank: Tank, served: Served, pull: Pull) -> float:
    """Through the water where electrodes and water are known, else as if it had no resistance."""
    water = conductivity(tank.water)
    if tank.electrodes is None or water is None or not cell_constant_per_cm(tank.electrodes):
        return largest_current_ua(pull)
    read = reading(
        tank.electrodes, water, has_film(tank), pull, served.cable_length_m or 0.0, on_at_once(served)
    )
    return read.current_ua
