"""What an audit says: a line per node, and findings."""

from __future__ import annotations

import csv
import io
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Literal

from fleet.codes import Exit, Severity
from fleet.finding import FindingLine

if TYPE_CHECKING:
    from fleet.check.rulings import RulingLine
    from fleet.find.match import Status
    from fleet.finding import Finding
    from fleet.json_values import AuditCode, Channel, Count, Digest, Mac, NotEmpty, NotNegative
    from fleet.link.state import Phase


@dataclass(frozen=True, slots=True)
class NodeLine:
    """One node; what was not learned is null. `verdict` is a few words, `findings` the codes about it."""

    node: str
    site: str
    board: str
    status: Status | Literal["not asked"]
    """As `find` says it, or `not asked`."""
    address: str | None
    """ADDRESS:PORT"""
    release: str | None
    """Of the running image."""
    image: Digest | None
    """Of the running image."""
    sequence: Count | None
    phase: Phase | None
    newest_release: str | None
    """Of the newest image on the shelf."""
    newest_image: Digest | None
    last_push: str | None
    """Id of the last push that touched it, and how it ended for it."""
    access_point: str | None
    """That the inventory names."""
    joined: str | None
    """That it is joined to, as its site names it; null: nobody says, or the site does not list it."""
    bssid: Mac | None
    channel: Channel | None
    rssi_dbm: int | None
    copy_in_place_s: NotNegative | None
    """Longest copy by its boot loader, in which a power cut leaves it in need of a USB cable; null: it has none."""
    verdict: str
    findings: tuple[AuditCode, ...]
    rulings: tuple[NotEmpty, ...]
    """Those in force on findings about it, its tanks or its site."""


@dataclass(frozen=True, slots=True)
class AuditFinding(FindingLine):
    """A finding of an audit, for JSON."""

    code: AuditCode


@dataclass(frozen=True, slots=True)
class SeverityCounts:
    """Findings per severity."""

    error: Count
    warning: Count
    note: Count


@dataclass(frozen=True, slots=True)
class AuditDocument:
    """A whole audit, for JSON."""

    offline: bool
    """Whether no node was asked."""
    nodes: tuple[NodeLine, ...]
    findings: tuple[AuditFinding, ...]
    unreachable: tuple[str, ...]
    """Nodes that were looked for and not found."""
    rulings: tuple[RulingLine, ...]
    """What persons have ruled on findings about the inventory, in the order of its files."""
    counts: SeverityCounts


@dataclass(frozen=True, slots=True)
class Report:
    """The whole audit; findings by severity, then code, then subject."""

    lines: tuple[NodeLine, ...]
    findings: tuple[Finding, ...]
    unreachable: tuple[str, ...]
    """Nodes that were looked for and not found."""
    rulings: tuple[RulingLine, ...] = ()
    """All rulings of the inventory, in the order of its files."""

    @property
    def exit(self) -> Exit:
        """Problems if anything found is an error, else unreachable if a node was not found, else ok."""
        errors = [f for f in self.findings if f.severity is Severity.ERROR and f.code.code != "AUD101"]
        if errors:
            return Exit.PROBLEMS
        return Exit.UNREACHABLE if self.unreachable else Exit.OK

    def document(self, *, offline: bool) -> AuditDocument:
        """All of it for JSON."""
        lines = (finding.line() for finding in self.findings)
        return AuditDocument(
            offline,
            self.lines,
            tuple(AuditFinding(**asdict(line) | {"figures": line.figures}) for line in lines),
            self.unreachable,
            self.rulings,
            SeverityCounts(**self.counts()),
        )

    def counts(self) -> dict[str, int]:
        """Findings per severity."""
        return {s.value: sum(f.severity is s for f in self.findings) for s in Severity}


COLUMNS = (
    "node", "site", "board", "status", "address", "release", "image", "sequence", "phase", "newest_release",
    "newest_image", "last_push", "access_point", "joined", "bssid", "channel", "rssi_dbm", "copy_in_place_s", "verdict",
    "findings", "rulings",
)  # fmt: skip


def csv_text(report: Report) -> str:
    """The lines as CSV (RFC 4180) with a head; codes of findings are joined by spaces, rulings by `; `."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for line in report.lines:
        cells = [getattr(line, column) for column in COLUMNS[:-2]]
        cells += [" ".join(line.findings), "; ".join(line.rulings)]
        writer.writerow(["" if cell is None else cell for cell in cells])
    return out.getvalue()
