"""Lengths, volumes, flows, times and counts as text, in metric or US units. JSON never goes through here."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

_M_PER_FOOT = 0.3048
_L_PER_GALLON = 3.785411784
_KW_PER_HP = 0.745699872
"""Mechanical horsepower, 550 ft lbf/s."""


@dataclass(frozen=True, slots=True)
class Units:
    """How a person wants to read quantities."""

    us: bool = False

    def length(self, metres: float) -> str:
        """Such as `2.85 m` or `9.35 ft`."""
        return f"{metres / _M_PER_FOOT:.2f} ft" if self.us else f"{metres:.2f} m"

    def tape(self, metres: float) -> str:
        """As it is read off a tape: `2.85 m`, or `9 ft 4.2 in`."""
        if not self.us:
            return self.length(metres)
        feet, inches = divmod(round(metres / _M_PER_FOOT * 12, 1), 12)
        parts = (f"{feet:.0f} ft" if feet else "", f"{inches:.3g} in" if inches >= 0.05 or not feet else "")
        return " ".join(part for part in parts if part)

    def power(self, kw: float) -> str:
        """Such as `0.75 kW` or `1.01 hp`."""
        return f"{kw / _KW_PER_HP:.3g} hp" if self.us else f"{kw:.3g} kW"

    def small_length(self, metres: float) -> str:
        """Such as `64 mm` or `2.5 in`; `under 1 mm` or `under 0.1 in` for next to nothing."""
        value, least, unit = self._small(metres)
        shown = f"{value:.1f}" if self.us else f"{value:.0f}"
        return f"{shown} {unit}" if value >= least else f"under {least:g} {unit}"

    def small_length_at_most(self, metres: float) -> str:
        """Such as `up to 64 mm`; `under 1 mm` for next to nothing."""
        value, least, _ = self._small(metres)
        return f"{'up to ' if value >= least else ''}{self.small_length(metres)}"

    def _small(self, metres: float) -> tuple[float, float, str]:
        """The figure, the least that is shown, and the unit."""
        return (metres / _M_PER_FOOT * 12, 0.1, "in") if self.us else (metres * 1000, 1, "mm")

    def long_length(self, metres: float) -> str:
        """Of a cable, such as `35 m` or `115 ft`."""
        return f"{metres / _M_PER_FOOT:.3g} ft" if self.us else f"{metres:.3g} m"

    def volume(self, litres: float) -> str:
        """Such as `19,085 L` or `5,042 gal`; a decimal below 100."""
        value, unit = (litres / _L_PER_GALLON, "gal") if self.us else (litres, "L")
        return f"{value:,.0f} {unit}" if value >= 100 or value == 0 else f"{value:.1f} {unit}"

    def flow(self, l_per_min: float) -> str:
        """Such as `45 L/min` or `11.9 gal/min`."""
        value, unit = (l_per_min / _L_PER_GALLON, "gal/min") if self.us else (l_per_min, "L/min")
        return f"{value:,.0f} {unit}" if value >= 100 else f"{value:.3g} {unit}"


METRIC: Final = Units()
_YEAR_D: Final = 365.25
_YEARS_SHOWN: Final = 1000


def share(value: float) -> str:
    """Such as `95 %`."""
    return f"{100 * value:.0f} %"


def counted(number: int, noun: str, plural: str = "") -> str:
    """`1 node`, `2 nodes`; `plural` where it is not the noun with an s."""
    return f"{number} {noun if number == 1 else plural or f'{noun}s'}"


def duration(seconds: float | None) -> str:
    """Such as `0.5 s`, `45 s`, `4 min 10 s`, `12 min`, `6 h 37 min`, `3.2 d`, `136 years`; None is `without end`.

    Never longer than `over 1000 years`, whatever a slip of a unit makes of a time.
    """
    if seconds is None:
        return "without end"
    if seconds < 90:
        return f"{seconds:.2g} s" if 0 < seconds < 1 else f"{seconds:.0f} s"
    if seconds < 600:
        minutes, rest = divmod(round(seconds), 60)
        return f"{minutes} min {rest} s" if rest else f"{minutes} min"
    minutes = round(min(seconds / 60, _YEARS_SHOWN * _YEAR_D * 1440))
    if minutes < 90:
        return f"{minutes} min"
    if minutes < 48 * 60:
        hours, rest = divmod(minutes, 60)
        return f"{hours} h {rest} min" if rest else f"{hours} h"
    return _long_duration(seconds / 86400)


def _long_duration(days: float) -> str:
    if days < 1000:
        return f"{f'{days:.1f}'.removesuffix('.0') if days < 100 else round(days)} d"
    years = days / _YEAR_D
    return f"{years:.0f} years" if years <= _YEARS_SHOWN else f"over {_YEARS_SHOWN} years"
