"""What is to be built: each node with its class, its node block and its inputs; and the nodes of one class
together."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from fleet.build.codes import BAD_DEFECT
from fleet.errors import UsageError
from fleet.render.block_of import block_of, release_text
from fleet.render.firmware_class import DEFECTS, class_of, payload_format, vendor_id
from fleet.render.node_block import block_crc

if TYPE_CHECKING:
    from collections.abc import Callable
    from uuid import UUID

    from fleet.boards.board import Board
    from fleet.boards.data_file import PayloadFormat
    from fleet.keys.trust import Trust
    from fleet.model.inventory import Inventory
    from fleet.model.node import Node
    from fleet.render.firmware_class import FirmwareClass, Target


@dataclass(frozen=True, slots=True)
class BuildRequest:
    """What to build: nodes by name (none: all), release text (empty: the fleet's), defect (empty but on the
    bench)."""

    inventory: Inventory
    target: Target
    nodes: tuple[str, ...] = ()
    release: str = ""
    defect: str = ""
    jobs: int = 1

    def check(self) -> None:
        """UsageError for a defect that does not exist or is asked for on a real board."""
        if self.defect and (self.target != "host" or self.defect not in DEFECTS):
            known = ", ".join(DEFECTS)
            raise UsageError(
                BAD_DEFECT, f"defect {self.defect!r} for target {self.target}; there are {known}"
            )

    @property
    def wanted(self) -> list[Node]:
        """The nodes, in the inventory's order; KeyError for a name that it lacks."""
        if not self.nodes:
            return list(self.inventory.nodes)
        for name in self.nodes:
            self.inventory.node(name)
        return [node for node in self.inventory.nodes if node.name in self.nodes]

    @property
    def release_text(self) -> str:
        """What the images call themselves."""
        return release_text(self.release or self.inventory.fleet.release, self.defect)


@dataclass(frozen=True, slots=True)
class NodePart:
    """One node of a class: its block as packed bytes."""

    node: Node
    board: Board
    block: bytes

    @property
    def block_crc(self) -> str:
        """The block's checksum, 8 hex digits, as in the node's state."""
        return f"{block_crc(self.block):08x}"

    def inputs(self, program_digest: str) -> str:
        """SHA-256 over the program's digest and the block: of all that this node's image is made from."""
        return hashlib.sha256(program_digest.encode() + self.block).hexdigest()


@dataclass(frozen=True, slots=True)
class ClassPart:
    """All wanted nodes of one class."""

    firmware_class: FirmwareClass
    class_id: UUID
    vendor_id: UUID
    payload_format: Literal["host-elf"] | PayloadFormat
    nodes: tuple[NodePart, ...]

    @property
    def name(self) -> str:
        """The class's name."""
        return self.firmware_class.name


def classes_of(
    request: BuildRequest, trust: Trust, load_board: Callable[[str], Board]
) -> tuple[ClassPart, ...]:
    """The wanted nodes by class, in the order of class names."""
    vendor = vendor_id(request.inventory.fleet.domain)
    by_class: dict[FirmwareClass, list[NodePart]] = {}
    for node in request.wanted:
        board = load_board(node.board)
        block = block_of(request.inventory, node, board, trust, request.target, request.release_text)
        by_class.setdefault(class_of(board, request.target), []).append(NodePart(node, board, block.pack()))
    return tuple(
        ClassPart(one, one.id(vendor), vendor, payload_format(parts[0].board, request.target), tuple(parts))
        for one, parts in sorted(by_class.items(), key=lambda item: item[0].name)
    )
