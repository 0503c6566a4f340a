"""Slots and trial of a node (docs/node-interface.md 7): the C++ tests, with the sanitizers."""

from __future__ import annotations

import pytest

from tests.firmware.firmware_build import CRYPTO, ROOT, SLOTS, compile_and_check, core_sources


def test_slots_and_trial_while_power_stays_on() -> None:
    output = compile_and_check(["tests/firmware/slots_test.cpp", *SLOTS, CRYPTO])
    figures = [line for line in output.splitlines() if line.startswith("R5: ")]
    print("\n".join(figures))
    assert len(figures) == 4  # bits and lengths, two layouts
    assert all(line.endswith("accepted=0") for line in figures)
    assert sum("random-bits-flipped=10000 of=36008 seed=" in line for line in figures) == 2
    assert sum("lengths-cut=4501 " in line for line in figures) == 2


@pytest.mark.slow
def test_application_that_orders_its_copies_from_the_boot_loader() -> None:
    """The ESP8266's way: whatever happens outside of the boot loader's own copy, some image runs whole afterwards.

    What a power cut within that copy does is counted, for nothing can help it, and told on the board's page.
    """
    words = compile_and_check(["tests/firmware/in_place_test.cpp", *SLOTS, CRYPTO]).split()
    cuts, within, broken = (
        int(words[words.index(name) + 1]) for name in ("cuts", "within-copy", "of-those-broken")
    )
    assert cuts > 500
    assert 0 < broken <= within
    print(f"R1: copy-in-place cuts={cuts} within-copy={within} of-those-broken={broken}")
    page = " ".join((ROOT / "docs" / "board-esp8266.md").read_text(encoding="utf-8").split())
    assert f"{broken} of {within} cuts within the copy left no whole image" in page
    assert f"none of the {cuts - within:,} cuts elsewhere did" in page


@pytest.mark.slow
def test_slots_under_the_boot_loader_of_the_esp32_family() -> None:
    compile_and_check(["tests/firmware/slots_idf_test.cpp", *SLOTS, CRYPTO])


def test_node_under_the_boot_loader_of_the_esp32_family() -> None:
    compile_and_check(["tests/firmware/node_idf_test.cpp", *core_sources(), CRYPTO])
