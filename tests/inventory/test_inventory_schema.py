"""The JSON Schemas, with jsonschema as the other party: they accept what the loader accepts, and refuse mistakes."""

from __future__ import annotations

import datetime as dt
import json
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator
from ruamel.yaml import YAML

from fleet.check.load import read_inventory, read_texts
from fleet.cli.app import run
from fleet.codes import Exit
from fleet.inventory.schema import inventory_schema
from fleet.resources import demo_inventory_dir, shipped_dir

HERE = Path(__file__).resolve().parent
GOLDEN = HERE.parent / "golden" / "inventory"
GOOD = [
    HERE / "farm.yaml",
    HERE / "orchard.yaml",
    HERE / "works.yaml",
    HERE / "rulings.yaml",
    *sorted(demo_inventory_dir().glob("*.yaml")),
    *sorted((shipped_dir("templates") / "start").rglob("*.yaml")),
]
VALIDATOR = Draft202012Validator(inventory_schema())

# Mistakes of one part by itself that a schema can say.
IN_THE_SCHEMA = [
    "boolean-where-text-is-needed", "choice-misspelt", "date-the-other-way", "domain-with-slash", "file-is-a-list",
    "key-misspelt", "key-missing", "key-of-file-misspelt", "key-required-misspelt", "list-needed", "mac-in-capitals",
    "mapping-needed", "mark-name-too-long", "marks-too-many", "name-in-capitals", "name-too-long",
    "name-with-underscore", "number-for-text", "number-in-quotes", "number-too-large", "pin-as-number",
    "quantity-negative", "quantity-not-a-number", "quantity-with-comma", "shape-kind-misspelt", "shape-kind-missing",
    "share-without-percent", "text-for-number", "time-with-zone", "unit-missing", "value-missing",
]  # fmt: skip


def by_ruamel(path: Path) -> Any:
    """YAML 1.2 by another reader; what it makes a date of is text again, as editors with a schema read it."""

    def plain(node: Any) -> Any:
        if isinstance(node, dict):
            return {str(key): plain(value) for key, value in node.items()}
        if isinstance(node, list):
            return [plain(value) for value in node]
        if isinstance(node, dt.datetime):
            return node.isoformat(sep=" ", timespec="seconds") + ("Z" if node.tzinfo else "")
        return node.isoformat() if isinstance(node, dt.date) else node

    return plain(YAML(typ="safe", pure=True).load(path))


def test_the_schema_is_one() -> None:
    Draft202012Validator.check_schema(inventory_schema())


@pytest.mark.parametrize("path", GOOD, ids=lambda path: path.name)
def test_good_files_are_accepted(path: Path) -> None:
    text = path.read_text(encoding="utf-8").replace("MY-FLEET", "my-fleet")
    document = by_ruamel(path) if text == path.read_text(encoding="utf-8") else YAML(typ="safe").load(text)
    errors = [error.message for error in VALIDATOR.iter_errors(document)]
    assert not errors


@pytest.mark.parametrize("name", IN_THE_SCHEMA)
def test_mistakes_of_one_part_are_refused(name: str) -> None:
    documents = [by_ruamel(path) for path in sorted((GOLDEN / name).glob("*.yaml"))]
    assert any(not VALIDATOR.is_valid(document) for document in documents)


def test_what_the_loader_takes_the_schema_takes(tmp_path: Path) -> None:
    """The other direction, on mutants: none that is taken is refused by the schema."""
    from tests.inventory.mutate import Mutant

    taken = 0
    for number in range(200):
        mutant = Mutant("schema", number)
        inventory, _ = read_texts(sorted(mutant.files.items()))
        if inventory is None:
            continue
        taken += 1
        for data in mutant.files.values():
            path = tmp_path / "a.yaml"
            path.write_bytes(data)
            errors = [error.message for error in VALIDATOR.iter_errors(by_ruamel(path) or {})]
            assert not errors, f"python -m tests.inventory.mutate schema {number}"
    assert taken >= 20


def test_every_key_is_in_the_schema_and_described_quantities_show_examples() -> None:
    definitions = inventory_schema()["$defs"]
    assert {"Site", "Tank", "Node", "Pump", "Policy", "Fleet", "Strapped"} <= set(definitions)
    flow = definitions["Pump"]["properties"]["flow"]
    assert flow["type"] == "string"
    assert "60 L/min" in flow["examples"]
    assert not Draft202012Validator(flow).is_valid(60)
    assert Draft202012Validator(flow).is_valid("60 L/min")
    assert not Draft202012Validator(flow).is_valid("60")


def test_the_command_prints_schemas(capsys) -> None:
    assert run(["schema", "inventory"]) == Exit.OK
    assert json.loads(capsys.readouterr().out) == inventory_schema()
    assert run(["schema"]) == Exit.OK
    kinds = capsys.readouterr().out.split()
    assert kinds[0] == "inventory"
    for kind in kinds[1:]:
        assert run(["schema", kind]) == Exit.OK
        schema = json.loads(capsys.readouterr().out)
        Draft202012Validator.check_schema(schema)
        assert schema["$id"] == f"tankfleet/{kind}/1"
    assert run(["schema", "chek"]) == Exit.USAGE
    assert "Did you mean 'check'?" in capsys.readouterr().err


@pytest.mark.parametrize("name", ["unit-missing", "tank-not-served", "folder-without-files"])
def test_json_of_check_follows_its_schema_and_says_the_same_as_the_loader(
    name: str, monkeypatch, capsys
) -> None:
    monkeypatch.setenv("TANKFLEET_INVENTORY", ".")
    run(["--project", str(GOLDEN / name), "check", "--json"])
    document = json.loads(capsys.readouterr().out)
    run(["schema", "check"])
    Draft202012Validator(json.loads(capsys.readouterr().out)).validate(document)
    inventory, findings = read_inventory(GOLDEN / name, GOLDEN / name)
    assert document["findings"] == [finding.facts() for finding in findings]
    assert (document["parts"] is None) == (inventory is None)
    assert sum(document["counts"].values()) == len(findings)


def test_findings_of_engineering_follow_the_schema_with_their_figures() -> None:
    """Figures are numbers that JSON has (RFC 8259: no NaN, no infinity); each finding names what it is about."""
    schema = json.loads((files("fleet") / "schemas" / "check.json").read_text(encoding="utf-8"))
    one = Draft202012Validator({"$ref": "#/$defs/PlacedLine", "$defs": schema["$defs"]})
    with_figures = 0
    for path in sorted((HERE / "mistakes").glob("*.yaml")):
        for finding in read_texts([(path.name, path.read_bytes())])[1]:
            one.validate(json.loads(json.dumps(finding.facts(), allow_nan=False)))
            assert str(finding.subject) or not finding.code.ruled
            with_figures += bool(finding.figures)
    assert with_figures >= 30
