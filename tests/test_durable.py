"""Files are written wholly or not at all, private ones private from the first byte on, and what a kill left goes."""

from __future__ import annotations

import errno
import os
import stat
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from fleet import durable
from fleet.durable import create_durably, left_behind, replace_file, sync_folder, write_durably, write_out
from fleet.keys.folder import NETWORKS_FILE, KeyFolder
from fleet.keys.networks import Network


def mode_of(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode)


@pytest.fixture(params=[0o000, 0o022, 0o777], ids=oct)
def umask(request: pytest.FixtureRequest) -> Iterator[int]:
    before = os.umask(request.param)
    yield request.param
    os.umask(before)


def test_private_files_are_private_from_the_first_byte_on(
    tmp_path: Path, umask: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    seen: list[int] = []
    write = os.write

    def watched(handle: int, data: bytes) -> int:
        seen.append(stat.S_IMODE(os.fstat(handle).st_mode))
        return write(handle, data)

    with monkeypatch.context() as patched:
        patched.setattr(durable.os, "write", watched)
        folder = KeyFolder.create(tmp_path / "keys")
        folder.set_network("n", Network("Farm", "correct horse"))
        create_durably(tmp_path / "own.key", b"k", mode=0o600)
    assert set(seen) == {0o600}
    assert {mode_of(path) for path in [*folder.path.iterdir(), tmp_path / "own.key"]} == {0o600}
    assert mode_of(folder.path) == 0o700


def test_what_a_person_named(tmp_path: Path) -> None:
    new, there, link = tmp_path / "a" / "new.plan", tmp_path / "there.plan", tmp_path / "link.plan"
    there.write_text("old")
    there.chmod(0o640)
    link.symlink_to(there)
    before = os.umask(0o027)
    try:
        write_out(new, b"1")
        write_out(link, b"2")
    finally:
        os.umask(before)
    assert (new.read_bytes(), mode_of(new)) == (b"1", 0o640)
    assert (there.read_bytes(), mode_of(there), link.is_symlink()) == (b"2", 0o640, True)
    write_out(Path(os.devnull), b"3")
    assert not stat.S_ISREG(Path(os.devnull).stat().st_mode)


def test_a_new_file_takes_the_place_of_none(tmp_path: Path) -> None:
    path = tmp_path / "own.key"
    path.write_text("precious")
    with pytest.raises(FileExistsError):
        create_durably(path, b"k", mode=0o600)
    assert [one.read_text() for one in tmp_path.iterdir()] == ["precious"]


@pytest.mark.parametrize(
    "write", [lambda path: write_durably([(path, b"1")]), lambda path: replace_file(path, b"1")]
)
def test_a_link_under_the_temporarys_name_is_not_written_through(tmp_path: Path, write) -> None:
    outside = tmp_path / "outside"
    outside.write_text("precious")
    path = tmp_path / "p" / "file"
    path.parent.mkdir()
    durable.beside_of(path).symlink_to(outside)
    write(path)
    assert (outside.read_text(), path.read_bytes(), path.is_symlink()) == ("precious", b"1", False)


def test_new_folders_are_synced_too(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A folder's name is on the disk once the folder that it lies in is synced (fsync(2))."""
    synced: list[Path] = []
    monkeypatch.setattr(durable, "sync_folder", synced.append)
    write_durably([(tmp_path / "a" / "b" / "c", b"1")])
    assert set(synced) == {tmp_path, tmp_path / "a", tmp_path / "a" / "b"}


def test_a_key_is_not_left_beside_when_the_folder_cannot_be_synced(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def failing(folder: Path) -> None:
        raise OSError(5, "Input/output error")

    monkeypatch.setattr(durable, "sync_folder", failing)
    with pytest.raises(OSError, match="Input"):
        create_durably(tmp_path / "own.key", b"k", mode=0o600)
    assert list(tmp_path.iterdir()) == []


KILLED = """
import os, signal, sys
from pathlib import Path
from fleet import durable
from fleet.keys.folder import KeyFolder
from fleet.keys.networks import Network
os.fsync = lambda handle: os.kill(os.getpid(), signal.SIGKILL)
if sys.argv[2] == "create":
    KeyFolder.create(Path(sys.argv[1]))
else:
    KeyFolder(Path(sys.argv[1])).set_network("n", Network("Farm", "correct horse"))
"""


@pytest.mark.parametrize("word", ["set-network", "create"])
def test_what_a_killed_process_left_goes_at_the_next_start(tmp_path: Path, word: str) -> None:
    path = tmp_path / "keys"
    folder = KeyFolder.create(tmp_path / "keys") if word == "set-network" else KeyFolder(path)
    done = subprocess.run([sys.executable, "-c", KILLED, str(path), word], check=False)
    assert done.returncode == -9
    left = left_behind(path / NETWORKS_FILE if word == "set-network" else path)
    assert len(left) == 1, "the kill came in the middle"
    if word == "create":
        KeyFolder.create(path)
    KeyFolder.open(folder.path)
    assert not left[0].exists()
    assert [one.name for one in tmp_path.iterdir()] == ["keys"]


def test_what_another_process_is_writing_stays(tmp_path: Path) -> None:
    folder = KeyFolder.create(tmp_path / "keys")
    mine, of_before = (
        folder.path / f".{NETWORKS_FILE}.{end}" for end in (f"{os.getppid()}-0.new", "4194999.new")
    )
    for path in (mine, of_before):
        path.touch(0o600)
    KeyFolder.open(folder.path)
    assert mine.exists()
    assert not of_before.exists(), "no process has a number above 4,194,304 (proc_sys_kernel(5), pid_max)"


@pytest.mark.parametrize("op", ["write", "fsync"])
@pytest.mark.parametrize("way", ["one", "several", "replace", "new"])
def test_an_error_of_the_disk_names_the_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, op: str, way: str
) -> None:
    """The calls that fail know a handle alone (write(2), fsync(2)); a person wants to know which disk is full."""
    path = tmp_path / "file"
    ways: dict[str, Callable[[], object]] = {
        "one": lambda: write_durably([(path, b"x")]),
        "several": lambda: write_durably([(path, b"x"), (path.with_name("other"), b"y")]),
        "replace": lambda: replace_file(path, b"x"),
        "new": lambda: create_durably(path, b"x", mode=0o600),
    }

    def full(*_: object) -> int:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, op, full)
    if (way, op) == ("replace", "fsync"):
        ways[way]()  # which is not synced
        return
    with pytest.raises(OSError, match="No space left") as caught:
        ways[way]()
    assert caught.value.filename == str(path)


def test_a_folder_that_cannot_be_synced_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(handle: int) -> None:
        raise OSError(errno.EIO, os.strerror(errno.EIO))

    monkeypatch.setattr(os, "fsync", broken)
    with pytest.raises(OSError, match="Input/output error") as caught:
        sync_folder(tmp_path)
    assert caught.value.filename == str(tmp_path)
