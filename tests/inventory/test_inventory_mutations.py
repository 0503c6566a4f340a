"""Mutated inventories are read as `mutations.py` holds it; `TANKFLEET_SEED=n` reads others than those of every run."""

from __future__ import annotations

import os

import pytest

from tests.inventory.mutations import run

SEED = os.environ.get("TANKFLEET_SEED", "1")


def test_1000_mutated_inventories() -> None:
    seen = run(SEED, range(1_000))
    assert seen["taken"] >= 50
    assert seen["refused"] >= 500


@pytest.mark.slow
def test_4000_more_reach_every_code() -> None:
    seen = run(SEED, range(1_000, 5_000))
    assert seen["taken"] >= 200
    assert len([code for code in seen if code.startswith("INV")]) >= 45, sorted(seen)
