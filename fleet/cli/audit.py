"""`audit`: what runs where, and what differs from the inventory."""

from __future__ import annotations

from dataclasses import asdict
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, cast

import typer

from fleet.cli.codes import BAD_USAGE
from fleet.cli.common import command, command_app, session
from fleet.cli.cut_off import tell_cut_off
from fleet.cli.key_folder import open_keys
from fleet.cli.search_progress import tell_waiting
from fleet.errors import UsageError
from fleet.finding import Subject, SubjectKind
from fleet.limits import FIND_TIMEOUT_S
from fleet.water.quantities import counted

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fleet.audit.report import NodeLine, Report
    from fleet.check.rulings import RulingLine
    from fleet.cli.common import Session
    from fleet.cli.output import Output
    from fleet.find.match import Match
    from fleet.finding import Finding
    from fleet.keys.folder import KeyFolder
    from fleet.model.inventory import Inventory
    from fleet.render.firmware_class import Target
    from fleet.workspace import Workspace

app = command_app()


@command(app, "audit")
def audit(
    ctx: typer.Context,
    offline: Annotated[
        bool, typer.Option("--offline", help="Ask no node: use inventory, shelf and journal only.")
    ] = False,
    timeout: Annotated[
        float,
        typer.Option(
            "--timeout", metavar="SECONDS", min=0.1, max=3600, help="Seconds to wait for missing nodes."
        ),
    ] = FIND_TIMEOUT_S,
    csv: Annotated[
        str | None,
        typer.Option("--csv", metavar="FILE", help="Write one line per node to this file; - is stdout."),
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
) -> int:
    """Example: tankfleet audit --csv audit.csv

    Ask every node what it runs, and compare that with the inventory, the shelf and the journal of pushes:
    old, unknown and given-up images, missing, double and swapped boards, faults that nodes report, spare
    boards that a site lacks. Lists the rulings on findings, with reasons and dates. Changes nothing on any
    node. Exit status 0: nothing worse than a warning; 1: errors; 3: no errors but that some nodes were not found.
    """
    from fleet.cli.formats import Format, must_suit

    if json and csv == "-":
        raise UsageError(BAD_USAGE, "--json and --csv - both write to stdout", fix="Give --csv a file.")
    if csv is not None:
        must_suit(Path(csv), "--csv", Format.CSV)
    this = session(ctx)
    report = _report(this, offline=offline, timeout_s=timeout)
    if json:
        this.output.emit_json("audit", _facts(report, offline))
    elif csv == "-":
        _write_csv(this.output, report)
    else:
        _show(this.output, report, offline)
    if csv is not None and csv != "-":
        _save_csv(this.output, report, Path(csv))
    _sum_up(this.output, report, offline)
    return report.exit


def _report(this: Session, *, offline: bool, timeout_s: float) -> Report:
    from fleet.audit.audit import audit as look
    from fleet.audit.facts import Facts
    from fleet.audit.gather import releases, shelf_facts
    from fleet.audit.pushes import journal_facts
    from fleet.build.shelf import Shelf
    from fleet.check.rulings import applied_rulings
    from fleet.render.wanted import wanted_crcs

    inventory, findings = this.checked()
    workspace = this.workspace(inventory.fleet.name)
    tell_cut_off(this.output, workspace)
    target = cast("Target", this.setting("target"))
    keys = _keys(this, inventory.fleet.name, needed=not offline)
    shelf = shelf_facts(Shelf(workspace.shelf_dir), inventory, target)
    matches = None if offline or keys is None else _find(this, inventory, workspace, keys, timeout_s)
    crcs = wanted_crcs(inventory, keys.trust(), target, releases(shelf, matches)) if keys is not None else {}
    rulings = applied_rulings(inventory.rulings, findings, this.today())
    return look(Facts(inventory, shelf, journal_facts(workspace.journal_path), matches, crcs, rulings))


def _keys(this: Session, fleet: str, *, needed: bool) -> KeyFolder | None:
    """The keys; without network they only serve to tell whether images are up to date."""
    from fleet.errors import KeyFolderError

    try:
        return open_keys(this, fleet)
    except KeyFolderError as error:
        if needed:
            raise
        this.output.note(f"without keys the audit cannot tell whether images are up to date: {error.what}")
        return None


def _find(
    this: Session, inventory: Inventory, workspace: Workspace, keys: KeyFolder, timeout_s: float
) -> list[Match]:
    import asyncio
    from functools import partial

    from fleet.find.find import find
    from fleet.find.scope import interface_for
    from fleet.keys.derive import node_key

    interface = interface_for(this.setting("find_on"), workspace)
    key_of = partial(node_key, keys.fleet_key())
    this.output.note(f"asking {counted(len(inventory.nodes), 'node')} on {interface or 'all interfaces'}")
    return asyncio.run(
        find(
            inventory,
            key_of,
            workspace,
            interface=interface,
            timeout_s=timeout_s,
            tell=tell_waiting(this.output),
        )
    )


# ------------------------------------------------------------------ printing
def _show(output: Output, report: Report, offline: bool) -> None:
    if offline:
        columns: tuple[str, ...] = ("node", "board", "newest on the shelf", "image", "last push", "verdict")
        output.table(columns, [_shelf_row(line) for line in report.lines])
    else:
        columns = ("node", "board", "release", "image", "phase", "verdict")
        output.table(columns, [_row(line) for line in report.lines])
    for code, found in groupby(report.findings, key=lambda finding: finding.code):
        _group(output, list(found), f"{code.code}: {code.title}", len(report.lines))
    if report.rulings:
        output.data()
        columns = ("ruling on", "as", "date", "expires", "stands", "reason")
        output.table(columns, [_ruling_row(ruling) for ruling in report.rulings])


def _ruling_row(ruling: RulingLine) -> tuple[str, ...]:
    return (ruling.name, ruling.ruled, ruling.date, ruling.expires or "-", ruling.stands, ruling.reason)


def _row(line: NodeLine) -> tuple[str, ...]:
    return (line.node, line.board, line.release or "-", _short(line.image), line.phase or "-", line.verdict)


def _shelf_row(line: NodeLine) -> tuple[str, ...]:
    newest = line.newest_release or "-"
    return (line.node, line.board, newest, _short(line.newest_image), line.last_push or "-", line.verdict)


def _short(image: str | None) -> str:
    return image[:12] if image else "-"


def _group(output: Output, findings: Sequence[Finding], title: str, nodes: int) -> None:
    """All findings of one code: what it is, each one's own words (once, if they are the same), and the fix; each one's
    own where they differ."""
    from fleet.cli.show_tank import paragraph

    first = findings[0]
    output.data()
    output.data(f"{output.severity_word(first.severity, output.stdout)} {title}")
    by_words: dict[str, list[str]] = {}
    fixes: dict[str, str] = {}
    for finding in findings:
        by_words.setdefault(finding.what, []).append(_named(finding.subject))
        fixes.setdefault(finding.what, finding.fix)
    one_fix = len(set(fixes.values())) == 1
    for words, subjects in by_words.items():
        named = f"all {nodes} nodes" if 1 < len(subjects) == nodes else ", ".join(subjects)
        paragraph(output, f"{named}: {words}", "  ", "    ")
        if not one_fix:
            paragraph(output, f"fix: {fixes[words]}", "    ", "      ")
    if one_fix:
        paragraph(output, f"fix: {first.fix}", "  ", "    ")


def _named(subject: Subject) -> str:
    """A node by its name alone: the audit is a list of nodes."""
    return subject.name if subject.kind is SubjectKind.NODE else str(subject)


def _sum_up(output: Output, report: Report, offline: bool) -> None:
    counts = report.counts()
    said = ", ".join(counted(count, severity) for severity, count in counts.items() if count) or "no findings"
    asked = "no node was asked" if offline else f"{len(report.lines) - len(report.unreachable)} found"
    output.note(f"{counted(len(report.lines), 'node')}, {asked}: {said}.")
    codes = dict.fromkeys(finding.code.code for finding in report.findings)
    if codes:
        output.next_step(f"tankfleet explain {next(iter(codes))}")


def _facts(report: Report, offline: bool) -> dict[str, Any]:
    facts = asdict(report.document(offline=offline))
    for ruling in facts["rulings"]:
        ruling["as"] = ruling.pop("ruled")
    return facts


def _write_csv(output: Output, report: Report) -> None:
    from fleet.audit.report import csv_text

    output.document(csv_text(report).encode())


def _save_csv(output: Output, report: Report, path: Path) -> None:
    from fleet.audit.report import csv_text
    from fleet.durable import write_out

    write_out(path, csv_text(report).encode())
    output.note(f"wrote {path}")
