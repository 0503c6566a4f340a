"""Images on the shelf that were built from an older inventory: which, and what it says otherwise now."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from fleet.build.stamp import block_with
from fleet.errors import ShelfError
from fleet.render.block_difference import differences
from fleet.render.node_block import unpack
from fleet.render.wanted import wanted_blocks

if TYPE_CHECKING:
    from collections.abc import Iterable

    from fleet.build.entry import ShelfEntry
    from fleet.build.shelf import Shelf
    from fleet.keys.trust import Trust
    from fleet.model.inventory import Inventory
    from fleet.render.firmware_class import Target
    from fleet.render.node_block import NodeBlock

OLDER: Final = "the image was built from an older inventory"
_NAMED: Final = 2
"""Differences that are named; of more, their number is."""


def older_images(
    shelf: Shelf, inventory: Inventory, trust: Trust, target: Target, entries: Iterable[ShelfEntry]
) -> dict[str, str]:
    """By node, of those whose image is not what the inventory gives today for the same release: what differs, in words.

    Only these images are read from the shelf; one that is missing, damaged or of another version is told of in plain
    words. The board, the class and the key are in the node block too. RenderError as of `block_of`.
    """
    listed = list(entries)
    now = wanted_blocks(inventory, trust, target, [(entry.node, entry.release) for entry in listed])
    older = {}
    for entry in listed:
        block = now.get((entry.node, entry.release))
        if block is not None and f"{block.crc32:08x}" != entry.block_crc:
            older[entry.node] = _told(shelf, entry, block)
    return older


def _told(shelf: Shelf, entry: ShelfEntry, now: NodeBlock) -> str:
    try:
        was = unpack(block_with(shelf.image(entry.image), int(entry.block_crc, 16)))
    except (LookupError, ValueError, ShelfError):
        return OLDER
    told = [str(one) for one in differences(was, now)]
    if not told:
        return OLDER
    more = f" and {len(told) - _NAMED} more" if len(told) > _NAMED else ""
    return f"{OLDER}: {'; '.join(told[:_NAMED])}{more}"
