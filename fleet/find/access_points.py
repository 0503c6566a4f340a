"""Which access point a node speaks through: the one that its signed state names, or else the inventory. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal, NamedTuple

if TYPE_CHECKING:
    from fleet.link.state import NodeState
    from fleet.model.node import Node
    from fleet.model.site import Site

Origin = Literal["state", "inventory"]


class Used(NamedTuple):
    """`name`: as its site lists it, else the BSSID itself; None: nobody says. `said_by`: who says it."""

    name: str | None
    said_by: Origin | None


def used(site: Site, node: Node, state: NodeState | None) -> Used:
    """The access point that the node really uses, as far as anybody knows."""
    bssid = state.network.bssid if state is not None and state.network is not None else None
    if bssid is not None:
        return Used(site.access_point_of(bssid) or bssid, "state")
    return Used(node.access_point, "inventory" if node.access_point is not None else None)
