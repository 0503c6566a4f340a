"""The weakness of boards that copy in place, as a plan says it."""

from __future__ import annotations

import pytest

from fleet.boards.board import load_board
from fleet.push.copy_risk import copy_risks
from tests.push.plans import plan_of, planned


def _for_boards(*waves):
    plan = plan_of(*waves)
    return plan.model_copy(update={"target": "board"})


def test_names_the_nodes_and_how_long_the_copy_takes() -> None:
    """102 sectors of 4096 bytes hold 417,000; at the board's 0.58 s a sector that is 59 s (data of d1-mini)."""
    d1 = planned("b", board="d1-mini", size_bytes=417_000)
    plan = _for_boards([planned("a")], [d1, planned("c", board="d1-mini", size_bytes=1)])
    (risk,) = copy_risks(plan, load_board)
    assert risk.startswith("d1-mini copies a new image in place (b, c): a power cut")
    assert "up to 59 s" in risk


def test_two_slot_boards_and_the_bench_have_nothing_to_say() -> None:
    assert copy_risks(_for_boards([planned("a")]), load_board) == ()
    assert copy_risks(plan_of([planned("a", board="d1-mini")]), load_board) == ()


@pytest.mark.parametrize("count", [6, 7, 200])
def test_a_large_plan_is_told_in_one_line(count: int) -> None:
    plan = _for_boards([planned(f"n{number:03}", board="d1-mini") for number in range(count)])
    (risk,) = copy_risks(plan, load_board)
    assert ("more" in risk) == (count > 6)
    assert len(risk) < 400
