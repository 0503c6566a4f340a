"""`clear-fault` from the command line, with a stand-in over real HTTP: what it shows, asks, sends, and ends with."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pytest

from fleet.cli.app import run
from fleet.codes import Exit
from tests.cli.test_rejoin_command import Yard as RejoinYard
from tests.fake_node import FakeNode

SCHEMA = json.loads((Path(__file__).parents[2] / "fleet" / "schemas" / "clear-fault.json").read_text("utf-8"))


class Yard(RejoinYard):
    """A project of three nodes; the pump of the first stopped for good."""

    def run(self, *words: str) -> int:
        return run(["--project", str(self.folder), "clear-fault", *words])

    @property
    def node(self) -> FakeNode:
        return self.nodes["n1"]

    def latch(self, fault: str) -> None:
        self.node.tanks[0]["fault"] = fault
        self.node.tanks[0]["pump"]["why"] = "fault"


@pytest.fixture
def yard(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Yard:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    made = Yard(tmp_path / "yard", monkeypatch)
    made.latch("no-rise")
    return made


def test_a_fault_is_shown_and_cleared(yard: Yard, capsys) -> None:
    with yard.living():
        assert yard.run("n1", "--yes") == Exit.OK
    out, err = capsys.readouterr()
    assert "tank-n1: no-rise: its pump ran and no mark changed. Check first: a dry well" in err
    assert "Isolate the pump" in err and "tank-n1" in out and "shortest-off" in out
    assert "next: tankfleet find n1" in err
    assert yard.changed() == [("POST", "/v1/clear-fault/1")]
    assert yard.node.tanks[0]["fault"] == "none"


def test_without_a_word_nothing_is_sent(yard: Yard, capsys) -> None:
    with yard.living():
        assert yard.run("n1") == Exit.USAGE
        assert yard.run("n1", "--dry-run") == Exit.OK
    err = capsys.readouterr().err
    assert "Add --yes" in err and "Dry run: nothing was sent" in err
    assert yard.changed() == [] and yard.node.tanks[0]["fault"] == "no-rise"


@pytest.mark.parametrize("fault", ["none", "contradictory", "flapping"])
def test_nothing_to_clear_is_said_and_is_no_error(yard: Yard, capsys, fault: str) -> None:
    """Contradictory and flapping marks pass by themselves (docs/node-interface.md 8)."""
    yard.latch(fault)
    with yard.living():
        assert yard.run("n1", "--yes") == Exit.OK
        assert yard.run("n2") == Exit.OK
    assert "Nothing to clear: n1" in capsys.readouterr().err
    assert yard.changed() == []


def test_twice_is_once(yard: Yard, capsys) -> None:
    with yard.living():
        assert [yard.run("n1", "--yes") for _ in range(2)] == [Exit.OK, Exit.OK]
    assert len(yard.changed()) == 1 and "Nothing to clear" in capsys.readouterr().err


def test_brown_outs_leave_the_pump_alone(yard: Yard, capsys) -> None:
    yard.node.brown_outs = 7
    with yard.living():
        assert yard.run("n1", "--brown-outs", "--yes") == Exit.OK
    assert "brown-outs: 7, now 0" in capsys.readouterr().err
    assert yard.changed() == [("POST", "/v1/clear-brown-outs")]
    assert yard.node.tanks[0]["fault"] == "no-rise"


def test_brown_outs_alone_make_no_table_of_tanks(yard: Yard, capsys) -> None:
    yard.node.brown_outs = 1
    with yard.living():
        assert yard.run("n1", "--brown-outs", "--yes") == Exit.OK
    out, err = capsys.readouterr()
    assert out == "" and "1 start after a brown-out" in err


@pytest.mark.parametrize(
    "words", [(), ("--brown-outs",), ("--tank", "tank-n1"), ("--tank", "tank-n1", "--brown-outs")]
)
def test_a_dry_run_names_the_command_that_does_it(yard: Yard, capsys, words: tuple[str, ...]) -> None:
    """The one that was asked for: without its flags another thing would be cleared, or nothing."""
    yard.node.brown_outs = 2
    with yard.living():
        assert yard.run("n1", *words, "--dry-run") == Exit.OK
    assert f"next: {' '.join(['tankfleet clear-fault n1', *words])}\n" in capsys.readouterr().err


def test_a_tank_of_another_node_is_not_said_to_be_nowhere(yard: Yard, capsys) -> None:
    """`tank-n2` is in the inventory: `show tank` lists it."""
    with yard.living():
        assert yard.run("n1", "--tank", "tank-n2", "--yes") == Exit.USAGE
    err = capsys.readouterr().err
    assert "there is no tank of n1 'tank-n2'" in err and "tankfleet find n1" in err
    assert yard.changed() == []


def test_the_json_says_the_same(yard: Yard, capsys) -> None:
    yard.latch("longest-run")
    yard.node.brown_outs = 2
    with yard.living():
        assert yard.run("n1", "--dry-run", "--json") == Exit.OK
        dry = json.loads(capsys.readouterr().out)
        assert yard.run("n1", "--tank", "tank-n1", "--brown-outs", "--yes", "--json") == Exit.OK
    done = json.loads(capsys.readouterr().out)
    for facts in (dry, done):
        jsonschema.validate(facts, SCHEMA)
    assert [(one["fault"], one["cleared"]) for one in dry["tanks"]] == [("longest-run", False)]
    assert [(one["number"], one["cleared"]) for one in done["tanks"]] == [(1, True)]
    assert (dry["brown_outs_cleared"], done["brown_outs_cleared"], done["brown_outs"]) == (False, True, 2)


def test_a_fault_that_comes_again_at_once_is_a_problem(yard: Yard, capsys, monkeypatch) -> None:
    monkeypatch.setattr(yard.node, "_clear_fault", lambda number: None)
    with yard.living():
        assert yard.run("n1", "--yes") == Exit.PROBLEMS
    assert "CLI112" in capsys.readouterr().err


def test_older_firmware_knows_no_such_command(yard: Yard, capsys) -> None:
    yard.node.knows_clearing = False
    with yard.living():
        assert yard.run("n1", "--yes") == Exit.UNREACHABLE
    assert "CLI113" in capsys.readouterr().err


def test_a_node_that_is_not_there(yard: Yard, capsys) -> None:
    yard.away.add("n1")
    assert yard.run("n1", "--yes") == Exit.UNREACHABLE
    assert "LNK101" in capsys.readouterr().err


def test_a_misspelt_tank_is_named(yard: Yard, capsys) -> None:
    with yard.living():
        assert yard.run("n1", "--tank", "tank-n") == Exit.USAGE
    assert "Did you mean 'tank-n1'" in capsys.readouterr().err
