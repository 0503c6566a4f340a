"""What differs between two node blocks: every field of the block has its words."""

from __future__ import annotations

from dataclasses import fields, replace

import pytest

from fleet.boards.board import load_board
from fleet.keys.trust import Trust
from fleet.render.block_difference import differences
from fleet.render.block_of import block_of
from fleet.render.node_block import MarkBlock, NodeBlock, TankBlock
from tests.sample_fleet import sample_inventory

TRUST = Trust(b"\x04" + bytes(range(64)))


def hill() -> NodeBlock:
    inventory = sample_inventory()
    node = inventory.node("hill-1")
    return block_of(inventory, node, load_board(node.board), TRUST, "board", "1.2.0")


WAS = hill()
TANK = WAS.tanks[0]
MARK = TANK.marks[0]


def with_tank(**changes: object) -> NodeBlock:
    return replace(WAS, tanks=(replace(TANK, **changes), *WAS.tanks[1:]))  # type: ignore[arg-type]


def with_mark(**changes: object) -> NodeBlock:
    return with_tank(marks=(replace(MARK, **changes), *TANK.marks[1:]))  # type: ignore[arg-type]


def said(now: NodeBlock) -> list[str]:
    return [str(one) for one in differences(WAS, now)]


def test_equal_blocks_do_not_differ() -> None:
    assert said(hill()) == []


@pytest.mark.parametrize(
    ("now", "told"),
    [
        (
            with_tank(pump_pin=14),
            f"the relay of tank {TANK.name}: pin GPIO{TANK.pump_pin}, now GPIO14",
        ),
        (with_mark(pin=15), f"the probe {MARK.name} of tank {TANK.name}: pin GPIO{MARK.pin}, now GPIO15"),
        (with_mark(height_mm=250), f"the mark {MARK.name} of tank {TANK.name}: height 200 mm, now 250 mm"),
        (with_tank(no_rise_s=900), f"the pump of tank {TANK.name}: watch for a rise 1800 s, now 900 s"),
        (with_tank(pump_on_mark=1), f"the pump of tank {TANK.name}: on at empty, now half"),
        (replace(WAS, trial_s=60), f"the trial: {WAS.trial_s} s, now 60 s"),
        (replace(WAS, debounce_ms=2500), f"the debounce: {WAS.debounce_ms / 1000:g} s, now 2.5 s"),
        (replace(WAS, clear_pin=5), "the clear button: pin none, now GPIO5"),
        (replace(WAS, network_traits=3), "the site's network traits: none, now hidden, high-channels"),
        (replace(WAS, tanks=WAS.tanks[:1]), "the node: tanks header, trough, now header"),
    ],
)
def test_words(now: NodeBlock, told: str) -> None:
    assert said(now) == [told]


def test_each_field_has_its_words() -> None:
    """A field that is added to the block and not to the words would be a difference without a name."""
    other = {str: "x", int: 3, bytes: b"x"}
    for field in fields(NodeBlock):
        if field.name not in ("tanks", "feed_pins", "signing_key"):
            value = other[type(getattr(WAS, field.name))]
            assert len(said(replace(WAS, **{field.name: value}))) == 1, field.name
    for field in fields(TankBlock):
        if field.name != "marks":
            value = {"pump_does": 2, "pump_active_high": 1 - TANK.pump_active_high}.get(
                field.name, other[type(getattr(TANK, field.name))]
            )
            assert said(with_tank(**{field.name: value})), field.name
    for field in fields(MarkBlock):
        assert said(with_mark(**{field.name: other[type(getattr(MARK, field.name))]})), field.name
    assert said(replace(WAS, feed_pins=bytes([4, 255, 255, 255]))) == [
        f"the feed of the probes of tank {TANK.name}: pin none, now GPIO4"
    ]


def test_another_signing_key_shows_by_its_name() -> None:
    """The key id names the key (docs/node-interface.md); the key itself is not told of besides."""
    inventory = sample_inventory()
    node = inventory.node("hill-1")
    key = Trust(b"\x04" + bytes(64))
    now = block_of(inventory, node, load_board(node.board), key, "board", "1.2.0")
    assert said(now) == [f"the signing key: {WAS.key_id.hex()}, now {key.key_id.hex()}"]
