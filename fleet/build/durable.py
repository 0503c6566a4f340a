"""Writing files so that a power cut leaves either the old state or the new one: temporary, fsync, rename,
fsync."""

from __future__ import annotations

import os
from contextlib import suppress
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path


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
        for _, _, handle in waiting:
            os.fsync(handle)
        for beside, path, _ in waiting:
            beside.replace(path)
    finally:
        for beside, _, handle in waiting:
            os.close(handle)
            with suppress(FileNotFoundError):
                beside.unlink()
    for folder in dict.fromkeys(path.parent for path, _ in files):
        _sync_folder(folder)


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
