"""`schema`: the JSON Schemas of the inventory and of every output with --json."""

from __future__ import annotations

import json
from importlib.resources import files
from typing import Annotated

import typer

from fleet.cli.common import command, command_app, named, session

app = command_app()


@command(app, "schema")
def schema(
    ctx: typer.Context,
    kind: Annotated[str | None, typer.Argument(help="inventory, or an output; none: list them.")] = None,
) -> None:
    """Example: tankfleet schema inventory > inventory.schema.json

    Print the JSON Schema of inventory files, for editors that complete and check YAML, or of the output that
    a command writes with --json. Without a kind: list the kinds.
    """
    out = session(ctx).output
    folder = files("fleet") / "schemas"
    outputs = sorted(f.name.removesuffix(".json") for f in folder.iterdir() if f.name.endswith(".json"))
    if kind is None:
        out.data("\n".join(["inventory", *outputs]))
    elif named(kind, "schema", ["inventory", *outputs]) == "inventory":
        from fleet.inventory.schema import inventory_schema

        out.raw(json.dumps(inventory_schema(), indent=2, ensure_ascii=False))
    else:
        out.raw((folder / f"{kind}.json").read_text(encoding="utf-8").rstrip())
