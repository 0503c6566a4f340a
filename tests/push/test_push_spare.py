"""Spare time of a node whose marks are not those of the inventory, which a push is about to change."""

from __future__ import annotations

from math import inf
from typing import Any

import pytest

from fleet.model.inventory import Inventory
from fleet.push.spare import node_spare, tank_bounds
from tests.push.plans import MARKS, state_of, tank_state

DRAIN = {"name": "p", "does": "drain", "flow": "60 L/min"}
FILL = {"name": "p", "does": "fill", "flow": "60 L/min"}
LATE_S = 78.5
"""Until the probes of a node with a debounce of 2 s are believed and its pump has rested and run up, by hand
(tests/water/test_spare.py)."""


def left(seconds: float) -> Any:
    """Of that many, on the safe side."""
    return pytest.approx(max(0.0, seconds - LATE_S))


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
    assert drained == left(3 * litres)


@pytest.mark.parametrize(
    "marks", [SAME, RENAMED, ONE_ADDED_AND_ONE_TAKEN_AWAY], ids=["same", "renamed", "other"]
)
@pytest.mark.parametrize(("wet", "litres"), [(0, 0), (1, 200), (2, 1000), (3, 1800)])
def test_down_to_empty_from_the_marks_that_the_node_watches(
    marks: dict[str, str], wet: int, litres: float
) -> None:
    """At least at the highest wet mark of its own; 10 L/min are drawn, 6 s a litre."""
    assert spare_s(marks, wet, pump=FILL, largest_draw="10 L/min") == left(6 * litres)


def test_a_mark_that_was_measured_again_is_where_the_inventory_has_it() -> None:
    lower = {**SAME, "half": "900 mm"}
    assert spare_s(lower, 2, pump=FILL, largest_draw="10 L/min") == left(6 * 900)


def farm(*draws: str) -> Inventory:
    """Tanks of 1,000 L per metre, all filled and served by one node."""
    names = [f"tank-{letter}" for letter in "ab"[: len(draws)]]
    pins = iter(["IO4", "IO5", "IO18", "IO19", "IO21", "IO22"])
    return Inventory.model_validate(
        {
            "fleet": {"name": "f", "domain": "f.example"},
            "policy": {},
            "sites": [{"name": "s", "time_zone": "Europe/London", "network": "n"}],
            "tanks": [
                {
                    "name": name,
                    "site": "s",
                    "duty": "irrigation",
                    "shape": {"kind": "box", "length": "1 m", "width": "1 m", "height": "2 m"},
                    "marks": [{"name": mark, "height": f"{mm} mm"} for mark, mm in MARKS],
                    "largest_draw": draw,
                    "pump": {**FILL, "name": f"pump-{name}"},
                }
                for name, draw in zip(names, draws, strict=True)
            ],
            "nodes": [
                {
                    "name": "a",
                    "board": "esp32-devkit",
                    "serves": [{"tank": name, "probes": {m: next(pins) for m, _ in MARKS}} for name in names],
                }
            ],
        }
    )


def told(inventory: Inventory, *tanks: dict[str, Any], speed: float = 1.0) -> tuple[float | None, str]:
    return node_spare(inventory, inventory.node("a"), state_of("a", tanks=list(tanks)), speed)


def test_the_tank_that_needs_its_node_first_counts() -> None:
    """1,000 L at 10 L/min: 6,000 s; at 20 L/min: 3,000 s. A tank from which nothing is drawn never needs it."""
    full = tank_state("tank-a", 2), tank_state("tank-b", 2)
    for draws, first in ((("10 L/min", "20 L/min"), "tank-b"), (("20 L/min", "10 L/min"), "tank-a")):
        seconds, why = told(farm(*draws), *full)
        assert seconds == left(3000)
        assert why.startswith(f"{first}: down to empty")
    assert told(farm("0 L/min", "10 L/min"), *full)[0] == left(6000)
    assert told(farm("0 L/min", "0 L/min"), *full) == (None, "nothing there needs it")


def test_water_runs_faster_on_the_bench() -> None:
    """And so do the node's rest and debounce, which count process time."""
    assert told(farm("10 L/min"), tank_state("tank-a", 2), speed=10.0)[0] == pytest.approx(
        (6000 - LATE_S) / 10
    )
    both = tank_state("tank-a", 2), tank_state("tank-b", 2)
    assert told(farm("10 L/min", "20 L/min"), *both, speed=10.0)[0] == pytest.approx((3000 - LATE_S) / 10)


def test_what_is_not_reported_or_settles_is_at_its_worst() -> None:
    """Empty, then; one mark that settles is enough."""
    assert told(farm("10 L/min"))[0] == 0
    settling = tank_state("tank-a", 2)
    settling["marks"][2]["state"] = "settling"
    seconds, why = told(farm("10 L/min"), settling)
    assert seconds == 0
    assert why.endswith("level not known")


def test_bounds_of_a_tank_with_and_without_a_pump() -> None:
    """1,000 L per metre; marks count from the lowest up."""
    inventory = farm("10 L/min")
    pumped = tank_bounds(inventory.tank("tank-a"))
    assert pumped.volumes_l == pytest.approx((200, 1000, 1800))
    assert (pumped.pump_does, pumped.pump_l_per_min) == ("fill", 60)
    assert (pumped.pump_on_mark, pumped.pump_off_mark) == (0, 2)
    alone = tank_bounds(inventory.tank("tank-a").model_copy(update={"pump": None}))
    assert (alone.pump_does, alone.pump_l_per_min, alone.pump_on_mark, alone.pump_off_mark) == (
        None,
        0,
        None,
        None,
    )
