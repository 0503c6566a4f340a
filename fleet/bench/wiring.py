"""The wires of one node: the water of its tanks to its probe pins, its relay pins to the pumps."""

from __future__ import annotations

from enum import StrEnum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from fleet.bench.pins import PinsFile
    from fleet.bench.spec import PumpSpec, TankSpec
    from fleet.bench.world import TankWorld


class ProbeHurt(StrEnum):
    """How a probe lies: its wire is broken (reads dry), or it is bridged by dirt (reads wet)."""

    LOST = "lost-probe"
    SWOLLEN = "swollen"


class Wiring:
    """Which GPIO is which mark's probe and which pump's relay."""

    def __init__(self, tanks: Sequence[TankSpec]) -> None:
        self._tanks = tuple(tanks)

    def write_probes(
        self, pins: PinsFile, worlds: Mapping[str, TankWorld], hurt: Mapping[tuple[str, str], ProbeHurt]
    ) -> None:
        """Set every probe pin from the water; `hurt` holds the probes that lie, by (tank, mark)."""
        for tank in self._tanks:
            for probe, truly_wet in zip(tank.probes, worlds[tank.name].wet(), strict=True):
                lie = hurt.get((tank.name, probe.mark))
                wet = truly_wet if lie is None else lie is ProbeHurt.SWOLLEN
                pins.set_input(probe.gpio, high=not wet)

    def running_pumps(self, pins: PinsFile) -> dict[str, bool]:
        """By tank with a pump: whether its relay is picked up."""
        return {tank.name: relay_on(tank.pump, pins) for tank in self._tanks if tank.pump is not None}


def relay_on(pump: PumpSpec, pins: PinsFile) -> bool:
    """Whether the relay is picked up: the pin is driven, to the active level. A pin that floats leaves it
    off."""
    return pins.driven_high(pump.gpio) is pump.active_high
