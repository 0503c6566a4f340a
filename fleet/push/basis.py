"""What a plan rests on in the inventory: a digest for each key of each part that it was reckoned from. Pure.

Contacts, notes, titles, wires, spare boards and the like are not among them: a plan stands whatever they say. Pins,
watches and the like are in the node block of the image on the shelf, which is held against the inventory by itself.
"""

from __future__ import annotations

import hashlib
import json
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from fleet.inventory.model import Inventory, Node

DIGEST_CHARS: Final = 8
_FLEET: Final = ("name", "domain")
_SITE: Final = ("time_zone", "windows", "access_points")
_TANK: Final = (
    "site", "duty", "shape", "marks", "overflow_m", "reserve_m", "largest_draw_l_per_min",
    "uncontrolled_inflow_l_per_min", "supply_group", "pump",
)  # fmt: skip
_NODE: Final = ("board", "access_point")


def basis_of(inventory: Inventory, nodes: Iterable[str]) -> dict[str, str]:
    """By `PART NAME: KEY`, a digest of what the inventory says there, for all that a plan of these nodes rests on.

    A node that the inventory does not have is left out.
    """
    known = {node.name for node in inventory.nodes}
    planned = [inventory.node(name) for name in dict.fromkeys(nodes) if name in known]
    return {place: _digest(said) for place, said in _said(inventory, planned)}


def _said(inventory: Inventory, planned: Iterable[Node]) -> Iterator[tuple[str, Any]]:
    yield from _keys("fleet", inventory.fleet.model_dump(mode="json"), _FLEET)
    policy = inventory.policy.model_dump(mode="json")
    yield from _keys("policy", policy, policy)
    for node in planned:
        yield from _keys(f"node {node.name}", node.model_dump(mode="json"), _NODE)
        yield f"node {node.name}: serves", [[each.tank, sorted(each.probes)] for each in node.serves]
        site = inventory.site_of(node)
        yield from _keys(f"site {site.name}", site.model_dump(mode="json"), _SITE)
        for each in node.serves:
            tank = inventory.tank(each.tank)
            yield from _keys(f"tank {tank.name}", tank.model_dump(mode="json"), _TANK)
            if tank.supply_group:
                members = sorted(t.name for t in inventory.tanks if t.supply_group == tank.supply_group)
                yield f"supply group {tank.supply_group}: tanks", members


def _keys(part: str, said: Mapping[str, Any], keys: Iterable[str]) -> Iterator[tuple[str, Any]]:
    return ((f"{part}: {_as_written(key)}", said[key]) for key in keys)


def _as_written(key: str) -> str:
    """The inventory's own word: there units are with the value, and not in the name."""
    for unit in ("_l_per_min", "_m", "_s"):
        key = key.removesuffix(unit)
    return key


def _digest(said: Any) -> str:
    text = json.dumps(said, sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()[:DIGEST_CHARS]


def changed_in(then: Mapping[str, str], now: Mapping[str, str]) -> list[str]:
    """What the inventory says otherwise than when the plan was made, one line each; a part that is gone is one."""
    parts = {place.partition(": ")[0] for place in now}
    gone = dict.fromkeys(part for place in then for part in (place.partition(": ")[0],) if part not in parts)
    lines = [f"{part} is no longer in the inventory" for part in gone]
    for place in dict.fromkeys((*then, *now)):
        part, _, key = place.partition(": ")
        if part not in gone and then.get(place) != now.get(place):
            lines.append(f"{part}: its `{key}` in the inventory")
    return lines
