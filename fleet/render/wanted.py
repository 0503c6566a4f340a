"""The node blocks that the inventory gives today, whatever was built before. Pure but for the boards' data files."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.boards.board import load_board
from fleet.render.block_of import block_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from fleet.keys.trust import Trust
    from fleet.model.inventory import Inventory
    from fleet.render.firmware_class import Target
    from fleet.render.node_block import NodeBlock


def wanted_blocks(
    inventory: Inventory, trust: Trust, target: Target, wanted: Iterable[tuple[str, str]]
) -> Mapping[tuple[str, str], NodeBlock]:
    """By node and release: the node block that the inventory gives today. Nodes that it does not have are left out.

    RenderError as of `block_of`.
    """
    known = {node.name: node for node in inventory.nodes}
    return {
        (name, release): block_of(
            inventory, known[name], load_board(known[name].board), trust, target, release
        )
        for name, release in wanted
        if name in known
    }


def wanted_crcs(
    inventory: Inventory, trust: Trust, target: Target, wanted: Iterable[tuple[str, str]]
) -> Mapping[tuple[str, str], str]:
    """The same as checksums, 8 hex digits as on the shelf and in a node's state."""
    blocks = wanted_blocks(inventory, trust, target, wanted)
    return {key: f"{block.crc32:08x}" for key, block in blocks.items()}
