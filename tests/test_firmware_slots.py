"""Slots and trial of a node (docs/node-interface.md 7): the C++ tests, with the sanitizers, and every power cut."""

from __future__ import annotations

import pytest
from firmware_build import compile_program, run_program

CORE = "templates/firmware/core"
SLOT_NAMES = ("slots", "slots_area", "slots_arrive", "slots_in_place", "slots_record", "otadata", "crc32")
SLOTS = [f"{CORE}/{name}.cpp" for name in SLOT_NAMES]
CRYPTO = "templates/firmware/ports/host/crypto_bearssl.cpp"
# Optimised and without the sanitizers: some hundred thousand lives of a node.
FAST = ("-std=c++17", "-O2", "-fno-exceptions", "-fno-rtti")


def test_slots_and_trial_while_power_stays_on() -> None:
    program = compile_program(["tests/firmware/slots_test.cpp", *SLOTS, CRYPTO], libs=["bearssl"])
    assert run_program(program).endswith(" 0 failed\n")


def test_application_that_orders_its_copies_from_the_boot_loader() -> None:
    """The ESP8266's way: whatever happens outside of the boot loader's own copy, some image runs whole afterwards.

    What a power cut within that copy does is counted and shown, for nothing can help it: 51 of 60 leave no whole
    image, with images of two sectors.
    """
    sources = ["tests/firmware/in_place_test.cpp", *SLOTS, CRYPTO]
    output = run_program(compile_program(sources, libs=["bearssl"]))
    assert output.endswith(" 0 failed\n"), output
    words = output.split()
    cuts, within, broken = (
        int(words[words.index(name) + 1]) for name in ("cuts", "within-copy", "of-those-broken")
    )
    assert cuts > 500
    assert 0 < broken <= within


def test_power_cut_at_every_flash_operation() -> None:
    """Both layouts, five ways to damage what was written; after one cut in eight a second one."""
    sources = ["tests/firmware/slots_cut_test.cpp", *SLOTS, CRYPTO]
    output = run_program(compile_program(sources, libs=["bearssl"], flags=FAST))
    assert output.endswith(" 0 failed\n"), output
    assert int(output.split()[-4]) > 30_000


def test_slots_under_the_boot_loader_of_the_esp32_family() -> None:
    program = compile_program(["tests/firmware/slots_idf_test.cpp", *SLOTS, CRYPTO], libs=["bearssl"])
    assert run_program(program).endswith(" 0 failed\n")


@pytest.mark.slow
def test_power_cut_at_every_flash_operation_twice() -> None:
    """After every single cut, again a cut at every operation of the start that follows."""
    sources = ["tests/firmware/slots_cut_test.cpp", *SLOTS, CRYPTO]
    output = run_program(compile_program(sources, libs=["bearssl"]), ["every"])
    assert output.endswith(" 0 failed\n"), output
    assert int(output.split()[-4]) > 250_000
