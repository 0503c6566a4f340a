"""Findings as a SARIF 2.1.0 log, for editors and code-review tools (OASIS, SARIF 2.1.0 plus errata 01)."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any, Final
from urllib.parse import quote

from fleet.version import __version__

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fleet.codes import Code
    from fleet.finding import Finding, Place

SCHEMA: Final = "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json"
_BASE: Final = "PROJECT"


def sarif_log(findings: Sequence[Finding], project: str) -> dict[str, Any]:
    """One run of this tool. Places are relative to `project` (absolute, POSIX) where they can be."""
    codes = {finding.code.code: finding.code for finding in findings}
    index = {name: number for number, name in enumerate(sorted(codes))}
    driver = {
        "name": "tankfleet",
        "version": __version__,
        "rules": [_rule(codes[name]) for name in index],
    }
    results = [_result(finding, index[finding.code.code]) for finding in findings]
    if any(finding.accepted for finding in findings):
        for result, finding in zip(results, findings, strict=True):
            result["suppressions"] = _suppressions(finding)
    run = {
        "tool": {"driver": driver},
        "columnKind": "unicodeCodePoints",
        "originalUriBaseIds": {_BASE: {"uri": f"file://{quote(project.rstrip('/'))}/"}},
        "results": results,
    }
    return {"$schema": SCHEMA, "version": "2.1.0", "runs": [run]}


def _rule(code: Code) -> dict[str, Any]:
    """A reportingDescriptor, SARIF 2.1.0 section 3.49."""
    rule: dict[str, Any] = {
        "id": code.code,
        "shortDescription": {"text": code.title},
        "fullDescription": {"text": code.why},
        "help": {"text": code.fix},
        "defaultConfiguration": {"level": code.severity.value},
    }
    if code.source:
        rule["properties"] = {"source": code.source}
    return rule


def _result(finding: Finding, rule_index: int) -> dict[str, Any]:
    """A result, SARIF 2.1.0 section 3.27."""
    result: dict[str, Any] = {
        "ruleId": finding.code.code,
        "ruleIndex": rule_index,
        "level": finding.severity.value,
        "message": {"text": f"{finding.what.rstrip('.')}. {finding.fix}"},
    }
    if finding.place is not None:
        result["locations"] = [{"physicalLocation": _location(finding.place)}]
    if str(finding.subject):
        result["locations"] = [
            {**location, "logicalLocations": [{"fullyQualifiedName": str(finding.subject)}]}
            for location in result.get("locations", [{}])
        ]
    if finding.figures:
        result["properties"] = {"figures": [asdict(figure) for figure in finding.figures]}
    return result


def _suppressions(finding: Finding) -> list[dict[str, Any]]:
    """Suppressions, SARIF 2.1.0 section 3.35; section 3.27.23: on all results of a run, or on none."""
    if finding.ruling is None or not finding.accepted:
        return []
    return [{"kind": "external", "status": "accepted", "justification": str(finding.ruling)}]


def _location(place: Place) -> dict[str, Any]:
    """A physicalLocation, SARIF 2.1.0 section 3.29; columns count characters, from 1, the end exclusive."""
    artifact = {"uri": quote(place.path), "uriBaseId": _BASE}
    if place.path.startswith("/"):
        artifact = {"uri": f"file://{quote(place.path)}"}
    region: dict[str, Any] = {"startLine": place.line, "startColumn": place.col, "endColumn": place.end_col}
    if place.quote:
        region["snippet"] = {"text": place.quote}
    return {"artifactLocation": artifact, "region": region}
