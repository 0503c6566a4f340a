"""What a node says while its probes are dipped one by one: the rules of docs/node-interface.md 4 and 8, in words.

The serial console's `state` prints one line per tank: `tank NAME: level N, pump relay on, below-low`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fleet.water.filling import pump_marks, rising

if TYPE_CHECKING:
    from fleet.model.tank import Tank


@dataclass(frozen=True, slots=True)
class Reading:
    """A state of the probes from the lowest up, and what `state` says then; `relay` empty without a pump."""

    level: int
    wet: tuple[str, ...]
    relay: str
    why: str

    @property
    def words(self) -> str:
        """As the console prints it after the tank's name."""
        pump = f", pump relay {self.relay}, {self.why}" if self.relay else ""
        return f"level {self.level}{pump}"


def rising_readings(tank: Tank, *, relay: bool) -> tuple[Reading, ...]:
    """Of all probes dry, then one more wet at a time, the pump relay's holds being over; `relay`: the node has
    one. Between its marks a pump goes on doing what it did."""
    names = [mark.name for mark in rising(tank)]
    readings = []
    on = False
    for level in range(len(names) + 1):
        on, why = _decide(tank, level, on)
        word = ("on" if on else "off") if relay and tank.pump else ""
        readings.append(Reading(level, tuple(names[:level]), word, why if word else ""))
    return tuple(readings)


def _decide(tank: Tank, level: int, on: bool) -> tuple[bool, str]:
    if tank.pump is None:
        return False, ""
    marks = rising(tank)
    start, stop = (marks.index(mark) for mark in pump_marks(tank, tank.pump))
    low, high = min(start, stop), max(start, stop)
    above_high, below_low = level > high, level <= low
    why = "above-high" if above_high else "below-low" if below_low else "between"
    fills = tank.pump.does == "fill"
    if above_high if fills else below_low:
        return False, why
    if below_low if fills else above_high:
        return True, why
    return on, why
