"""The keys that each part of the inventory may have, read from the model."""

from __future__ import annotations

from functools import cache
from types import UnionType
from typing import Annotated, Any, Final, Union, get_args, get_origin

from fleet.model.inventory import InventoryFile
from fleet.model.node import Node, PumpRelay, Served
from fleet.model.part import Part
from fleet.model.policy import Fleet, Policy, Ruling
from fleet.model.site import Site, Stock, Window
from fleet.model.tank import (
    Box,
    CellConstant,
    Frustum,
    HorizontalCylinder,
    Mark,
    Motor,
    Plates,
    Pump,
    Rest,
    Rods,
    Sphere,
    Strapped,
    StrapPoint,
    Tank,
    TimeOverride,
    VerticalCylinder,
    Water,
)

_NOUNS: Final[dict[type[Part], str]] = {
    InventoryFile: "a file",
    Fleet: "the fleet",
    Policy: "the policy",
    Site: "a site",
    Window: "a window",
    Stock: "an entry of `spare_boards`",
    Tank: "a tank",
    Mark: "a mark",
    Water: "`water`",
    Rods: "a pair of rods",
    Plates: "a pair of plates",
    CellConstant: "a given cell constant",
    Pump: "a pump",
    Motor: "a motor",
    TimeOverride: "a time set by hand",
    Rest: "a time set by hand",
    VerticalCylinder: "a vertical cylinder",
    HorizontalCylinder: "a horizontal cylinder",
    Box: "a box",
    Frustum: "a frustum",
    Sphere: "a sphere",
    Strapped: "a strapped tank",
    StrapPoint: "a line of a strapping table",
    Node: "a node",
    Served: "an entry of `serves`",
    PumpRelay: "a pump relay",
    Ruling: "a ruling",
}


def noun_of(part: type[Part]) -> str:
    """The part's noun with its article, in the words of the inventory."""
    return _NOUNS[part]


@cache
def keys_of(part: type[Part]) -> tuple[str, ...]:
    """The keys as they are written in the files."""
    return tuple(field.alias or name for name, field in part.model_fields.items())


def part_at(root: type[Part], loc: tuple[Any, ...]) -> type[Part]:
    """The class of the part at pydantic's `loc` below `root`: keys, indexes, and the kind of a shape."""
    part = root
    for step in loc:
        if isinstance(step, str):
            part = _below(part).get(step, part)
    return part


@cache
def _below(part: type[Part]) -> dict[str, type[Part]]:
    """Parts inside of a part: by key, and by kind for those that are one of several."""
    below: dict[str, type[Part]] = {}
    for name, field in part.model_fields.items():
        inside = _parts_in(field.annotation)
        if len(inside) == 1:
            below[field.alias or name] = inside[0]
        for choice in inside if len(inside) > 1 else ():
            below[get_args(choice.model_fields["kind"].annotation)[0]] = choice
    return below


def _parts_in(annotation: Any) -> list[type[Part]]:
    if isinstance(annotation, type) and issubclass(annotation, Part):
        return [annotation]
    if get_origin(annotation) in (Annotated, Union, UnionType, tuple):
        return [part for inner in get_args(annotation) for part in _parts_in(inner)]
    return []
