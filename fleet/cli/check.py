"""`check`: every finding about the inventory, in one run."""

from __future__ import annotations

import json as json_text
from collections import Counter
from dataclasses import asdict, dataclass
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
    from fleet.json_values import Count
    from fleet.model.inventory import Inventory

app = command_app()


@command(app, "check")
def check(
    ctx: typer.Context,
    json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
    sarif: Annotated[
        str | None, typer.Option("--sarif", metavar="FILE", help="Write SARIF 2.1.0 to FILE; - is stdout.")
    ] = None,
    accepted: Annotated[
        bool, typer.Option("--accepted", help="Also list findings that rulings accept, with reason and date.")
    ] = False,
    strict: Annotated[bool, typer.Option("--strict", help="Exit 1 if there are warnings.")] = False,
) -> int:
    """Example: tankfleet check --strict

    Check all files of the inventory and list every finding: where, what, why it matters, how to put it
    right. Exit 2 with errors; with warnings alone 0, or 1 with --strict. What a ruling in the inventory
    accepts does not count.
    """
    from fleet.check.load import read_inventory
    from fleet.cli.formats import Format, must_suit

    this = session(ctx)
    if json and sarif == "-":
        raise UsageError(BAD_USAGE, "--json and --sarif - both write to stdout", fix="Give --sarif a file.")
    if sarif is not None:
        must_suit(Path(sarif), "--sarif", Format.SARIF, Format.JSON)
    inventory, findings = read_inventory(this.inventory_dir(), this.project, this.today())
    if sarif is not None:
        _write_sarif(this, sarif, findings)
    if json:
        this.output.emit_json("check", _facts(inventory, findings))
    elif sarif != "-":
        _show(this, inventory, findings, accepted=accepted)
    if inventory is None:
        return Exit.USAGE
    return Exit.PROBLEMS if strict and _counts(findings)[Severity.WARNING] else Exit.OK


def _counts(findings: Sequence[Finding]) -> Counter[Severity]:
    return Counter(finding.severity for finding in findings if not finding.accepted)


@dataclass(frozen=True, slots=True)
class Parts:
    """How many parts the inventory has."""

    sites: Count
    tanks: Count
    nodes: Count


@dataclass(frozen=True, slots=True)
class Counts:
    """Findings that count, by severity, and those that do not."""

    errors: Count
    warnings: Count
    notes: Count
    accepted: Count
    """Findings that rulings accept; they are in none of the other counts."""


def _facts(inventory: Inventory | None, findings: Sequence[Finding]) -> dict[str, object]:
    parts = None
    if inventory is not None:
        parts = Parts(len(inventory.sites), len(inventory.tanks), len(inventory.nodes))
    by_severity = _counts(findings)
    counts = Counts(
        errors=by_severity[Severity.ERROR],
        warnings=by_severity[Severity.WARNING],
        notes=by_severity[Severity.NOTE],
        accepted=sum(finding.accepted for finding in findings),
    )
    return {
        "parts": parts and asdict(parts),
        "counts": asdict(counts),
        "findings": [finding.facts() for finding in findings],
    }


def _write_sarif(this: Session, where: str, findings: Sequence[Finding]) -> None:
    from fleet.durable import write_out
    from fleet.sarif import sarif_log

    text = json_text.dumps(sarif_log(findings, this.project.as_posix()), indent=2, ensure_ascii=False)
    if where == "-":
        this.output.json(text)
    else:
        write_out(Path(where), f"{text}\n".encode())
        this.output.note(f"SARIF written to {where}")


def _show(this: Session, inventory: Inventory | None, findings: Sequence[Finding], *, accepted: bool) -> None:
    from fleet.water.quantities import counted

    out = this.output
    listed = [finding for finding in findings if accepted or not finding.accepted]
    for finding in listed[:FINDINGS_SHOWN]:
        out.finding(finding)
        out.data()
    if len(listed) > FINDINGS_SHOWN:
        out.data(f"... and {len(listed) - FINDINGS_SHOWN} more; `tankfleet check --json` lists all.")
    counts = _counts(findings)
    said = ", ".join(counted(counts[severity], severity.value) for severity in Severity if counts[severity])
    _say_accepted(this, findings, listed=accepted)
    if inventory is None:
        out.data(f"{said}: fix the errors before you build.")
        first = next(finding for finding in findings if finding.stops)
        out.next_step(f"tankfleet explain {first.code.code}", "tankfleet check")
        return
    parts = [counted(len(getattr(inventory, f"{kind}s")), kind) for kind in ("site", "tank", "node")]
    none = "no other findings" if any(finding.accepted for finding in findings) else "no findings"
    out.data(f"{', '.join(parts)}: {said or none}.")
    out.next_step("tankfleet show" if inventory.nodes else "add a node, then tankfleet check")


def _say_accepted(this: Session, findings: Sequence[Finding], *, listed: bool) -> None:
    number = sum(finding.accepted for finding in findings)
    if number:
        be = "finding is" if number == 1 else "findings are"
        more = "" if listed else "; `tankfleet check --accepted` lists " + ("it" if number == 1 else "them")
        this.output.data(f"{number} {be} accepted by rulings{more}.")
