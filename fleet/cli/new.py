"""`new`: start a project with a commented inventory."""

from __future__ import annotations

import shlex
from pathlib import Path
from typing import Annotated

import typer

from fleet.cli.common import command, command_app, session

app = command_app()


@command(app, "new")
def new(
    ctx: typer.Context,
    folder: Annotated[Path, typer.Argument(help="The folder of the new project; it may exist.")],
    json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
) -> None:
    """Example: tankfleet new my-farm

    Start a project: a commented inventory to change, settings, a .gitignore. Nothing that exists is written
    over.
    """
    from fleet.inventory.start import start_project

    out = session(ctx).output
    written = start_project(folder.absolute())
    paths = [str(folder / path.relative_to(folder.absolute())) for path in written]
    if json:
        out.emit_json("new", {"folder": str(folder), "written": paths})
    elif paths:
        out.data("\n".join(paths))
    example = f"A project with a site, two tanks and two nodes as an example is in {folder}"
    out.note(f"{example}{': make it yours.' if paths else ' already; nothing was written.'}")
    out.next_step(f"cd {shlex.quote(str(folder))}", "edit inventory/home.yaml", "tankfleet check")
