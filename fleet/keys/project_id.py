"""The id of a project: made once, committed with it, and what its key folder is bound to.

The fleet's name cannot be that: it may change, and two projects may have the same one.
"""

from __future__ import annotations

import re
import secrets
from typing import TYPE_CHECKING, Final

from fleet.durable import create_durably
from fleet.errors import UsageError
from fleet.keys.codes import BAD_PROJECT_ID

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

PROJECT_ID_FILE: Final = "tankfleet.id"
_ID_BYTES: Final = 8
_ID: Final = re.compile(r"[0-9a-f]{16}")
_MOST_CHARS: Final = 1_000
_MODE: Final = 0o644


def project_id_text(project_id: str) -> str:
    """The file's text."""
    return f"# By this id the project finds its key folder. Commit it, and never change it.\n{project_id}\n"


def parse_project_id(text: str) -> str | None:
    """The id in such a text: 16 hex digits, in the only line that is no comment. None if it is not so."""
    lines = [line.strip() for line in text.splitlines()]
    said = [line for line in lines if line and not line.startswith("#")]
    return said[0] if len(said) == 1 and _ID.fullmatch(said[0]) else None


def read_project_id(project: Path) -> str | None:
    """The project's id; None if it has none yet. UsageError if its file holds none: it names a folder of secrets, so
    nothing is guessed."""
    path = project / PROJECT_ID_FILE
    if not path.is_file():
        return None
    with path.open(encoding="utf-8", errors="replace") as file:
        found = parse_project_id(file.read(_MOST_CHARS))
    if found is None:
        raise UsageError(BAD_PROJECT_ID, f"{path} does not hold 16 hex digits")
    return found


def make_project_id(project: Path, random_bytes: Callable[[int], bytes] = secrets.token_bytes) -> str:
    """The project's id, made now if it has none. OSError if it cannot be written.

    It is on the disk before a key folder is named by it or bound to it: a power cut that took the id, and not the
    folder, would leave keys that are nobody's.
    """
    found = read_project_id(project)
    if found is not None:
        return found
    made = random_bytes(_ID_BYTES).hex()
    try:
        create_durably(project / PROJECT_ID_FILE, project_id_text(made).encode(), mode=_MODE)
    except FileExistsError:
        first = read_project_id(project)  # another process was first
        if first is None:
            raise
        return first
    return made
