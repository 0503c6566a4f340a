"""The key folder as the commands open it: the project's own, and never silently another one."""

from __future__ import annotations

from contextlib import suppress
from typing import TYPE_CHECKING

from fleet.cli.common import user_dir
from fleet.errors import KeyFolderError, UsageError
from fleet.keys.codes import KEYS_ELSEWHERE, NO_KEYS, NODES_ANSWER, OF_ANOTHER_PROJECT
from fleet.keys.whereabouts import folder_by_id
from fleet.limits import KEYS_LOOK_S
from fleet.water.quantities import counted

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from fleet.cli.common import Session
    from fleet.keys.folder import KeyFolder
    from fleet.keys.whereabouts import Whereabouts
    from fleet.model.inventory import Inventory
    from fleet.push.other_keys import OtherKeys

_SHOWN = 3


def open_keys(this: Session, fleet: str) -> KeyFolder:
    """The keys of the fleet of that name in this project. A folder by the fleet's name alone, as older versions had it,
    is bound to the project, once, and that is said. KeyFolderError if there are none that are surely its own."""
    from fleet.keys.folder import KeyFolder
    from fleet.keys.whereabouts import Binding

    at = this.keys_at(fleet)
    if at.standing is Binding.TAKEN:
        raise KeyFolderError(OF_ANOTHER_PROJECT, _whose(at), fix=_share(at))
    if at.standing is Binding.NONE:
        here = _signed_here(this)
        if here is not None:
            raise KeyFolderError(NO_KEYS, f"{at.path} does not exist", fix=_on_this_machine(here))
    folder = KeyFolder.open(at.path)
    if at.standing is Binding.OLD:
        _bind(this, folder)
    return folder


def fits(this: Session, folder: KeyFolder) -> bool:
    """Whether a folder by the fleet's name may be this project's. What is on the shelf decides; where that is empty,
    only a project of the older way, one without an id, may take it."""
    from fleet.keys.project_id import read_project_id
    from fleet.push.other_keys import key_ids_on_shelf

    signed = key_ids_on_shelf(this.workspace("").shelf_dir)
    if signed:
        return folder.key_id().hex() in signed
    return read_project_id(this.project) is None


def place_for_new_keys(this: Session, fleet: str) -> Path:
    """Where new keys of this project go: where the setting says, else by the project's id, which is made if it has
    none. OSError if it cannot be written."""
    from fleet.keys.project_id import PROJECT_ID_FILE, make_project_id, read_project_id
    from fleet.keys.whereabouts import Binding

    at = this.keys_at(fleet)
    if at.standing is Binding.NAMED:
        return at.path
    if read_project_id(this.project) is None:
        this.output.note(
            f"The project now has an id in {PROJECT_ID_FILE}, which leads to its keys: commit it."
        )
    return folder_by_id(user_dir() / "keys", make_project_id(this.project))


def refuse_new_keys(this: Session, inventory: Inventory) -> None:
    """KeyFolderError if shelf or journal show that the fleet has keys already (KEY109), or what answers by the name of
    a node may show it (KEY112)."""
    import asyncio

    from fleet.find.scope import interface_for
    from fleet.push.other_keys import answering, kept_here

    workspace = this.workspace(inventory.fleet.name)
    signs = kept_here(workspace)
    if signs:
        here = _signed_here(this)
        fix = "" if here is None else _on_this_machine(here)
        raise KeyFolderError(KEYS_ELSEWHERE, "; ".join(_said(sign) for sign in signs), fix=fix)
    this.output.note(f"searching for nodes that already have keys, for {KEYS_LOOK_S:g} s")
    interface = interface_for(this.setting("find_on"), workspace)
    try:
        places = asyncio.run(answering(inventory, workspace, interface))
    except UsageError as error:
        this.output.note(f"could not search for nodes: {error.what}")
        return
    if places:
        raise KeyFolderError(NODES_ANSWER, _some_of(places))


def _signed_here(this: Session) -> Path | None:
    """The key folder of this user whose key signed what is on the shelf, wherever the project's id has gone; None if
    there is none."""
    from fleet.keys.folder import KeyFolder
    from fleet.keys.whereabouts import folders_under
    from fleet.push.other_keys import key_ids_on_shelf

    signed = key_ids_on_shelf(this.workspace("").shelf_dir)
    for path in folders_under(user_dir() / "keys") if signed else ():
        with suppress(KeyFolderError):
            if KeyFolder(path).key_id().hex() in signed:
                return path
    return None


def _said(other: OtherKeys) -> str:
    from fleet.push.other_keys import Sign

    count = len(other.subjects)
    if other.sign is Sign.SHELF:
        return f"images on the shelf are signed with the key {_some_of(other.subjects)}"
    return f"the journal has {counted(count, 'push', 'pushes')} to its nodes"


def _some_of(subjects: Sequence[str]) -> str:
    return ", ".join(subjects[:_SHOWN]) + (", ..." if len(subjects) > _SHOWN else "")


def _bind(this: Session, folder: KeyFolder) -> None:
    from fleet.keys.project_id import PROJECT_ID_FILE, read_project_id
    from fleet.keys.whereabouts import BOUND_FILE, adopt
    from fleet.push.other_keys import key_ids_on_shelf

    had = read_project_id(this.project)
    if not fits(this, folder):
        what = f"{folder.path} is there by the fleet's name, but nothing shows that it is this project's"
        raise KeyFolderError(OF_ANOTHER_PROJECT, what, fix=_own(folder, had))
    try:
        project_id = adopt(folder.path, this.project)
    except OSError as error:
        this.output.note(f"The keys in {folder.path} could not be bound to this project: {error}")
        return
    commit = "" if had else f" Its id is in {PROJECT_ID_FILE}: commit that file."
    this.output.note(f"The keys in {folder.path} are now bound to this project ({project_id}).{commit}")
    if not key_ids_on_shelf(this.workspace("").shelf_dir):
        this.output.note(
            f"Only the fleet's name showed that they are its own. If they are another project's: delete "
            f"{folder.path / BOUND_FILE} and {PROJECT_ID_FILE} here, and run `tankfleet keys show` there."
        )


def _whose(at: Whereabouts) -> str:
    return f"{at.path} belongs to the project {at.owner or 'of an id that cannot be read'}, not to this one"


def _share(at: Whereabouts) -> str:
    from fleet.keys.whereabouts import BOUND_FILE

    return (
        "If this is a copy of that project, copy its tankfleet.id here too. If it is another one with the same keys, "
        f'set `keys = "{at.path}"` in tankfleet.toml. If they are this one\'s keys, which the other took for the '
        f"fleet's name: delete {at.path / BOUND_FILE} and run the command again. If it never had keys: `tankfleet keys "
        "create`."
    )


def _on_this_machine(path: Path) -> str:
    return (
        f"The key that signed what is on the shelf is on this machine, in {path}. Get tankfleet.id back as it was "
        f'committed: `git checkout tankfleet.id`. If it never was, set `keys = "{path}"` in tankfleet.toml.'
    )


def _own(folder: KeyFolder, project_id: str | None) -> str:
    """How to say whose keys they are: by the folder's name, which is this machine's alone, if the project has an id."""
    mine = f'set `keys = "{folder.path}"` in tankfleet.toml'
    if project_id is not None:
        mine = f"`mv {folder.path} {folder_by_id(folder.path.parent, project_id)}`"
    return (
        f"If these are its keys: {mine}. If others are, copy them from the machine that has them. If it never had any: "
        "`tankfleet keys create`."
    )
