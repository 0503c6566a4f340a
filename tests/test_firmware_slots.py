"""Slots and trial of a node (docs/node-interface.md 7): the C++ tests, with the sanitizers, and every power cut."""

from __future__ import annotations

import pytest
from firmware_build import compile_program, run_program

CORE = "templates/firmware/core"
SLOTS = [f"{CORE}/{name}.cpp" for name in ("slots", "slots_area", "slots_record", "crc32")]
CRYPTO = "templates/firmware/ports/host/crypto_bearssl.cpp"
# Optimised and without the sanitizers: some hundred thousand lives of a node.
FAST = ("-std=c++17", "-O2", "-fno-exceptions", "-fno-rtti")


def test_slots_and_trial_while_power_stays_on() -> None:
    program = compile_program(["tests/firmware/slots_test.cpp", *SLOTS, CRYPTO], libs=["bearssl"])
    assert run_program(program).endswith(" 0 failed\n")


def test_power_cut_at_every_flash_operation() -> None:
    """Both layouts, five ways to damage what was written; after one cut in eight a second one."""
    sources = ["tests/firmware/slots_cut_test.cpp", *SLOTS, CRYPTO]
    output = run_program(compile_program(sources, libs=["bearssl"], flags=FAST))
    assert output.endswith(" 0 failed\n"), output
    assert int(output.split()[-4]) > 30_000


@pytest.mark.slow
def test_power_cut_at_every_flash_operation_twice() -> None:
    """After every single cut, again a cut at every operation of the start that follows."""
    sources = ["tests/firmware/slots_cut_test.cpp", *SLOTS, CRYPTO]
    output = run_program(compile_program(sources, libs=["bearssl"]), ["every"])
    assert output.endswith(" 0 failed\n"), output
    assert int(output.split()[-4]) > 250_000
