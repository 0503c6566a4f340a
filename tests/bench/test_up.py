"""Bringing nodes of an inventory up: which image, when they are flashed, what is left alone. The stand-in
is the boot loader."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import pytest

from fleet.bench.codes import FLASHED_ALREADY, NO_HOST_IMAGE, OTHER_SPEED
from fleet.bench.control import BenchControl
from fleet.bench.first_flash import image_for_bench
from fleet.bench.paths import BenchPaths
from fleet.bench.scene import node_specs
from fleet.bench.start import states_of, wait_until_ready
from fleet.bench.up import Wanted, bring_up
from fleet.boards.board import load_board
from fleet.build.entry import ShelfEntry
from fleet.build.shelf import Shelf
from fleet.errors import BenchError, ShelfError
from fleet.keys.folder import KeyFolder
from fleet.render.firmware_class import class_of, vendor_id
from fleet.workspace import Workspace
from tests.bench.scenery import processes_of, standin_image, standin_program
from tests.sample_fleet import sample_inventory

INVENTORY = sample_inventory()
NAMES = tuple(node.name for node in INVENTORY.nodes)
RECORD = {"made": "by hand"}


class Project:
    """A project whose shelf holds stand-in images."""

    def __init__(self, root: Path) -> None:
        self.workspace = Workspace(root, root / "inventory", root / "keys")
        self.shelf = Shelf(self.workspace.shelf_dir)
        self.keys = KeyFolder.create(root / "keys")
        self.told: list[str] = []

    def shelve(self, node: str, release: str, *, target: str = "host", defect: str = "") -> ShelfEntry:
        (spec,) = node_specs(INVENTORY, [node], Path("/b"), Path("/l"), 91)
        image = json.dumps({**standin_image(spec), "release": release}).encode()
        record = json.dumps(RECORD, sort_keys=True, indent=1, ensure_ascii=True).encode() + b"\n"
        board = load_board(INVENTORY.node(node).board)
        kind = class_of(board, target)
        entry = ShelfEntry(
            node=node,
            image=hashlib.sha256(image).hexdigest(),
            ticket=hashlib.sha256(b"ticket").hexdigest(),
            sequence=self.shelf.last_sequence(node) + 1,
            release=release,
            board=board.id,
            class_id=str(kind.id(vendor_id(INVENTORY.fleet.domain))),
            class_name=kind.name,
            target=target,
            payload_format="host-elf",
            size_bytes=len(image),
            built_at="2025-03-03T10:00:00Z",
            defect=defect,
            block_crc="00000000",
            record=hashlib.sha256(record).hexdigest(),
        )
        self.shelf.add(entry, image, b"ticket", RECORD)
        return entry

    def up(self, *names: str, **wanted):
        chosen = Wanted(names or NAMES, **{"speed": 10.0} | wanted)
        return bring_up(INVENTORY, self.workspace, self.shelf, self.keys, chosen, self.told.append)

    @property
    def control(self) -> BenchControl:
        return BenchControl(BenchPaths(self.workspace.bench_dir).socket)

    def flash(self, node: str) -> dict:
        return json.loads(BenchPaths(self.workspace.bench_dir).node(node).flash.read_text())


@pytest.fixture
def project(tmp_path):
    project = Project(tmp_path)
    project.shelf.put_host_boot_loader(standin_program(tmp_path).read_bytes(), "0" * 64)
    yield project
    if project.control.is_up():
        project.control.down()
    assert processes_of(project.workspace.bench_dir) == {}


def test_newest_sound_host_image_is_chosen_unless_a_release_is_named(project) -> None:
    first = project.shelve("yard-1", "1.0.0")
    second = project.shelve("yard-1", "1.1.0")
    bad = project.shelve("yard-1", "1.2.0+probes-inverted", defect="probes-inverted")
    project.shelve("yard-1", "1.3.0", target="board")
    assert image_for_bench(project.shelf, INVENTORY, "yard-1", None) == second
    assert image_for_bench(project.shelf, INVENTORY, "yard-1", "1.0.0") == first
    assert image_for_bench(project.shelf, INVENTORY, "yard-1", "1.2.0") == bad
    assert image_for_bench(project.shelf, INVENTORY, "yard-1", "1.2.0+probes-inverted") == bad
    for node, release in (("yard-2", None), ("yard-1", "1.3.0"), ("yard-1", "9")):
        with pytest.raises(BenchError) as caught:
            image_for_bench(project.shelf, INVENTORY, node, release)
        assert caught.value.code is NO_HOST_IMAGE
        assert node in caught.value.what


def test_of_no_node_nothing_is_said_and_nothing_awaited() -> None:
    said: list[str] = []
    assert wait_until_ready(None, [], said.append, 0.0) == ()  # type: ignore[arg-type]
    assert said == []


@pytest.mark.slow
def test_flashed_once_then_left_alone_then_blank(project) -> None:
    for name in NAMES:
        project.shelve(name, "1.0.0")
    result = project.up("hill-1", "yard-1")
    assert result.flashed == result.started == ("hill-1", "yard-1")
    assert (result.already_up, result.silent) == ((), ())
    assert project.flash("hill-1")["layout"] == "copy-in-place"
    assert project.flash("yard-1")["layout"] == "two-slot"
    key = hashlib.sha256(project.keys.node_key("hill-1").hex().encode()).hexdigest()
    assert project.flash("hill-1")["key_seen"] == key
    assert all(state is not None for state in states_of(project.control.nodes()).values())
    for name in NAMES:
        project.shelve(name, "1.1.0")
    result = project.up(speed=None)
    assert (result.flashed, result.started) == (("yard-2",), ("yard-2",))
    assert project.control.speed() == 10.0
    assert result.already_up == ("hill-1", "yard-1")
    assert project.flash("hill-1")["release"] == "1.0.0"
    assert project.flash("yard-2")["release"] == "1.1.0"
    with pytest.raises(BenchError) as caught:
        project.up(release="1.0.0")
    assert caught.value.code is FLASHED_ALREADY
    assert "hill-1" in caught.value.what
    result = project.up("hill-1", blank=True)
    assert result.flashed == result.started == ("hill-1",)
    assert project.flash("hill-1")["boots"] == 1
    assert project.flash("hill-1")["release"] == "1.1.0"
    project.control.down()
    result = project.up()
    assert (result.flashed, result.started) == ((), NAMES)


@pytest.mark.slow
def test_nothing_is_started_when_one_image_lacks(project) -> None:
    project.shelve("hill-1", "1.0.0")
    with pytest.raises(BenchError, match="yard-1"):
        project.up("hill-1", "yard-1")
    assert not project.control.is_up()
    with pytest.raises(BenchError) as caught:
        project.up("hill-1")
        project.up("hill-1", speed=20.0)
    assert caught.value.code is OTHER_SPEED


def test_boot_loader_that_was_never_built_is_named(tmp_path) -> None:
    project = Project(tmp_path)
    project.shelve("hill-1", "1.0.0")
    with pytest.raises(ShelfError, match="boot loader") as caught:
        project.up("hill-1")
    assert "--target host" in caught.value.fix
