"""`check`: every finding about the inventory, in one run."""

from __future__ import annotations

import json as json_text
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fleet.cli.codes import BAD_USAGE
from fleet.cli.common import command, command_app, session
from fleet.codes import Exit, Severity
from fleet.errors import UsageError
from fleet.limits import FINDINGS_SHOWN

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fleet.cli.common import Session
    from fleet.finding import Finding
    from fleet.inventory.model import Inventory

app = command_app()


@command(app, "check")
def check(
    ctx: typer.Context,
    json: Annotated[bool, typer.Option("--json", help="As JSON.")] = False,
    sarif: Annotated[
        str | None, typer.Option("--sarif", metavar="FILE", help="Write SARIF 2.1.0 to FILE; - is stdout.")
    ] = None,
    strict: Annotated[bool, typer.Option("--strict", help="Exit 1 if there are warnings.")] = False,
) -> int:
    """Example: tankfleet check --strict

    Check all files of the inventory and list every finding: where, what, why it matters, how to put it
    right. Exit 2 with errors; with warnings alone 0, or 1 with --strict.
    """
    from fleet.inventory.load import read_inventory

    this = session(ctx)
    if json and sarif == "-":
        raise UsageError(BAD_USAGE, "--json and --sarif - both write to stdout", fix="Give --sarif a file.")
    inventory, findings = read_inventory(this.inventory_dir(), this.project)
    if sarif is not None:
        _write_sarif(this, sarif, findings)
    if json:
        this.output.emit_json("check", _facts(inventory, findings))
    elif sarif != "-":
        _show(this, inventory, findings)
    if inventory is None:
        return Exit.USAGE
    return Exit.PROBLEMS if strict and _counts(findings)[Severity.WARNING] else Exit.OK


def _counts(findings: Sequence[Finding]) -> Counter[Severity]:
    return Counter(finding.severity for finding in findings)


def _facts(inventory: Inventory | None, findings: Sequence[Finding]) -> dict[str, object]:
    parts = None
    if inventory is not None:
        parts = {kind: len(getattr(inventory, kind)) for kind in ("sites", "tanks", "nodes")}
    counts = _counts(findings)
    return {
        "parts": parts,
        "counts": {f"{severity.value}s": counts[severity] for severity in Severity},
        "findings": [finding.facts() for finding in findings],
    }


def _write_sarif(this: Session, where: str, findings: Sequence[Finding]) -> None:
    from fleet.sarif import sarif_log

    text = json_text.dumps(sarif_log(findings, this.project.as_posix()), indent=2, ensure_ascii=False)
    if where == "-":
        this.output.raw(text)
    else:
        Path(where).write_text(text + "\n", encoding="utf-8")
        this.output.note(f"SARIF written to {where}")


def _show(this: Session, inventory: Inventory | None, findings: Sequence[Finding]) -> None:
    from fleet.inventory.load import counted

    out = this.output
    for finding in findings[:FINDINGS_SHOWN]:
        out.finding(finding)
        out.data()
    if len(findings) > FINDINGS_SHOWN:
        out.data(f"... and {len(findings) - FINDINGS_SHOWN} more; `tankfleet check --json` lists all.")
    counts = _counts(findings)
    said = [counted(counts[severity], severity.value) for severity in Severity if counts[severity]]
    if inventory is None:
        out.data(f"{', '.join(said)}: this inventory cannot be used yet.")
        out.next_step(f"tankfleet explain {findings[0].code.code}", "tankfleet check")
        return
    parts = [counted(len(getattr(inventory, f"{kind}s")), kind) for kind in ("site", "tank", "node")]
    out.data(f"{', '.join(parts)}: {', '.join(said) or 'no findings'}.")
    out.next_step("tankfleet show" if inventory.nodes else "add a node, then tankfleet check")
