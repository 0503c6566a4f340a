"""Streams that lack characters, or whose reader has gone: what is printed on them must end no command."""

from __future__ import annotations

import codecs
import os
import re
from contextlib import contextmanager, suppress
from io import TextIOWrapper
from typing import IO, TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Iterator

_BEYOND_ASCII: Final = re.compile(r"[^\x00-\x7f]")


def replace_what_it_lacks(stream: IO[str]) -> None:
    """From now on print `?` for what the stream's encoding lacks, and for halves of characters.

    In the C locale Python keeps the bytes of names that are no UTF-8 as they are, if it prints UTF-8: so does this.
    """
    if isinstance(stream, TextIOWrapper) and not (stream.errors == "surrogateescape" and is_utf8(stream)):
        stream.reconfigure(errors="replace")


def is_utf8(stream: IO[str]) -> bool:
    """Whether it takes all characters; a stream in memory does."""
    return not isinstance(stream, TextIOWrapper) or codecs.lookup(stream.encoding).name == "utf-8"


def printable_on(stream: IO[str], text: str, *, instead: str | None = None) -> str:
    """The text as the stream will show it, so that it can be measured; or `instead`, if the stream lacks any of it."""
    if not isinstance(stream, TextIOWrapper) or is_utf8(stream) or text.isascii():
        return text
    shown = text.encode(stream.encoding, "replace").decode(stream.encoding)
    return shown if instead is None or shown == text else instead


def json_for(stream: IO[str], text: str) -> str:
    """JSON text for that stream: as it is in UTF-8, else with escapes (RFC 8259, 7); outside of its strings JSON is
    ASCII."""
    if is_utf8(stream) and not any("\ud800" <= char <= "\udfff" for char in text):
        return text
    return _BEYOND_ASCII.sub(lambda found: _escaped(found.group()), text)


def _escaped(char: str) -> str:
    units = char.encode("utf-16-be", "surrogatepass")
    return "".join(f"\\u{units[at : at + 2].hex()}" for at in range(0, len(units), 2))


@contextmanager
def heard(stream: IO[str]) -> Iterator[None]:
    """Write to a stream, or to what is below it. Once its reader has gone, to nobody: a push goes on though nobody
    reads its lines, and every exit status is the true one."""
    try:
        yield
    except BrokenPipeError:
        _to_nobody(stream)


def put(stream: IO[str], text: str) -> None:
    """Write it, if somebody hears."""
    with heard(stream):
        stream.write(text)


def send(stream: IO[str]) -> None:
    """Flush it, if somebody hears."""
    with heard(stream):
        stream.flush()


def _to_nobody(stream: IO[str]) -> None:
    """What is still in its buffers must go somewhere when Python ends."""
    with suppress(OSError, ValueError):
        nobody = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nobody, stream.fileno())
        os.close(nobody)
