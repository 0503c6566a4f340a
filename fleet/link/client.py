"""Speaking to one node: its state, an image or network credentials to it, keep, put-back, rest; every answer checked.

    async with open_session() as session:
        link = NodeLink("kestrel-01", "10.0.4.17", 80, node_key, session=session, entropy=secrets.token_bytes)
        state = await link.state()

Failures are LinkError (fleet/errors.py): NodeUnreachable, NodeRefused with the node's own code, NodeImpostor.
"""

from __future__ import annotations

import asyncio
import base64
import json
from dataclasses import dataclass, field
from hashlib import sha256
from typing import TYPE_CHECKING

from fleet.errors import LinkError, NodeImpostor, NodeRefused, NodeUnreachable
from fleet.limits import (
    ANSWER_BYTES,
    IMAGE_BYTES,
    NONCE_BYTES,
    STATE_DOCUMENT_BYTES,
    TICKET_BYTES,
)
from fleet.link import signing
from fleet.link.codes import CHANGED_ON_WAY, CROWDED, IMAGE_TOO_BIG, IMPOSTOR, NOT_A_STATE, UNPROVED
from fleet.link.exchange import Answer, Request, Timeouts, exchange, open_session, refusal
from fleet.link.network import IV_BYTES, sealed_network
from fleet.link.payload import ImagePayload
from fleet.link.refusals import UNBELIEVED
from fleet.link.state import NodeState, Phase, parse_state
from fleet.printable import printable

if TYPE_CHECKING:
    from collections.abc import Callable

    import aiohttp

    from fleet.keys.networks import Network

    Progress = Callable[[int, int], None]

__all__ = ["NodeLink", "Timeouts", "open_session", "read_unconfirmed_state"]

STATE_PATH = "/v1/state"
IMAGE_PATH = "/v1/image"
NETWORK_PATH = "/v1/network"


@dataclass(frozen=True, slots=True)
class _Change:
    """A changing request before it is signed. `body` goes out after the node's go-ahead if it has a ticket."""

    method: str
    path: str
    digest: bytes = signing.EMPTY_SHA256
    body: bytes | None = field(default=None, repr=False)
    ticket: bytes | None = None
    on_progress: Progress | None = None


class NodeLink:
    """The link to one node at one address, under its node key (32 bytes, fleet/keys)."""

    def __init__(
        self,
        node: str,
        address: str,
        port: int,
        node_key: bytes,
        *,
        session: aiohttp.ClientSession,
        entropy: Callable[[int], bytes],
        timeouts: Timeouts | None = None,
    ) -> None:
        self.node = node
        self.address = address
        self.port = port
        self._node_key = node_key
        self._session = session
        self._entropy = entropy
        self._timeouts = timeouts or Timeouts()

    async def state(self) -> NodeState:
        """What the node says of itself, signed over a fresh nonce of ours.

        What answers without proof is asked again, up to `state_tries` times in all: anybody in between can forge one
        answer among honest ones. Only who never proves to be the node is an impostor.
        """
        answer = await self._proved_state()
        state = parse_state(answer.body, node=self.node)
        if state.node != self.node:
            said = f"says that it is {state.node}, signed with this node's key"
            raise NodeImpostor(IMPOSTOR, said, node=self.node, where=self._place)
        return state

    async def put_image(
        self,
        image: bytes,
        ticket: bytes,
        on_progress: Progress | None = None,
        *,
        digest: bytes | None = None,
    ) -> Phase:
        """Send an image (shared, not copied) with its ticket; the node then restarts on trial.

        The body goes out only after the node accepted signature and ticket. `on_progress(sent_bytes,
        size_bytes)` is called before the first byte, and as the node takes it. `digest` is the image's SHA-256 (32
        bytes) where the caller has it already; the node checks it in any case.
        """
        if not 0 < len(image) <= IMAGE_BYTES or len(ticket) > TICKET_BYTES:
            said = f"an image of {len(image)} and a ticket of {len(ticket)} bytes"
            raise LinkError(IMAGE_TOO_BIG, said, node=self.node, where=self.node)
        digest = digest or sha256(image).digest()
        return await self._change(_Change("PUT", IMAGE_PATH, digest, image, ticket, on_progress))

    async def keep(self) -> Phase:
        """End the trial: the running image stays."""
        return await self._change(_Change("POST", "/v1/keep"))

    async def put_back(self) -> Phase:
        """Go back to the older image; the node restarts within a second of the answer."""
        return await self._change(_Change("POST", "/v1/put-back"))

    async def rest(self) -> Phase:
        """Pump relay off, no start for 600 s or until restart."""
        return await self._change(_Change("POST", "/v1/rest"))

    async def clear_fault(self, tank: int) -> Phase:
        """Clear the fault that stays of a tank, counted from 1 in the order of the state's `tanks`."""
        return await self._change(_Change("POST", f"/v1/clear-fault/{tank}"))

    async def clear_brown_outs(self) -> Phase:
        """Begin the count of brown-outs anew."""
        return await self._change(_Change("POST", "/v1/clear-brown-outs"))

    async def give_network(self, network: Network, trial_s: int) -> Phase:
        """Hand over new network credentials on trial (60 to 65535 s): from a second after its answer on the node tries
        them, and goes back to the ones it has unless it is told to keep these. The answer is the image's phase."""
        iv = self._entropy(IV_BYTES)
        body = sealed_network(network, node=self.node, node_key=self._node_key, trial_s=trial_s, iv=iv)
        return await self._change(_Change("PUT", NETWORK_PATH, sha256(body).digest(), body))

    async def keep_network(self) -> Phase:
        """End that trial: the new credentials stay. Refused (`not-on-trial`) unless the node is joined by them."""
        return await self._change(_Change("POST", NETWORK_PATH))

    async def _proved_state(self) -> Answer:
        for left in reversed(range(self._timeouts.state_tries)):
            try:
                return await self._signed("GET", STATE_PATH, {}, limit_bytes=STATE_DOCUMENT_BYTES)
            except NodeUnreachable:
                raise
            except LinkError:
                if left == 0:
                    raise
        raise ValueError("a state that may not be asked for once")

    async def _change(self, change: _Change) -> Phase:
        """A changing request; again with a fresh nonce while the node says, signed, that it does not believe it:
        another used the nonce first, or they were a minute apart, or something in between changes what is sent."""
        for tried in range(1, self._timeouts.change_tries + 1):
            try:
                return await self._change_once(change)
            except NodeRefused as refused:
                if refused.refusal not in UNBELIEVED:
                    raise
                if tried == self._timeouts.change_tries:
                    said = f"{refused.said}: so {tried} times; a device on the way changes what is sent"
                    raise NodeUnreachable(
                        CHANGED_ON_WAY, said, node=self.node, where=refused.where
                    ) from refused
        raise ValueError("a change that may not be asked for once")

    async def _fresh_nonce(self) -> str:
        """A no to the question for it is no answer to the change: the node was not asked for that yet."""
        try:
            return (await self.state()).nonce
        except NodeRefused as no:
            raise NodeUnreachable(UNPROVED, no.said, node=self.node, where=no.where) from no

    async def _change_once(self, change: _Change) -> Phase:
        fields = signing.sign_request(
            method=change.method,
            path=change.path,
            node=self.node,
            node_key=self._node_key,
            nonce=await self._fresh_nonce(),
            body_sha256=change.digest,
            ticket=change.ticket,
        )
        answer = await self._signed(change.method, change.path, fields, change, limit_bytes=ANSWER_BYTES)
        return self._phase_in(answer)

    def _phase_in(self, answer: Answer) -> Phase:
        try:
            said = json.loads(answer.body)
            if said["ok"] is True:
                return Phase(said["phase"])
        except (ValueError, KeyError, TypeError, RecursionError):
            pass
        said = "the answer is neither a confirmation nor a refusal"
        raise LinkError(NOT_A_STATE, said, node=self.node, where=self._place)

    async def _signed(
        self,
        method: str,
        path: str,
        fields: dict[str, str],
        change: _Change | None = None,
        *,
        limit_bytes: int,
    ) -> Answer:
        """One exchange, and again while the node is crowded: then it has not even read the request."""
        now_s = asyncio.get_running_loop().time
        ends_s = now_s() + self._timeouts.crowded_s
        while True:
            try:
                return await self._signed_once(method, path, fields, change, limit_bytes)
            except NodeUnreachable as error:
                if error.code is not CROWDED or now_s() >= ends_s:
                    raise
            await asyncio.sleep(self._timeouts.crowded_retry_s)

    async def _signed_once(
        self, method: str, path: str, fields: dict[str, str], change: _Change | None, limit_bytes: int
    ) -> Answer:
        """A success must be signed over our nonce; a refusal is checked where it is signed."""
        payload = ImagePayload(change.body, change.on_progress) if change and change.body else None
        go_ahead = change is not None and change.ticket is not None
        nonce = base64.urlsafe_b64encode(self._entropy(NONCE_BYTES)).rstrip(b"=").decode("ascii")
        fields = {**fields, "Accept-Signature": signing.accept_signature(nonce=nonce, node=self.node)}
        request = Request(
            self.node, self.address, self.port, method, path, limit_bytes, fields, payload, go_ahead
        )
        answer = await exchange(self._session, request, self._timeouts)
        succeeded, signed = 200 <= answer.status < 300, signing.is_signed(answer.fields)
        if succeeded or signed:
            self._verify(request, answer, nonce)
        if not succeeded:
            raise refusal(request, answer, signed=signed)
        return answer

    def _verify(self, request: Request, answer: Answer, nonce: str) -> None:
        try:
            signing.verify_answer(
                status=answer.status,
                fields=answer.fields,
                body=answer.body,
                method=request.method,
                path=request.path,
                node=self.node,
                node_key=self._node_key,
                nonce=nonce,
            )
        except signing.SignatureFault as fault:
            said, where = printable(fault), self._place
            if request.method != "GET":
                raise NodeUnreachable(UNPROVED, said, node=self.node, where=where) from fault
            raise NodeImpostor(IMPOSTOR, said, node=self.node, where=where) from fault

    @property
    def _place(self) -> str:
        return f"{self.node} at {self.address}:{self.port}"


async def read_unconfirmed_state(
    address: str, port: int, *, session: aiohttp.ClientSession, timeouts: Timeouts | None = None
) -> NodeState:
    """What whoever answers there says of itself, without any proof: for nodes whose key is not known."""
    place = f"{address}:{port}"
    request = Request(place, address, port, "GET", STATE_PATH, STATE_DOCUMENT_BYTES)
    answer = await exchange(session, request, timeouts or Timeouts())
    if answer.status != 200:
        raise refusal(request, answer, signed=False)
    return parse_state(answer.body, node=place)
