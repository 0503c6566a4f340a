"""Images that were built from an older inventory: which are told of, with what words, and which are read for it."""

from __future__ import annotations

import hashlib

import pytest

from fleet.boards.board import load_board
from fleet.build.entry import ShelfEntry
from fleet.build.older import OLDER, older_images
from fleet.build.shelf import Shelf, record_bytes
from fleet.build.stamp import block_with
from fleet.keys.trust import Trust
from fleet.model.inventory import Inventory
from fleet.render.block_of import block_of
from fleet.render.firmware_class import class_of, vendor_id
from fleet.render.node_block import BLOCK_HEAD
from tests.sample_fleet import sample_inventory

TRUST = Trust(b"\x04" + bytes(range(64)))
RECORD = {"made": "up"}
THEN = sample_inventory()


class CountedShelf(Shelf):
    """Tells which images were read."""

    read: list[str]

    def image(self, sha: str) -> bytes:
        self.read.append(sha)
        return super().image(sha)


@pytest.fixture
def shelf(tmp_path) -> CountedShelf:
    shelf = CountedShelf(tmp_path / "shelf")
    shelf.read = []
    return shelf


def shelved(shelf: Shelf, name: str, inventory: Inventory = THEN, trust: Trust = TRUST) -> ShelfEntry:
    """An image whose node block lies behind something that begins as one does."""
    node = inventory.node(name)
    board = load_board(node.board)
    block = block_of(inventory, node, board, trust, "board", "1.0.0").pack()
    image = b"\xe9" * 500 + BLOCK_HEAD + bytes(300) + block + b"\xff" * 500
    ticket, kind = f"ticket {name}".encode(), class_of(board, "board")
    entry = ShelfEntry(
        node=name,
        image=hashlib.sha256(image).hexdigest(),
        ticket=hashlib.sha256(ticket).hexdigest(),
        sequence=1,
        release="1.0.0",
        board=board.id,
        class_id=str(kind.id(vendor_id(inventory.fleet.domain))),
        class_name=kind.name,
        target="board",
        payload_format=board.payload_format,
        size_bytes=len(image),
        built_at="2026-03-01T00:00:00Z",
        defect="",
        block_crc=f"{int.from_bytes(block[-4:], 'little'):08x}",
        record=hashlib.sha256(record_bytes(RECORD)).hexdigest(),
    )
    shelf.add(entry, image, ticket, RECORD)
    return entry


def edited(**pump: object) -> Inventory:
    """The sample with other values of the header tank's pump; the fleet's release is another too."""
    return sample_inventory(dict(pump), release="2.0.0")


NAMES = ("hill-1", "yard-1", "yard-2")


def test_images_in_date_are_not_read(shelf) -> None:
    """The release of the fleet is no matter: each image is held against its own."""
    entries = [shelved(shelf, name) for name in NAMES]
    assert older_images(shelf, edited(), TRUST, "board", entries) == {}
    assert shelf.read == []


def test_the_older_one_alone_is_read_and_says_what_differs(shelf) -> None:
    entries = [shelved(shelf, name) for name in NAMES]
    now = edited(longest_run="1 h", no_rise="20 min")
    told = older_images(shelf, now, TRUST, "board", entries)
    pump = "the pump of tank header"
    assert told == {
        "hill-1": f"{OLDER}: {pump}: longest run 7200 s, now 3600 s; {pump}: watch for a rise 1800 s, now 1200 s"
    }
    assert shelf.read == [entries[0].image]


def test_of_many_differences_the_first_are_named(shelf) -> None:
    other = Trust(b"\x04" + bytes(64))
    entry = shelved(shelf, "hill-1", trust=other)
    (told,) = older_images(
        shelf, edited(longest_run="1 h", no_rise="20 min"), TRUST, "board", [entry]
    ).values()
    assert told.startswith(f"{OLDER}: the signing key: {other.key_id.hex()}, now {TRUST.key_id.hex()}; ")
    assert told.endswith(" and 1 more")


def test_what_cannot_be_read_is_told_in_plain_words(shelf) -> None:
    entry = shelved(shelf, "hill-1")
    path = shelf.path / "objects" / entry.image[:2] / entry.image
    now = edited(longest_run="1 h")
    for spoil in (lambda: path.write_bytes(b"damaged"), path.unlink):
        spoil()
        assert older_images(shelf, now, TRUST, "board", [entry]) == {"hill-1": OLDER}


def test_an_image_for_the_other_target_is_another(shelf) -> None:
    told = older_images(shelf, THEN, TRUST, "host", [shelved(shelf, "yard-1")])
    assert "the class id: " in told["yard-1"]


def test_nodes_that_the_inventory_has_no_longer_are_left_out(shelf) -> None:
    entry = shelved(shelf, "yard-2")
    now = Inventory.model_construct(**{**dict(THEN), "nodes": THEN.nodes[:2]})
    assert older_images(shelf, now, TRUST, "board", [entry]) == {}


def test_an_image_without_a_block_is_said_to_have_none() -> None:
    for image in (b"", b"\xff" * 3000, BLOCK_HEAD, BLOCK_HEAD + bytes(5000)):
        with pytest.raises(LookupError):
            block_with(image, 0x12345678)
