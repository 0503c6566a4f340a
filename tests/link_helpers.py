"""What the tests of link, find and push share: keys, tickets for a stand-in, a clock that a test moves."""

from __future__ import annotations

import hashlib
import secrets
from dataclasses import dataclass, field
from functools import cache

from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

from fleet.build import ticket as tickets
from fleet.keys.derive import node_key
from fleet.keys.trust import Trust
from fleet.link.client import Timeouts
from tests.fake_node import FakeNode

FLEET_KEY = bytes(range(32))
PATIENT = Timeouts(connect_s=10, answer_s=10, stall_s=0.2, finish_s=10)
"""For a busy machine: only a stall is given up soon."""
HASTY = Timeouts(connect_s=0.1, answer_s=0.1, stall_s=0.2, finish_s=0.2)
"""For what must fail."""


def key_of(node: str) -> bytes:
    """The node key under the tests' fleet key."""
    return node_key(FLEET_KEY, node)


@cache
def signing_key() -> ec.EllipticCurvePrivateKey:
    """One signing key per run."""
    return ec.generate_private_key(ec.SECP256R1())


def trust_in(key: ec.EllipticCurvePrivateKey | None = None) -> Trust:
    """Its public part."""
    public = (key or signing_key()).public_key()
    return Trust(public.public_bytes(Encoding.X962, PublicFormat.UncompressedPoint))


def fake(name: str = "ridge-01", **more) -> FakeNode:
    """A stand-in that trusts the tests' keys."""
    return FakeNode(name, node_key=more.pop("node_key", key_of(name)), trust=trust_in(), **more)


def ticket_for(node: FakeNode, image: bytes, sequence: int, *, key=None, **changes) -> bytes:
    """A ticket that this stand-in accepts, but for `changes` to its fields."""
    fields = {
        "sequence": sequence,
        "vendor_id": node.vendor_id,
        "class_id": node.class_id,
        "node": changes.pop("name", node.name),
        "payload_format": node.payload_format,
        "size_bytes": len(image),
        "digest": hashlib.sha256(image).digest(),
        "release": "1.1.0",
    }
    return tickets.sign(tickets.TicketFields(**(fields | changes)), key or signing_key())


def some_image(size_bytes: int = 200_000) -> bytes:
    """Bytes like no other image's."""
    return secrets.token_bytes(size_bytes)


@dataclass
class HandClock:
    """Monotonic seconds that only a test moves."""

    now_s: float = field(default=1000.0)

    def __call__(self) -> float:
        return self.now_s

    def pass_s(self, seconds: float) -> None:
        """Let time go by."""
        self.now_s += seconds
