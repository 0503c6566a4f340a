"""Spare time of a node whose marks are not those of the inventory, which a push is about to change."""

from __future__ import annotations

from math import inf
from typing import Any

import pytest

from fleet.inventory.model import Inventory
from fleet.push.spare import node_spare
from tests.push.plans import MARKS, state_of, tank_state

DRAIN = {"name": "p", "does": "drain", "flow": "60 L/min"}
FILL = {"name": "p", "does": "fill", "flow": "60 L/min"}


def spare_s(marks: dict[str, str], wet: int, **changes: Any) -> float:
    """Of a box of 1,000 L per metre with these marks, whose node watches `low`, `half` and `full` (0.2, 1, 1.8 m)."""
    inventory = Inventory.model_validate(
        {
            "fleet": {"name": "f", "domain": "f.example"},
            "policy": {},
            "sites": [{"name": "s", "time_zone": "Europe/London", "network": "n"}],
            "tanks": [
                {
                    "name": "tank-a",
                    "site": "s",
                    "duty": "potable",
                    "shape": {"kind": "box", "length": "1 m", "width": "1 m", "height": "2 m"},
                    "marks": [{"name": name, "height": height} for name, height in marks.items()],
                    **changes,
                }
            ],
            "nodes": [
                {
                    "name": "a",
                    "board": "esp32-devkit",
                    "serves": [
                        {"tank": "tank-a", "probes": dict(zip(marks, ("IO4", "IO5", "IO18"), strict=False))}
                    ],
                }
            ],
        }
    )
    state = state_of("a", tanks=[tank_state("tank-a", wet)])
    spare, _ = node_spare(inventory, inventory.node("a"), state)
    return inf if spare is None else spare


SAME = {name: f"{mm} mm" for name, mm in MARKS}
RENAMED = {"bottom": "200 mm", "middle": "1 m", "brim": "1800 mm"}
ONE_ADDED_AND_ONE_TAKEN_AWAY = {"low": "200 mm", "quarter": "600 mm", "full": "1800 mm"}


@pytest.mark.parametrize(
    "marks", [SAME, RENAMED, ONE_ADDED_AND_ONE_TAKEN_AWAY], ids=["same", "renamed", "other"]
)
@pytest.mark.parametrize(("wet", "litres"), [(0, 1800), (1, 1000), (2, 200), (3, 0)])
def test_up_to_the_overflow_from_the_marks_that_the_node_watches(
    marks: dict[str, str], wet: int, litres: float
) -> None:
    """At most at the lowest dry mark of its own; 20 L/min flow in, 3 s a litre. New names say nothing of the water."""
    drained = spare_s(marks, wet, pump=DRAIN, uncontrolled_inflow="20 L/min")
    assert drained == pytest.approx(3 * litres)


@pytest.mark.parametrize(
    "marks", [SAME, RENAMED, ONE_ADDED_AND_ONE_TAKEN_AWAY], ids=["same", "renamed", "other"]
)
@pytest.mark.parametrize(("wet", "litres"), [(0, 0), (1, 200), (2, 1000), (3, 1800)])
def test_down_to_empty_from_the_marks_that_the_node_watches(
    marks: dict[str, str], wet: int, litres: float
) -> None:
    """At least at the highest wet mark of its own; 10 L/min are drawn, 6 s a litre."""
    assert spare_s(marks, wet, pump=FILL, largest_draw="10 L/min") == pytest.approx(6 * litres)


def test_a_mark_that_was_measured_again_is_where_the_inventory_has_it() -> None:
    lower = {**SAME, "half": "900 mm"}
    assert spare_s(lower, 2, pump=FILL, largest_draw="10 L/min") == pytest.approx(6 * 900)
