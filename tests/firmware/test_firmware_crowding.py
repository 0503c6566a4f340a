"""Strangers who hold connections of a real node, by every means that needs no key, while the tool asks and tells it.

`TANKFLEET_CROWD=200` runs every means with 4 and 16 sockets against 4 and 2 connections, with so many signed requests
each (a quarter of an hour); else a few of them with 40.
"""

from __future__ import annotations

import asyncio
import errno
import os
import secrets
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest

from fleet.errors import LinkError
from fleet.link.client import NodeLink, open_session
from tests.firmware.firmware_host import NAME, NODE_KEY, HostNode, image_of, node_block

pytestmark = pytest.mark.slow
ALL = int(os.environ.get("TANKFLEET_CROWD", "0"))
REQUESTS = ALL or 40
WITHIN_S = 5.0
SHARE = 0.95
HEAD = b"GET /v1/state HTTP/1.1\r\nHost: x\r\n"
WHOLE = HEAD + b"\r\n"
FORGED = (
    b"POST /v1/put-back HTTP/1.1\r\nHost: x\r\nContent-Length: 0\r\nContent-Digest: sha-256=:AAAA:\r\n"
    b'Signature-Input: tank=("@method" "@path" "content-digest");nonce="x";keyid="upper-barn";alg="hmac-sha256"\r\n'
    b"Signature: tank=:AAAA:\r\n\r\n"
)
# What each socket sends at once, what it sends every tenth of a second after that, and whether it reads.
MEANS = {
    "silent": (b"", b"", False),
    "half heads": (HEAD, b"", False),
    "dribbled heads": (HEAD, b"x", False),
    "whole requests, not read": (WHOLE, b"", False),
    "forged requests, not read": (FORGED, b"", False),
    "whole requests, read": (WHOLE, b"", True),
}


CONNECTIONS = (4, 2)
CASES = [(connections, means, count) for connections in CONNECTIONS for means in MEANS for count in (4, 16)]
FEW = [
    (4, "half heads", 4),
    (4, "dribbled heads", 16),
    (4, "whole requests, not read", 16),
    (2, "silent", 4),
    (2, "half heads", 16),
    (2, "forged requests, not read", 16),
]


class Strangers(threading.Thread):
    """`count` sockets that do one of MEANS, each dialled anew as soon as it is closed."""

    def __init__(self, address: str, means: str, count: int) -> None:
        super().__init__(daemon=True)
        self.address, self.count = address, count
        self.first, self.more, self.reads = MEANS[means]
        self.dialled = 0
        self.over = threading.Event()
        self._sockets: list[socket.socket | None] = [None] * count

    def run(self) -> None:
        beat_s = time.monotonic()
        while not self.over.is_set():
            beat = time.monotonic() - beat_s >= 0.1
            beat_s = time.monotonic() if beat else beat_s
            for n, one in enumerate(self._sockets):
                self._sockets[n] = self._dial() if one is None else self._work(one, beat)
            self.over.wait(0.002)
        for one in self._sockets:
            if one is not None:
                one.close()

    def _dial(self) -> socket.socket | None:
        one = socket.socket()
        one.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 2304)
        one.setblocking(False)
        self.dialled += 1
        if one.connect_ex((self.address, 8080)) not in (0, errno.EINPROGRESS):
            one.close()
            return None
        with suppress(OSError):
            one.send(self.first)
        return one

    def _work(self, one: socket.socket, beat: bool) -> socket.socket | None:
        """Sends its byte, and looks whether it was closed: without reading, by its error and a hang-up alone."""
        try:
            if beat and self.more:
                one.send(self.more)
            flags = 0 if self.reads else socket.MSG_PEEK
            came = one.recv(65536 if self.reads else 1, flags)
            gone = not came or _hung_up(one)
        except BlockingIOError:
            gone = False
        except OSError:
            gone = True
        if gone:
            one.close()
            return None
        return one


def _hung_up(one: socket.socket) -> bool:
    """Whether the other side has closed, whatever still lies unread."""
    info = one.getsockopt(socket.IPPROTO_TCP, socket.TCP_INFO, 1)
    return info[0] != 1  # TCP_ESTABLISHED (Linux, netinet/tcp.h)


@pytest.fixture
def board(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[HostNode]:
    """A node with the connections of the case; an ESP8266 has two, and one room for a long answer."""
    connections = request.node.callspec.params["connections"]
    defines = [f"TN_CONNECTIONS={connections}", f"TN_ANSWER_ROOMS={connections // 2}"]
    node = HostNode(tmp_path, f"127.{180 + os.getpid() % 70}.{os.getpid() // 70 % 250}.3", speed=50)
    node.load(image_of(node_block("1.0.0", "two-slot"), defines=defines), "two-slot")
    node.start()
    node.wait_up()
    yield node
    node.end()
    assert "Sanitizer" not in node.log() and "runtime error" not in node.log(), node.log()


async def _told_s(board: HostNode) -> list[float | None]:
    """How long each signed request took, the question for the nonce included; None: no signed answer in time."""
    took: list[float | None] = []
    async with open_session() as session:
        link = NodeLink(NAME, board.address, 8080, NODE_KEY, session=session, entropy=secrets.token_bytes)
        for _ in range(REQUESTS):
            begun_s = time.monotonic()
            with suppress(LinkError, TimeoutError):
                async with asyncio.timeout(WITHIN_S):
                    await link.rest()
                    took.append(time.monotonic() - begun_s)
                    continue
            took.append(None)
    return took


@pytest.mark.parametrize(("connections", "means", "count"), CASES if ALL else FEW)
def test_signed_requests_are_answered_among_slow_sockets(
    board: HostNode, connections: int, means: str, count: int
) -> None:
    strangers = Strangers(board.address, means, count)
    strangers.start()
    try:
        time.sleep(0.3)  # until they are all at it
        took = asyncio.run(_told_s(board))
    finally:
        strangers.over.set()
        strangers.join()
    good = sorted(one for one in took if one is not None)
    print(
        f"{connections} connections, {means}, {count}: {len(good)} of {REQUESTS} within {WITHIN_S:g} s, median "
        f"{good[len(good) // 2] * 1000:.0f} ms, longest {good[-1] * 1000:.0f} ms, {strangers.dialled} dialled"
        if good
        else "none"
    )
    assert len(good) >= SHARE * REQUESTS
