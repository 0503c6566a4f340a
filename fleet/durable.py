"""Writing files so that a failure or a power cut leaves either the old state or the new one: temporary, fsync,
rename, fsync of the folder. The one home of it."""

from __future__ import annotations

import errno
import os
import re
import stat
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING, TypeVar

from fleet.limits import FSYNCS_AT_ONCE

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from pathlib import Path

_Thing = TypeVar("_Thing")
_NEW = os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_NOFOLLOW | os.O_CLOEXEC
"""What lies there already under a temporary's name, be it a link, is never written through."""


def write_durably(
    files: Sequence[tuple[Path, bytes]],
    *,
    mode: int = 0o644,
    check: Callable[[Path], None] | None = None,
) -> None:
    """Write all files, each wholly or not at all; they appear in the order given, none before all are on the
    disk. `mode` holds whatever the umask is, from the first byte on. `check` looks at each where it lies before it
    appears; if it raises, none does."""
    waiting: list[tuple[Path, Path, int]] = []
    made: list[Path] = []
    try:
        for number, (path, data) in enumerate(files):
            made += make_folder(path.parent)
            beside = beside_of(path, number)
            with _named(path, beside):
                beside.unlink(missing_ok=True)
                handle = os.open(beside, _NEW, mode)
                waiting.append((beside, path, handle))
                os.fchmod(handle, mode)
                _write_all(handle, data)
        _all_at_once(_sync_file, waiting)
        if check is not None:
            for beside, _, _ in waiting:
                check(beside)
        for beside, path, _ in waiting:
            with _named(path, beside):
                beside.replace(path)
    finally:
        for beside, _, handle in waiting:
            os.close(handle)
            with suppress(OSError):
                beside.unlink()
    _all_at_once(sync_folder, list(dict.fromkeys([*(path.parent for path, _ in files), *made])))


def create_durably(path: Path, data: bytes, *, mode: int) -> None:
    """Write a new file, wholly or not at all, with that mode from the first byte on. FileExistsError if there is
    one."""
    beside = beside_of(path)
    try:
        with _named(path, beside):
            write_durably([(beside, data)], mode=mode)
            if not place_new(beside, path):
                raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), str(path))
    finally:
        with suppress(FileNotFoundError):
            beside.unlink()
    sync_folder(path.parent)


def place_new(beside: Path, path: Path) -> bool:
    """Give a file that is whole its name; False if another has that name."""
    try:
        os.link(beside, path)
    except FileExistsError:
        return False
    except PermissionError:  # a file system without links
        if path.exists():
            return False
        beside.rename(path)
    return True


def write_out(path: Path, data: bytes) -> None:
    """Write a file that a person named, wholly or not at all: behind a link, the file that it points to; with the mode
    of the one that is there, else as the umask has it. A pipe or a device is written into."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path = path.resolve()
    for left in left_behind(path):
        left.unlink(missing_ok=True)
    try:
        before = path.stat().st_mode
    except FileNotFoundError:
        write_durably([(path, data)], mode=0o666 & ~_umask())
        return
    if stat.S_ISREG(before):
        write_durably([(path, data)], mode=stat.S_IMODE(before))
    else:
        with path.open("wb") as file:
            file.write(data)


def replace_file(path: Path, data: bytes, *, mode: int = 0o644) -> None:
    """Write a file wholly or not at all; it may be lost in a power cut, for it can be made again."""
    path.parent.mkdir(parents=True, exist_ok=True)
    beside = beside_of(path)
    beside.unlink(missing_ok=True)
    try:
        with _named(path, beside):
            handle = os.open(beside, _NEW, mode)
            try:
                os.fchmod(handle, mode)
                _write_all(handle, data)
            finally:
                os.close(handle)
            beside.replace(path)
    finally:
        with suppress(OSError):
            beside.unlink()


def beside_of(path: Path, number: int = 0) -> Path:
    """Where this process writes a file or folder before it takes its place."""
    return path.with_name(f".{path.name}.{os.getpid()}-{number}.new")


def left_behind(path: Path) -> list[Path]:
    """What processes that were killed left half written beside that file or folder. Those of processes that are alive
    are not among them; neither is one whose number a later process got, until that one has ended too."""
    form = re.compile(rf"\.{re.escape(path.name)}\.(\d+)(?:[-.]\d+)?\.new")
    try:
        names = [one.name for one in path.parent.iterdir()]
    except OSError:
        return []
    found = ((name, form.fullmatch(name)) for name in sorted(names))
    return [path.with_name(name) for name, match in found if match and not _lives(int(match[1]))]


def make_folder(folder: Path) -> list[Path]:
    """Make the folder and those that it lies in; returns the folders that got a new one, which are to be synced."""
    missing = []
    while not folder.is_dir():
        missing.append(folder)
        folder = folder.parent
    for one in reversed(missing):
        one.mkdir(exist_ok=True)
    return [one.parent for one in missing]


def sync_folder(folder: Path) -> None:
    """Bring the names in that folder to the disk."""
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
    try:
        with _named(folder):
            os.fsync(handle)
    finally:
        os.close(handle)


def _sync_file(one: tuple[Path, Path, int]) -> None:
    beside, path, handle = one
    with _named(path, beside):
        os.fsync(handle)


@contextmanager
def _named(path: Path, beside: Path | None = None) -> Iterator[None]:
    """An error says which file a person wanted: calls that know a handle alone name none, others the temporary."""
    try:
        yield
    except OSError as error:
        if error.errno is not None and error.filename in (None, beside, str(beside)):
            error.filename = str(path)
        raise


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


def _umask() -> int:
    mask = os.umask(0o077)
    os.umask(mask)
    return mask


def _lives(pid: int) -> bool:
    """Whether another process of that number is alive."""
    if pid == os.getpid():
        return False
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except (PermissionError, OverflowError):
        return True
    return True
