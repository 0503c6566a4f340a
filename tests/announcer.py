"""Announces any number of nodes from one socket, as raw multicast DNS (RFC 6762, RFC 6763), to test finding.

Each node answers with a packet of its own, 20 to 120 ms after the question (RFC 6762 6), unless the question
already holds its answer. Records, lifetimes and flags are those of docs/node-interface.md 1.
Alone: `python -m tests.announcer 200` announces ridge-0001 ... and says `ready`.
"""

from __future__ import annotations

import asyncio
import random
import socket
import struct
import sys
from dataclasses import dataclass, field
from typing import Any

from zeroconf._dns import DNSAddress, DNSPointer, DNSService, DNSText
from zeroconf._protocol.incoming import DNSIncoming
from zeroconf._protocol.outgoing import DNSOutgoing

SERVICE = "_tanknode._tcp.local."
GROUP, PORT = "224.0.0.251", 5353
FLAGS_ANSWER, PTR, TXT, SRV, A, CLASS_IN, FLUSH = 0x8400, 12, 16, 33, 1, 1, 0x8001
HOST_TTL_S, OTHER_TTL_S = 120, 4500


@dataclass
class Announced:
    """One node's announcement."""

    node: str
    address: str
    port: int
    txt: dict[str, str] = field(default_factory=dict)
    instance: str = ""
    host: str = ""
    with_additionals: bool = True
    """SRV, TXT and A travel with PTR (RFC 6763 12.1); else each must be asked for."""

    @property
    def name(self) -> str:
        """Name of the service instance."""
        return f"{self.instance or self.node}.{SERVICE}"

    def records(self, lifetime: float = 1.0) -> list[Any]:
        """PTR, SRV, TXT, A; a lifetime of 0 says goodbye."""
        host = f"{self.host or self.node}.local."
        host_ttl_s, other_ttl_s = int(HOST_TTL_S * lifetime), int(OTHER_TTL_S * lifetime)
        txt = b"".join(bytes([len(e)]) + e for e in (f"{k}={v}".encode() for k, v in self.keys().items()))
        return [
            DNSPointer(SERVICE, PTR, CLASS_IN, other_ttl_s, self.name),
            DNSService(self.name, SRV, FLUSH, host_ttl_s, 0, 0, self.port, host),
            DNSText(self.name, TXT, FLUSH, other_ttl_s, txt),
            DNSAddress(host, A, FLUSH, host_ttl_s, socket.inet_aton(self.address)),
        ]

    def keys(self) -> dict[str, str]:
        """TXT keys."""
        return {
            "id": self.node,
            "release": "1.0.0",
            "img": "0" * 16,
            "board": "esp32-devkit",
            "phase": "kept",
        } | self.txt


def packet(records: list[Any]) -> bytes:
    """One answer."""
    out = DNSOutgoing(FLAGS_ANSWER)
    for record in records:
        out.add_answer_at_time(record, 0)
    return out.packets()[0]


@dataclass
class _Held:
    """Questions of one asker, and the answers that it knows."""

    questions: list[Any] = field(default_factory=list)
    known: set[str] = field(default_factory=set)
    timer: asyncio.TimerHandle | None = None


class Announcer(asyncio.DatagramProtocol):
    """Use with `async with`; change `nodes` at any time."""

    def __init__(self, nodes: list[Announced] | None = None, interface: str = "127.0.0.1") -> None:
        self.nodes = nodes or []
        self.interface = interface
        self.questions = 0
        self.sent = 0
        self._transport: asyncio.DatagramTransport | None = None
        self._held: dict[tuple[str, int], _Held] = {}

    async def __aenter__(self) -> Announcer:
        sock = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEPORT, 1)
        sock.bind(("", PORT))
        own = socket.inet_aton(self.interface)
        sock.setsockopt(
            socket.IPPROTO_IP, socket.IP_ADD_MEMBERSHIP, struct.pack("4s4s", socket.inet_aton(GROUP), own)
        )
        sock.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, own)
        sock.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_TTL, 255)
        sock.setblocking(False)
        loop = asyncio.get_running_loop()
        self._transport, _ = await loop.create_datagram_endpoint(lambda: self, sock=sock)
        return self

    async def __aexit__(self, *_: object) -> None:
        assert self._transport is not None
        self._transport.close()
        await asyncio.sleep(0)

    def announce(self, node: Announced) -> None:
        """Unasked, once (a node does it twice, a second apart)."""
        self._send(packet(node.records()), (GROUP, PORT))

    def goodbye(self, node: Announced) -> None:
        """Take it back."""
        self.nodes.remove(node)
        self._send(packet(node.records(0)), (GROUP, PORT))

    def datagram_received(self, data: bytes, addr: tuple[str, int]) -> None:
        """A question, or somebody else's answer."""
        message = DNSIncoming(data, addr)
        if not message.valid or not message.is_query():
            return
        held = self._held.setdefault(addr, _Held())
        held.known |= {a.alias.lower() for a in message.answers() if isinstance(a, DNSPointer)}
        held.questions += message.questions
        if held.timer is not None:
            held.timer.cancel()
        wait_s = random.uniform(0.400, 0.500) if message.truncated else 0.0
        held.timer = asyncio.get_running_loop().call_later(wait_s, self._answer, addr)

    def _answer(self, addr: tuple[str, int]) -> None:
        """Once all known answers of a question are there (RFC 6762 7.2)."""
        held = self._held.pop(addr)
        for question in held.questions:
            self.questions += 1
            for node in self.nodes:
                records = _answering(node, question, held.known)
                if records:
                    self._later(packet(records), addr if question.unicast else (GROUP, PORT))

    def _later(self, data: bytes, to: tuple[str, int]) -> None:
        loop = asyncio.get_running_loop()
        loop.call_later(random.uniform(0.020, 0.120), self._send, data, to)

    def _send(self, data: bytes, to: tuple[str, int]) -> None:
        if self._transport is not None and not self._transport.is_closing():
            self.sent += 1
            self._transport.sendto(data, to)


def _answering(node: Announced, question: Any, known: set[str]) -> list[Any]:
    name = question.name.lower()
    pointer, *others = node.records()
    if name == SERVICE and question.type in (PTR, 255) and node.name.lower() not in known:
        return [pointer, *others] if node.with_additionals else [pointer]
    return [r for r in others if r.name.lower() == name and question.type in (r.type, 255)]


def fleet_of(count: int) -> list[Announced]:
    """`count` nodes with addresses of their own in 127.0.0.0/8."""
    return [Announced(f"ridge-{i:04}", f"127.9.{i // 250}.{i % 250 + 1}", 8080) for i in range(count)]


async def _forever(count: int) -> None:
    async with Announcer(fleet_of(count)):
        print("ready", flush=True)
        await asyncio.get_running_loop().run_in_executor(None, sys.stdin.read)


if __name__ == "__main__":
    asyncio.run(_forever(int(sys.argv[1])))
