"""The tool's check of a node block and the node's own say the same of any block, and a bad one is never rendered."""

from __future__ import annotations

import os
from dataclasses import replace

import pytest

from fleet.boards.board import load_board
from fleet.errors import RenderError
from fleet.keys.trust import Trust
from fleet.render.block_check import block_table, refusal_of, refuse_bad
from fleet.render.block_of import block_of, unchecked_block
from fleet.render.node_block import NodeBlock
from tests.firmware.firmware_build import run_program
from tests.inventory.blocks import tool
from tests.render.block_mutations import run, spans
from tests.sample_fleet import sample_inventory

SEED = os.environ.get("TANKFLEET_SEED", "1")
TRUST = Trust(b"\x04" + bytes(range(64)))


def _block() -> NodeBlock:
    inventory = sample_inventory()
    node = inventory.node("hill-1")
    return block_of(inventory, node, load_board(node.board), TRUST, "board", "1.2.0")


def test_the_table_has_all_faults_of_the_firmware() -> None:
    said = [line.partition(" ")[2] for line in run_program(tool(), ["faults"]).splitlines()]
    assert list(block_table().words.values()) == said
    assert all(block_table().limits.values())
    used = {limit.fault for limits in block_table().limits.values() for limit in limits}
    assert used <= set(block_table().words)


def _same(count: int) -> None:
    """Also that each verdict fell: none of them is out of the mutations' reach."""
    outcome = run(SEED, count)
    assert outcome.differ == []
    assert set(outcome.verdicts) == set(block_table().words.values())


def test_both_checks_say_the_same_of_mutated_blocks() -> None:
    _same(1_500)


@pytest.mark.slow
def test_both_checks_say_the_same_of_20000_mutated_blocks() -> None:
    _same(20_000)


def test_the_mutations_reach_every_byte_but_the_reserved_ones() -> None:
    covered = {byte for at, size in spans() for byte in range(at, at + size)}
    assert covered == set(range(1024 - 4 - 106))


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"debounce_ms": 99}, "timing (a debounce of 99 ms, sampled each 100 ms)"),
        ({"trial_s": 0}, "timing (trial_s of the node)"),
        ({"node": "Hill"}, "name (node of the node)"),
        ({"signing_key": bytes(65)}, "signing key (signing_key[0] of the node)"),
        ({"clear_pin": None}, "pin missing or used twice (mark empty of tank header: GPIO"),
        ({"network_traits": 16}, "unknown kind (network_traits of the node)"),
    ],
)
def test_what_a_node_would_refuse_is_an_error_that_names_node_and_fault(changes: dict, told: str) -> None:
    block = _block()
    if "clear_pin" in changes:
        changes = {"clear_pin": block.tanks[0].marks[0].pin}
    bad = replace(block, **changes)
    with pytest.raises(RenderError) as caught:
        refuse_bad(bad)
    assert caught.value.code.code == "RND107"
    assert f"node {bad.node}: it would refuse its node block: {told}" in caught.value.what


def test_no_bad_block_is_rendered_built_or_held_against_the_shelf() -> None:
    """All ways go through `block_of`."""
    inventory = sample_inventory()
    node = inventory.node("hill-1")
    bad = node.model_copy(update={"debounce_s": 0.05})
    nodes = tuple(bad if one.name == bad.name else one for one in inventory.nodes)
    inventory = inventory.model_copy(update={"nodes": nodes})
    facts = (inventory, bad, load_board(bad.board), TRUST, "board", "1.2.0")
    assert refusal_of(unchecked_block(*facts).pack()) is not None
    with pytest.raises(RenderError, match="RND107"):
        block_of(*facts)
