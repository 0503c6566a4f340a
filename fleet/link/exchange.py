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
    ANSWER_TIMEOUT_S,
    CONNECT_TIMEOUT_S,
    CONNECTIONS_AT_ONCE,
    CROWDED_RETRY_S,
    CROWDED_WAIT_S,
    REFUSAL_TEXT_CHARS,
    SEND_FINISH_TIMEOUT_S,
    SEND_STALL_TIMEOUT_S,
)
from fleet.link.codes import (
    CROWDED,
    NO_MEMORY,
    NOT_A_STATE,
    REFUSED,
    STALLED,
    TOO_SLOW,
    UNPROVED_NO,
    UNREACHABLE,
)

if TYPE_CHECKING:
    from collections.abc import Mapping

    from fleet.link.payload import ImagePayload


@dataclass(frozen=True, slots=True)
class Timeouts:
    """How long a node may take to accept a connection, to answer, to take bytes, to end after the last; how long, and
    how often, one that is crowded is asked again."""

    connect_s: float = CONNECT_TIMEOUT_S
    answer_s: float = ANSWER_TIMEOUT_S
    stall_s: float = SEND_STALL_TIMEOUT_S
    finish_s: float = SEND_FINISH_TIMEOUT_S
    crowded_s: float = CROWDED_WAIT_S
    crowded_retry_s: float = CROWDED_RETRY_S


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
                return Answer(response.status, response.headers, await _body(response, request))
    except TimeoutError as error:
        if payload is not None and 0 < payload.sent_bytes < len(payload):
            what = f"{request}: no more bytes taken after {payload.sent_bytes} of {len(payload)}"
            raise NodeUnreachable(STALLED, what, node=request.node) from error
        raise NodeUnreachable(UNREACHABLE, f"{request}: no answer in time", node=request.node) from error
    except aiohttp.ClientResponseError as error:
        what = f"{request}: not HTTP as agreed: {error.message}"
        raise LinkError(NOT_A_STATE, what, node=request.node) from error
    except (aiohttp.ClientError, OSError, ValueError) as error:
        if payload is not None and payload.too_slow:
            what = f"{request}: ended by the node: {payload.pace}"
            raise NodeUnreachable(TOO_SLOW, what, node=request.node) from error
        raise NodeUnreachable(UNREACHABLE, f"{request}: {_in_words(error)}", node=request.node) from error


def _in_words(error: Exception) -> str:
    """What the operating system says, without what the library says around it."""
    if isinstance(error, aiohttp.ClientConnectorError):
        return os.strerror(error.os_error.errno or 0).lower() if error.os_error.errno else "no connection"
    if isinstance(error, aiohttp.ServerDisconnectedError):
        return "the connection ended before the answer"
    if isinstance(error, OSError) and error.strerror:
        return error.strerror.lower()
    return str(error) or type(error).__name__


def refusal(request: Request, answer: Answer, *, signed: bool) -> LinkError:
    """What the node said no with: `code` and `detail` of its RFC 9457 document, printable and short.

    A no to a changing request that is not signed could be anybody's: NodeUnreachable, as when nothing was answered.
    """
    code = detail = ""
    try:
        said = json.loads(answer.body)
        code, detail = _printable(said.get("code")), _printable(said.get("detail"))
    except (ValueError, AttributeError, RecursionError):
        pass
    tail = "" if signed else " (this refusal is not signed)"
    what = f"{request}: {code or answer.status}: {detail or 'no detail'}{tail}"
    if not signed and (answer.status, code) == (503, "crowded"):
        return NodeUnreachable(
            CROWDED, f"{request}: crowded, all its connections are taken", node=request.node
        )
    if not signed and request.method != "GET":
        return NodeUnreachable(UNPROVED_NO, what, node=request.node)
    kind = NO_MEMORY if code == "no-memory" else REFUSED
    return NodeRefused(kind, what, node=request.node, refusal=code or "unknown", status=answer.status)


def _printable(value: object) -> str:
    return "".join(c for c in str(value or "") if c.isprintable())[:REFUSAL_TEXT_CHARS]


async def _body(response: aiohttp.ClientResponse, request: Request) -> bytes:
    body = bytearray()
    async for chunk in response.content.iter_any():
        body += chunk
        if len(body) > request.limit_bytes:
            what = f"{request}: an answer of over {request.limit_bytes} bytes"
            raise LinkError(NOT_A_STATE, what, node=request.node)
    return bytes(body)
