"""Blocks of sound inventories pass the node's own check, and what a node would refuse is an error of the inventory.

`TANKFLEET_SEED=n` draws others than those of every run. A failure names the command that shows the inventory again.
"""

from __future__ import annotations

import os
from dataclasses import dataclass

import pytest
from pydantic import ValidationError

from fleet.boards.board import board_ids, load_board
from fleet.check import load
from fleet.check.load import read_texts
from fleet.check.timing import debounce_fits
from fleet.inventory.source import Source
from fleet.inventory.yaml_reader import read_yaml
from fleet.model.inventory import Inventory
from fleet.model.tank import Duty
from fleet.render.block_of import unchecked_block
from tests.firmware.firmware_build import run_program
from tests.inventory.blocks import GOOD, TRUST, Outcome, packed, run, tool, verdicts

SEED = os.environ.get("TANKFLEET_SEED", "1")
LEAST_SHARE = 0.2
SLOW_S = 20.0


def _holds(outcome: Outcome) -> None:
    assert not outcome.wrong, "\n".join(outcome.wrong)
    assert outcome.sound >= LEAST_SHARE * outcome.drawn
    assert outcome.blocks >= outcome.sound


def test_blocks_of_300_sound_inventories_are_taken() -> None:
    outcome = run(SEED, 300)
    _holds(outcome)
    assert outcome.sound == 300
    kinds = {f"board {board_id}" for board_id in board_ids()} | {f"duty {duty}" for duty in Duty}
    kinds |= {f"{part} {number}" for part in ("tanks", "marks") for number in range(1, 5)}
    kinds |= {"pump fill", "pump drain", "pump none", "pull-up internal", "pull-up external", "pull-up fed"}
    assert kinds <= set(outcome.kinds)
    assert 0 < outcome.by_ruling < outcome.sound


@pytest.mark.slow
def test_blocks_of_as_many_as_20_seconds_allow_are_taken() -> None:
    outcome = run(SEED, 20_000, SLOW_S)
    _holds(outcome)
    print(f"{outcome.drawn} drawn, {outcome.sound} sound, {outcome.blocks} blocks")
    assert outcome.sound >= 200


def test_a_rule_that_is_missing_shows(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without the one on the debounce there are sound inventories whose blocks a node refuses."""
    monkeypatch.setattr(load, "RULES", tuple(rule for rule in load.RULES if rule is not debounce_fits))
    wrong = run(SEED, 60).wrong
    assert any(": timing, " in said for said in wrong)
    assert all(f"blocks show {SEED} " in said for said in wrong)


# ---------------------------------------------------------------- the other direction
TEXT = """fleet: {name: f, domain: f.example}
policy: {trial: 5 min, soak: 1 min}
sites: [{name: s, time_zone: Europe/Lisbon, network: n}]
tanks:
  - name: t
    site: s
    duty: livestock
    shape: {kind: box, length: 1 m, width: 1 m, height: 2 m}
    marks: [{name: low, height: 0.5 m}, {name: full, height: 1.5 m}]
    pump: {name: p, does: fill, flow: 40 L/min, on_at: low, off_at: full}
nodes:
  - name: n
    board: esp32-devkit
    debounce: 2 s
    serves: [{tank: t, probes: {low: IO16, full: IO17}, pull_up: internal, pump_relay: {pin: IO25}}]
"""


def test_a_feed_without_resistors_that_a_ruling_accepts_is_left_out() -> None:
    """The node refuses a feed of pins that are not fed (templates/firmware/core/node_block_check.cpp)."""
    text = TEXT.replace("pull_up: internal", "pull_up: internal, pull_up_feed: IO13") + (
        "rulings: [{code: INV466, about: tank t, as: accepted, reason: resistors come later, date: 2026-01-14}]\n"
    )
    inventory, findings = read_texts([("a.yaml", text.encode())])
    assert inventory is not None
    assert [f.code.code for f in findings if f.accepted] == ["INV466"]
    assert verdicts(packed(inventory, 0)) == ["none"]


@dataclass(frozen=True)
class Change:
    """One change of TEXT, the error that it is, and whether the model can still hold it: then it is rendered in spite
    of that error, and the node must refuse it."""

    old: str
    new: str
    code: str
    held: bool = True


MARKS = "marks: [{name: low, height: 0.5 m}, {name: full, height: 1.5 m}]"
SERVES = TEXT.partition("serves: ")[2].strip()
PREVENTED = {
    "timing": [
        Change("debounce: 2 s", "debounce: 99 ms", "INV175"),
        Change("debounce: 2 s", "debounce: 0.1 ms", "INV175"),
        Change("debounce: 2 s", "debounce: 0 s", "INV133", held=False),
        Change("trial: 5 min", "trial: 0 s", "INV133", held=False),
    ],
    "pin missing or used twice": [
        Change("full: IO17", "full: IO16", "INV169"),
        Change("full: IO17", "full: GPIO16", "INV169"),
        Change("pin: IO25", "pin: IO17", "INV169"),
    ],
    "marks not rising": [
        Change("height: 1.5 m", "height: 500.4 mm", "INV155"),
        Change("height: 1.5 m", "height: 0.5 m", "INV155"),
    ],
    "marks of the pump": [
        Change("on_at: low, off_at: full", "on_at: full, off_at: low", "INV161"),
        Change("does: fill", "does: drain", "INV161"),
        Change("on_at: low", "on_at: full", "INV161"),
    ],
    "name": [
        Change("nodes:\n  - name: n", "nodes:\n  - name: n_1", "INV124", held=False),
        Change("name: t\n", f"name: {'t' * 64}\n", "INV125", held=False),
        Change("{name: low, ", "{name: lowest-level, ", "INV125", held=False),
        Change("domain: f.example", "domain: f.example, release: 1 beta", "INV124", held=False),
    ],
    "count of tanks or marks": [
        Change(MARKS, "marks: []", "INV125", held=False),
        Change(SERVES, "[]", "INV125", held=False),
        Change(SERVES, f"[{', '.join([SERVES[1:-1]] * 5)}]", "INV125", held=False),
    ],
    "unknown kind": [
        Change("does: fill", "does: lift", "INV123", held=False),
        Change("pull_up: internal", "pull_up: both", "INV123", held=False),
    ],
}
"""By what the node says: the errors of the inventory that keep it from being said."""
NOT_FROM_AN_INVENTORY = {
    "not a node block": "written by NodeBlock.pack alone",
    "version or length": "written by NodeBlock.pack alone; test_node_block.py holds both sides' constants together",
    "checksum": "written by NodeBlock.pack alone",
    "signing key": "from the key folder (fleet/keys), always an uncompressed point",
}


def test_each_fault_of_a_block_is_prevented_or_cannot_come_from_an_inventory() -> None:
    faults = {line.partition(" ")[2] for line in run_program(tool(), ["faults"]).splitlines()}
    assert not set(PREVENTED) & set(NOT_FROM_AN_INVENTORY)
    assert {*PREVENTED, *NOT_FROM_AN_INVENTORY, GOOD} == faults


def _said(text: str) -> str:
    """What the node says of the block, rendered without a look at the rules."""
    tree = read_yaml(Source("a.yaml", text)).top
    inventory = Inventory.model_validate({"policy": {}, **tree})
    (node,) = inventory.nodes
    board = load_board(node.board)
    (said,) = verdicts(unchecked_block(inventory, node, board, TRUST, "board", "1.0.0").pack())
    return said


def test_the_unchanged_one_is_sound_and_taken() -> None:
    inventory, findings = read_texts([("a.yaml", TEXT.encode())])
    assert inventory is not None
    assert not any(finding.stops for finding in findings)
    assert _said(TEXT) == GOOD


@pytest.mark.parametrize(
    ("fault", "change"), [(fault, change) for fault, changes in PREVENTED.items() for change in changes]
)
def test_what_a_node_would_refuse_is_an_error_that_no_ruling_lifts(fault: str, change: Change) -> None:
    assert TEXT.count(change.old) == 1
    text = TEXT.replace(change.old, change.new)
    inventory, findings = read_texts([("a.yaml", text.encode())])
    codes = {finding.code.code: finding.code for finding in findings if finding.stops}
    assert inventory is None
    assert change.code in codes
    assert not codes[change.code].ruled
    if change.held:
        assert _said(text) == fault
    else:
        with pytest.raises(ValidationError):
            _said(text)
