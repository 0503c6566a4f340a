"""Write fleet/schemas/*.json, the JSON Schemas of what commands print, from the types of what they print: `make docs`.

A type's docstring and the docstrings of its fields are the descriptions; what a field takes is its annotation
(fleet/json_values.py).
"""

from __future__ import annotations

import ast
import importlib
import inspect
import json
import sys
from dataclasses import is_dataclass
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Final

from pydantic import BaseModel, Field, create_model
from pydantic.json_schema import GenerateJsonSchema

from fleet.audit.report import AuditDocument
from fleet.bench.message import ListedNode
from fleet.build.entry import ShelfEntry
from fleet.build.events import BuildResult
from fleet.cli.check import Counts, Parts
from fleet.cli.find import FoundLine
from fleet.facts.node import BoardFacts, NodeFacts
from fleet.facts.site import FleetFacts, SiteFacts
from fleet.facts.tank import TankFacts
from fleet.find.match import Status
from fleet.finding import PlacedLine
from fleet.json_values import Some
from fleet.link.state import NodeState
from fleet.push.plan import Plan
from fleet.water.table import Depth

if TYPE_CHECKING:
    from collections.abc import Iterator
    from types import ModuleType

    from pydantic_core import core_schema

FOLDER: Final = Path(__file__).parent.parent / "fleet" / "schemas"
_DIALECT: Final = "https://json-schema.org/draft/2020-12/schema"
_UNSENT: Final = {NodeState: "nonce"}
"""What a type has and no command prints."""
_OUTPUTS: Final[dict[str, tuple[str, dict[str, Any]]]] = {
    "bench": (
        "tankfleet bench list --json",
        {
            "up": bool,
            "speed": Annotated[float | None, Field(description="Simulated seconds for each real second.")],
            "nodes": list[ListedNode],
        },
    ),
    "check": (
        "tankfleet check --json",
        {
            "parts": Annotated[Parts | None, Field(description="Null while the inventory has errors.")],
            "counts": Counts,
            "findings": Annotated[list[PlacedLine], Field(description="Sorted by place.")],
        },
    ),
    "find": (
        "tankfleet find --json",
        {
            "nodes": list[FoundLine],
            "counts": Annotated[
                dict[Status, Some],
                Field(description="How many nodes have each status."),
            ],
        },
    ),
    "shelf": ("tankfleet shelf --json", {"entries": list[ShelfEntry]}),
    "show-board": ("tankfleet show board NAME --json", {"board": BoardFacts}),
    "show-depths": (
        "tankfleet show tank NAME --table STEP --json`, and of `--depth-of",
        {"tank": str, "table": list[Depth], "holds": Depth | None},
    ),
    "show-node": ("tankfleet show node NAME --json", {"node": NodeFacts}),
    "show-site": ("tankfleet show site NAME --json", {"site": SiteFacts}),
    "show-tank": ("tankfleet show tank NAME --json", {"tank": TankFacts}),
}
"""By kind of output: the command, and the keys beside `schema` with the types of their values."""
_WHOLE: Final[dict[str, tuple[str, Any]]] = {
    "audit": ("tankfleet audit --json", AuditDocument),
    "build": ("tankfleet build --json", BuildResult),
    "show-list": ("tankfleet show --json`, and of `tankfleet show KINDS --json", FleetFacts),
}
"""By kind of output: the command, and the type that has all keys but `schema`."""


class _Printed(GenerateJsonSchema):
    """Of what is printed: every field is there, and no other; no titles, which would say the names once more."""

    def field_is_required(self, field: Any, total: bool) -> bool:
        return self.mode == "serialization" or super().field_is_required(field, total)

    def field_title_should_be_set(self, schema: Any) -> bool:
        return False

    def dataclass_schema(self, schema: core_schema.DataclassSchema) -> dict[str, Any]:
        made = super().dataclass_schema(schema) | {"additionalProperties": False}
        return _described(made, schema["cls"])

    def model_schema(self, schema: core_schema.ModelSchema) -> dict[str, Any]:
        made = super().model_schema(schema) | {"additionalProperties": False}
        unsent = _UNSENT.get(schema["cls"])
        if unsent is not None:
            del made["properties"][unsent]
            made["required"].remove(unsent)
        return _described(made, schema["cls"])


def schemas() -> dict[str, dict[str, Any]]:
    """Every schema that is made, by the kind of output that it is of."""
    made = {kind: _document(kind, *row) for kind, row in _OUTPUTS.items()}
    made |= {kind: _whole(kind, *row) for kind, row in _WHOLE.items()}
    made["show-list"] |= {"required": ["schema"], "minProperties": 2}
    plan = Plan.model_json_schema(by_alias=True, schema_generator=_Printed)
    made["plan"] = _head("plan", "tankfleet plan --json`, and of a plan's file `PLAN") | _untitled(plan)
    return made


def text_of(schema: dict[str, Any]) -> str:
    """The text of a schema's file."""
    return json.dumps(schema, indent=2, ensure_ascii=False) + "\n"


def _document(kind: str, command: str, keys: dict[str, Any]) -> dict[str, Any]:
    for value in keys.values():
        _resolve(value, set())
    fields: dict[str, Any] = {key: (value, ...) for key, value in keys.items()}
    model: type[BaseModel] = create_model("Document", **fields)
    inner = _untitled(model.model_json_schema(mode="serialization", schema_generator=_Printed))
    return _head(kind, command) | {
        "type": "object",
        "required": ["schema", *inner["required"]],
        "additionalProperties": False,
        "properties": {"schema": {"const": f"tankfleet/{kind}/1"}, **inner["properties"]},
        **({"$defs": inner["$defs"]} if "$defs" in inner else {}),
    }


def _whole(kind: str, command: str, of: Any) -> dict[str, Any]:
    """Of a document whose keys are the fields of one type."""
    made = _document(kind, command, {"whole": of})
    inner = made["$defs"].pop(of.__name__)
    keys = {"schema": made["properties"]["schema"], **inner["properties"]}
    return made | {"required": list(keys), "properties": keys}


def _head(kind: str, command: str) -> dict[str, Any]:
    return {"$schema": _DIALECT, "$id": f"tankfleet/{kind}/1", "title": f"Output of `{command}`"}


def _untitled(schema: Any) -> Any:
    """The same without the titles of classes; a property may be named `title`."""
    if isinstance(schema, list):
        return [_untitled(one) for one in schema]
    if not isinstance(schema, dict):
        return schema
    return {
        key: {name: _untitled(one) for name, one in value.items()}
        if key in ("properties", "$defs")
        else _untitled(value)
        for key, value in schema.items()
        if key != "title"
    }


def _described(made: dict[str, Any], cls: type) -> dict[str, Any]:
    """With the docstrings of the fields, its own and those that it has from others."""
    for owner in reversed(cls.__mro__):
        if owner.__module__.startswith("fleet."):
            for name, text in _field_docstrings(owner):
                if name in made["properties"]:
                    made["properties"][name].setdefault("description", text)
    return made


def _field_docstrings(cls: type) -> Iterator[tuple[str, str]]:
    for block in ast.walk(ast.parse(inspect.getsource(sys.modules[cls.__module__]))):
        if isinstance(block, ast.ClassDef) and block.name == cls.__name__:
            for one, after in pairwise(block.body):
                said = after.value if isinstance(after, ast.Expr) else None
                if isinstance(one, ast.AnnAssign) and isinstance(said, ast.Constant):
                    yield ast.unparse(one.target), inspect.cleandoc(str(said.value))


def _resolve(kind: Any, done: set[str]) -> None:
    """Let the annotations of dataclasses be read: import what their modules import for the type checker alone."""
    for inner in getattr(kind, "__args__", ()):
        _resolve(inner, done)
    if not is_dataclass(kind) or kind.__module__ in done:
        return
    done.add(kind.__module__)
    module = sys.modules[kind.__module__]
    _import_for_types(module)
    for named in vars(module).copy().values():
        _resolve(named, done)


def _import_for_types(module: ModuleType) -> None:
    for block in ast.parse(inspect.getsource(module)).body:
        if not (isinstance(block, ast.If) and ast.unparse(block.test) == "TYPE_CHECKING"):
            continue
        for line in block.body:
            if isinstance(line, ast.ImportFrom) and line.module and not line.level:
                for alias in line.names:
                    found = getattr(importlib.import_module(line.module), alias.name)
                    vars(module).setdefault(alias.asname or alias.name, found)


if __name__ == "__main__":
    for name, schema in schemas().items():
        (FOLDER / f"{name}.json").write_text(text_of(schema), encoding="utf-8")
