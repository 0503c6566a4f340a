"""Pumps held to rules told from outside, whatever happens in whatever order (tests/firmware/pump_rules.h)."""

from __future__ import annotations

import subprocess

import pytest

from tests.firmware.firmware_build import run_program
from tests.firmware.pump_model import BROKEN, program

FOUND_SEEDS = (20267128,)
"""Lives that broke a rule: a restart took a mark that had flapped for one that came and went."""


def test_no_rule_is_broken() -> None:
    """A hundred lives; `python -m tests.firmware.pump_model 500000000 1` lives more."""
    out = run_program(program(checked=True), ["2000000", "1"])
    assert out.endswith(", 0 broken rules\n")
    words = out.split()
    assert int(words[2]) > 1000  # starts
    assert int(words[5]) > 100  # faults that stay


@pytest.mark.parametrize("seed", FOUND_SEEDS)
def test_no_rule_is_broken_in_a_life_that_broke_one_before(seed: int) -> None:
    assert run_program(program(checked=True), ["20000", str(seed)]).endswith(", 0 broken rules\n")


@pytest.mark.parametrize(("broken", "rule"), BROKEN.items())
def test_a_broken_pump_is_caught(broken: int, rule: str) -> None:
    done = subprocess.run(
        [str(program(checked=False)), "5000000", "1", str(broken)],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert done.returncode == 1
    assert done.stdout.startswith(f"rule {rule} broken")
