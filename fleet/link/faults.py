"""Faults of a tank that stay until a person clears them (docs/node-interface.md 8): what each means, and what to look
at before its pump may run again. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fleet.link.state import NodeState, TankState


@dataclass(frozen=True, slots=True)
class Latched:
    """`means`: what the node saw; `look`: what must be looked at first, at the tank and its pump."""

    means: str
    look: str


_LATCHED = {
    "longest-run": Latched(
        "its pump ran for its longest run without reaching its off mark",
        "a burst or open pipe, an open drain, a probe that is stuck, scaled or disconnected, a pump that "
        "delivers less than before",
    ),
    "no-rise": Latched(
        "its pump ran and no mark changed",
        "a dry well or an empty source, a pump that runs dry or not at all, a closed or broken valve, a "
        "burst pipe, a probe that is stuck or disconnected",
    ),
}


def latched(tank: TankState) -> Latched | None:
    """The fault of that tank that stays; None if it has none, or one that passes by itself."""
    return _LATCHED.get(tank.fault)


def with_faults(state: NodeState, tank: str = "") -> list[tuple[int, TankState]]:
    """Number (from 1, as the node counts) and state of each tank whose fault stays; of `tank` alone if one is named."""
    numbered = enumerate(state.tanks, 1)
    return [(n, one) for n, one in numbered if latched(one) is not None and tank in ("", one.name)]
