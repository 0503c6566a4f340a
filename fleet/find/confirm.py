"""Asking at each sighting's address who is there: the signed state decides."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Collection
from dataclasses import replace

import aiohttp

from fleet.errors import LinkError, NodeImpostor, NodeUnreachable
from fleet.find.sighting import AskResult, Confirmation, Sighting, Source
from fleet.limits import (
    CONFIRM_ANSWER_TIMEOUT_S,
    CONFIRM_CONNECT_TIMEOUT_S,
    CONFIRM_WHOLE_S,
    FIND_ROUND_S,
)
from fleet.link.client import NodeLink, Timeouts, read_unconfirmed_state
from fleet.link.codes import CROWDED
from fleet.link.state import NodeState

TIMEOUTS = Timeouts(
    connect_s=CONFIRM_CONNECT_TIMEOUT_S, answer_s=CONFIRM_ANSWER_TIMEOUT_S, crowded_s=FIND_ROUND_S
)


class Confirmer:
    """Confirms sightings, each in `whole_s`. `node_key_of` gives the key of any name."""

    def __init__(
        self,
        session: aiohttp.ClientSession,
        node_key_of: Callable[[str], bytes],
        known: Collection[str],
        entropy: Callable[[int], bytes],
        *,
        timeouts: Timeouts = TIMEOUTS,
        whole_s: float = CONFIRM_WHOLE_S,
    ) -> None:
        self._session = session
        self._node_key_of = node_key_of
        self._known = frozenset(known)
        self._entropy = entropy
        self._timeouts = timeouts
        self._whole_s = whole_s

    async def confirm(self, at: Sighting) -> Confirmation:
        """What is at that address."""
        if not at.can_be_a_node:
            return Confirmation(at, AskResult.STRANGER)
        try:
            async with asyncio.timeout(self._whole_s):
                return await self._who(at)
        except TimeoutError:
            return Confirmation(
                at, AskResult.UNREACHABLE, why=f"no proof of identity within {self._whole_s:g} s"
            )

    async def _who(self, at: Sighting) -> Confirmation:
        try:
            return Confirmation(at, AskResult.CONFIRMED, await self._signed_state(at.node, at))
        except NodeUnreachable as error:
            crowded = error.code is CROWDED
            return Confirmation(at, AskResult.CROWDED if crowded else AskResult.UNREACHABLE, why=error.said)
        except NodeImpostor as error:
            return await self._who_else(at, error.said)
        except LinkError as error:
            return Confirmation(at, AskResult.SOMETHING_ELSE, why=error.said)

    async def _signed_state(self, node: str, at: Sighting) -> NodeState:
        link = NodeLink(
            node,
            at.address,
            at.port,
            self._node_key_of(node),
            session=self._session,
            entropy=self._entropy,
            timeouts=self._timeouts if node in self._known else replace(self._timeouts, state_tries=1),
        )
        return await link.state()

    async def _who_else(self, at: Sighting, why: str) -> Confirmation:
        """Not under the key of the node that was looked for: another node of the fleet, or a false one."""
        try:
            said = await read_unconfirmed_state(
                at.address, at.port, session=self._session, timeouts=self._timeouts
            )
        except LinkError as error:
            if error.code is CROWDED:
                return Confirmation(at, AskResult.CROWDED, why=error.said)
            announced = at.source is Source.ANNOUNCED
            return Confirmation(
                at, AskResult.UNSIGNED if announced else AskResult.SOMETHING_ELSE, why=error.said
            )
        if said.node != at.node and said.node in self._known:
            try:
                return Confirmation(at, AskResult.OTHER_NODE, await self._signed_state(said.node, at), why)
            except LinkError as error:
                why = error.said
        if said.node != at.node and at.source is Source.LAST_KNOWN:
            return Confirmation(at, AskResult.SOMETHING_ELSE, said, f"it says it is {said.node}")
        return Confirmation(at, AskResult.UNSIGNED, said, why)
