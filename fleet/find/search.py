"""One search: rounds of listening and asking, until every expected node has proved itself or time is over."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Coroutine, Mapping, Sequence
from typing import Any

from fleet.find.browse import Browser
from fleet.find.confirm import Confirmer
from fleet.find.seen import Seen
from fleet.find.sighting import Confirmation, Outcome, Sighting, Source
from fleet.limits import FIND_ROUND_S, FIND_TELL_S

Tell = Callable[[tuple[str, ...], float], None]
"""Called every FIND_TELL_S with the nodes that are still awaited and the seconds left."""

_SETTLED = (Outcome.CONFIRMED, Outcome.UNSIGNED)


class Search:
    """Looks for `expected`; with `only`, claims of other names are passed over."""

    def __init__(
        self,
        browser: Browser,
        confirmer: Confirmer,
        expected: Sequence[str],
        last_seen: Mapping[str, Seen],
        *,
        only: bool,
        timeout_s: float,
        tell: Tell,
    ) -> None:
        self._browser = browser
        self._confirmer = confirmer
        self._expected = tuple(expected)
        self._last_seen = last_seen
        self._only = only
        self._tell = tell
        self._ends_s = asyncio.get_running_loop().time() + timeout_s
        self._confirmed: dict[Sighting, Confirmation] = {}

    async def run(self) -> list[Confirmation]:
        """Everything that was asked, with what came of it."""
        while True:
            await self._watched(
                self._browser.look(self._expected, at_most_s=min(FIND_ROUND_S, self._left_s()))
            )
            await self._watched(self._confirm(self._announced()))
            if self._awaited():
                await self._watched(self._confirm(self._last_known()))
            if not self._awaited() or self._left_s() <= 0:
                return list(self._confirmed.values())

    def _awaited(self) -> tuple[str, ...]:
        """Expected nodes that no board has proved to be yet."""
        proved = {c.sighting.node for c in self._confirmed.values() if c.outcome is Outcome.CONFIRMED}
        return tuple(name for name in self._expected if name not in proved)

    def _left_s(self) -> float:
        return max(0.0, self._ends_s - asyncio.get_running_loop().time())

    def _announced(self) -> list[Sighting]:
        return [s for s in self._browser.sightings() if not self._only or s.node in self._expected]

    def _last_known(self) -> list[Sighting]:
        places = [(name, self._last_seen[name]) for name in self._awaited() if name in self._last_seen]
        return [Sighting(name, seen.address, seen.port, source=Source.LAST_KNOWN) for name, seen in places]

    async def _confirm(self, sightings: Sequence[Sighting]) -> None:
        """Ask wherever there was no final answer yet: a node that restarts just now answers a round later."""
        asked = [
            s for s in sightings if s not in self._confirmed or self._confirmed[s].outcome not in _SETTLED
        ]
        for confirmation in await self._confirmer.confirm_all(asked):
            self._confirmed[confirmation.sighting] = confirmation

    async def _watched(self, work: Coroutine[Any, Any, None]) -> None:
        """Run a step; tell what is awaited while it lasts."""
        step = asyncio.ensure_future(work)
        try:
            while not (await asyncio.wait({step}, timeout=FIND_TELL_S))[0]:
                self._tell(self._awaited(), self._left_s())
            step.result()
        finally:
            step.cancel()
