"""What a runner stands on: links to the nodes, images and tickets, spare time, windows, the clock. All
passed in."""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from collections.abc import Callable, Collection

    from fleet.link.state import NodeState, Phase

    Progress = Callable[[int, int], None]


class Link(Protocol):
    """The link to one node (fleet/link/client.py)."""

    async def state(self) -> NodeState:
        """What the node says of itself, signed."""

    async def put_image(self, image: bytes, ticket: bytes, on_progress: Progress | None = None) -> Phase:
        """Send an image with its ticket."""

    async def keep(self) -> Phase:
        """End the trial: the running image stays."""

    async def put_back(self) -> Phase:
        """Go back to the older image."""


class Ground(Protocol):
    """The world as one push sees it. Names are names of nodes."""

    def link(self, node: str) -> Link:
        """The link to that node, at the address where it was last found."""

    def elsewhere(self, node: str) -> None:
        """The link to it broke: the next one goes to another place where it was found, if there is one."""

    async def relocate(self, nodes: Collection[str]) -> None:
        """Look for nodes that do not answer where they were: they may be at another address."""

    def new_cargo(self, node: str) -> tuple[bytes, bytes]:
        """The planned image and its ticket. ShelfError if one is missing or damaged."""

    def old_cargo(self, node: str, floor: int) -> tuple[bytes, bytes]:
        """The image that the node had before, and a ticket for it just above the floor that the node has now.
        ShelfError or KeyFolderError if not."""

    def spare_s(self, node: str, state: NodeState) -> float | None:
        """Real seconds that the node's tanks can be left; None: for ever."""

    def window_open(self, node: str) -> bool:
        """Whether its site may be updated now."""

    def now_s(self) -> float:
        """Seconds since 1970, UTC."""
