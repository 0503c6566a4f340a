"""The whole inventory: all parts, with look-ups by name."""

from __future__ import annotations

from functools import cached_property

from fleet.model.node import Node
from fleet.model.part import Part
from fleet.model.policy import Fleet, Policy, Ruling
from fleet.model.site import Site
from fleet.model.tank import Tank


class InventoryFile(Part):
    """One file: any of these keys. All files together are one inventory."""

    fleet: Fleet | None = None
    policy: Policy | None = None
    sites: tuple[Site, ...] = ()
    tanks: tuple[Tank, ...] = ()
    nodes: tuple[Node, ...] = ()
    rulings: tuple[Ruling, ...] = ()


class Inventory(Part):
    """The whole inventory, in the order of names. Look-ups are by name."""

    fleet: Fleet
    policy: Policy
    sites: tuple[Site, ...]
    tanks: tuple[Tank, ...]
    nodes: tuple[Node, ...]
    rulings: tuple[Ruling, ...] = ()

    def site(self, name: str) -> Site:
        """The site of that name; KeyError if there is none."""
        return self._sites_by_name[name]

    def tank(self, name: str) -> Tank:
        """The tank of that name; KeyError if there is none."""
        return self._tanks_by_name[name]

    def node(self, name: str) -> Node:
        """The node of that name; KeyError if there is none."""
        return self._nodes_by_name[name]

    def site_of(self, node: Node) -> Site:
        """The site of the first tank that the node serves (a rule holds all its tanks to one site)."""
        return self.site(self.tank(node.serves[0].tank).site)

    @cached_property
    def _sites_by_name(self) -> dict[str, Site]:
        return {site.name: site for site in self.sites}

    @cached_property
    def _tanks_by_name(self) -> dict[str, Tank]:
        return {tank.name: tank for tank in self.tanks}

    @cached_property
    def _nodes_by_name(self) -> dict[str, Node]:
        return {node.name: node for node in self.nodes}
