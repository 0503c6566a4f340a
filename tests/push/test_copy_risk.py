"""The weakness of boards that copy in place, as a plan, its file and its JSON say it."""

from __future__ import annotations

import io

import pytest

from fleet.boards.board import load_board
from fleet.check.load import load_inventory
from fleet.cli.common import Session
from fleet.cli.output import Output
from fleet.cli.plan import _show
from fleet.push.context import copying_in_place
from fleet.push.copy_risk import copy_risks
from fleet.push.plan import CopyRisk, read_plan, sealed, write_plan
from tests.audit.scene import FOLDER
from tests.push.plans import plan_of, planned

D1 = frozenset({"d1-mini"})


def _risks(*waves, in_place=D1) -> tuple[CopyRisk, ...]:
    nodes = [node for _, node in plan_of(*waves).nodes()]
    return copy_risks(nodes, in_place, {board: load_board(board).outage for board in in_place})


def test_names_the_nodes_and_how_long_the_copy_takes() -> None:
    """102 sectors of 4096 bytes hold 417,000; at the board's 0.58 s a sector that is 59 s (data of d1-mini)."""
    d1 = planned("b", board="d1-mini", size_bytes=417_000)
    (risk,) = _risks([planned("a")], [d1, planned("c", board="d1-mini", size_bytes=1)])
    assert (risk.board, risk.nodes) == ("d1-mini", ("b", "c"))
    assert risk.copy_s == pytest.approx(102 * 0.58, abs=0.1)
    assert risk.text.startswith("d1-mini copies a new image in place (b, c): a power cut")
    assert "up to 59 s" in risk.text


def test_two_slot_boards_have_nothing_to_say() -> None:
    assert _risks([planned("a")]) == ()


def test_which_boards_copy_in_place() -> None:
    """ESP8266 boards alone (docs/board-esp8266.md); on the bench a copy that was cut is done again."""
    inventory = load_inventory(FOLDER)
    assert copying_in_place(inventory, "host") == frozenset()
    boards = copying_in_place(inventory, "board")
    assert boards
    assert boards == {n.board for n in inventory.nodes if load_board(n.board).chip == "esp8266"}


def test_the_plan_file_keeps_it_under_its_id() -> None:
    made = plan_of([planned("b", board="d1-mini")])
    content = made.model_dump(by_alias=True, exclude={"id"})
    with_risk = sealed(content | {"copy_risks": _risks([planned("b", board="d1-mini")])})
    assert with_risk.id != made.id
    assert read_plan(write_plan(with_risk)).copy_risks[0].nodes == ("b",)
    err = io.StringIO()
    _show(Session(Output(stdout=io.StringIO(), stderr=err)), with_risk)
    assert with_risk.copy_risks[0].text in err.getvalue()


@pytest.mark.parametrize("count", [6, 7, 200])
def test_a_large_plan_is_told_in_one_line(count: int) -> None:
    (risk,) = _risks([planned(f"n{number:03}", board="d1-mini") for number in range(count)])
    assert ("more" in risk.text) == (count > 6)
    assert len(risk.text) < 400
    assert len(risk.nodes) == count
