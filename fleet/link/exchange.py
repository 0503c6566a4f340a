"""One HTTP request to a node and its whole answer, within bounds of time and size."""

from __future__ import annotations

import asyncio
import json
import os
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import aiohttp
from yarl import URL

from fleet.errors import LinkError, NodeRefused, NodeUnreachable
from fleet.limits import (
    ANSWER_GRACE_S,
    ANSWER_TIMEOUT_S,
    CHANGE_TRIES,
    CONNECT_TIMEOUT_S,
    CONNECTIONS_AT_ONCE,
    CROWDED_RETRY_S,
    CROWDED_WAIT_S,
    SEND_FINISH_TIMEOUT_S,
    SEND_STALL_TIMEOUT_S,
    SLOWEST_ANSWER_BYTES_PER_S,
    STATE_TRIES,
)
from fleet.link.codes import (
    CROWDED,
    NO_MEMORY,
    NOT_A_STATE,
    REFUSED,
    STALLED,
    TOO_SLOW,
    UNPROVED,
    UNREACHABLE,
)
from fleet.printable import printable

if TYPE_CHECKING:
    from collections.abc import Mapping

    from fleet.codes import Code
    from fleet.link.payload import ImagePayload


@dataclass(frozen=True, slots=True)
class Timeouts:
    """How long a node may take to accept a connection, to answer, to take bytes, to end after the last, and beside the
    pace of its answer; how long, and how often, one that is crowded is asked again; how often a state that is not
    proved is asked for, and a change that was not believed."""

    connect_s: float = CONNECT_TIMEOUT_S
    answer_s: float = ANSWER_TIMEOUT_S
    stall_s: float = SEND_STALL_TIMEOUT_S
    finish_s: float = SEND_FINISH_TIMEOUT_S
    crowded_s: float = CROWDED_WAIT_S
    crowded_retry_s: float = CROWDED_RETRY_S
    answer_grace_s: float = ANSWER_GRACE_S
    state_tries: int = STATE_TRIES
    change_tries: int = CHANGE_TRIES


@dataclass(frozen=True, slots=True)
class Request:
    """One request; `node` is for messages."""

    node: str
    address: str
    port: int
    method: str
    path: str
    limit_bytes: int
    fields: Mapping[str, str] = field(default_factory=dict)
    payload: ImagePayload | None = None
    go_ahead: bool = True
    """Whether a payload waits for the node's go-ahead."""

    def __str__(self) -> str:
        return f"{self.node}, {self.method} {self.path} at {self.address}:{self.port}"


@dataclass(frozen=True, slots=True)
class Answer:
    """One answer. `fields` finds names in any case."""

    status: int
    fields: Mapping[str, str]
    body: bytes


def open_session() -> aiohttp.ClientSession:
    """A session as links need it: no cookies, no proxies, no decompression, a bound on open sockets."""
    return aiohttp.ClientSession(
        connector=aiohttp.TCPConnector(limit=CONNECTIONS_AT_ONCE, force_close=True, use_dns_cache=False),
        cookie_jar=aiohttp.DummyCookieJar(),
        auto_decompress=False,
        skip_auto_headers=("User-Agent", "Accept-Encoding", "Accept", "Content-Type"),
    )


async def exchange(session: aiohttp.ClientSession, request: Request, timeouts: Timeouts) -> Answer:
    """The whole answer; LinkError or NodeUnreachable if there is none as agreed."""
    payload = request.payload
    begun = False
    try:
        async with asyncio.timeout(timeouts.connect_s + timeouts.answer_s) as deadline:
            if payload is not None:
                finish_s = timeouts.finish_s if request.go_ahead else timeouts.answer_s
                payload.watched_by(deadline, stall_s=timeouts.stall_s, finish_s=finish_s)
            async with session.request(
                request.method,
                URL.build(scheme="http", host=request.address, port=request.port, path=request.path),
                headers=request.fields,
                data=payload,
                expect100=payload is not None and request.go_ahead,
                allow_redirects=False,
                timeout=aiohttp.ClientTimeout(total=None, sock_connect=timeouts.connect_s),
            ) as response:
                begun = True
                _hold_to_its_pace(deadline, request, timeouts)
                return Answer(response.status, response.headers, await _body(response, request))
    except LinkError:  # NodeUnreachable is an OSError too: what is said already is not said around
        raise
    except TimeoutError as error:
        if begun:
            said = f"its answer came slower than {SLOWEST_ANSWER_BYTES_PER_S / 1000:.0f} kB/s"
            raise _unreachable(request, said) from error
        if payload is not None and 0 < payload.sent_bytes < len(payload):
            said = f"no more bytes taken after {payload.sent_bytes} of {len(payload)}"
            raise _unreachable(request, said, STALLED) from error
        raise _unreachable(request, "no answer in time") from error
    except aiohttp.ClientResponseError as error:
        raise _unusable(request, f"not HTTP as agreed: {printable(error.message)}") from error
    except (aiohttp.ClientError, OSError, ValueError) as error:
        if payload is not None and payload.too_slow:
            raise _unreachable(request, f"ended by the node: {payload.pace}", TOO_SLOW) from error
        raise _unreachable(request, _in_words(error)) from error


def slowest_answer_s(limit_bytes: int, grace_s: float = ANSWER_GRACE_S) -> float:
    """Seconds for which an answer of at most that many bytes is waited for once it has begun."""
    return grace_s + limit_bytes / SLOWEST_ANSWER_BYTES_PER_S


def _hold_to_its_pace(deadline: asyncio.Timeout, request: Request, timeouts: Timeouts) -> None:
    """The answer has begun: it must be whole in time. Never later than without this, where nothing was sent."""
    ends_s = asyncio.get_running_loop().time() + slowest_answer_s(
        request.limit_bytes, timeouts.answer_grace_s
    )
    if request.payload is not None:
        request.payload.unwatched()
    deadline.reschedule(min(ends_s, deadline.when() or ends_s))


def _unreachable(request: Request, said: str, code: Code = UNREACHABLE) -> NodeUnreachable:
    return NodeUnreachable(code, said, node=request.node, where=str(request))


def _unusable(request: Request, said: str) -> LinkError:
    """An answer that nothing follows from; to a request that changes something, it is no answer."""
    if request.method == "GET":
        return LinkError(NOT_A_STATE, said, node=request.node, where=str(request))
    return _unreachable(request, said, UNPROVED)


def _in_words(error: Exception) -> str:
    """What the operating system says, without what the library says around it."""
    if isinstance(error, aiohttp.ClientConnectorError):
        return os.strerror(error.os_error.errno or 0).lower() if error.os_error.errno else "no connection"
    if isinstance(error, aiohttp.ServerDisconnectedError):
        return "the connection ended before the answer"
    if isinstance(error, OSError) and error.strerror:
        return error.strerror.lower()
    return printable(error) or type(error).__name__


def refusal(request: Request, answer: Answer, *, signed: bool) -> LinkError:
    """What the node said no with: `code` and `detail` of its RFC 9457 document, printable and short.

    A no to a changing request that is not signed could be anybody's: NodeUnreachable, as when nothing was answered.
    """
    code = detail = ""
    try:
        said = json.loads(answer.body)
        code, detail = printable(said.get("code") or ""), printable(said.get("detail") or "")
    except (ValueError, AttributeError, RecursionError):
        pass
    tail = "" if signed else " (this refusal is not signed)"
    said_no = f"{code or answer.status}: {detail or 'no detail'}{tail}"
    if not signed and (answer.status, code) == (503, "crowded"):
        return _unreachable(request, "all its connections are in use", CROWDED)
    if not signed and request.method != "GET":
        return _unreachable(request, said_no, UNPROVED)
    kind = NO_MEMORY if code == "no-memory" else REFUSED
    return NodeRefused(
        kind,
        said_no,
        node=request.node,
        where=str(request),
        refusal=code or "unknown",
        status=answer.status,
    )


async def _body(response: aiohttp.ClientResponse, request: Request) -> bytes:
    body = bytearray()
    async for chunk in response.content.iter_any():
        body += chunk
        if len(body) > request.limit_bytes:
            raise _unusable(request, f"an answer of over {request.limit_bytes} bytes")
    return bytes(body)
