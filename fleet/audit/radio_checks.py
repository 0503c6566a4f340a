"""What is to be said of the access point that a node is joined to, and of how well it hears it. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.audit import codes
from fleet.finding import Figure, Finding, Subject, SubjectKind
from fleet.limits import WEAK_SIGNAL_DBM

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleet.codes import Code
    from fleet.link.state import NodeState
    from fleet.model.inventory import Inventory
    from fleet.model.node import Node
    from fleet.model.site import Site


def radio_findings(inventory: Inventory, node: Node, state: NodeState) -> Iterator[Finding]:
    """At most one finding: what explains a weak signal goes before the weak signal."""
    site, network = inventory.site_of(node), state.network
    bssid = network.bssid if network is not None else None
    name = site.access_point_of(bssid) if bssid is not None else None
    weak = state.rssi_dbm is not None and state.rssi_dbm < WEAK_SIGNAL_DBM
    if bssid is not None and site.access_points and name is None:
        what = f"it has joined {bssid}{_channel(state)}, {_whose(inventory, site, bssid)}"
        yield _finding(codes.UNLISTED_ACCESS_POINT, node, state, f"{what}; {_signal(state)}")
    elif name is not None and node.access_point is not None and name != node.access_point:
        code = codes.WEAK_ON_OTHER_ACCESS_POINT if weak else codes.OTHER_ACCESS_POINT
        what = f"it has joined {name} ({bssid}{_channel(state)}); the inventory says {node.access_point}"
        yield _finding(code, node, state, f"{what}; {_signal(state)}")
    elif weak:
        by = name or node.access_point
        yield _finding(codes.WEAK_SIGNAL, node, state, f"{_signal(state)}{f', by {by}' if by else ''}")


def _finding(code: Code, node: Node, state: NodeState, what: str) -> Finding:
    limit = Figure("weak below", WEAK_SIGNAL_DBM, "dBm")
    figures = (Figure("signal", state.rssi_dbm, "dBm"), limit) if state.rssi_dbm is not None else (limit,)
    return Finding(code, what, subject=Subject(SubjectKind.NODE, node.name), figures=figures)


def _signal(state: NodeState) -> str:
    """Its signal against the limit, in words."""
    if state.rssi_dbm is None:
        return "its signal is not known"
    return f"its signal is {state.rssi_dbm} dBm (weak below {WEAK_SIGNAL_DBM} dBm)"


def _channel(state: NodeState) -> str:
    channel = state.network.channel if state.network is not None else None
    return f", channel {channel}" if channel is not None else ""


def _whose(inventory: Inventory, site: Site, bssid: str) -> str:
    for other in inventory.sites:
        name = other.access_point_of(bssid)
        if name is not None:
            return f"which is {name} of the site {other.name}"
    return f"which none of the access points of {site.name} has"
