"""Files that only their owner may read: writing them so, and refusing those that are not."""

from __future__ import annotations

import os
import stat
from typing import TYPE_CHECKING

from fleet.durable import create_durably, write_durably
from fleet.errors import KeyFolderError
from fleet.keys.codes import NO_KEYS, OPEN_TO_OTHERS

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

PRIVATE_FOLDER = 0o700
PRIVATE_FILE = 0o600
_OTHERS = 0o077


def create_private(path: Path, data: bytes) -> None:
    """Write a new file with mode 0600, wholly or not at all. FileExistsError if there is one."""
    create_durably(path, data, mode=PRIVATE_FILE)


def replace_private(path: Path, data: bytes, check: Callable[[Path], None] | None = None) -> None:
    """Write a file with mode 0600 in place of the one that may be there: wholly, or not at all, and only if `check`,
    which gets the path of the new one beside it, raises nothing."""
    write_durably([(path, data)], mode=PRIVATE_FILE, check=check)


def read_private(path: Path, most_bytes: int) -> bytes:
    """The file's bytes, at most that many. KeyFolderError when it is missing, another's, or open to
    others."""
    try:
        handle = os.open(path, os.O_RDONLY)
    except FileNotFoundError as error:
        raise KeyFolderError(NO_KEYS, f"{path} does not exist") from error
    except PermissionError as error:
        raise KeyFolderError(OPEN_TO_OTHERS, f"{path} cannot be read: it is not yours") from error
    with os.fdopen(handle, "rb") as file:
        refuse_open(path, os.fstat(file.fileno()))
        return file.read(most_bytes)


def refuse_open(path: Path, status: os.stat_result) -> None:
    """KeyFolderError when the file or folder belongs to another, or others may read or write it."""
    if status.st_uid != os.geteuid():
        raise KeyFolderError(
            OPEN_TO_OTHERS, f"{path} belongs to user {status.st_uid}, not to you ({os.geteuid()})"
        )
    mode = stat.S_IMODE(status.st_mode)
    if mode & _OTHERS:
        wanted = PRIVATE_FOLDER if stat.S_ISDIR(status.st_mode) else PRIVATE_FILE
        raise KeyFolderError(OPEN_TO_OTHERS, f"{path} has mode {mode:04o}; it must be {wanted:04o}")
