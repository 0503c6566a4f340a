"""`explain`: what a code means, why it matters, how to put it right; offline."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated

import typer

from fleet.cli.common import command, command_app, named, session
from fleet.explain import all_codes, how_to_rule

app = command_app()


@command(app, "explain")
def explain(
    ctx: typer.Context,
    code: Annotated[
        str | None,
        typer.Argument(
            help="The code, such as INV101; without it, all codes are listed.",
            autocompletion=lambda incomplete: [c for c in all_codes() if c.startswith(incomplete.upper())],
        ),
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
) -> None:
    """Example: tankfleet explain INV101

    Explain a code of a finding or an error, or list all codes.
    """
    out = session(ctx).output
    codes = all_codes()
    chosen = list(codes.values()) if code is None else [codes[named(code.upper(), "code", list(codes))]]
    if json:
        out.emit_json("explain", {"codes": [{**asdict(c), "ruled": c.ruled} for c in chosen]})
    elif code is None:
        out.table(("code", "severity", "means"), [(c.code, c.severity.value, c.title) for c in chosen])
    else:
        this = chosen[0]
        out.data(f"{this.code} ({this.severity.value}): {this.title}")
        out.data(f"  why: {this.why}")
        out.data(f"  fix: {this.fix}")
        if this.source:
            out.data(f"  source: {this.source}")
        if this.ruled:
            out.data("  rule: to accept it, or to change its severity here, write in a file of the inventory")
            out.raw("\n".join(f"    {line}" for line in how_to_rule(this)))
