"""What SQLite says of a journal, as errors that a person can act on."""

from __future__ import annotations

import errno
import os
import shlex
import sqlite3
from contextlib import contextmanager
from typing import TYPE_CHECKING

from fleet.errors import LockedError, PushError, TankfleetError
from fleet.push import journal_codes as codes

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from fleet.codes import Code

_PRIMARY = 0xFF
"""The low byte of a result code is its kind (sqlite.org/rescode.html)."""
_KINDS = {
    sqlite3.SQLITE_FULL: codes.JOURNAL_DISK_FULL,
    sqlite3.SQLITE_READONLY: codes.JOURNAL_READ_ONLY,
    sqlite3.SQLITE_PERM: codes.JOURNAL_READ_ONLY,
    sqlite3.SQLITE_NOTADB: codes.NOT_A_JOURNAL,
    sqlite3.SQLITE_IOERR: codes.JOURNAL_DISK_FAULT,
    sqlite3.SQLITE_CANTOPEN: codes.JOURNAL_DISK_FAULT,
}
_CLOSER = {
    sqlite3.SQLITE_IOERR_SHORT_READ: codes.DAMAGED_JOURNAL,
    sqlite3.SQLITE_IOERR_CORRUPTFS: codes.DAMAGED_JOURNAL,
    sqlite3.SQLITE_IOERR_SHMSIZE: codes.JOURNAL_DISK_FULL,
}
"""Kinds of input and output errors that tell more: the file ends too early; no room to grow the shared index."""
_ERRNO = {
    errno.ENOSPC: codes.JOURNAL_DISK_FULL,
    errno.EDQUOT: codes.JOURNAL_DISK_FULL,
    errno.EROFS: codes.JOURNAL_READ_ONLY,
    errno.EACCES: codes.JOURNAL_READ_ONLY,
    errno.EPERM: codes.JOURNAL_READ_ONLY,
}
_HELD = (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED, sqlite3.SQLITE_PROTOCOL)


@contextmanager
def about(path: Path) -> Iterator[None]:
    """Do something with the journal at that path; whatever SQLite says becomes a PushError or a LockedError."""
    try:
        yield
    except (TankfleetError, sqlite3.ProgrammingError):
        raise  # said already; or a fault of this program, such as a journal that is closed
    except sqlite3.Error as error:
        raise _error_of(path, error) from error
    except OSError as error:
        code = _ERRNO.get(error.errno or 0, codes.JOURNAL_DISK_FAULT)
        raise broken(path, error.strerror or str(error), code) from error
    except UnicodeDecodeError as error:  # SQLite quotes what it cannot read, and Python cannot read the quote
        raise broken(path, "a name or a text in it is not UTF-8") from error
    except MemoryError as error:  # a length that damage made absurd
        raise broken(path, "a record of absurd length") from error


def broken(path: Path, what: str, code: Code = codes.DAMAGED_JOURNAL) -> PushError:
    """The error for a journal that cannot be used as it is, with the command that moves it aside."""
    where, old = shlex.quote(str(path)), shlex.quote(str(path.parent / "old-journal"))
    move = f"mkdir {old} && mv {where}* {old}/"
    return PushError(
        code, f"{path}: {what}", fix=code.fix.replace("(the message has the command)", f"(`{move}`)")
    )


def _error_of(path: Path, error: sqlite3.Error) -> TankfleetError:
    number = getattr(error, "sqlite_errorcode", sqlite3.SQLITE_CORRUPT)
    kind = number & _PRIMARY
    if kind in _HELD:
        return LockedError(codes.JOURNAL_BUSY, f"{path}: {error}")
    code = _CLOSER.get(number) or _KINDS.get(kind, codes.DAMAGED_JOURNAL)
    if kind == sqlite3.SQLITE_CANTOPEN:
        code = _why_not_opened(path) or code
    return broken(path, str(error), code)


def _why_not_opened(path: Path) -> Code | None:
    """SQLite says only that a file cannot be opened, be it the one beside the journal: look why."""
    try:
        room = os.statvfs(path.parent)
    except OSError:
        return None
    if (
        room.f_flag & os.ST_RDONLY
        or not os.access(path.parent, os.W_OK)
        or not os.access(path, os.R_OK | os.W_OK)
    ):
        return codes.JOURNAL_READ_ONLY
    no_inode = room.f_files > 0 and room.f_favail == 0
    return codes.JOURNAL_DISK_FULL if room.f_bavail == 0 or no_inode else None
