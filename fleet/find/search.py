"""One search: listening and asking at once, until every expected node has proved itself or time is over."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterable, Mapping, Sequence

from fleet.find.asking import Asking
from fleet.find.browse import Browser
from fleet.find.confirm import Confirmer
from fleet.find.seen import Seen
from fleet.find.sighting import AskResult, Confirmation, Sighting, Source
from fleet.limits import (
    CONFIRM_AT_ONCE,
    CONFIRM_WHOLE_S,
    FIND_QUIET_S,
    FIND_ROUND_S,
    FIND_STEP_S,
    FIND_TELL_S,
)

Tell = Callable[[tuple[str, ...], float], None]
"""Called every FIND_TELL_S with the nodes that are still awaited and the seconds left."""

_SETTLED = (AskResult.CONFIRMED, AskResult.UNSIGNED, AskResult.STRANGER)


class Search:
    """Looks for `expected`; with `only`, claims of other names are passed over.

    Each round a fresh browser asks the network, and whoever did not answer before is asked again; after each
    round, the last known addresses of nodes that are still awaited are tried too. At most `at_once` places are asked
    at a time, in turns, and beside them those where nodes were last known, which wait for none of the others.
    """

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
        at_once: int = CONFIRM_AT_ONCE,
    ) -> None:
        self._browser = browser
        self._expected = tuple(expected)
        self._names = frozenset(expected)
        self._last_seen = last_seen
        self._only = only
        self._tell = tell
        self._timeout_s = timeout_s
        self._asked: set[Sighting] = set()
        self._confirmed: dict[Sighting, Confirmation] = {}
        self._proved: set[str] = set()
        self._first, self._others = (
            Asking(confirmer.confirm, self._names, at_once, self._told) for _ in range(2)
        )

    async def run(self) -> list[Confirmation]:
        """Everything that was announced, with what came of it; at most CONFIRM_WHOLE_S after the time is over."""
        now_s = asyncio.get_running_loop().time
        ends_s = now_s() + self._timeout_s
        tell_s = now_s() + FIND_TELL_S
        await self._browser.ask()
        round_ends_s = min(now_s() + FIND_ROUND_S, ends_s)
        over = False
        try:
            while not over or (self._asking() and now_s() < ends_s + CONFIRM_WHOLE_S):
                self._ask(self._wanted(self._browser.fresh()))
                self._first.go_on()
                self._others.go_on()
                if not self._awaited() and not self._asking() and self._browser.quiet_s() >= FIND_QUIET_S:
                    break
                if now_s() >= round_ends_s and not over:
                    over = now_s() >= ends_s
                    self._asked.clear()
                    self._ask(self._wanted(self._browser.sightings()))
                    self._ask(self._last_known())
                    await self._browser.ask()
                    round_ends_s = min(now_s() + FIND_ROUND_S, ends_s)
                if now_s() >= tell_s:
                    self._tell(self._awaited(), max(0.0, ends_s - now_s()))
                    tell_s += FIND_TELL_S
                await self._browser.news(FIND_STEP_S)
        finally:
            left = [*self._first.end(), *self._others.end()]
        for late in left:  # an earlier answer says more than that there was no time for another
            self._confirmed.setdefault(late.sighting, late)
        return list(self._confirmed.values())

    def _asking(self) -> bool:
        return self._first.busy or self._others.busy

    def _awaited(self) -> tuple[str, ...]:
        """Expected nodes that no board has proved to be yet."""
        return tuple(name for name in self._expected if name not in self._proved)

    def _told(self, what: Confirmation) -> None:
        self._confirmed[what.sighting] = what
        if what.outcome is AskResult.CONFIRMED:
            self._proved.add(what.sighting.node)

    def _wanted(self, sightings: Iterable[Sighting]) -> list[Sighting]:
        return [s for s in sightings if not self._only or s.node in self._names]

    def _last_known(self) -> list[Sighting]:
        places = [(name, self._last_seen[name]) for name in self._awaited() if name in self._last_seen]
        return [Sighting(name, seen.address, seen.port, source=Source.LAST_KNOWN) for name, seen in places]

    def _ask(self, sightings: Iterable[Sighting]) -> None:
        """Ask each once a round, unless its answer was final."""
        for sighting in sightings:
            settled = sighting in self._confirmed and self._confirmed[sighting].outcome in _SETTLED
            if settled or sighting in self._asked:
                continue
            self._asked.add(sighting)
            if not sighting.can_be_a_node:
                self._told(Confirmation(sighting, AskResult.STRANGER))  # there is no key to ask it under
            elif self._is_last_known(sighting):
                self._first.ask(sighting)
            else:
                self._others.ask(sighting)

    def _is_last_known(self, at: Sighting) -> bool:
        seen = self._last_seen.get(at.node)
        return seen is not None and (seen.address, seen.port) == (at.address, at.port)
