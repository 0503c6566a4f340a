"""Inventories of ordinary installations, in which nothing is wrong: `check` cries no wolf.

Each file of `sound/` is a whole inventory: other boards, shapes, duties, waters and units.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from fleet.boards.board import board_ids, load_board
from fleet.check.load import read_texts
from fleet.model.inventory import Inventory
from fleet.model.tank import Duty

FOLDER = Path(__file__).resolve().parent / "sound"
FILES = sorted(FOLDER.glob("*.yaml"))


def read(path: Path) -> Inventory:
    inventory, findings = read_texts([(path.name, path.read_bytes())])
    assert [f"{finding.code.code} {finding.subject!s}: {finding.what}" for finding in findings] == []
    assert inventory is not None
    return inventory


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_nothing_is_found(path: Path) -> None:
    assert read(path).nodes


def test_they_are_of_every_kind() -> None:
    every = [read(path) for path in FILES]
    assert len(every) >= 20
    chips = {load_board(board_id).chip for board_id in board_ids()}
    assert {load_board(node.board).chip for one in every for node in one.nodes} == chips
    tanks = [tank for one in every for tank in one.tanks]
    assert {tank.duty for tank in tanks} == set(Duty)
    assert len({tank.shape.kind for tank in tanks}) >= 5
    assert {tank.pump.does for tank in tanks if tank.pump} == {"fill", "drain"}
