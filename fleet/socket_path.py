"""Unix sockets under paths of any length: sun_path holds 107 bytes (unix(7)), so the folder's descriptor
leads there."""

from __future__ import annotations

import os
import socket
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path


@contextmanager
def short_path(path: Path) -> Iterator[str]:
    """A short path for `path`, good while the context lasts. OSError if its folder is not there."""
    folder = os.open(path.parent, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
    try:
        yield f"/proc/self/fd/{folder}/{path.name}"
    finally:
        os.close(folder)


def listen_at(path: Path) -> socket.socket:
    """A listening stream socket at `path`, mode 0600, in place of whatever is there."""
    path.unlink(missing_ok=True)
    listener = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    before = os.umask(0o177)
    try:
        with short_path(path) as short:
            listener.bind(short)
    finally:
        os.umask(before)
    listener.listen(16)
    return listener


def connect_to(path: Path, timeout_s: float) -> socket.socket:
    """A socket connected to `path`. OSError if nobody listens there."""
    connection = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    connection.settimeout(timeout_s)
    try:
        with short_path(path) as short:
            connection.connect(short)
    except OSError:
        connection.close()
        raise
    return connection
