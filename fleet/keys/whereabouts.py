"""Which key folder is a project's: the one that is bound to its id, never one that only has a fitting name."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Final

from fleet.errors import KeyFolderError
from fleet.keys.private_file import create_private, read_private
from fleet.keys.project_id import make_project_id, parse_project_id, project_id_text
from fleet.limits import KEY_FILE_BYTES

if TYPE_CHECKING:
    from pathlib import Path

BOUND_FILE: Final = "project-id"
"""In a key folder that is not named by the id: the id of the project that it belongs to."""


class Binding(StrEnum):
    """How a key folder stands to the project."""

    NAMED = "named by the setting"
    BOUND = "bound to the project"
    OLD = "by the fleet's name"
    """As older versions had it: not bound to any project yet."""
    TAKEN = "another project's"
    """By the fleet's name, and bound to another project."""
    NONE = "not there"


@dataclass(frozen=True, slots=True)
class Whereabouts:
    """Where the keys are, or would be made. `owner` is the id of the project that a taken folder belongs to."""

    path: Path
    standing: Binding
    owner: str = ""


def key_folder_of(root: Path, project_id: str | None, fleet: str) -> Whereabouts:
    """The folder under `root` for the project of that id (None: it has none yet) and the fleet of that name (empty:
    not known). Nothing is written."""
    if project_id is not None:
        bound = _bound(root, project_id)
        if bound is not None:
            return Whereabouts(bound, Binding.BOUND)
    old = root / fleet
    if fleet and old.is_dir():
        owner = _owner(old)
        return Whereabouts(old, Binding.OLD) if owner is None else Whereabouts(old, Binding.TAKEN, owner)
    return Whereabouts(root / (project_id or fleet), Binding.NONE)


def folder_by_id(root: Path, project_id: str) -> Path:
    """The folder under `root` that new keys of the project go into."""
    return root / project_id


def folders_under(root: Path) -> list[Path]:
    """All folders there, by name, whosever they are; none if they cannot be listed."""
    try:
        return sorted(folder for folder in root.iterdir() if folder.is_dir())
    except (FileNotFoundError, NotADirectoryError, PermissionError):
        return []


def adopt(path: Path, project: Path) -> str:
    """Bind a folder of the older way to the project; the project's id, made now if it had none.

    The project's file comes first: an id that no folder has finds nothing, while a folder that is bound to an id which
    was lost would be nobody's. OSError if one of them cannot be written.
    """
    project_id = make_project_id(project)
    create_private(path / BOUND_FILE, project_id_text(project_id).encode())
    return project_id


def _bound(root: Path, project_id: str) -> Path | None:
    by_id = folder_by_id(root, project_id)
    if by_id.is_dir():
        return by_id
    return next((folder for folder in folders_under(root) if _owner(folder) == project_id), None)


def _owner(folder: Path) -> str | None:
    """The id of the project that the folder is bound to; empty if its file says none, None without one."""
    try:
        if not (folder / BOUND_FILE).exists():
            return None
        text = read_private(folder / BOUND_FILE, KEY_FILE_BYTES).decode("utf-8", "replace")
    except (KeyFolderError, PermissionError):
        return ""
    return parse_project_id(text) or ""
