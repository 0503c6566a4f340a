"""Doing what rejoin.py decides: one pilot for each network, then a few nodes at a time, each followed to its end.

Nodes, clock, sleep and finding are passed in (`NodeAccess`), and who is told (`Report`). Nothing is written down:
whoever runs it again after it was cut off asks each node first.
"""

from __future__ import annotations

import asyncio
from collections import Counter
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Protocol

from fleet.errors import LinkError, NodeRefused, TankfleetError
from fleet.limits import (
    READY_TRIES,
    REJOIN_AT_ONCE,
    REJOIN_GIVE_RETRY_S,
    REJOIN_GIVE_TRIES,
    REJOIN_LEAVES_S,
    REJOIN_POLL_S,
    REJOIN_TELL_S,
    RELOCATE_EVERY_S,
)
from fleet.rejoin import rejoin
from fleet.rejoin.rejoin import Next, NodeRejoin, RejoinStatus, Trial

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from fleet.link.state import NodeState

_MISSES_BEFORE_SEARCH = 2


class NodeAccess(Protocol):
    """What reaches the nodes; each raises LinkError as a node's link does."""

    async def state(self, node: str) -> NodeState:
        """Its signed state."""
        ...

    async def give(self, node: str, trial_s: int) -> None:
        """Hand over the credentials of its network, on trial."""
        ...

    async def keep(self, node: str) -> None:
        """Tell it to keep them."""
        ...

    async def find(self, nodes: Sequence[str]) -> None:
        """Look where these nodes are now."""
        ...

    def clock(self) -> float:
        """Epoch seconds."""
        ...

    async def sleep(self, seconds: float) -> None:
        """Let time go by."""
        ...


class Report(Protocol):
    """Who is told."""

    def stands(self, standing: NodeRejoin) -> None:
        """A node stands otherwise than before."""
        ...

    def change_now(self, nodes: Sequence[str], without: Sequence[str]) -> None:
        """`nodes` hold both networks: the access point may be changed. `without` do not, and would be left behind."""
        ...

    def waiting(self, standings: Sequence[NodeRejoin]) -> None:
        """These are under way; called every REJOIN_TELL_S."""
        ...


@dataclass(frozen=True, slots=True)
class RejoinOptions:
    """`trial_s`: how long a node may try; `change_after`: the access point is changed once all nodes know."""

    trial_s: int
    change_after: bool = False


class Rejoining:
    """One run. `groups`: nodes by network, the pilot first; `absent`: those that were not found, and why; `barred`:
    those that never join their network, and why."""

    def __init__(
        self,
        groups: Mapping[str, Sequence[str]],
        absent: Mapping[str, str],
        hands: NodeAccess,
        wishes: RejoinOptions,
        report: Report,
        barred: Mapping[str, str] | None = None,
    ) -> None:
        self._groups = list(groups.values())
        self._hands = hands
        self._wishes = wishes
        self._report = report
        self.standings: dict[str, NodeRejoin] = {
            name: rejoin.not_found(name, absent[name]) if name in absent else NodeRejoin(name)
            for names in groups.values()
            for name in names
        } | {name: rejoin.not_sent(name, why) for name, why in (barred or {}).items()}
        self._trials: dict[str, Trial] = {}
        self._were_there: set[str] = set()
        self._given: Counter[str] = Counter()
        self._misses: Counter[str] = Counter()

    async def run(self) -> None:
        """To the end; how the nodes stand is in `standings`, at any time."""
        beside = [asyncio.ensure_future(self._tell_on()), asyncio.ensure_future(self._look_around())]
        try:
            for names in self._groups:
                if not await self._network(names):
                    break
        finally:
            for task in beside:
                task.cancel()
            await asyncio.gather(*beside, return_exceptions=True)

    # ---------------------------------------------------------------- the order
    async def _network(self, names: Sequence[str]) -> bool:
        """All nodes of one network. False: its pilot failed, and nobody else is begun."""
        rest = [name for name in names if not self.standings[name].ended]
        while rest:
            pilot = rest.pop(0)
            await self._begin(pilot, pilot=True)
            stands = self.standings[pilot].stands
            if stands in (*rejoin.WELL, RejoinStatus.GIVEN):
                break
            if stands is not RejoinStatus.NOT_FOUND:
                return False
        places = asyncio.Semaphore(REJOIN_AT_ONCE)
        await asyncio.gather(*(self._in_turn(name, places) for name in rest))
        told = [name for name in names if self.standings[name].stands is RejoinStatus.GIVEN]
        if told:
            without = [
                name
                for name in names
                if self.standings[name].stands not in (*rejoin.WELL, RejoinStatus.GIVEN)
            ]
            self._report.change_now(told, without)
            await asyncio.gather(*(self._follow(name) for name in told))
        return True

    async def _in_turn(self, name: str, places: asyncio.Semaphore) -> None:
        async with places:
            await self._begin(name, pilot=False)

    async def _begin(self, name: str, *, pilot: bool) -> None:
        """Ask, give if that is called for, and follow: to the end, or until it is back with both networks."""
        self._put(replace(self.standings[name], stands=RejoinStatus.ASKED))
        state = await self._first_word(name)
        if state is None:
            return
        what, standing = rejoin.first_need(self.standings[name], state)
        self._put(standing)
        if what is Next.KEEP:
            now_s, left_s = self._hands.clock(), state.network.trial_left_s if state.network else 0.0
            self._trials[name] = Trial(now_s, now_s + left_s, sure=True)
            self._were_there.add(name)
        elif what is Next.END or not await self._give(name, state.release):
            return
        if self._wishes.change_after:
            await self._follow(name, until_s=REJOIN_LEAVES_S if pilot else 0.0)
        else:
            await self._follow(name)

    # ---------------------------------------------------------------- one node
    async def _first_word(self, name: str) -> NodeState | None:
        for _ in range(READY_TRIES):
            state = await self._ask(name)
            if state is not None:
                return state
            await self._hands.sleep(REJOIN_POLL_S)
        self._put(rejoin.not_found(name, "it was found, but does not answer now"))
        return None

    async def _follow(self, name: str, until_s: float | None = None) -> None:
        """Until it ended; with `until_s`, at most until it is heard on trial so long after it was given them."""
        while True:
            state, now_s = await self._ask(name), self._hands.clock()
            trial, before = self._trials[name], self.standings[name]
            if state is None:
                what, standing = rejoin.after_silence(before, trial, now_s)
            else:
                what, standing = rejoin.after_word(before, trial, state, now_s)
            self._put(standing)
            if what is Next.END or (what is Next.KEEP and await self._keep(name)):
                return
            if what is Next.GIVE and not await self._give(name, state.release if state else ""):
                return
            heard = what is Next.WAIT and state is not None
            if until_s is not None and heard and now_s - trial.given_s >= until_s:
                return
            await self._hands.sleep(REJOIN_POLL_S)

    async def _ask(self, name: str) -> NodeState | None:
        try:
            state = await self._hands.state(name)
        except LinkError:
            self._misses[name] += 1
            return None
        self._misses[name] = 0
        trial = self._trials.get(name)
        if trial is not None and state.network is not None and state.network.phase == "on-trial":
            ends_s = self._hands.clock() + state.network.trial_left_s
            self._trials[name] = replace(trial, sure=True, ends_s=ends_s)
        return state

    async def _give(self, name: str, release: str) -> bool:
        """Whether it took them, or may have."""
        while self._given[name] < REJOIN_GIVE_TRIES:
            self._given[name] += 1
            sure = True
            try:
                await self._hands.give(name, self._wishes.trial_s)
            except LinkError as error:
                if rejoin.passes(error) and self._given[name] < REJOIN_GIVE_TRIES:
                    await self._hands.sleep(REJOIN_GIVE_RETRY_S)
                    continue
                if rejoin.is_no(error):
                    self._put(rejoin.after_no(self.standings[name], error, release))
                    return False
                sure = False
            now_s = self._hands.clock()
            ends_s = now_s + self._wishes.trial_s
            self._trials[name] = Trial(now_s, ends_s, sure, patient=self._wishes.change_after)
            self._put(replace(self.standings[name], stands=RejoinStatus.GIVEN, back_at_s=ends_s))
            return True
        self._put(rejoin.never_took(self.standings[name]))
        return False

    async def _keep(self, name: str) -> bool:
        """Whether it said that it keeps them. If its word is lost, its next state tells."""
        try:
            await self._hands.keep(name)
        except LinkError as error:
            told = not isinstance(error, NodeRefused)
            self._trials[name] = replace(self._trials[name], told=told or self._trials[name].told)
            return False
        self._put(rejoin.kept(self.standings[name]))
        return True

    def _put(self, standing: NodeRejoin) -> None:
        if standing.stands is RejoinStatus.KEPT and standing.node in self._were_there:
            standing = replace(standing, stands=RejoinStatus.ALREADY)
        before = self.standings[standing.node]
        self.standings[standing.node] = standing
        if standing.stands is not before.stands:
            self._report.stands(standing)

    # ---------------------------------------------------------------- beside the nodes
    async def _tell_on(self) -> None:
        while True:
            self._report.waiting([one for one in self.standings.values() if one.under_way])
            await self._hands.sleep(REJOIN_TELL_S)

    async def _look_around(self) -> None:
        """Nodes that do not answer may have another address in the new network, or this machine may have."""
        while True:
            await self._hands.sleep(RELOCATE_EVERY_S)
            missing = [
                name
                for name, misses in self._misses.items()
                if misses >= _MISSES_BEFORE_SEARCH and not self.standings[name].ended
            ]
            if missing:
                with suppress(TankfleetError):
                    await self._hands.find(missing)
