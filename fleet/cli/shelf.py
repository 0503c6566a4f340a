"""`shelf`: which images were built for which node."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Annotated

import typer

from fleet.cli.common import command, command_app, complete_names, named, session

if TYPE_CHECKING:
    from collections.abc import Iterable

    from fleet.build.entry import ShelfEntry
    from fleet.cli.output import Output

app = command_app()


@command(app, "shelf")
def shelf(
    ctx: typer.Context,
    node: Annotated[
        str | None,
        typer.Argument(help="Only this node; default: all.", autocompletion=complete_names("nodes")),
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
) -> None:
    """Example: tankfleet shelf kestrel-01

    List the images on the shelf, the oldest first for each node: image, sequence of its ticket, release,
    class, size.
    """
    from fleet.build.shelf import Shelf

    this = session(ctx)
    inventory = this.inventory()
    store = Shelf(this.workspace(inventory.fleet.name).shelf_dir)
    if node is not None:
        known = {n.name for n in inventory.nodes} | set(store.nodes())
        named(node, "node", sorted(known))
    entries = store.entries(node)
    if json:
        this.output.emit_json("shelf", {"entries": [asdict(entry) for entry in entries]})
    elif entries:
        show_entries(this.output, entries)
    if not entries:
        this.output.note(
            "Nothing is on the shelf yet." if node is None else f"Nothing is on the shelf for {node}."
        )
        this.output.next_step("tankfleet build")


def show_entries(output: Output, entries: Iterable[ShelfEntry]) -> None:
    """The entries as a table."""
    output.table(
        ("node", "release", "image", "sequence", "built", "size", "class"),
        [
            (
                e.node,
                e.release,
                e.image[:16],
                str(e.sequence),
                e.built_at,
                f"{e.size_bytes / 1024:.0f} KiB",
                e.class_name,
            )
            for e in entries
        ],
    )
