"""The id of a bench: what its nodes announce, so that nobody takes them for those of another bench on this machine."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

_BYTES = 4


def own_id(path: Path, entropy: Callable[[int], bytes]) -> str:
    """The id that the file holds, 8 hexadecimal digits; made now if there is none, or if the folder is a copy of
    another bench's. OSError if it cannot be kept.

    The inode number of the folder stands beside the id: a folder that was moved keeps it, a copy has another. Only for
    who holds the bench's lock.
    """
    place = str(path.parent.stat().st_ino)
    try:
        known = path.read_text(encoding="ascii").split()
    except (FileNotFoundError, ValueError):
        known = []
    if len(known) == 2 and known[1] == place:
        return known[0]
    fresh = entropy(_BYTES).hex()
    path.write_text(f"{fresh} {place}\n", encoding="ascii")
    return fresh
