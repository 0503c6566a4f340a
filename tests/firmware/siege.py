"""Many slow, hanging and lying clients of one node at once; none of them knows its key."""

from __future__ import annotations

import base64
import contextlib
import errno
import itertools
import socket
from dataclasses import dataclass, field

_DIGEST = "sha-256=:" + base64.b64encode(bytes(32)).decode() + ":"
_FORGED = (
    'Signature-Input: tank=("@method" "@path" "content-digest"{more});nonce="{nonce}";keyid="{node}"'
    ';alg="hmac-sha256"\r\nSignature: tank=:' + base64.b64encode(bytes(range(32))).decode() + ":\r\n"
)


def lies(node: str, nonce: str, ticket: bytes) -> list[bytes]:
    """What the clients send: nothing, half a head, unsigned and forged requests, noise, more body than head."""
    head = f"Host: {node}\r\nContent-Digest: {_DIGEST}\r\n"
    forged_post = head + _FORGED.format(more="", nonce=nonce, node=node)
    carried = f"Tank-Ticket: :{base64.b64encode(ticket).decode()}:\r\n"
    forged_put = head + carried + _FORGED.format(more=' "tank-ticket"', nonce=nonce, node=node)
    texts = [
        "",
        "PUT /v1/image HTTP/1.1\r\nHost: x\r\nX-Slow: ",
        f"PUT /v1/image HTTP/1.1\r\n{head}{carried}Content-Length: 100000\r\n\r\n" + "x" * 5000,
        f"PUT /v1/image HTTP/1.1\r\n{forged_put}Content-Length: 100000\r\nExpect: 100-continue\r\n\r\n",
        *(f"POST /v1/{what} HTTP/1.1\r\n{forged_post}\r\n" for what in ("keep", "put-back", "rest")),
        "POST /v1/put-back HTTP/1.1\r\nHost: x\r\nContent-Length: 0\r\n\r\n",
        "\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03",
        "PUT /v1/image HTTP/1.1\r\nHost: x\r\nTransfer-Encoding: chunked\r\n\r\nffffffff\r\n",
        "GET /" + "a" * 5000,
    ]
    return [text.encode("latin-1") for text in texts]


@dataclass
class Siege:
    """`clients` connections at once, each sending its lie a few bytes at a time, and dialling again when thrown out."""

    address: str
    port: int
    lies: list[bytes]
    clients: int = 100
    dialled: int = 0
    answers: list[bytes] = field(default_factory=list)
    _open: list[tuple[socket.socket, bytes]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._next = itertools.cycle(self.lies)

    def step(self) -> None:
        """Fills up the clients, lets each send three bytes of what it has left, and takes what has come."""
        while len(self._open) < self.clients:
            one = socket.socket()
            one.setblocking(False)
            if one.connect_ex((self.address, self.port)) not in (0, errno.EINPROGRESS):
                one.close()
                break
            self.dialled += 1
            self._open.append((one, next(self._next)))
        self._open = [kept for each in self._open if (kept := self._work(*each)) is not None]

    def _work(self, one: socket.socket, left: bytes) -> tuple[socket.socket, bytes] | None:
        with contextlib.suppress(OSError):
            if left:
                left = left[one.send(left[:3] if len(left) < 4000 else left[:1500]) :]
        try:
            came = one.recv(4096)
        except BlockingIOError:
            return one, left
        except OSError:
            came = b""
        if came:
            self.answers.append(came)
            return one, left
        one.close()
        return None

    def close(self) -> None:
        """Hangs up everywhere."""
        for one, _ in self._open:
            one.close()
        self._open.clear()
