"""Where the nodes are that something is being done to: links to them, and a look around for those that moved."""

from __future__ import annotations

import secrets
from typing import TYPE_CHECKING

from fleet.errors import NodeUnreachable
from fleet.limits import RELOCATE_TIMEOUT_S
from fleet.link.client import NodeLink
from fleet.link.codes import UNREACHABLE
from fleet.push.fieldwork import look

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    import aiohttp

    from fleet.find.match import Match
    from fleet.push.fieldwork import Field


class Places:
    """Address and port by node; `matches` says where they were found."""

    def __init__(self, field: Field, matches: Iterable[Match], session: aiohttp.ClientSession) -> None:
        self._field = field
        self._session = session
        self._key_of = field.key_of()
        self._places: dict[str, tuple[str, int]] = {}
        self._note(matches)

    def link(self, node: str) -> NodeLink:
        """The link to that node; NodeUnreachable if it was never found."""
        if node not in self._places:
            raise NodeUnreachable(UNREACHABLE, f"{node}: not found on the network", node=node)
        address, port = self._places[node]
        return NodeLink(
            node, address, port, self._key_of(node), session=self._session, entropy=secrets.token_bytes
        )

    async def look_anew(self, nodes: Sequence[str]) -> None:
        """Find those of these nodes of the inventory that moved to another address."""
        self._note(await look(self._field, nodes, RELOCATE_TIMEOUT_S, lambda awaited, left_s: None))

    def _note(self, matches: Iterable[Match]) -> None:
        for match in matches:
            if match.reachable and match.address is not None and match.port is not None:
                self._places[match.node] = (match.address, match.port)
