"""A rendered project on the disk, and what there is in its folder.

In a person's folder only what differs is written, and what is no longer rendered is removed; what the tool itself
compiles has a fresh folder with nothing else in it.
"""

from __future__ import annotations

import json
import shutil
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from fleet.durable import replace_file
from fleet.errors import RenderError
from fleet.render.codes import LINKED_FOLDER

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

LIST_FILE = ".rendered.json"
"""Names the files that were rendered here before; any other file in the folder is left alone."""
_READ_FOLDERS = ("src", "lib", "include", "boards", "platforms")
"""Where PlatformIO looks for what it compiles, and by what (platformio 6.2, project/options.py; `platforms` is set so
in the host's project). What a platform may put beside them, such as settings that it made, is not compiled."""


@dataclass(frozen=True, slots=True)
class Written:
    """Paths inside of the project, sorted."""

    written: tuple[str, ...]
    removed: tuple[str, ...]

    @property
    def changed(self) -> bool:
        """Whether anything was written or removed."""
        return bool(self.written or self.removed)


def write_project(folder: Path, project: Mapping[str, bytes]) -> Written:
    """Make the folder hold the project. A second time with the same project writes nothing. RenderError (RND106) if
    the folder, that above it or one in it is a link: what it points to is not ours to write."""
    _refuse_links(folder, project)
    before = _listed(folder)
    written = []
    for path, data in project.items():
        target = folder / path
        if target.is_symlink() or not target.is_file() or target.read_bytes() != data:
            replace_file(target, data)
            written.append(path)
    removed = sorted(path for path in before - set(project) if _stands(folder / path))
    for path in removed:
        (folder / path).unlink()
        _prune(folder, path)
    if before != set(project):
        replace_file(folder / LIST_FILE, json.dumps(sorted(project), indent=0).encode() + b"\n")
    return Written(tuple(sorted(written)), tuple(removed))


def _refuse_links(folder: Path, paths: Iterable[str]) -> None:
    inside = {folder / parent for path in paths for parent in Path(path).parents}
    link = next((one for one in sorted({folder.parent, folder, *inside}) if one.is_symlink()), None)
    if link is not None:
        raise RenderError(LINKED_FOLDER, f"{link} is a link to {link.readlink()}")


def _stands(path: Path) -> bool:
    return path.is_symlink() or path.is_file()


def write_fresh(folder: Path, project: Mapping[str, bytes]) -> None:
    """Make the folder hold the project and nothing else, whatever was there: a stray file would be compiled."""
    if folder.is_symlink() or folder.is_file():
        folder.unlink()
    elif folder.exists():
        shutil.rmtree(folder)
    write_project(folder, project)


def strangers(folder: Path, project: Mapping[str, bytes]) -> list[str]:
    """Paths that are not as in the project: changed or missing, or in a folder that PlatformIO reads and not of it."""
    there = [path for name in _READ_FOLDERS for path in (folder / name).rglob("*")]
    files = {path.relative_to(folder).as_posix() for path in there if path.is_symlink() or not path.is_dir()}
    changed = {name for name, data in project.items() if not _holds(folder / name, data)}
    return sorted(changed | (files - set(project)))


def _holds(path: Path, data: bytes) -> bool:
    return path.is_file() and not path.is_symlink() and path.read_bytes() == data


def _listed(folder: Path) -> set[str]:
    """What was rendered here before; paths that would lead out of the folder are not believed."""
    try:
        names = json.loads((folder / LIST_FILE).read_text(encoding="utf-8"))
    except (FileNotFoundError, ValueError):
        return set()
    if not isinstance(names, list):
        return set()
    inside = folder.resolve()
    return {
        name for name in names if isinstance(name, str) and (inside / name).resolve().is_relative_to(inside)
    }


def _prune(folder: Path, path: str) -> None:
    """Remove the folders that a removed file has left empty."""
    for parent in (folder / path).parents:
        if parent == folder or any(parent.iterdir()):
            return
        parent.rmdir()
