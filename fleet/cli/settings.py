"""`settings`: each setting, its value, and where the value comes from."""

from __future__ import annotations

from typing import Annotated

import typer

from fleet.cli.common import command, command_app, session
from fleet.settings import SETTINGS

app = command_app()


@command(app, "settings")
def settings(
    ctx: typer.Context, json: Annotated[bool, typer.Option("--json", help="As JSON.")] = False
) -> None:
    """Example: tankfleet settings

    Show each setting, its value and where the value comes from: flag, environment, project file
    (tankfleet.toml), user file, default.
    """
    this = session(ctx)
    values = this.settings()
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
        this.output.emit_json("settings", {"settings": facts})
        return
    rows = [
        (s.name, values[s.name].value or "-", values[s.name].origin, s.variable, s.what) for s in SETTINGS
    ]
    this.output.table(("setting", "value", "from", "variable", "what it is"), rows)
