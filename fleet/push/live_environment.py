"""The ground of a real push: nodes over HTTP, images from the shelf, tickets, water arithmetic, windows,
the clock."""

from __future__ import annotations

import time
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from fleet.build.codes import NOT_ON_SHELF
from fleet.build.sequence import way_back
from fleet.calendar.windows import open_until
from fleet.errors import ShelfError
from fleet.push.addresses import Places
from fleet.push.spare import node_spare

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterable

    import aiohttp

    from fleet.find.match import Match
    from fleet.link.client import NodeLink
    from fleet.link.state import NodeState
    from fleet.push.context import PushContext
    from fleet.push.plan import Plan


class LiveGround:
    """See ground.py. `matches` says where the nodes were found; `clock` gives epoch seconds."""

    def __init__(
        self,
        field: PushContext,
        plan: Plan,
        matches: Iterable[Match],
        session: aiohttp.ClientSession,
        clock: Callable[[], float] = time.time,
    ) -> None:
        self._field = field
        self._plan = plan
        self._clock = clock
        self._places = Places(field, matches, session)

    def link(self, node: str) -> NodeLink:
        """The link to that node; NodeUnreachable if it was never found."""
        return self._places.link(node)

    def elsewhere(self, node: str) -> None:
        """The link to it broke: the next goes to another place where it was found."""
        self._places.elsewhere(node)

    async def relocate(self, nodes: Collection[str]) -> None:
        """Find the nodes that moved to another address."""
        await self._places.look_anew([name for name in nodes if name in self._known()])

    def _known(self) -> set[str]:
        return {node.name for node in self._field.inventory.nodes}

    def new_cargo(self, node: str) -> tuple[bytes, bytes]:
        """The planned image and its ticket."""
        planned, shelf = self._plan.planned(node), self._field.shelf
        return shelf.image(planned.to_image), shelf.ticket(planned.ticket_sha256)

    def old_cargo(self, node: str, floor: int) -> tuple[bytes, bytes]:
        """The image that the node had before, and a ticket for it that is made now and kept nowhere."""
        planned, shelf = self._plan.planned(node), self._field.shelf
        entry = shelf.entry_for_image(node, planned.from_image)
        if entry is None:
            what = f"the earlier image {planned.from_image[:16]} of {node} is not on the shelf"
            raise ShelfError(NOT_ON_SHELF, what)
        return way_back(shelf, entry, self._field.keys.signing_key(), floor)

    def spare_s(self, node: str, state: NodeState) -> float | None:
        """Real seconds that the node's tanks can be left; None: for ever. 0 for a node taken out of the
        inventory."""
        inventory = self._field.inventory
        if node not in self._known():
            return 0.0
        return node_spare(inventory, inventory.node(node), state, self._plan.process_speed)[0]

    def window_open(self, node: str) -> bool:
        """Whether its site may be updated now."""
        inventory = self._field.inventory
        if node not in self._known():
            return False
        site = inventory.site_of(inventory.node(node))
        return open_until(site, datetime.fromtimestamp(self._clock(), UTC)) is not None

    def now_s(self) -> float:
        """Seconds since 1970, UTC."""
        return self._clock()
