"""`settings`: each setting, its value, and where the value comes from."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from fleet.cli.common import command, command_app, session
from fleet.errors import TankfleetError
from fleet.keys.project_id import PROJECT_ID_FILE, read_project_id
from fleet.settings import SETTINGS

if TYPE_CHECKING:
    from fleet.cli.common import Session
    from fleet.keys.whereabouts import Whereabouts

app = command_app()


@command(app, "settings")
def settings(
    ctx: typer.Context, json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False
) -> None:
    """Example: tankfleet settings

    Show each setting, its value and where the value comes from: flag, environment, project file
    (tankfleet.toml), user file, default. Then the project's id, and the key folder that is bound to it.
    """
    this = session(ctx)
    values = this.settings()
    project_id = read_project_id(this.project)
    at = _keys(this)
    if json:
        facts = [
            {
                "name": s.name,
                "value": values[s.name].value,
                "origin": values[s.name].origin,
                "variable": s.variable,
                "what": s.what,
            }
            for s in SETTINGS
        ]
        project = {"project_id": project_id, "key_folder": None if at is None else str(at.path)}
        this.output.emit_json("settings", {"settings": facts, **project})
        return
    rows = [
        (s.name, values[s.name].value or "-", values[s.name].origin, s.variable, s.what) for s in SETTINGS
    ]
    rows.append(("project id", project_id or "-", PROJECT_ID_FILE, "-", "leads to the project's key folder"))
    if at is not None:
        rows.append(
            (
                "key folder",
                str(at.path),
                at.standing,
                "-",
                "whoever has it can update the nodes; without it nobody can",
            )
        )
    this.output.table(("setting", "value", "from", "variable", "what it is"), rows)


def _keys(this: Session) -> Whereabouts | None:
    """Where the keys are; None where only the fleet's name could tell, and the inventory cannot be read."""
    from fleet.keys.whereabouts import Binding

    at = this.keys_at("")
    if at.standing is not Binding.NONE:
        return at
    try:
        return this.keys_at(this.inventory().fleet.name)
    except TankfleetError:
        return None
