"""`show`: what the inventory says and means of a site, a tank, a node or a kind of board."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Annotated, Any

import typer

from fleet.cli.codes import BAD_USAGE
from fleet.cli.common import command, command_app, completing, named, nearest, session
from fleet.errors import InventoryError, UsageError

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from fleet.cli.common import Session
    from fleet.model.inventory import Inventory

app = command_app()

KINDS = ("site", "tank", "node", "board")
_PLURALS = {f"{kind}s": kind for kind in KINDS}


def _complete_kind(incomplete: str) -> list[str]:
    return [kind for kind in (*KINDS, *_PLURALS) if kind.startswith(incomplete)]


def _complete_name(ctx: typer.Context, incomplete: str) -> list[str]:
    kind = _PLURALS.get(ctx.params.get("kind") or "", ctx.params.get("kind"))
    try:
        names = _names(None if kind == "board" else completing(ctx).inventory(), kind or "")
    except Exception:
        return []
    return [name for name in names if name.startswith(incomplete)]


@command(app, "show")
def show(
    ctx: typer.Context,
    kind: Annotated[
        str | None,
        typer.Argument(
            help="site, tank, node or board; without it, a summary of everything.",
            autocompletion=_complete_kind,
        ),
    ] = None,
    name: Annotated[
        str | None,
        typer.Argument(help="Its name; without it, all are listed.", autocompletion=_complete_name),
    ] = None,
    us_units: Annotated[
        bool, typer.Option("--us-units", help="Feet and US gallons instead of metres and litres.")
    ] = False,
    table: Annotated[
        str | None,
        typer.Option(
            "--table", metavar="STEP", help="For a tank: depth against volume, such as every 10 cm."
        ),
    ] = None,
    holds: Annotated[
        str | None, typer.Option("--depth-of", metavar="VOLUME", help="For a tank: the depth at a volume.")
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="Print JSON; always metric.")] = False,
) -> None:
    """Example: tankfleet show tank header-east

    Show what the inventory says, and what follows from it: of a tank its volumes per mark, filling times,
    spare time per level and what to mind; of a node its pins; of a site its windows, tanks and nodes; of
    a kind of board what each pin may do. Without a name: list all of that kind; without anything: the
    fleet in short.
    """
    this = session(ctx)
    wanted = _PLURALS.get(kind or "", kind)
    if wanted is not None and wanted not in KINDS:
        raise UsageError(
            BAD_USAGE, f"show knows no {kind!r}, only {', '.join(KINDS)}.{nearest(kind or '', KINDS)}"
        )
    of_depths = table is not None or holds is not None
    if of_depths and (wanted != "tank" or name is None):
        raise UsageError(BAD_USAGE, "--table and --depth-of are about one tank: `tankfleet show tank NAME`")
    inventory = _inventory(this, wanted)
    if wanted is None or name is None:
        _list(this, inventory, wanted, us=us_units, json=json)
        return
    known = named(name, wanted, _names(inventory, wanted))
    if of_depths and inventory is not None:
        from fleet.cli.show_depths import show_depths

        show_depths(this.output, inventory.tank(known), table, holds, us=us_units, json=json)
        return
    facts = _facts(inventory, wanted, known, us=us_units and not json)
    if json:
        this.output.emit_json(f"show-{wanted}", {wanted: asdict(facts)})
        return
    _printer(wanted)(this.output, facts, *_extra(inventory, wanted, known, us_units))


def _inventory(this: Session, wanted: str | None) -> Inventory | None:
    """The inventory; boards can be looked at without one, or while it has errors: `check` sends people there."""
    if wanted != "board":
        return this.inventory()
    if not (this.project / this.setting("inventory")).is_dir():
        return None
    try:
        return this.inventory()
    except InventoryError:
        this.output.note(
            "The inventory has errors (`tankfleet check`): its nodes and spare boards are not counted."
        )
        return None


def _names(inventory: Inventory | None, kind: str) -> list[str]:
    if kind == "board" or inventory is None:
        from fleet.boards.board import board_ids

        return list(board_ids())
    parts: Sequence[Any] = getattr(inventory, f"{kind}s")
    return [part.name for part in parts]


def _facts(inventory: Inventory | None, kind: str, name: str, *, us: bool) -> Any:
    if kind == "board" or inventory is None:
        from fleet.facts.node import about_board

        return about_board(inventory, name)
    if kind == "tank":
        from fleet.facts.tank import about_tank
        from fleet.water.quantities import Units

        return about_tank(inventory, name, Units(us))
    if kind == "node":
        from fleet.facts.node import about_node

        return about_node(inventory, name)
    from fleet.facts.site import about_site

    return about_site(inventory, name)


def _printer(kind: str) -> Callable[..., None]:
    from fleet.cli import show_board, show_parts, show_tank

    printers: dict[str, Callable[..., None]] = {
        "tank": show_tank.print_tank,
        "node": show_parts.print_node,
        "site": show_parts.print_site,
        "board": show_board.print_board,
    }
    return printers[kind]


def _extra(inventory: Inventory | None, kind: str, name: str, us: bool) -> tuple[Any, ...]:
    from fleet.water.quantities import Units

    if kind == "tank" and inventory is not None:
        return (inventory.tank(name).shape, Units(us))
    if kind == "board":
        return (inventory is not None,)
    return (Units(us),) if kind == "site" else ()


def _list(this: Session, inventory: Inventory | None, kind: str | None, *, us: bool, json: bool) -> None:
    from fleet.cli import show_parts
    from fleet.facts.site import about_fleet, board_lines
    from fleet.water.quantities import Units

    if inventory is None:
        lines: dict[str, Any] = {"boards": [asdict(line) for line in board_lines(None)]}
        if json:
            this.output.emit_json("show-list", lines)
        else:
            show_parts.print_boards(this.output, board_lines(None), counted=False)
        return
    facts = about_fleet(inventory)
    if json:
        everything = asdict(facts)
        wanted = everything if kind is None else {f"{kind}s": everything[f"{kind}s"]}
        this.output.emit_json("show-list", wanted)
        return
    show_parts.print_fleet(this.output, facts, kind, Units(us))
