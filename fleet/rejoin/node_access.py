"""The hands of a rejoin that reach real nodes: over HTTP, found over mDNS, with credentials from the key folder."""

from __future__ import annotations

import asyncio
import time
from contextlib import contextmanager
from typing import TYPE_CHECKING

from fleet.errors import LinkError
from fleet.link.client import open_session
from fleet.link.refusals import of_the_link
from fleet.push.addresses import Places
from fleet.rejoin.rejoin import barred, in_order
from fleet.rejoin.rejoining import Rejoining

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence

    from fleet.find.match import Match
    from fleet.keys.networks import Network
    from fleet.link.client import NodeLink
    from fleet.link.state import NodeState
    from fleet.push.context import PushContext
    from fleet.rejoin.rejoining import RejoinOptions, Report


class LiveHands:
    """See `Hands` in rejoining.py. `networks`: by node, what it is to join."""

    def __init__(self, places: Places, networks: Mapping[str, Network]) -> None:
        self._places = places
        self._networks = networks

    async def state(self, node: str) -> NodeState:
        """Its signed state."""
        with self._link(node) as link:
            return await link.state()

    async def give(self, node: str, trial_s: int) -> None:
        """Hand over the credentials of its network, on trial."""
        with self._link(node) as link:
            await link.give_network(self._networks[node], trial_s)

    async def keep(self, node: str) -> None:
        """Tell it to keep them."""
        with self._link(node) as link:
            await link.keep_network()

    async def find(self, nodes: Sequence[str]) -> None:
        """Look where these nodes are now."""
        await self._places.look_anew(nodes)

    @contextmanager
    def _link(self, node: str) -> Iterator[NodeLink]:
        """The link to it; if it breaks, the next one goes to another place where it was found."""
        try:
            yield self._places.link(node)
        except LinkError as error:
            if of_the_link(error):
                self._places.elsewhere(node)
            raise

    def clock(self) -> float:
        """Epoch seconds."""
        return time.time()

    async def sleep(self, seconds: float) -> None:
        """Let time go by."""
        await asyncio.sleep(seconds)


def networks_of(field: PushContext, names: Sequence[str]) -> dict[str, Network]:
    """By node, the credentials of its site's network. KeyFolderError where they were never set (KEY105), or do not fit
    on a board (KEY108)."""
    found: dict[str, Network] = {}
    for network, nodes in in_order(field.inventory, names).items():
        credentials = field.keys.network(network)
        credentials.for_board()
        found |= dict.fromkeys(nodes, credentials)
    return found


async def rejoin_nodes(
    field: PushContext,
    networks: Mapping[str, Network],
    matches: Sequence[Match],
    wishes: RejoinOptions,
    report: Report,
    begun: Callable[[Rejoining], None],
) -> None:
    """Bring the nodes of `networks` to them. `begun` gets the run before it starts, for how the nodes stand if it is
    interrupted."""
    absent = {m.node: f"{m.status}: {'; '.join(m.evidence)}" for m in matches if not m.reachable}
    async with open_session() as session:
        hands = LiveHands(Places(field, matches, session), networks)
        never = barred(field.inventory, networks)
        run = Rejoining(in_order(field.inventory, networks), absent, hands, wishes, report, never)
        begun(run)
        await run.run()
