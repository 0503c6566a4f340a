"""What makes a plan stale in the inventory, and what does not."""

from __future__ import annotations

from typing import Any

import pytest

from fleet.inventory.model import Inventory
from fleet.push.basis import basis_of, changed_in
from fleet.push.plan import Standing, check_fresh
from tests.push.test_planning import inventory, node, plan, tank

TWO = inventory([tank("tank-a", supply_group="header"), tank("tank-b")], [node("a"), node("b")])


def edited(part: str, name: str, **changes: Any) -> Inventory:
    """The same inventory with one part of it changed."""
    parts = tuple(one.model_copy(update=changes) if one.name == name else one for one in getattr(TWO, part))
    return Inventory.model_construct(**{**dict(TWO), part: parts})


def changes(now: Inventory) -> list[str]:
    made = plan(TWO, {"b": None})
    standing = Standing(
        inventory_sha256="0" * 64,
        shelf={one.node: (one.to_image, one.ticket_sha256) for _, one in made.nodes()},
        running={},
        rests_on=basis_of(now, ["a"]),
    )
    return check_fresh(made, standing)


def test_it_stands_as_it_was_made() -> None:
    assert changes(TWO) == []


@pytest.mark.parametrize(
    "now",
    [
        edited("sites", TWO.sites[0].name, contact="somebody else", title="Up there"),
        edited("tanks", "tank-a", notes="painted"),
        edited("nodes", "a", notes="new lid", place="south wall"),
        edited("tanks", "tank-b", largest_draw_l_per_min=99.0),
        edited("nodes", "b", board="d1-mini"),
    ],
    ids=["contact", "notes of a tank", "notes of a node", "tank of another", "another node"],
)
def test_what_it_does_not_rest_on_changes_nothing(now: Inventory) -> None:
    assert changes(now) == []


@pytest.mark.parametrize(
    ("now", "told"),
    [
        (
            edited("tanks", "tank-a", largest_draw_l_per_min=99.0),
            "tank tank-a: its `largest_draw` in the inventory",
        ),
        (edited("nodes", "a", board="d1-mini"), "node a: its `board` in the inventory"),
        (
            edited("sites", TWO.sites[0].name, time_zone="Asia/Tokyo"),
            f"site {TWO.sites[0].name}: its `time_zone` in the inventory",
        ),
        (
            edited("tanks", "tank-b", supply_group="header"),
            "supply group header: its `tanks` in the inventory",
        ),
    ],
    ids=["draw", "board", "time zone", "supply group"],
)
def test_what_it_rests_on_is_named(now: Inventory, told: str) -> None:
    assert changes(now) == [told]


def test_the_policy_and_a_node_that_is_gone() -> None:
    policy = TWO.policy.model_copy(update={"soak_s": 99.0})
    assert changes(Inventory.model_construct(**{**dict(TWO), "policy": policy})) == [
        "policy: its `soak` in the inventory"
    ]
    gone = changed_in(basis_of(TWO, ["a", "b"]), basis_of(TWO, ["b"]))
    assert gone[0] == "node a is no longer in the inventory"
