"""The nodes of a push by name, immutable: a copy with one node changed shares all but a small part with what it came
from.

The engine makes such a copy several times for each event. With a dict each would cost as much as the fleet has nodes,
and a push of all of them as much as their square.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from fleet.push.state import NodeProgress

_PART = 64
"""Nodes in a part. A change copies one part and the row of parts: the least at the square root of the nodes."""


class NodeTable(Mapping[str, "NodeProgress"]):
    """Nodes by name, in the order of the plan."""

    __slots__ = ("_parts", "_place")

    def __init__(self, nodes: Iterable[NodeProgress]) -> None:
        every = tuple(nodes)
        self._place = {node.node: number for number, node in enumerate(every)}
        self._parts = tuple(every[first : first + _PART] for first in range(0, len(every), _PART))

    def __getitem__(self, name: str) -> NodeProgress:
        part, at = divmod(self._place[name], _PART)
        return self._parts[part][at]

    def __iter__(self) -> Iterator[str]:
        return iter(self._place)

    def __len__(self) -> int:
        return len(self._place)

    def with_node(self, node: NodeProgress) -> NodeTable:
        """A copy with that node in place of the one of its name. KeyError if there is none."""
        number, at = divmod(self._place[node.node], _PART)
        part = self._parts[number]
        copy = object.__new__(NodeTable)
        copy._place = self._place
        copy._parts = (
            *self._parts[:number],
            (*part[:at], node, *part[at + 1 :]),
            *self._parts[number + 1 :],
        )
        return copy

    def in_order(self, names: Iterable[str]) -> list[str]:
        """These names, once each, in the order of the plan."""
        return sorted(set(names), key=self._place.__getitem__)

    def changed_since(self, before: NodeTable) -> list[str]:
        """The names of the nodes that are not those of `before`, an earlier table of the same push, in order. Parts
        that both share are not looked at."""
        return [
            new.node
            for part, was in zip(self._parts, before._parts, strict=True)
            if part is not was
            for new, old in zip(part, was, strict=True)
            if new is not old
        ]
