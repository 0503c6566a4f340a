"""An image as the body of a request: written in chunks from the one copy in memory, watched for stalls."""

from __future__ import annotations

import asyncio
import socket
from math import ceil
from typing import TYPE_CHECKING

from aiohttp.payload import Payload

from fleet.limits import (
    BODY_GRACE_S,
    SEND_BUFFER_BYTES,
    SEND_CHUNK_BYTES,
    SLOWEST_ERASE_S,
    SLOWEST_SEND_BYTES_PER_S,
)

if TYPE_CHECKING:
    from collections.abc import Callable

    from aiohttp.abc import AbstractStreamWriter


def slowest_send_s(image_bytes: int) -> float:
    """Seconds for which a node waits for a whole image, at most; what its own flash takes comes on top."""
    return BODY_GRACE_S + image_bytes / SLOWEST_SEND_BYTES_PER_S


def longest_send_s(image_bytes: int) -> float:
    """The same with what the slowest flash takes: nothing honest is still taking bytes after that."""
    return slowest_send_s(image_bytes) + ceil(image_bytes / SEND_CHUNK_BYTES) * SLOWEST_ERASE_S


class ImagePayload(Payload):
    """The bytes of an image, shared and not copied: at most one chunk of it waits in this process."""

    def __init__(self, image: bytes, on_progress: Callable[[int, int], None] | None = None) -> None:
        super().__init__(image, content_type="application/octet-stream")
        self._size = len(image)
        self._on_progress = on_progress
        self._deadline: asyncio.Timeout | None = None
        self._stall_s = self._finish_s = self._moved_s = 0.0
        self.sent_bytes = 0
        self._begun_s: float | None = None

    @property
    def consumed(self) -> bool:
        """Always: aiohttp must not send an image again by itself when a connection breaks."""
        return True

    def watched_by(self, deadline: asyncio.Timeout, *, stall_s: float, finish_s: float) -> None:
        """Move `deadline` on as bytes are taken: by `stall_s` each time, by `finish_s` after the last."""
        self._deadline, self._stall_s, self._finish_s = deadline, stall_s, finish_s

    def unwatched(self) -> None:
        """The answer has begun: bytes that are taken move its deadline no more."""
        self._deadline = None

    @property
    def took_s(self) -> float:
        """Seconds since the first byte; 0 before."""
        return 0.0 if self._begun_s is None else asyncio.get_running_loop().time() - self._begun_s

    @property
    def too_slow(self) -> bool:
        """Whether a node that has not all of it by now has waited for as long as it ever does."""
        return self.took_s >= 0.95 * slowest_send_s(len(self))

    @property
    def pace(self) -> str:
        """How fast it went, against the slowest that a node stands, for a message."""
        took_s = max(self.took_s, 0.001)
        return (
            f"it went at {self.sent_bytes / took_s / 1000:.1f} kB/s at most ({self.sent_bytes} of {len(self)} bytes in "
            f"{took_s:.0f} s), and a node takes no less than {SLOWEST_SEND_BYTES_PER_S / 1000:.0f} kB/s"
        )

    async def write(self, writer: AbstractStreamWriter) -> None:
        """Write the image; a chunk is handed over only when the one before has left this process."""
        transport = getattr(writer, "transport", None)
        if transport is not None:
            transport.set_write_buffer_limits(high=0)
            sock = transport.get_extra_info("socket")
            sock.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, SEND_BUFFER_BYTES)
        view = memoryview(self._value)
        self._begun_s = asyncio.get_running_loop().time()
        if self._on_progress is not None:
            self._on_progress(0, len(view))
        for at in range(0, len(view), SEND_CHUNK_BYTES):
            chunk = view[at : at + SEND_CHUNK_BYTES]
            self._move_deadline()
            await writer.write(chunk)
            await writer.drain()
            self.sent_bytes = at + len(chunk)
            if self._on_progress is not None:
                self._on_progress(self.sent_bytes, len(view))
        self._move_deadline()

    async def write_with_length(self, writer: AbstractStreamWriter, content_length: int | None) -> None:
        """The whole image; its length is the Content-Length that was announced."""
        await self.write(writer)

    def __len__(self) -> int:
        return len(self._value)

    def decode(self, encoding: str = "utf-8", errors: str = "strict") -> str:
        """An image is not text."""
        raise TypeError("an image has no text")

    def _move_deadline(self) -> None:
        """Seldom enough that it costs nothing, often enough that a stall is given up within a tenth more."""
        if self._deadline is None:
            return
        now_s = asyncio.get_running_loop().time()
        ended = self.sent_bytes == len(self)
        if ended or now_s - self._moved_s > self._stall_s / 10:
            self._moved_s = now_s
            last_s = now_s - self.took_s + longest_send_s(len(self))
            self._deadline.reschedule(
                now_s + self._finish_s if ended else min(last_s, now_s + self._stall_s * 1.1)
            )
