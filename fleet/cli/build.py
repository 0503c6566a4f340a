"""`build`: compile, stamp, sign and shelve the images."""

from __future__ import annotations

import os
import time
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, cast

import typer

from fleet.cli.common import Target, command, command_app, complete_names, named, session, short_path
from fleet.cli.cut_off import tell_cut_off
from fleet.cli.key_folder import open_keys
from fleet.cli.shelf import show_entries
from fleet.water.quantities import counted, duration

if TYPE_CHECKING:
    from collections.abc import Iterable

    from fleet.build.builder import BuildContext
    from fleet.build.events import BuildEvent, BuildResult, ClassResult, FetchResult
    from fleet.cli.common import Session
    from fleet.cli.output import Output
    from fleet.render.firmware_class import Target as TargetName
    from fleet.workspace import Workspace

app = command_app()
_QUIET_S = 1.7
_NODES_SHOWN = 8
"""With more images than this a row per firmware class says enough; the shelf lists them all."""
_CLASSES = ("class", "nodes", "new", "unchanged", "size", "compiled in")


def _complete_defect(incomplete: str) -> list[str]:
    from fleet.render.firmware_class import DEFECTS

    return [defect for defect in DEFECTS if defect.startswith(incomplete)]


Defect = Annotated[
    str,
    typer.Option(
        "--defect",
        metavar="DEFECT",
        help="Build in a defect, to show on the bench; --target host only.",
        autocompletion=_complete_defect,
    ),
]
Compilers = Annotated[
    Path | None,
    typer.Option(
        "--compilers",
        metavar="DIR",
        help="Folder of the compilers; default: see `tankfleet settings`.",
    ),
]


@command(app, "build")
def build(
    ctx: typer.Context,
    nodes: Annotated[
        list[str] | None,
        typer.Argument(help="Only these nodes; default: all.", autocompletion=complete_names("nodes")),
    ] = None,
    target: Target = None,
    release: Annotated[
        str, typer.Option("--release", metavar="TEXT", help="Release text; default: the fleet's.")
    ] = "",
    defect: Defect = "",
    jobs: Annotated[
        int | None,
        typer.Option("--jobs", metavar="N", min=1, max=256, help="How many compilers run at the same time."),
    ] = None,
    fetch: Annotated[
        bool, typer.Option("--fetch", help="Only download the compilers; compile nothing.")
    ] = False,
    compilers: Compilers = None,
    json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
) -> None:
    """Example: tankfleet build --target host --release 1.1.0

    Compile each firmware class once, write each node's block into its image, sign a ticket, and put both on
    the shelf. With nothing changed no compiler starts and no ticket is made. What boards are compiled with is
    fetched first, once, as long as bytes come; --fetch does that alone.

    Defects: crash-at-boot, hang-after-minute, probes-inverted, pump-stuck-on, leaks-memory, no-network.
    """
    from fleet.build import builder
    from fleet.build.classes import BuildRequest
    from fleet.cli.fetching import show_fetched

    this = session(ctx)
    this.flags["target"] = target
    this.flags["compilers"] = None if compilers is None else str(compilers.absolute())
    this.flags["jobs"] = None if jobs is None else str(jobs)
    inventory = this.inventory()
    known = [node.name for node in inventory.nodes]
    request = BuildRequest(
        inventory,
        cast("TargetName", this.setting("target")),
        tuple(named(name, "node", known) for name in nodes or ()),
        release,
        defect,
        this.jobs(),
    )
    workspace = this.workspace(inventory.fleet.name)
    tell_cut_off(this.output, workspace)
    shop = _workshop(this, workspace, inventory.fleet.name, keys=not fetch)
    if fetch:
        *_, fetched = _told(this.output, builder.fetch(request, shop))
        show_fetched(this.output, cast("FetchResult", fetched), json=json)
        return
    result = builder.finished(_told(this.output, builder.build(request, shop)))
    if json:
        this.output.emit_json("build", asdict(result))
    elif len(result.entries) <= _NODES_SHOWN:
        show_entries(this.output, result.entries)
    else:
        this.output.table(_CLASSES, [_class_row(one, request.defect) for one in result.classes])
    _sum_up(this.output, result)


def _workshop(this: Session, workspace: Workspace, fleet: str, *, keys: bool) -> BuildContext:
    """Where and with what this run builds. KeyFolderError if keys are wanted and not sound."""
    from fleet.boards.board import load_board
    from fleet.build.builder import BuildContext
    from fleet.build.shelf import Shelf
    from fleet.keys.folder import KeyFolder
    from fleet.resources import load_templates

    return BuildContext(
        workspace.build_dir,
        this.compilers_dir(),
        Shelf(workspace.shelf_dir),
        open_keys(this, fleet) if keys else KeyFolder(workspace.keys_dir),
        load_templates(),
        os.environ,
        load_board,
        lambda: int(time.time()),
    )


def _class_row(one: ClassResult, defect: str) -> tuple[str, ...]:
    compiled = "-"
    if one.compile_s is not None:
        own = one.program == (f"{one.name}+{defect}" if defect else one.name)
        compiled = f"{one.compile_s:.1f} s" if own else "the same run"
    return (
        one.name,
        str(one.nodes),
        str(one.made + one.restored),
        str(one.unchanged),
        f"{one.size_bytes / 1024:.0f} KiB",
        compiled,
    )


def _told(output: Output, events: Iterable[BuildEvent]) -> Iterable[BuildEvent]:
    """Pass the events on, telling what is awaited at least every two seconds."""
    from fleet.build.events import (
        Compiled,
        Compiling,
        Fetched,
        Fetching,
        FetchPlanned,
        Shelving,
        StillCompiling,
    )
    from fleet.cli.fetching import fetched_words, fetching_words, planned_words

    told_s = time.monotonic()
    for event in events:
        now_s = time.monotonic()
        if isinstance(event, Compiling):
            output.note(f"compiling {event.name}, log: {short_path(event.log_path)}")
            told_s = now_s
        elif isinstance(event, Compiled):
            output.note(f"compiled {event.name} in {event.took_s:.1f} s")
            told_s = now_s
        elif isinstance(event, FetchPlanned):
            output.note(planned_words(event))
            told_s = now_s
        elif isinstance(event, Fetched):
            output.note(fetched_words(event))
            told_s = now_s
        elif isinstance(event, Fetching) and now_s - told_s >= _QUIET_S:
            output.progress(fetching_words(event))
            told_s = now_s
        elif isinstance(event, StillCompiling) and now_s - told_s >= _QUIET_S:
            output.progress(f"still compiling {', '.join(event.names)}, {duration(event.took_s)} so far")
            told_s = now_s
        elif isinstance(event, Shelving) and now_s - told_s >= _QUIET_S:
            output.progress(f"signed and shelved {event.done} of {event.total} images")
            told_s = now_s
        yield event


def _sum_up(output: Output, result: BuildResult) -> None:
    count = len(result.entries)
    if not result.changed:
        output.note(
            f"Nothing has changed: {count} images are on the shelf. No compiler ran, no ticket was made."
        )
        return
    classes = len({entry.class_name for entry in result.entries})
    parts = [
        f"{counted(len(result.made), 'new image')} of {counted(classes, 'class', 'classes')} signed and shelved"
    ]
    unchanged = count - len(result.made) - len(result.restored)
    parts += [f"{unchanged} unchanged"] if unchanged else []
    parts += [f"{len(result.restored)} made again under their earlier ticket"] if result.restored else []
    ran = f"the compiler ran for {counted(len(result.compiled), 'program')}"
    parts.append(ran if result.compiled else "no compiler ran")
    output.note(f"{', '.join(parts)}.")
    output.next_step("tankfleet shelf", "tankfleet plan")
