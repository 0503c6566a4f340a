"""What makes a plan stale in the inventory, and what does not."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from fleet.check.load import load_inventory
from fleet.model.inventory import Inventory
from fleet.push.basis import Change, ChangeKind, PartKind, basis_of, changed_in
from fleet.push.basis_places import placed
from fleet.push.plan import PresentState, check_fresh
from fleet.workspace import Workspace
from tests.push.test_planning import inventory, node, plan, tank

TWO = inventory([tank("tank-a", supply_group="header"), tank("tank-b")], [node("a"), node("b")])


def edited(part: str, name: str, **changes: Any) -> Inventory:
    """The same inventory with one part of it changed."""
    parts = tuple(one.model_copy(update=changes) if one.name == name else one for one in getattr(TWO, part))
    return Inventory.model_construct(**{**dict(TWO), part: parts})


def changes(now: Inventory) -> list[str]:
    made = plan(TWO, {"b": None})
    standing = PresentState(
        inventory_sha256="0" * 64,
        shelf={one.node: (one.to_image, one.ticket_sha256) for _, one in made.nodes()},
        running={},
        changed=tuple(changed_in(made.rests_on, now, ["a"])),
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
            "supply group header: tank tank-b is in it now",
        ),
        (
            edited("nodes", "a", serves=(TWO.node("a").serves[0].model_copy(update={"tank": "tank-b"}),)),
            "node a: its `serves` in the inventory",
        ),
        (edited("tanks", "tank-a", supply_group=None), "tank tank-a: its `supply_group` in the inventory"),
    ],
    ids=["draw", "board", "time zone", "supply group", "another tank", "no supply group"],
)
def test_what_it_rests_on_is_named(now: Inventory, told: str) -> None:
    assert changes(now) == [told]


def test_the_policy_and_a_node_that_is_gone() -> None:
    policy = TWO.policy.model_copy(update={"soak_s": 99.0})
    assert changes(Inventory.model_construct(**{**dict(TWO), "policy": policy})) == [
        "policy: its `soak` in the inventory"
    ]


def test_a_node_that_is_gone_is_told_alone() -> None:
    """Its tank and its site are still there, whoever serves them now."""
    only_b = Inventory.model_construct(**{**dict(TWO), "nodes": (TWO.node("b"),)})
    changed = changed_in(basis_of(TWO, ["a", "b"]), only_b, ["b"])
    assert changed == [Change(ChangeKind.GONE, PartKind.NODE, "a")]
    assert str(changed[0]) == "node a is no longer in the inventory"


def test_a_tank_that_leaves_its_supply_group_is_told() -> None:
    three = inventory(
        [tank("tank-a", supply_group="header"), tank("tank-b", supply_group="header")], [node("a"), node("b")]
    )
    changed = changed_in(basis_of(three, ["a"]), TWO, ["a"])
    assert changed == [Change(ChangeKind.LEFT, PartKind.SUPPLY_GROUP, "header", "tank-b")]
    assert str(changed[0]) == "supply group header: tank tank-b is no longer in it"


FILES = {
    "fleet.yaml": "fleet: {name: ridge, domain: ridge.example}\npolicy:\n  growth: 3\n  soak: 60 s\n",
    "hill/site.yaml": "sites:\n  - name: hill\n    time_zone: Europe/Lisbon\n    network: n\n",
    "hill/tanks.yaml": """tanks:
  - name: other
    site: hill
    duty: irrigation
    shape: {kind: box, length: 2 m, width: 1 m, height: 2 m}
    marks: [{name: full, height: 1800 mm}]
    largest_draw: 3 L/min
  - name: header
    site: hill
    duty: irrigation
    supply_group: east
    shape: {kind: box, length: 2 m, width: 1 m, height: 2 m}
    marks: [{name: full, height: 1800 mm}]
    largest_draw: 3 L/min
""",
    "hill/nodes.yaml": """nodes:
  - name: one
    board: esp32-devkit
    serves: [{tank: header, probes: {full: IO33}}]
""",
}


@pytest.mark.parametrize(
    ("file", "was", "now", "line_with", "told"),
    [
        (
            "fleet.yaml",
            "soak: 60 s",
            "soak: 70 s",
            "soak: 70 s",
            "policy: its `soak` in inventory/fleet.yaml:{}",
        ),
        (
            "hill/site.yaml",
            "Lisbon",
            "Madrid",
            "Madrid",
            "site hill: its `time_zone` in inventory/hill/site.yaml:{}",
        ),
        (
            "hill/tanks.yaml",
            "group: east\n    shape: {kind: box, length: 2 m",
            "group: east\n    shape: {kind: box, length: 3 m",
            "length: 3 m",
            "tank header: its `shape` in inventory/hill/tanks.yaml:{}",
        ),
        (
            "hill/tanks.yaml",
            "- name: other\n",
            "- name: other\n    supply_group: east # too\n",
            "east # too",
            "supply group east: tank other is in it now (inventory/hill/tanks.yaml:{})",
        ),
        (
            "fleet.yaml",
            "  soak: 60 s\n",
            "",
            "policy:",
            "policy: its `soak` in inventory/fleet.yaml:{}",
        ),
    ],
    ids=["policy", "site", "tank", "supply group", "a key that is gone"],
)
def test_the_file_and_the_line_are_named(
    tmp_path: Path, file: str, was: str, now: str, line_with: str, told: str
) -> None:
    folder = tmp_path / "inventory"
    for name, text in FILES.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(text, encoding="utf-8")
    then = basis_of(load_inventory(folder), ["one"])
    changed = FILES[file].replace(was, now, 1)
    assert changed != FILES[file]
    (folder / file).write_text(changed, encoding="utf-8")
    workspace = Workspace(tmp_path, folder, tmp_path / "keys")
    found = placed(changed_in(then, load_inventory(folder), ["one"]), workspace)
    line = next(n for n, text in enumerate(changed.split("\n"), 1) if line_with in text)
    assert [str(change) for change in found] == [told.format(line)]


def test_where_nothing_changed_no_file_is_read(tmp_path: Path) -> None:
    assert placed([], Workspace(tmp_path, tmp_path / "there is none", tmp_path)) == ()
