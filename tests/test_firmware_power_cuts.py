"""The power-cut proof of slots and trial (docs/power-cuts.md): every cut, every kind of node, every damage model."""

from __future__ import annotations

import pytest
from firmware_build import compile_program, run_program
from test_firmware_slots import CRYPTO, SLOTS

# Optimised and without the sanitizers: some hundred thousand lives of a node.
FAST = ("-std=c++17", "-O2", "-fno-exceptions", "-fno-rtti")
SOURCES = ["tests/firmware/slots_cut_test.cpp", *SLOTS, CRYPTO]


def counts(output: str) -> dict[str, int]:
    """The figures of the program's last line, `R1: single runs=... cuts=...`; printed for the captured summary."""
    line = output.splitlines()[-1]
    assert line.startswith("R1: "), output
    print(line)
    return {name: int(value) for name, _, value in (word.partition("=") for word in line.split()[2:])}


@pytest.mark.slow
def test_every_cut_of_small_images_under_the_sanitizers() -> None:
    found = counts(run_program(compile_program(SOURCES, libs=["bearssl"]), ["small", "1"]))
    assert found["runs"] >= 20_000
    assert found["models"] >= 4
    assert (found["unbootable"], found["broken"]) == (0, 0)
