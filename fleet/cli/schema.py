"""`schema`: the JSON Schemas of the inventory and of every output with --json."""

from __future__ import annotations

import json
from importlib.resources import files
from typing import Annotated, Final, Literal

import typer

from fleet.cli.common import command, command_app, named, session

app = command_app()
_FOLDER = files("fleet") / "schemas"
_DATA_FILES: Final[dict[str, Literal["board", "chip"]]] = {"board-file": "board", "chip-file": "chip"}


def _kinds() -> list[str]:
    outputs = [f.name.removesuffix(".json") for f in _FOLDER.iterdir() if f.name.endswith(".json")]
    return ["inventory", *_DATA_FILES, *sorted(outputs)]


def _complete(incomplete: str) -> list[str]:
    return [kind for kind in _kinds() if kind.startswith(incomplete)]


@command(app, "schema")
def schema(
    ctx: typer.Context,
    kind: Annotated[
        str | None,
        typer.Argument(
            help="inventory, a data file or an output; without it, all are listed.", autocompletion=_complete
        ),
    ] = None,
) -> None:
    """Example: tankfleet schema inventory > inventory.schema.json

    Print the JSON Schema of inventory files, for editors that complete and check YAML; of the data files of
    boards and chips; or of the output that a command writes with --json. Without a kind: list the kinds.
    """
    out = session(ctx).output
    if kind is None:
        out.data("\n".join(_kinds()))
    elif named(kind, "schema", _kinds()) == "inventory":
        from fleet.inventory.schema import inventory_schema

        out.json(json.dumps(inventory_schema(), indent=2, ensure_ascii=False))
    elif kind in _DATA_FILES:
        from fleet.boards.data_file import data_schema

        out.json(json.dumps(data_schema(_DATA_FILES[kind]), indent=2, ensure_ascii=False))
    else:
        out.json((_FOLDER / f"{kind}.json").read_text(encoding="utf-8").rstrip())
