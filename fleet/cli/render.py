"""`render`: each node's complete PlatformIO project."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any, cast

import typer

from fleet.cli.common import Target, command, command_app, complete_names, named, session, short_path
from fleet.cli.key_folder import open_keys
from fleet.water.quantities import counted

app = command_app()


@command(app, "render")
def render(
    ctx: typer.Context,
    nodes: Annotated[
        list[str] | None,
        typer.Argument(help="Only these nodes; default: all.", autocompletion=complete_names("nodes")),
    ] = None,
    target: Target = None,
    release: Annotated[
        str, typer.Option("--release", metavar="TEXT", help="Release text; default: the fleet's.")
    ] = "",
    json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
) -> None:
    """Example: tankfleet render kestrel-01 --target host

    Write each node's complete PlatformIO project to rendered/NODE, where anyone can open and build it alone.
    The same inventory gives the same bytes; a second run writes nothing. No secret is in them.
    """
    from fleet.boards.board import load_board
    from fleet.build.project_dir import write_project
    from fleet.render.firmware_class import Target as TargetName
    from fleet.render.project import render_node
    from fleet.resources import load_templates

    this = session(ctx)
    this.flags["target"] = target
    chosen = cast("TargetName", this.setting("target"))
    inventory = this.inventory()
    known = [node.name for node in inventory.nodes]
    wanted = [named(name, "node", known) for name in dict.fromkeys(nodes or known)]
    workspace = this.workspace(inventory.fleet.name)
    trust = open_keys(this, inventory.fleet.name).trust()
    text = release or inventory.fleet.release
    facts: list[dict[str, Any]] = []
    for name in wanted:
        node = inventory.node(name)
        board = load_board(node.board)
        project = render_node(inventory, node, board, trust, chosen, text, templates=load_templates())
        folder = workspace.rendered_dir / name
        done = write_project(folder, project)
        facts.append({"node": name, "folder": str(folder), "written": done.written, "removed": done.removed})
    written, removed = (sum(len(f[key]) for f in facts) for key in ("written", "removed"))
    if json:
        this.output.emit_json("render", {"target": chosen, "release": text, "projects": facts})
    elif written or removed:
        shown = [
            (str(f["node"]), str(len(f["written"])), str(len(f["removed"])), short_path(Path(f["folder"])))
            for f in facts
        ]
        this.output.table(("node", "written", "removed", "project"), shown)
    if not written and not removed:
        this.output.note(
            f"{counted(len(wanted), 'project')} of {text} for {chosen}: up to date; nothing was written."
        )
        return
    this.output.note(
        f"Rendered {counted(len(wanted), 'project')} of {text} for {chosen}: "
        f"{counted(written, 'file')} written, {removed} removed."
    )
    this.output.next_step("tankfleet build")
