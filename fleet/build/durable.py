"""Writing files so that a power cut leaves either the old state or the new one: temporary, fsync, rename,
fsync."""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from typing import TYPE_CHECKING, TypeVar

from fleet.limits import FSYNCS_AT_ONCE

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

_Thing = TypeVar("_Thing")


def write_durably(files: Sequence[tuple[Path, bytes]], *, mode: int = 0o644) -> None:
    """Write all files, each wholly or not at all; they appear in the order given, none before all are on the
    disk."""
    waiting: list[tuple[Path, Path, int]] = []
    try:
        for number, (path, data) in enumerate(files):
            path.parent.mkdir(parents=True, exist_ok=True)
            beside = path.with_name(f".{path.name}.{os.getpid()}.{number}")
            handle = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o644)
            waiting.append((beside, path, handle))
            os.fchmod(handle, mode)
            _write_all(handle, data)
        _all_at_once(os.fsync, [handle for _, _, handle in waiting])
        for beside, path, _ in waiting:
            beside.replace(path)
    finally:
        for beside, _, handle in waiting:
            os.close(handle)
            with suppress(FileNotFoundError):
                beside.unlink()
    _all_at_once(_sync_folder, list(dict.fromkeys(path.parent for path, _ in files)))


def _all_at_once(sync: Callable[[_Thing], None], things: Sequence[_Thing]) -> None:
    """Sync many things side by side: the file system then writes its journal once for several of them."""
    if len(things) < 2:
        for thing in things:
            sync(thing)
        return
    with ThreadPoolExecutor(min(FSYNCS_AT_ONCE, len(things))) as pool:
        for _ in pool.map(sync, things):
            pass


def _write_all(handle: int, data: bytes) -> None:
    view = memoryview(data)
    while view:
        view = view[os.write(handle, view) :]


def _sync_folder(folder: Path) -> None:
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def replace_file(path: Path, data: bytes, *, mode: int = 0o644) -> None:
    """Write a file wholly or not at all; it may be lost in a power cut, for it can be made again."""
    path.parent.mkdir(parents=True, exist_ok=True)
    beside = path.with_name(f".{path.name}.{os.getpid()}.new")
    try:
        beside.write_bytes(data)
        beside.chmod(mode)
        beside.replace(path)
    finally:
        beside.unlink(missing_ok=True)
