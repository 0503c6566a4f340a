"""How draw and inflow go through a day: pure functions of duty, seed and time, each a share from 0 to 1.

The shapes are invented but of the usual kind (common practice): households draw in the morning and in the
evening, stock drinks by day, irrigation runs around dawn and dusk, rain comes in showers. No share exceeds
1, so that the largest draw and inflow of the inventory hold.
"""

from __future__ import annotations

import hashlib
import math
from dataclasses import dataclass
from functools import lru_cache

DAY_S = 86_400.0
_SLOT_S = 600.0
_SPELL_S = 6 * 3600.0
_WET_SPELLS = 0.25
"""Share of the spells that bring rain."""


@dataclass(frozen=True, slots=True)
class Bump:
    """A rise around an hour of the day: `width_h` is its standard deviation."""

    hour: float
    width_h: float
    share: float


@dataclass(frozen=True, slots=True)
class Day:
    """What is always drawn, and the rises of the day."""

    base: float
    bumps: tuple[Bump, ...] = ()


_HOUSE = Day(0.05, (Bump(7.0, 1.2, 0.8), Bump(19.0, 1.8, 0.7)))
_DAYS = {
    "potable": _HOUSE,
    "rain": _HOUSE,
    "livestock": Day(0.05, (Bump(8.0, 2.0, 0.5), Bump(16.0, 2.5, 0.7))),
    "irrigation": Day(0.0, (Bump(5.5, 1.5, 0.9), Bump(20.0, 1.2, 0.8))),
    "process": Day(0.1, (Bump(11.0, 3.0, 0.8),)),
}
_NOTHING = Day(0.0)


def draw_share(duty: str, seed: str, at_s: float) -> float:
    """Share of the largest draw at `at_s` seconds after the first midnight. Fire reserves and sumps: 0."""
    day = _DAYS.get(duty, _NOTHING)
    hour = (at_s % DAY_S) / 3600
    total = day.base + sum(bump.share * _bell(hour, bump) for bump in day.bumps)
    return min(1.0, total) * (0.6 + 0.4 * _noise(f"draw:{seed}", at_s))


def inflow_share(duty: str, seed: str, at_s: float) -> float:
    """Share of the largest uncontrolled inflow at `at_s`: showers of wet spells into rain tanks, seepage and
    waste water into sumps, little by little elsewhere."""
    noise = _noise(f"inflow:{seed}", at_s)
    if duty == "rain":
        wet_spell = _slot(f"weather:{seed}", int(at_s / _SPELL_S)) < _WET_SPELLS
        return max(0.0, noise - 0.4) / 0.6 if wet_spell else 0.0
    return 0.15 + 0.5 * noise if duty == "sump" else 0.3 * noise


def chance(seed: str) -> float:
    """A number from 0 up to but not 1, the same for the same seed on every machine."""
    return int.from_bytes(hashlib.blake2b(seed.encode(), digest_size=6).digest(), "big") / 2**48


def _bell(hour: float, bump: Bump) -> float:
    apart = abs(hour - bump.hour)
    apart = min(apart, 24 - apart)
    return math.exp(-((apart / bump.width_h) ** 2) / 2)


def _noise(seed: str, at_s: float) -> float:
    """Slow noise from 0 to 1: a chance per slot of ten minutes, straight lines between."""
    slot, share = divmod(at_s / _SLOT_S, 1.0)
    return (1 - share) * _slot(seed, int(slot)) + share * _slot(seed, int(slot) + 1)


@lru_cache(maxsize=4096)
def _slot(seed: str, slot: int) -> float:
    return chance(f"{seed}:{slot}")
