"""What a plan rests on in the inventory: a digest for each key of each part that it was computed from. Pure.

Contacts, notes, titles, wires, spare boards and the like are not among them: a plan stands whatever they say. Pins,
watches and the like are in the node block of the image on the shelf, which is held against the inventory by itself.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Any, Final

from pydantic import BaseModel, ConfigDict

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from fleet.finding import Place
    from fleet.model.inventory import Inventory
    from fleet.model.node import Node
    from fleet.model.part import Part

DIGEST_CHARS: Final = 8
_FLEET: Final = ("name", "domain")
_SITE: Final = ("time_zone", "windows", "access_points")
_TANK: Final = (
    "site", "duty", "shape", "marks", "overflow_m", "reserve_m", "largest_draw_l_per_min",
    "uncontrolled_inflow_l_per_min", "supply_group", "pump",
)  # fmt: skip
_NODE: Final = ("board", "access_point")


class PartKind(StrEnum):
    """What a part of the inventory is; a supply group is one too, made of tanks."""

    FLEET = "fleet"
    POLICY = "policy"
    NODE = "node"
    SITE = "site"
    TANK = "tank"
    SUPPLY_GROUP = "supply-group"


class PartBasis(BaseModel):
    """One part, by its name (the fleet and the policy have none here), with a digest for each key; for a supply group,
    of each tank in it."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    kind: PartKind
    name: str = ""
    keys: dict[str, str]


class ChangeKind(StrEnum):
    """In what way something is otherwise than when the plan was made."""

    CHANGED = "changed"
    GONE = "gone"
    """The whole part."""
    JOINED = "joined"
    LEFT = "left"
    """Both: a tank, the supply group."""


@dataclass(frozen=True, slots=True)
class Change:
    """What the inventory says otherwise: of which part, and which key of it (in a supply group: which tank); `place`:
    where in its files, if that was looked up."""

    how: ChangeKind
    kind: PartKind
    name: str
    key: str = ""
    place: Place | None = None

    def __str__(self) -> str:
        part = f"{self.kind.replace('-', ' ')} {self.name}".rstrip()
        where = "" if self.place is None else f"{self.place.path}:{self.place.line}"
        beside = where and f" ({where})"
        return {
            ChangeKind.CHANGED: f"{part}: its `{self.key}` in {where or 'the inventory'}",
            ChangeKind.GONE: f"{part} is no longer in the inventory",
            ChangeKind.JOINED: f"{part}: tank {self.key} is in it now{beside}",
            ChangeKind.LEFT: f"{part}: tank {self.key} is no longer in it{beside}",
        }[self.how]


def basis_of(inventory: Inventory, nodes: Iterable[str]) -> tuple[PartBasis, ...]:
    """What the inventory says in all that a plan of these nodes rests on. A node that it does not have is left out."""
    known = {node.name for node in inventory.nodes}
    planned = [inventory.node(name) for name in dict.fromkeys(nodes) if name in known]
    return tuple({(part.kind, part.name): part for part in _parts(inventory, planned)}.values())


def _parts(inventory: Inventory, planned: Iterable[Node]) -> Iterator[PartBasis]:
    yield _basis(PartKind.FLEET, "", inventory.fleet, _FLEET)
    yield _basis(PartKind.POLICY, "", inventory.policy, type(inventory.policy).model_fields)
    for node in planned:
        serves = [[each.tank, sorted(each.probes)] for each in node.serves]
        yield _basis(PartKind.NODE, node.name, node, _NODE, serves=serves)
        site = inventory.site_of(node)
        yield _basis(PartKind.SITE, site.name, site, _SITE)
        for each in node.serves:
            tank = inventory.tank(each.tank)
            yield _basis(PartKind.TANK, tank.name, tank, _TANK)
            if tank.supply_group:
                members = sorted(t.name for t in inventory.tanks if t.supply_group == tank.supply_group)
                keys = {name: _digest(name) for name in members}
                yield PartBasis(kind=PartKind.SUPPLY_GROUP, name=tank.supply_group, keys=keys)


def _basis(kind: PartKind, name: str, part: Part, fields: Iterable[str], **more: Any) -> PartBasis:
    """Keys are named as the files write them."""
    said, known = part.model_dump(mode="json"), type(part).model_fields
    values = {known[field].alias or field: said[field] for field in fields} | more
    return PartBasis(kind=kind, name=name, keys={key: _digest(value) for key, value in values.items()})


def _digest(said: Any) -> str:
    text = json.dumps(said, sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()[:DIGEST_CHARS]


def changed_in(then: Iterable[PartBasis], inventory: Inventory, nodes: Iterable[str]) -> list[Change]:
    """What the inventory says otherwise than when the plan of these nodes was made.

    A part that the plan no longer touches, or newly does, is told by the part that names it alone: a tank by the
    `serves` of its node, a supply group by its tank's key.
    """
    now = {(part.kind, part.name): part for part in basis_of(inventory, nodes)}
    there = {
        PartKind.NODE: {node.name for node in inventory.nodes},
        PartKind.SITE: {site.name for site in inventory.sites},
        PartKind.TANK: {tank.name for tank in inventory.tanks},
    }
    changes: list[Change] = []
    for part in then:
        today = now.get((part.kind, part.name))
        if today is not None:
            changes += _changed_keys(part, today.keys)
        elif part.kind in there and part.name not in there[part.kind]:
            changes.append(Change(ChangeKind.GONE, part.kind, part.name))
    return changes


def _changed_keys(part: PartBasis, now: Mapping[str, str]) -> Iterator[Change]:
    for key in dict.fromkeys((*part.keys, *now)):
        if part.keys.get(key) != now.get(key):
            how = ChangeKind.CHANGED
            if part.kind is PartKind.SUPPLY_GROUP:
                how = ChangeKind.JOINED if key in now else ChangeKind.LEFT
            yield Change(how, part.kind, part.name, key)
