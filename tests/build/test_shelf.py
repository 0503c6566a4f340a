"""The shelf: what was put there comes back, and damage is noticed and named."""

from __future__ import annotations

import hashlib
import os
from dataclasses import replace
from pathlib import Path

import pytest

from fleet import durable
from fleet.build.entry import ShelfEntry, entry_from_json
from fleet.build.sequence import next_sequence
from fleet.build.shelf import Shelf, Shelved, record_bytes
from fleet.durable import write_durably
from fleet.errors import ShelfError

RECORD = {"v": 1, "class": "d1-mini/base/copy-in-place/host"}


def _sha(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def _thing(
    node: str = "ridge-01", sequence: int = 100, *, class_id: str = "c1", image: bytes = b"image"
) -> Shelved:
    ticket = f"ticket {node} {sequence}".encode()
    entry = ShelfEntry(
        node=node,
        image=_sha(image),
        ticket=_sha(ticket),
        sequence=sequence,
        release="1.2.0",
        board="d1-mini",
        class_id=class_id,
        class_name="d1-mini/base/copy-in-place/host",
        target="host",
        payload_format="host-elf",
        size_bytes=len(image),
        built_at="2026-01-02T03:04:05Z",
        defect="",
        block_crc="01234567",
        record=_sha(record_bytes(RECORD)),
        inputs=_sha(b"inputs"),
    )
    return Shelved(entry, image, ticket)


def _add(shelf: Shelf, *things: Shelved) -> None:
    shelf.add_all(things, record_bytes(RECORD))


@pytest.fixture
def shelf(tmp_path) -> Shelf:
    return Shelf(tmp_path / "shelf")


def test_empty_shelf_has_nothing_and_is_not_created_by_looking(shelf) -> None:
    assert shelf.entries() == []
    assert shelf.newest("ridge-01") is None
    assert shelf.nodes() == []
    assert shelf.last_sequence("ridge-01") == 0
    assert not shelf.path.exists()


def test_what_was_added_comes_back(shelf) -> None:
    thing = _thing()
    shelf.add(thing.entry, thing.image, thing.ticket, RECORD)
    assert shelf.entries() == [thing.entry]
    assert shelf.image(thing.entry.image) == b"image"
    assert shelf.ticket(thing.entry.ticket) == thing.ticket
    assert shelf.record(thing.entry.record) == RECORD


def test_newest_goes_by_sequence_and_class(shelf) -> None:
    _add(
        shelf,
        _thing(sequence=9),
        _thing(sequence=100),
        _thing(sequence=11, class_id="c2"),
        _thing("other", 500),
    )
    newest = shelf.newest("ridge-01")
    assert newest is not None
    assert newest.sequence == 100
    of_class = shelf.newest("ridge-01", "c2")
    assert of_class is not None
    assert of_class.sequence == 11
    assert shelf.newest("ridge-01", "c3") is None
    assert [entry.sequence for entry in shelf.entries("ridge-01")] == [9, 11, 100]
    assert shelf.nodes() == ["other", "ridge-01"]


def test_entry_is_found_by_its_image_or_the_start_of_it(shelf) -> None:
    _add(shelf, _thing(sequence=1, image=b"old"), _thing(sequence=2), _thing(sequence=3, image=b"old"))
    found = shelf.entry_for_image("ridge-01", _sha(b"old"))
    assert found is not None
    assert found.sequence == 3
    by_start = shelf.entry_for_image("ridge-01", _sha(b"image")[:16])
    assert by_start is not None
    assert by_start.sequence == 2
    assert shelf.entry_for_image("ridge-01", _sha(b"image")[:8]) is None
    assert shelf.entry_for_image("other", _sha(b"old")) is None


def test_same_image_is_kept_once(shelf) -> None:
    _add(shelf, _thing(sequence=1), _thing(sequence=2), _thing("other", 3))
    objects = [path for path in (shelf.path / "objects").rglob("*") if path.is_file()]
    assert len([path for path in objects if path.name == _sha(b"image")]) == 1


@pytest.mark.parametrize("what", ["image", "ticket", "record"])
@pytest.mark.parametrize(
    "damage", [lambda data: data[:-1], lambda data: data[:1] + b"!" + data[2:], lambda data: b""]
)
def test_damaged_object_is_refused_with_its_path_and_the_way_back(shelf, what, damage) -> None:
    thing = _thing()
    _add(shelf, thing)
    sha = getattr(thing.entry, what)
    path = shelf.path / "objects" / sha[:2] / sha
    path.write_bytes(damage(path.read_bytes()))
    with pytest.raises(ShelfError) as caught:
        getattr(shelf, what)(sha)
    assert caught.value.code.code == "SHF101"
    assert str(path) in caught.value.what
    assert "tankfleet build" in caught.value.fix


def test_missing_object_is_named(shelf) -> None:
    with pytest.raises(ShelfError) as caught:
        shelf.image(_sha(b"never"))
    assert caught.value.code.code == "SHF102"


@pytest.mark.parametrize("sha", ["", "../../../etc/passwd", "A" * 64, "0" * 63])
def test_only_a_digest_names_an_object(shelf, sha) -> None:
    with pytest.raises(ShelfError) as caught:
        shelf.image(sha)
    assert caught.value.code.code == "SHF102"


def test_every_damaged_byte_of_an_entry_is_noticed(shelf) -> None:
    data = _thing().entry.to_json()
    assert entry_from_json(data, "x") == _thing().entry
    for at in range(len(data) - 1):
        damaged = data[:at] + bytes([data[at] ^ 1]) + data[at + 1 :]
        with pytest.raises(ShelfError, match=r"somewhere\.json"):
            entry_from_json(damaged, "somewhere.json")


@pytest.mark.parametrize("data", [b"", b"[]", b"null", b"{}", b"\xff", b"[" * 100_000])
def test_entry_that_is_something_else_is_refused(data) -> None:
    with pytest.raises(ShelfError):
        entry_from_json(data, "x")


def test_entry_in_another_nodes_place_is_refused(shelf) -> None:
    _add(shelf, _thing())
    place = shelf.path / "nodes" / "other" / f"{100:019d}.json"
    place.parent.mkdir()
    place.write_bytes(_thing().entry.to_json())
    with pytest.raises(ShelfError, match="other"):
        shelf.entries("other")


def test_entry_that_misnames_its_bytes_is_not_shelved(shelf) -> None:
    thing = _thing()
    with pytest.raises(ValueError, match="ridge-01"):
        _add(shelf, replace(thing, image=b"something else"))
    assert shelf.entries() == []


def test_boot_loader_is_executable_and_checked(shelf) -> None:
    with pytest.raises(ShelfError, match="boot loader"):
        shelf.host_boot_loader()
    assert not shelf.has_boot_loader("abc")
    path = shelf.put_host_boot_loader(b"#!/bin/sh\n", "abc")
    assert shelf.host_boot_loader() == path
    assert os.access(path, os.X_OK)
    assert shelf.has_boot_loader("abc")
    assert not shelf.has_boot_loader("def")
    shelf.put_host_boot_loader(b"#!/bin/sh\nexit 1\n", "def")
    assert path.exists(), "a bench that is running still needs it"
    shelf.host_boot_loader().write_bytes(b"damaged")
    with pytest.raises(ShelfError):
        shelf.host_boot_loader()


def test_sequence_is_the_time_and_never_runs_back(shelf) -> None:
    assert next_sequence(shelf, "ridge-01", 1000) == 1000
    _add(shelf, _thing(sequence=1000))
    assert next_sequence(shelf, "ridge-01", 1000) == 1001
    assert next_sequence(shelf, "ridge-01", 5) == 1001
    assert next_sequence(shelf, "ridge-01", 2000) == 2000
    assert next_sequence(shelf, "other", 5) == 5


@pytest.mark.parametrize("fail_at", range(1, 18))
def test_failure_at_any_step_leaves_no_entry_without_its_image(shelf, monkeypatch, fail_at) -> None:
    """Every fsync and every rename fails once: what is listed is whole, and a second try ends well."""
    steps = 0

    def failing(real):
        def step(*words):
            nonlocal steps
            steps += 1
            if steps == fail_at:
                raise OSError(28, "No space left on device")
            return real(*words)

        return step

    thing = _thing()
    with monkeypatch.context() as patched:
        patched.setattr(durable.os, "fsync", failing(os.fsync))
        patched.setattr(Path, "replace", failing(Path.replace))
        try:
            _add(shelf, thing)
        except OSError:
            pass
        else:
            assert steps < fail_at
    for entry in shelf.entries():
        assert shelf.image(entry.image) == b"image"
        assert shelf.ticket(entry.ticket) == thing.ticket
    _add(shelf, thing)
    assert shelf.entries() == [thing.entry]
    assert not [path for path in shelf.path.rglob(".*") if path.is_file()]


def test_damaged_boot_loader_is_made_again(shelf) -> None:
    path = shelf.put_host_boot_loader(b"\x7fELF", "inputs")
    assert shelf.has_boot_loader("inputs")
    path.write_bytes(b"\x7fELf")
    assert not shelf.has_boot_loader("inputs")
    shelf.put_host_boot_loader(b"\x7fELF", "inputs")
    assert shelf.host_boot_loader().read_bytes() == b"\x7fELF"


def test_files_appear_only_when_all_are_written(tmp_path) -> None:
    blocked = tmp_path / "file"
    blocked.write_bytes(b"")
    with pytest.raises(OSError, match=r"File exists|Not a directory"):
        write_durably([(tmp_path / "a", b"1"), (blocked / "b", b"2")])
    assert sorted(path.name for path in tmp_path.iterdir()) == ["file"]
