"""Where the nodes are that something is being done to: links to them, and a look around for those that moved."""

from __future__ import annotations

import secrets
from collections import deque
from typing import TYPE_CHECKING

from fleet.errors import NodeUnreachable
from fleet.limits import RELOCATE_TIMEOUT_S
from fleet.link.client import NodeLink
from fleet.link.codes import UNREACHABLE
from fleet.push.context import look

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    import aiohttp

    from fleet.find.match import Match
    from fleet.push.context import PushContext


class Places:
    """By node, address and port of each place where it proved to be there, the one to try next first; `matches` says
    where they were found."""

    def __init__(self, field: PushContext, matches: Iterable[Match], session: aiohttp.ClientSession) -> None:
        self._field = field
        self._session = session
        self._key_of = field.key_of()
        self._places: dict[str, deque[tuple[str, int]]] = {}
        self._note(matches)

    def link(self, node: str) -> NodeLink:
        """The link to that node; NodeUnreachable if it was never found."""
        if node not in self._places:
            raise NodeUnreachable(UNREACHABLE, f"{node}: not found on the network", node=node)
        address, port = self._places[node][0]
        return NodeLink(
            node, address, port, self._key_of(node), session=self._session, entropy=secrets.token_bytes
        )

    def elsewhere(self, node: str) -> None:
        """The link to that node broke: the next one goes to the next place where it was found, if there is another.
        Who passes a node's answers on proves to be it as well, and may let no image by."""
        if node in self._places:
            self._places[node].rotate(-1)

    async def look_anew(self, nodes: Sequence[str]) -> None:
        """Find those of these nodes of the inventory that moved to another address."""
        self._note(await look(self._field, nodes, RELOCATE_TIMEOUT_S, lambda awaited, left_s: None))

    def _note(self, matches: Iterable[Match]) -> None:
        for match in matches:
            if match.reachable and match.address is not None and match.port is not None:
                others = ((at.address, at.port) for at in match.also_at)
                self._places[match.node] = deque([(match.address, match.port), *others])
