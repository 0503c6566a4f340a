"""A stand-in for a node, only to test our side of docs/node-interface.md with faults that firmware never
shows: bad signatures, wrong names, replayed, half, huge, slow and missing answers, transfers that stall.

    async with FakeNode("ridge-01", node_key=key, trust=trust) as node:
        node.faults.bad_signature = True
        ... NodeLink(node.name, node.address, node.port, key, ...)

It keeps the whole interface otherwise: signatures, nonces, tickets, trial, keep, put-back, and network
credentials on trial (fake_join.py): nothing is answered while it is joined by none. The clock
is passed in: with a clock that a test moves, trials end without waiting. A restart takes `restart_s` of that
clock, in which connections are cut off. The firmware itself is tested on the bench, never through this.
"""

from __future__ import annotations

import asyncio
import base64
import hashlib
import hmac
import json
import secrets
import socket
import time
import uuid
import zlib
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Any

from cbor2 import loads
from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM

from fleet.build import ticket as tickets
from fleet.errors import ShelfError
from fleet.keys.derive import hkdf_sha256
from fleet.keys.trust import Trust
from fleet.link import signing
from tests.fake_join import Join
from tests.fake_slots import Held, Slots

HEADER_BYTES, HEADER_LINES = 2048, 24
CHANGES = {
    "/v1/image": ("PUT", signing.IMAGE_COMPONENTS),
    "/v1/keep": ("POST", signing.REQUEST_COMPONENTS),
    "/v1/put-back": ("POST", signing.REQUEST_COMPONENTS),
    "/v1/rest": ("POST", signing.REQUEST_COMPONENTS),
    "/v1/clear-brown-outs": ("POST", signing.REQUEST_COMPONENTS),
}
CLEAR_FAULT = "/v1/clear-fault/"
LATCHED = ("longest-run", "no-rise")
NONCE_TURN_S = 30.0
NETWORK_PATH = "/v1/network"
NETWORK_METHODS = ("PUT", "POST")
NETWORK_BYTES = 127
BODIES = ("/v1/image", NETWORK_PATH)
"""Where a body may be, so that its digest is not that of the empty string."""
READS = ("/v1/state", "/metrics")
DEMO_TANK: dict[str, Any] = {
    "name": "header",
    "marks": [
        {"name": "low", "height_mm": 400, "state": "wet"},
        {"name": "full", "height_mm": 1800, "state": "dry"},
    ],
    "level": 1,
    "fault": "none",
    "pump": {"does": "fill", "relay": "off", "why": "between", "run_s": 0, "starts": 0},
}


@dataclass
class Faults:
    """What is wrong with the node just now. Change it at any time."""

    down: bool = False
    """Connections are accepted and cut off at once."""
    silent: bool = False
    """Connections are accepted, and nothing is ever answered."""
    bad_signature: bool = False
    unsigned: bool = False
    tampered_body: bool = False
    """The body is changed after it was signed."""
    replayed_answer: bool = False
    """The first signed answer to each path is given again and again."""
    says_name: str | None = None
    """Another name in the state document, under the right key."""
    raw_body: bytes | None = None
    """Instead of the body of every 200, signed."""
    half_answer: bool = False
    """Half of each answer, then the end of the connection."""
    huge_answer_bytes: int = 0
    """Padding of each answer."""
    answer_delay_s: float = 0.0
    refuse: dict[str, tuple[int, str]] = field(default_factory=dict)
    """path -> (status, code), before anything else is looked at."""
    unsigned_refusals: bool = False
    forged: dict[str, int] = field(default_factory=dict)
    """path -> so many of the next answers come from somebody on the way, under no good signature."""
    spoilt: dict[str, int] = field(default_factory=dict)
    """path -> of so many of the next requests, somebody on the way changes the signature."""
    spoilt_bodies: int = 0
    """Of so many of the next images, somebody on the way changes a bit."""
    raw_answer: bytes | None = None
    """Instead of every answer, as it is, head and all."""
    drips_s: float = 0.0
    """Between the bytes of each answer's body."""
    crowded: int = 0
    """So many connections more are only told `crowded`, unsigned and without being read, as by a node."""
    lets_through: bool = True
    """False: signed requests are held back by somebody on the way, who answers with an unsigned refusal."""
    no_go_ahead: bool = False
    """`100 Continue` is never sent."""
    stall_after_bytes: int | None = None
    """No more of an image is read after this many bytes."""
    cut_after_bytes: int | None = None
    """The connection is cut off after this many bytes of an image."""
    take_and_vanish: bool = False
    """An image is taken and run, but the connection ends without an answer."""
    read_bytes_per_s: float | None = None
    never_returns: bool = False
    """Down for good from the next restart on."""
    knows_networks: bool = True
    """False: firmware of before `/v1/network`; its state does not speak of it."""
    network_cut: bool = False
    """New credentials are taken, but the connection ends without an answer; once."""
    network_lost: bool = False
    """The same, but they are not taken; once."""


class _Refusal(Exception):
    def __init__(self, status: int, code: str, detail: str = "") -> None:
        super().__init__(code)
        self.status, self.code, self.detail = status, code, detail


@dataclass
class _Request:
    method: str
    path: str
    fields: dict[str, str]


class FakeNode:
    """One stand-in. Start with `async with`, or `start()` and `stop()`."""

    def __init__(
        self,
        name: str,
        *,
        node_key: bytes,
        trust: Trust | None = None,
        address: str = "127.0.0.1",
        port: int = 0,
        site: str = "ridge",
        board: str = "esp32-devkit",
        mac: str = "",
        vendor_id: bytes = bytes(16),
        class_id: bytes = bytes(range(16)),
        payload_format: str = "host-elf",
        image: bytes = b"first image",
        release: str = "1.0.0",
        sequence: int = 1,
        trial_s: float = 300.0,
        restart_s: float = 0.0,
        slot_bytes: int = 1 << 20,
        receive_buffer_bytes: int = 0,
        clock: Callable[[], float] = time.monotonic,
        entropy: Callable[[int], bytes] = secrets.token_bytes,
        on_boot: Callable[[FakeNode], None] | None = None,
    ) -> None:
        self.name, self.site, self.board = name, site, board
        self.node_key, self.trust = node_key, trust
        self.address, self.port = address, port
        self.mac = mac or _mac_of(name)
        self.vendor_id, self.class_id, self.payload_format = vendor_id, class_id, payload_format
        self.slots = Slots(Held(image, sequence, release), trial_s=trial_s)
        self.slot_bytes = slot_bytes
        self.receive_buffer_bytes = receive_buffer_bytes
        self.restart_s = restart_s
        self.clock, self.entropy, self.on_boot = clock, entropy, on_boot
        self.faults = Faults()
        self.join = Join()
        self.tanks: list[dict[str, Any]] = [json.loads(json.dumps(DEMO_TANK))]
        self.free_bytes = 40_000
        self.rssi_dbm: int | None = -61
        self.node_faults: list[str] = []
        self.resting = False
        self.knows_clearing = True
        """False: firmware of before the routes that clear."""
        self.brown_outs = 0
        self.held_back: list[_Request] = []
        """Signed requests that did not get through, as somebody on the way has them."""
        self.heard: list[tuple[str, str]] = []
        """(method, path) of every request understood, in order."""
        self.networks_given: list[tuple[str, str]] = []
        """Name and passphrase of every network that was taken on trial, in order."""
        self.images_taken: list[str] = []
        """SHA-256 of every image that was sent whole, in order."""
        self._booted_s = self._back_s = clock()
        self._new_nonces()
        self._receiving = False
        self._recorded: dict[str, bytes] = {}
        self._server: asyncio.Server | None = None
        self._tasks: set[asyncio.Task[None]] = set()

    # ---------------------------------------------------------------- life
    async def start(self) -> None:
        """Listen; `port` is known from now on."""
        sock = socket.create_server((self.address, self.port), backlog=256)
        if self.receive_buffer_bytes:
            sock.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, self.receive_buffer_bytes)
        self._server = await asyncio.start_server(self._connected, sock=sock, limit=HEADER_BYTES)
        self.port = self._server.sockets[0].getsockname()[1]

    async def stop(self) -> None:
        """Stop listening and end all connections."""
        if self._server is not None:
            self._server.close()
        for task in tuple(self._tasks):
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)
        if self._server is not None:
            await self._server.wait_closed()

    async def __aenter__(self) -> FakeNode:
        await self.start()
        return self

    async def __aexit__(self, *_: object) -> None:
        await self.stop()

    def power_cut(self) -> None:
        """Off and on again."""
        self.tick()
        self.slots.power_cut()
        self.join.start(self.clock())
        self._boot()

    def never_healthy(self) -> None:
        """The image on trial never reached a healthy loop: three starts, then back to the older one."""
        self.slots.never_healthy()
        self._boot()

    def tick(self) -> None:
        """Let time do its work: a trial that is over falls back. Every request does this first."""
        self.join.tick(self.clock())
        if self.clock() - self._nonce_made_s >= NONCE_TURN_S:
            self._nonce_before, self._before_made_s = self._nonce, self._nonce_made_s
            self._nonce, self._nonce_made_s = self._new_nonce(), self.clock()
        if self.slots.tick(self.clock()):
            self._boot()

    def txt(self) -> dict[str, str]:
        """The TXT keys of its announcement."""
        running = self.slots.running
        return {
            "id": self.name,
            "release": running.release,
            "img": running.digest[:16],
            "board": self.board,
            "phase": self.slots.phase,
        }

    def document(self) -> dict[str, Any]:
        """The state document as it stands."""
        slots, now_s = self.slots, self.clock()
        network = {"network": self.join.document(now_s)} if self.faults.knows_networks else {}
        return network | {
            "v": 1,
            "node": self.faults.says_name or self.name,
            "site": self.site,
            "board": self.board,
            "mac": self.mac,
            "class": str(uuid.UUID(bytes=self.class_id)),
            "release": slots.running.release,
            "image": slots.running.digest,
            "sequence": slots.running.sequence,
            "floor": slots.floor,
            "phase": slots.phase,
            "trial_left_s": slots.trial_left_s(now_s),
            "older_image": slots.older.digest if slots.older else None,
            "last_image": slots.last_image,
            "last_reason": slots.last_reason,
            "boots": slots.boots,
            "reset": slots.reset,
            "brown_outs": self.brown_outs,
            "uptime_s": round(max(0.0, now_s - self._booted_s), 3),
            "free_bytes": self.free_bytes,
            "rssi_dbm": self.rssi_dbm,
            "nonce": self._nonce,
            "block_crc": f"{zlib.crc32(self.name.encode()):08x}",
            "faults": self.node_faults,
            "tanks": self.tanks,
        }

    def _boot(self) -> None:
        self._new_nonces()
        self.resting = False
        self._booted_s = self._back_s = self.clock() + self.restart_s
        self.faults.down = self.faults.down or self.faults.never_returns
        if self.on_boot is not None:
            self.on_boot(self)

    def _new_nonces(self) -> None:
        """At a start, or when one was used: none of before counts."""
        self._nonce, self._nonce_made_s = self._new_nonce(), self.clock()
        self._nonce_before, self._before_made_s = "", self._nonce_made_s

    def _counts(self, nonce: str) -> bool:
        """Whether a request with this nonce may be obeyed: the present one, or the one before within its minute."""
        live = [self._nonce]
        if self._nonce_before and self.clock() - self._before_made_s < 2 * NONCE_TURN_S:
            live.append(self._nonce_before)
        return any(hmac.compare_digest(nonce, one) for one in live)

    def _new_nonce(self) -> str:
        return base64.urlsafe_b64encode(self.entropy(16)).rstrip(b"=").decode()

    # ---------------------------------------------------------------- one connection
    async def _connected(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.current_task()
        assert task is not None
        self._tasks.add(task)
        try:
            self.tick()
            if self.faults.down or self.clock() < self._back_s or self.join.on is None:
                writer.transport.abort()
            elif self.faults.silent:
                await asyncio.sleep(3600)
            else:
                await self._serve(reader, writer)
        except (OSError, asyncio.CancelledError):
            writer.transport.abort()
        finally:
            self._tasks.discard(task)
            writer.close()

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        request = None
        try:
            if self.faults.crowded:
                self.faults.crowded -= 1
                raise _Refusal(503, "crowded")
            request = await _read_head(reader)
            self.heard.append((request.method, request.path))
            if _one_of(self.faults.spoilt, request.path):
                request.fields["signature"] = f"tank={signing.byte_sequence(bytes(32))}"
            status, content_type, body, after = await self._answer(request, reader, writer)
        except _Refusal as refusal:
            status, after = refusal.status, None
            content_type = "application/problem+json"
            problem = {"type": "about:blank", "title": refusal.code.replace("-", " "), "status": status}
            body = json.dumps({**problem, "code": refusal.code, "detail": refusal.detail}).encode()
        if self.faults.answer_delay_s:
            await asyncio.sleep(self.faults.answer_delay_s)
        if after is not None:
            after()
            if self.faults.take_and_vanish:
                writer.transport.abort()
                return
        answer = self.faults.raw_answer or self._signed(request, status, content_type, body)
        writer.write(answer[: len(answer) // 2] if self.faults.half_answer else answer)
        await writer.drain()
        while self.faults.drips_s:
            await asyncio.sleep(self.faults.drips_s)
            writer.write(b" ")
            await writer.drain()

    async def _answer(
        self, request: _Request, reader: asyncio.StreamReader, writer: asyncio.StreamWriter
    ) -> tuple[int, str, bytes, Callable[[], None] | None]:
        """Status, content type, body, and what happens once it is sent."""
        if not self.faults.lets_through and request.method != "GET":
            self.held_back.append(request)
            raise _Refusal(401, "nonce-used", "from nobody knows whom")
        if request.path in self.faults.refuse:
            status, code = self.faults.refuse[request.path]
            raise _Refusal(status, code, "as told")
        components = self._components(request)
        if request.path == "/metrics":
            return 200, "application/openmetrics-text; version=1.0.0; charset=utf-8", b"# EOF\n", None
        if request.path == "/v1/state":
            body = self.faults.raw_body or json.dumps(self.document()).encode()
            return 200, "application/json", body, None
        self._check_signature(request, components)
        self._new_nonces()
        if request.path == NETWORK_PATH:
            return await self._network(request, reader)
        if request.path == "/v1/image":
            held = await self._receive(request, reader, writer)
            return 202, "application/json", _done("on-trial"), lambda: self._take(held)
        return self._changed(request.path)

    def _components(self, request: _Request) -> tuple[str, ...]:
        """What the request's signature must cover; refuses paths and methods that are not there."""
        if request.path == NETWORK_PATH and self.faults.knows_networks:
            if request.method not in NETWORK_METHODS:
                raise _Refusal(405, "bad-method")
            return signing.REQUEST_COMPONENTS
        if self.knows_clearing and request.path.removeprefix(CLEAR_FAULT).isdigit():
            if request.method != "POST":
                raise _Refusal(405, "bad-method")
            return signing.REQUEST_COMPONENTS
        if request.path == "/v1/clear-brown-outs" and not self.knows_clearing:
            raise _Refusal(404, "not-found")
        if request.path not in CHANGES and request.path not in READS:
            raise _Refusal(404, "not-found")
        method, components = CHANGES.get(request.path, ("GET", ()))
        if request.method != method:
            raise _Refusal(405, "bad-method")
        return components

    # ---------------------------------------------------------------- network credentials
    async def _network(
        self, request: _Request, reader: asyncio.StreamReader
    ) -> tuple[int, str, bytes, Callable[[], None] | None]:
        """In the order of docs/node-interface.md: signature (checked already), body, digest, opening."""
        if request.method == "POST":
            if request.fields["content-digest"] != signing.content_digest(signing.EMPTY_SHA256):
                raise _Refusal(400, "bad-request", "Content-Digest is not that of an empty body")
            if not self.join.keep():
                raise _Refusal(409, "not-on-trial")
            return 200, "application/json", _done(self.slots.phase), None
        if "content-length" not in request.fields:
            raise _Refusal(411, "length-required")
        if int(request.fields["content-length"]) != NETWORK_BYTES:
            raise _Refusal(422, "wrong-size")
        if self._receiving:
            raise _Refusal(409, "busy")
        body = await reader.readexactly(NETWORK_BYTES)
        if request.fields["content-digest"] != signing.content_digest(hashlib.sha256(body).digest()):
            raise _Refusal(422, "wrong-digest")
        if self.faults.network_lost:
            self.faults.network_lost = False
            raise ConnectionAbortedError
        self._take_network(body)
        if self.faults.network_cut:
            self.faults.network_cut = False
            raise ConnectionAbortedError
        return 202, "application/json", _done(self.slots.phase), None

    def _take_network(self, body: bytes) -> None:
        key = hkdf_sha256(self.node_key, f"tankfleet network key v1:{self.name}".encode(), 32)
        try:
            plain = AESGCM(key).decrypt(body[:12], body[12:], self.name.encode())
        except InvalidTag as error:
            raise _Refusal(403, "bad-credentials") from error
        name, _, rest = plain[:33].partition(b"\0")
        passphrase, _, more = plain[33:97].partition(b"\0")
        trial_s = int.from_bytes(plain[97:], "little")
        if (
            not name
            or rest.strip(b"\0")
            or more.strip(b"\0")
            or len(name) > 32
            or len(passphrase) > 63
            or trial_s < 60
        ):
            raise _Refusal(403, "bad-credentials")
        new = (name.decode(), passphrase.decode())
        self.networks_given.append(new)
        self.join.give(new, trial_s, self.clock())

    def deliver(self, request: _Request) -> str:
        """A signed request without a body that was held back comes now; "" if it is obeyed, else the refusal's code."""
        self.tick()
        try:
            self._check_signature(request, self._components(request))
            self._new_nonces()
            self._changed(request.path)
        except _Refusal as refusal:
            return refusal.code
        return ""

    # ---------------------------------------------------------------- the rest
    def _clear_fault(self, number: int) -> None:
        """Of one tank, counted from 1; the pump then waits as after any run (docs/node-interface.md 8)."""
        if not 1 <= number <= len(self.tanks):
            raise _Refusal(404, "not-found")
        tank = self.tanks[number - 1]
        if tank["fault"] not in LATCHED:
            raise _Refusal(409, "no-fault")
        tank["fault"] = "none"
        tank["pump"]["why"] = "shortest-off"

    def _changed(self, path: str) -> tuple[int, str, bytes, Callable[[], None] | None]:
        if path == "/v1/keep":
            if self.slots.phase != "on-trial":
                raise _Refusal(409, "not-on-trial")
            self.slots.keep()
        if path.startswith(CLEAR_FAULT):
            self._clear_fault(int(path.removeprefix(CLEAR_FAULT)))
        if path == "/v1/clear-brown-outs":
            if self.brown_outs == 0:
                raise _Refusal(409, "no-fault")
            self.brown_outs = 0
        if path == "/v1/rest":
            self.resting = True
        if path == "/v1/put-back":
            if self.slots.older is None:
                raise _Refusal(409, "no-older-image")
            return 202, "application/json", _done("put-back"), self._put_back
        return 200, "application/json", self.faults.raw_body or _done(self.slots.phase), None

    def _take(self, held: Held) -> None:
        self.images_taken.append(held.digest)
        self.slots.take(held, self.clock())
        self._boot()

    def _put_back(self) -> None:
        self.slots.put_back("told")
        self._boot()

    # ---------------------------------------------------------------- an image
    async def _receive(
        self, request: _Request, reader: asyncio.StreamReader, writer: asyncio.StreamWriter
    ) -> Held:
        fields = self._check_ticket(request)
        if self.slots.phase == "on-trial":
            raise _Refusal(409, "on-trial")
        if self._receiving:
            raise _Refusal(409, "busy")
        if "content-length" not in request.fields:
            raise _Refusal(411, "length-required")
        size_bytes = int(request.fields["content-length"])
        if size_bytes > self.slot_bytes:
            raise _Refusal(413, "too-big")
        if size_bytes != fields.size_bytes:
            raise _Refusal(422, "wrong-size", f"{size_bytes} announced, {fields.size_bytes} in the ticket")
        if request.fields["content-digest"] != signing.content_digest(fields.digest):
            raise _Refusal(422, "wrong-digest", "Content-Digest is not the ticket's")
        if request.fields.get("expect") == "100-continue":
            if self.faults.no_go_ahead:
                await asyncio.sleep(3600)
            writer.write(b"HTTP/1.1 100 Continue\r\n\r\n")
        self._receiving = True
        try:
            image = await self._read_image(reader, size_bytes)
        finally:
            self._receiving = False
        if self.faults.spoilt_bodies:
            self.faults.spoilt_bodies -= 1
            image = bytes([image[0] ^ 1]) + image[1:]
        if hashlib.sha256(image).digest() != fields.digest:
            raise _Refusal(422, "wrong-digest", "the body is not what the ticket states")
        return Held(image, fields.sequence, fields.release)

    async def _read_image(self, reader: asyncio.StreamReader, size_bytes: int) -> bytes:
        image = bytearray()
        while len(image) < size_bytes:
            if self.faults.stall_after_bytes is not None and len(image) >= self.faults.stall_after_bytes:
                await asyncio.sleep(3600)
            if self.faults.cut_after_bytes is not None and len(image) >= self.faults.cut_after_bytes:
                raise ConnectionAbortedError
            chunk = await reader.read(min(16_384, size_bytes - len(image)))
            if not chunk:
                raise _Refusal(422, "wrong-size", "the body ended early")
            image += chunk
            if self.faults.read_bytes_per_s:
                await asyncio.sleep(len(chunk) / self.faults.read_bytes_per_s)
        return bytes(image)

    def _check_ticket(self, request: _Request) -> tickets.TicketFields:
        try:
            ticket = signing.read_byte_sequence(request.fields["tank-ticket"])
            fields = tickets.parse(ticket)
        except (signing.SignatureFault, ShelfError) as error:
            raise _Refusal(403, "bad-ticket", str(error)) from error
        if self.trust is None or loads(loads(ticket).value[0])[4] != self.trust.key_id:
            raise _Refusal(403, "unknown-key")
        try:
            tickets.verify(ticket, self.trust)
        except ShelfError as error:
            raise _Refusal(403, "bad-ticket-signature", str(error)) from error
        if fields.node != self.name:
            raise _Refusal(403, "other-node", f"the ticket is for {fields.node}")
        mine = (self.vendor_id, self.class_id, self.payload_format)
        if (fields.vendor_id, fields.class_id, fields.payload_format) != mine:
            raise _Refusal(403, "other-class")
        if fields.sequence <= self.slots.floor:
            detail = f"sequence {fields.sequence} is not above the floor {self.slots.floor}"
            raise _Refusal(403, "old-sequence", detail)
        return fields

    # ---------------------------------------------------------------- signatures
    def _check_signature(self, request: _Request, components: tuple[str, ...]) -> None:
        fields = request.fields
        if "signature" not in fields or "signature-input" not in fields:
            raise _Refusal(401, "no-signature")
        try:
            given = signing.read_signature_input(fields["signature-input"])
            if given.components != components or set(given.parameters) != {"nonce", "keyid", "alg"}:
                raise signing.SignatureFault("covers something else")
            values = {'"@method"': request.method, '"@path"': request.path}
            covered = [(name, values.get(name) or fields.get(name.strip('"'), "")) for name in components]
            signing.verify(self.node_key, signing.signature_base(covered, given.text), fields["signature"])
        except signing.SignatureFault as fault:
            raise _Refusal(401, "bad-signature", str(fault)) from fault
        if given.parameters["keyid"] != self.name or given.parameters["alg"] != signing.ALGORITHM:
            raise _Refusal(401, "bad-signature", "other key or algorithm")
        if not self._counts(given.parameters["nonce"]):
            raise _Refusal(401, "nonce-used")
        if request.path not in BODIES and fields["content-digest"] != signing.content_digest(
            signing.EMPTY_SHA256
        ):
            raise _Refusal(400, "bad-request", "Content-Digest is not that of an empty body")

    def _signed(self, request: _Request | None, status: int, content_type: str, body: bytes) -> bytes:
        body += b" " * self.faults.huge_answer_bytes
        fields = {"Content-Type": content_type, "Content-Length": str(len(body)), "Connection": "close"}
        if self.faults.drips_s:
            fields["Content-Length"] = str(len(body) + 1000)
        wanted = request.fields.get("accept-signature") if request else None
        refused = status >= 400 and (self.faults.unsigned_refusals or not self.faults.lets_through)
        if request is not None and wanted and not self.faults.unsigned and not refused:
            nonce = signing.read_signature_input(wanted).parameters["nonce"]
            fields |= self._signature_fields(request, status, body, nonce)
        if self.faults.tampered_body:
            body = body.replace(b'"', b"'", 1)
        head = "".join(f"{name}: {value}\r\n" for name, value in fields.items())
        answer = f"HTTP/1.1 {status} {'OK' if status < 400 else 'No'}\r\n{head}\r\n".encode() + body
        if self.faults.replayed_answer and request is not None:
            return self._recorded.setdefault(request.path, answer)
        return answer

    def _signature_fields(self, request: _Request, status: int, body: bytes, nonce: str) -> dict[str, str]:
        digest = signing.content_digest(hashlib.sha256(body).digest())
        params = signing.signature_params(signing.ANSWER_COMPONENTS, nonce=nonce, node=self.name)
        values = (str(status), digest, request.method, request.path)
        covered = list(zip(signing.ANSWER_COMPONENTS, values, strict=True))
        signature = signing.hmac_sha256(self.node_key, signing.signature_base(covered, params))
        if self.faults.bad_signature or _one_of(self.faults.forged, request.path):
            signature = bytes([signature[0] ^ 1]) + signature[1:]
        return {
            "Content-Digest": digest,
            "Signature-Input": f"tank={params}",
            "Signature": f"tank={signing.byte_sequence(signature)}",
        }


def _one_of(left: dict[str, int], path: str) -> bool:
    """Whether this one is among those that are left for that path; then it is one less."""
    left[path] = left.get(path, 0) - 1
    return left[path] >= 0


def _done(phase: str) -> bytes:
    return json.dumps({"ok": True, "phase": phase}).encode()


def _mac_of(name: str) -> str:
    digest = hashlib.sha256(name.encode()).digest()
    return ":".join(f"{byte:02x}" for byte in (0x02, *digest[:5]))


async def _read_head(reader: asyncio.StreamReader) -> _Request:
    """The request line and header within the limits of docs/node-interface.md 2; names in lower case."""
    try:
        head = await reader.readuntil(b"\r\n\r\n")
    except asyncio.IncompleteReadError as error:
        raise ConnectionAbortedError from error
    except asyncio.LimitOverrunError as error:
        raise _Refusal(400, "bad-request", "header too long") from error
    lines = head.decode("latin-1").split("\r\n")[:-2]
    if len(lines) > HEADER_LINES + 1:
        raise _Refusal(400, "bad-request", "too many header lines")
    words = lines[0].split(" ")
    if len(words) != 3 or words[2] != "HTTP/1.1":
        raise _Refusal(400, "bad-request", "not HTTP/1.1")
    fields: dict[str, str] = {}
    for line in lines[1:]:
        name, colon, value = line.partition(":")
        if not colon or name.lower() in fields:
            raise _Refusal(400, "bad-request", f"header line {line!r}")
        fields[name.lower()] = value.strip()
    with suppress(KeyError):
        if "chunked" in fields["transfer-encoding"]:
            raise _Refusal(411, "length-required", "chunked")
    return _Request(words[0], words[1], fields)
