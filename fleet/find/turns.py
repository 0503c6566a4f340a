"""Whose turn it is to be asked, where more places claim to be nodes than are asked at once. Pure.

Anybody can announce any name at any number of places, and hold whoever asks there for as long as is waited. So each
place gets a short turn before any gets a second, longer one; the names that are looked for come first and take turns,
and so do the addresses of a name.
"""

from __future__ import annotations

from collections import deque
from typing import TYPE_CHECKING

from fleet.limits import FIND_TURN_S

if TYPE_CHECKING:
    from collections.abc import Collection

    from fleet.find.sighting import Sighting

_Rota = dict[str, dict[str, "deque[Sighting]"]]
"""Waiting places by name and address; who has the next turn stands first."""


class Turns:
    """A queue of places. `expected` are the names that are looked for."""

    def __init__(self, expected: Collection[str]) -> None:
        self._expected = frozenset(expected)
        self._rotas: dict[tuple[bool, int], _Rota] = {}
        self._had: dict[Sighting, int] = {}

    def add(self, at: Sighting) -> None:
        """It wants a turn."""
        names = self._rotas.setdefault(self._rank(at), {})
        names.setdefault(at.node, {}).setdefault(at.address, deque()).append(at)

    def next(self) -> Sighting | None:
        """Whose turn it is, which begins now; None if nobody waits."""
        if not self._rotas:
            return None
        rank = min(self._rotas)
        at = _take(self._rotas[rank])
        if not self._rotas[rank]:
            del self._rotas[rank]
        self._had[at] = self.had(at) + 1
        return at

    def had(self, at: Sighting) -> int:
        """How many turns it had, with the one that it is having."""
        return self._had.get(at, 0)

    def over(self, at: Sighting, ran_s: float) -> bool:
        """Whether one whose turn lasts for `ran_s` is to make room: somebody waits who had no more turns than it."""
        lasts_s = FIND_TURN_S * 2 ** (self.had(at) - 1)
        return ran_s >= lasts_s and bool(self._rotas) and min(self._rotas) <= self._rank(at)

    def _rank(self, at: Sighting) -> tuple[bool, int]:
        return at.node not in self._expected, self.had(at)


def _take(rota: _Rota) -> Sighting:
    """The first of the first address of the first name; name and address go to the end."""
    node = next(iter(rota))
    places = rota.pop(node)
    address = next(iter(places))
    line = places.pop(address)
    at = line.popleft()
    if line:
        places[address] = line
    if places:
        rota[node] = places
    return at
