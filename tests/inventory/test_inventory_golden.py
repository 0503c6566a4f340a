"""A folder of broken inventories, one mistake each, and what `tankfleet check` says of them, to the letter.

Mistakes of engineering (wiring, water, electrodes) have a folder of their own: test_mistakes.py.

Write the expected texts anew with `TANKFLEET_GOLDEN=write make quick`, then read the difference.
"""

from __future__ import annotations

import os
import re
from datetime import date
from functools import partial
from pathlib import Path

import pytest

from fleet.boards.board import board_ids
from fleet.check.codes import INVENTORY_CODES as CODES
from fleet.check.load import read_inventory, read_texts
from fleet.cli.app import run
from fleet.cli.common import Session
from fleet.codes import Exit, Severity

FOLDER = Path(__file__).resolve().parent.parent / "golden" / "inventory"
CASES = sorted(path for path in FOLDER.iterdir() if path.is_dir())
# Raised by who loads; by what the operating system refuses; by `new`; by 500 findings. Each has its own test.
ELSEWHERE = {"INV100", "INV101", "INV112", "INV113", "INV180"}
TODAY = date(2026, 6, 1)


def checked(case: Path, monkeypatch, capsys) -> tuple[int, str]:
    monkeypatch.setattr("fleet.cli.app.Session", partial(Session, today=lambda: TODAY))
    monkeypatch.setenv("TANKFLEET_INVENTORY", ".")
    monkeypatch.setenv("TANKFLEET_COLOR", "never")
    exit_code = run(["--project", str(case), "check"])
    boards = ", ".join(f"`{board_id}`" for board_id in board_ids())
    return exit_code, capsys.readouterr().out.replace(str(case), "FOLDER").replace(boards, "EVERY BOARD")


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_check_says_what_is_expected(case: Path, monkeypatch, capsys) -> None:
    exit_code, out = checked(case, monkeypatch, capsys)
    expected = case / "expected.txt"
    text = f"{out}exit {exit_code}\n"
    if os.environ.get("TANKFLEET_GOLDEN") == "write":
        expected.write_text(text, encoding="utf-8")
    assert text == expected.read_text(encoding="utf-8")


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_one_mistake_is_one_finding_at_its_place(case: Path) -> None:
    inventory, findings = read_inventory(case, case, TODAY)
    assert len(findings) == 1, [finding.what for finding in findings]
    (finding,) = findings
    assert (inventory is None) == (finding.severity is Severity.ERROR)
    assert finding.place is not None
    if finding.place.quote:
        text = (case / finding.place.path).read_text(encoding="utf-8", errors="replace").split("\n")
        line = text[finding.place.line - 1]
        assert finding.place.quote == "".join(c if c.isprintable() or c == "\t" else "\ufffd" for c in line)


@pytest.mark.parametrize("name", ["farm.yaml", "orchard.yaml", "works.yaml"])
def test_what_the_broken_ones_are_made_from_is_well(name: str) -> None:
    inventory, findings = read_texts([(name, (Path(__file__).parent / name).read_bytes())])
    assert inventory is not None
    assert not findings


def test_there_are_at_least_40_and_each_code_has_one() -> None:
    assert len(CASES) >= 40
    said = "".join((case / "expected.txt").read_text(encoding="utf-8") for case in CASES)
    seen = set(re.findall(r"\b(INV\d{3}):", said))
    assert {code.code for code in CODES if not code.ruled} - seen == ELSEWHERE


def test_exit_codes_are_those_of_errors_and_of_warnings(monkeypatch, capsys) -> None:
    assert checked(FOLDER / "unit-missing", monkeypatch, capsys)[0] == Exit.USAGE
    assert checked(FOLDER / "tank-not-served", monkeypatch, capsys)[0] == Exit.OK
    assert run(["--project", str(FOLDER / "tank-not-served"), "check", "--strict"]) == Exit.PROBLEMS
