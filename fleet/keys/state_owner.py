"""Whose the state folder is: shelf and journal of two projects in one folder would be taken for one project's.

Bound as key folders are: by a file with the project's id. The folder of the default setting lies in its project, which
is as good.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.durable import create_durably, make_folder
from fleet.errors import UsageError
from fleet.keys.codes import STATE_OF_ANOTHER
from fleet.keys.project_id import PROJECT_ID_FILE, parse_project_id, project_id_text, read_project_id
from fleet.keys.whereabouts import BOUND_FILE
from fleet.limits import KEY_FILE_BYTES
from fleet.workspace import DEFAULT_STATE

if TYPE_CHECKING:
    from pathlib import Path

SETTINGS_FILE = "tankfleet.toml"
_MODE = 0o644


def claim_state(state: Path, project: Path, *, make: bool) -> bool:
    """Bind the folder to the project, which must have an id; whether it had belonged to nobody and was in use.

    With `make` a folder that is not there is made, so that no other project takes it meanwhile; without, it is left to
    be bound once it is there. UsageError if it is another project's, OSError if it cannot be written. Nothing in the
    folder is changed or removed.
    """
    mine = read_project_id(project)
    owner = _owner(state, project)
    if owner is not None and owner != mine:
        raise UsageError(STATE_OF_ANOTHER, _whose(state, owner, mine), fix=_way_out(state, mine))
    if owner is not None or mine is None or not (make or state.is_dir()):
        return False
    make_folder(state)
    used = any(state.iterdir())
    try:
        create_durably(state / BOUND_FILE, project_id_text(mine).encode(), mode=_MODE)
    except FileExistsError:  # another process was first
        return claim_state(state, project, make=False)
    return used


def _owner(state: Path, project: Path) -> str | None:
    """The id of the project whose folder it is; empty if that cannot be told, None if it is nobody's."""
    try:
        with (state / BOUND_FILE).open(encoding="utf-8", errors="replace") as file:
            return parse_project_id(file.read(KEY_FILE_BYTES)) or ""
    except (FileNotFoundError, NotADirectoryError):
        pass
    home = state.resolve().parent
    if state.resolve().name != DEFAULT_STATE or home == project.resolve():
        return None
    if not (home / SETTINGS_FILE).is_file():
        return None
    try:  # another project's own folder, not bound yet
        return read_project_id(home) or ""
    except UsageError:
        return ""


def _whose(state: Path, owner: str, mine: str | None) -> str:
    whose = f"of the project {owner}" if owner else "of another project"
    this = f"this one is {mine}" if mine else f"this one has no {PROJECT_ID_FILE}"
    return f"{state} holds shelf and journal {whose}; {this}"


def _way_out(state: Path, mine: str | None) -> str:
    lost = (
        ""
        if mine
        else f"If it is this project's, restore {PROJECT_ID_FILE}: `git checkout {PROJECT_ID_FILE}`. "
    )
    return (
        f"{lost}Set `state` in {SETTINGS_FILE} to a folder for this project alone. Only if you are certain "
        f"that shelf and journal there are this project's: delete {state / BOUND_FILE} and run the command "
        f"again."
    )
