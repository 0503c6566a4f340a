"""The id of a bench: kept as long as its folder, and not shared by a copy of it."""

from __future__ import annotations

import shutil

import pytest

from fleet.bench.identity import own_id
from fleet.bench.paths import BenchPaths
from fleet.find.scope import read_bench_id


def entropy(byte: int):
    """So much of one byte."""
    return lambda count: bytes([byte]) * count


@pytest.fixture
def path(tmp_path):
    folder = tmp_path / "bench"
    folder.mkdir()
    return BenchPaths(folder).id


def test_id_is_made_once_and_read_by_find(path) -> None:
    assert read_bench_id(path) is None
    assert own_id(path, entropy(0xA1)) == "a1a1a1a1"
    assert own_id(path, entropy(0xB2)) == "a1a1a1a1"
    assert read_bench_id(path) == "a1a1a1a1"


def test_a_folder_that_was_moved_keeps_it_and_a_copy_gets_another(path, tmp_path) -> None:
    own_id(path, entropy(0xA1))
    path.parent.rename(tmp_path / "moved")
    assert own_id(tmp_path / "moved" / "id", entropy(0xB2)) == "a1a1a1a1"
    shutil.copytree(tmp_path / "moved", tmp_path / "copy")
    assert own_id(tmp_path / "copy" / "id", entropy(0xC3)) == "c3c3c3c3"
    assert own_id(tmp_path / "copy" / "id", entropy(0xD4)) == "c3c3c3c3"


@pytest.mark.parametrize("damage", [b"", b"\xff\xff", b"a1a1a1a1", b"a1a1a1a1 x y"])
def test_a_damaged_file_is_made_anew(path, damage) -> None:
    path.write_bytes(damage)
    assert own_id(path, entropy(0xB2)) == "b2b2b2b2"
    assert read_bench_id(path) == "b2b2b2b2"
