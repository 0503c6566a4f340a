"""Start a project: a commented inventory that passes its check, settings, and a .gitignore."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from fleet.durable import write_durably
from fleet.errors import UsageError
from fleet.inventory.codes import ALREADY_THERE
from fleet.inventory.ignored import IGNORE_FILE, add_ignored
from fleet.keys.project_id import PROJECT_ID_FILE, make_project_id, read_project_id
from fleet.limits import LABEL_CHARS
from fleet.resources import shipped_dir

if TYPE_CHECKING:
    from pathlib import Path

_PLACEHOLDER: Final = "MY-FLEET"
_IGNORED: Final = "gitignore"


def fleet_name(folder: Path) -> str:
    """A name for the fleet, made from that of its folder (RFC 1123)."""
    name = re.sub(r"[^a-z0-9]+", "-", folder.name.lower()).strip("-")[:LABEL_CHARS].strip("-")
    return name or "my-fleet"


def start_project(folder: Path) -> list[Path]:
    """Write the files of a new project into `folder`, and return their paths.

    Nothing is written over: UsageError (INV112) if one of them, or an inventory, is there already. A `.gitignore` that
    is there gets the lines that it lacks. No path is returned if all of them are there just so.
    """
    texts = {
        folder / path: text.replace(_PLACEHOLDER, fleet_name(folder)) for path, text in _shipped().items()
    }
    there = [path for path in [*texts, folder / "inventory"] if path.exists()]
    same = all(path.is_file() and path.read_bytes() == text.encode() for path, text in texts.items())
    if there and not same:
        raise UsageError(ALREADY_THERE, f"{there[0]} already exists; nothing was written")
    try:
        write_durably([(path, text.encode()) for path, text in texts.items() if not same])
    except BaseException:  # half a project would stand in the way of the next try
        for path in texts if not same else ():
            path.unlink(missing_ok=True)
        raise
    written = [] if same else [*texts]
    if not same and read_project_id(folder) is None:
        make_project_id(folder)
        written.append(folder / PROJECT_ID_FILE)
    return [*([folder / IGNORE_FILE] if add_ignored(folder) else []), *written]


def _shipped() -> dict[str, str]:
    root = shipped_dir("templates") / "start"
    return {
        str(path.relative_to(root)): path.read_text(encoding="utf-8")
        for path in sorted(root.rglob("*"))
        if path.is_file() and path.name != _IGNORED
    }
