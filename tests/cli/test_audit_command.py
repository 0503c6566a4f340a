"""`audit` from the command line, without a network: what it prints, writes and ends with."""

from __future__ import annotations

import csv
import io
import json
import shutil
from pathlib import Path

import jsonschema
import pytest

from fleet.audit.audit import audit
from fleet.audit.codes import NODE_FAULT
from fleet.cli.app import run
from fleet.cli.audit import _facts, _group
from fleet.cli.output import Output
from fleet.codes import Exit
from fleet.find.match import Match, Status
from fleet.finding import Finding, Subject, SubjectKind
from tests.audit.scene import NODES, facts

ROOT = Path(__file__).resolve().parent.parent.parent
SCHEMA = json.loads((ROOT / "fleet" / "schemas" / "audit.json").read_text(encoding="utf-8"))


@pytest.fixture
def project(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The demo inventory, with nothing built and no keys."""
    monkeypatch.setenv("TANKFLEET_KEYS", str(tmp_path / "keys"))
    monkeypatch.setenv("TANKFLEET_TARGET", "host")
    shutil.copytree(ROOT / "inventory", tmp_path / "inventory")
    return tmp_path


def test_as_text(project: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["--project", str(project), "audit", "--offline"]) == Exit.OK
    printed = capsys.readouterr()
    assert printed.out.startswith("node ")
    assert "all 22 nodes: no image was built for it yet" in printed.out
    assert "site larkwood: no spare esp32-c3-devkit" in printed.out
    assert "22 nodes, no node was asked" in printed.err
    assert not (project / ".tankfleet").exists(), "an audit leaves nothing behind"


def test_as_json_and_csv_the_same_facts(project: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["--project", str(project), "audit", "--offline", "--json"]) == Exit.OK
    document = json.loads(capsys.readouterr().out)
    jsonschema.Draft202012Validator(SCHEMA).validate(document)
    assert document["offline"] is True
    assert run(["--project", str(project), "audit", "--offline", "--csv", "-"]) == Exit.OK
    rows = list(csv.DictReader(io.StringIO(capsys.readouterr().out)))
    assert [row["node"] for row in rows] == [node["node"] for node in document["nodes"]]
    for row, node in zip(rows, document["nodes"], strict=True):
        assert row["findings"].split() == node["findings"]
        assert row["verdict"] == node["verdict"]


@pytest.mark.parametrize("status", Status)
def test_whatever_became_of_a_node_keeps_to_the_schema(status: Status) -> None:
    report = audit(facts(Match(NODES[0], status, "10.0.0.7", 80)))
    document = {"schema": "tankfleet/audit/1", **_facts(report, offline=False)}
    jsonschema.Draft202012Validator(SCHEMA).validate(json.loads(json.dumps(document)))


def test_csv_to_a_file(project: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = project / "audit.csv"
    assert run(["--project", str(project), "audit", "--offline", "--csv", str(path)]) == Exit.OK
    assert f"wrote {path}" in capsys.readouterr().err
    assert path.read_bytes().count(b"\r\n") == 23


def test_nodes_cannot_be_asked_without_keys(project: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["--project", str(project), "audit"]) == Exit.USAGE
    assert "keys" in capsys.readouterr().err


def test_an_inventory_with_errors_is_not_audited(project: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (project / "inventory" / "more.yaml").write_text("nodes: [{name: x}]\n", encoding="utf-8")
    assert run(["--project", str(project), "audit", "--offline"]) == Exit.USAGE
    printed = capsys.readouterr()
    assert printed.out == ""
    assert "inventory/more.yaml:1:" in printed.err


def test_each_fault_has_its_own_advice_beside_it_and_one_for_all_is_said_once() -> None:
    printed = io.StringIO()
    output = Output(color="never", stdout=printed)
    findings = [
        Finding(
            NODE_FAULT,
            f"it reports {fault}",
            subject=Subject(SubjectKind.NODE, node),
            fix_here=f"mend {fault}",
        )
        for node, fault in (("a", "no-key"), ("b", "flash-failed"), ("c", "no-key"))
    ]
    _group(output, findings, "node fault", 9)
    lines = [line.strip() for line in printed.getvalue().splitlines() if line]
    assert lines[1:] == [
        "a, c: it reports no-key",
        "fix: mend no-key",
        "b: it reports flash-failed",
        "fix: mend flash-failed",
    ]
    _group(output, [findings[0], findings[2]], "node fault", 9)
    assert printed.getvalue().count("fix: mend no-key") == 2
