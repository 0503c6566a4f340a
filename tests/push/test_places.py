"""Where the next link to a node goes, once one broke."""

from __future__ import annotations

import asyncio
import socket
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

import pytest

from fleet.errors import NodeRefused, NodeUnreachable
from fleet.find.match import Match, Status
from fleet.find.sighting import Sighting
from fleet.link.client import open_session
from fleet.push.addresses import Places
from fleet.rejoin.node_access import LiveHands
from tests.push.yard import lay_out, stand_in


def nobody_there() -> int:
    """A port of loopback at which nothing listens."""
    with socket.socket() as sock:
        sock.bind(("127.0.0.1", 0))
        return int(sock.getsockname()[1])


@asynccontextmanager
async def two_places(path: Path, *, good_first: bool) -> AsyncIterator[tuple[Places, int]]:
    """A node that was found at two places, one of which is dead by now; and the port where it answers."""
    field = lay_out(path, ["n1"])
    async with stand_in(field, "n1") as node, open_session() as session:
        dead = Sighting("n1", "127.0.0.1", nobody_there())
        here = Sighting("n1", node.address, node.port)
        first, other = (here, dead) if good_first else (dead, here)
        match = Match("n1", Status.FOUND, first.address, first.port, also_at=(other,))
        yield Places(field, [match], session), node.port


def test_a_rejoin_goes_on_at_the_other_place(tmp_path: Path) -> None:
    async def main() -> None:
        async with two_places(tmp_path, good_first=False) as (places, port):
            hands = LiveHands(places, {})
            with pytest.raises(NodeUnreachable):
                await hands.state("n1")
            assert (await hands.state("n1")).node == "n1"
            assert places.link("n1").port == port

    asyncio.run(main())


def test_a_no_of_the_node_is_no_broken_link(tmp_path: Path) -> None:
    async def main() -> None:
        async with two_places(tmp_path, good_first=True) as (places, port):
            with pytest.raises(NodeRefused, match="not-on-trial"):
                await LiveHands(places, {}).keep("n1")
            assert places.link("n1").port == port

    asyncio.run(main())


def test_one_that_was_never_found_has_no_other_place(tmp_path: Path) -> None:
    async def main() -> None:
        async with two_places(tmp_path, good_first=True) as (places, _):
            places.elsewhere("n2")
            with pytest.raises(NodeUnreachable):
                places.link("n2")

    asyncio.run(main())
