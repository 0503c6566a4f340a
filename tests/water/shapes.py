"""Shapes and tanks for the tests, written as in an inventory file."""

from __future__ import annotations

from typing import Any

from pydantic import TypeAdapter

from fleet.model.tank import Shape, Tank

_SHAPE: TypeAdapter[Shape] = TypeAdapter(Shape)


def shape(kind: str, **keys: Any) -> Shape:
    """One shape."""
    return _SHAPE.validate_python({"kind": kind, **keys})


def tank(marks: dict[str, str], **keys: Any) -> Tank:
    """A tank of 1 m2 by 2 m (1,000 L per metre), unless `shape` says otherwise."""
    box = {"kind": "box", "length": "1 m", "width": "1 m", "height": "2 m"}
    given = {"name": "t", "site": "s", "duty": "potable", "shape": box, **keys}
    return Tank.model_validate(given | {"marks": [{"name": n, "height": h} for n, h in marks.items()]})
