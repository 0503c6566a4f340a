"""The record of runs (core/run_log.h): what it holds, what power cuts leave of it, what the flash bears."""

from __future__ import annotations

import os
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

from tests.firmware.firmware_build import (
    CRYPTO,
    broken,
    compile_and_check,
    compile_program,
    core_sources,
    notices,
    run_checks,
    run_program,
    with_instead,
)
from tests.firmware.firmware_host import EMPTY, FULL, HALF, RELAY, HostNode, image_of, node_block, ticket_for

TESTS = "tests/firmware"
LOG = core_sources("run_log", "crc32")
FAST = ("-std=c++17", "-O2", "-fno-exceptions", "-fno-rtti")
# CRC by table: some million lives of a log.
QUICK = ["tests/firmware/quick_crc32.cpp" if name.endswith("/crc32.cpp") else name for name in LOG]
BUTTON = 20
BUDGET_ERASES = 10_000
"""Of a sector in 20 years; a serial NOR flash bears 100,000 (its data sheets, common practice)."""


def test_what_is_written_when_and_what_a_start_finds() -> None:
    compile_and_check([f"{TESTS}/run_log_test.cpp", *LOG])


@pytest.mark.slow
def test_a_year_of_four_pumps_at_twelve_starts_an_hour() -> None:
    said = run_program(compile_program([f"{TESTS}/run_log_test.cpp", *QUICK], flags=FAST), ["year"])
    line = next(line for line in said.splitlines() if line.startswith("R4: "))
    print(line)
    assert int(line.rsplit(" ", 1)[1]) <= BUDGET_ERASES


def _cut_test(instead: Path | None = None) -> Path:
    """The power-cut test, with that file instead of the core's of its name."""
    return compile_program([f"{TESTS}/run_log_cut_test.cpp", *with_instead(instead, QUICK)], flags=FAST)


def test_a_power_cut_leaves_what_was_before_or_after() -> None:
    run_checks(_cut_test(), ["once"])


@pytest.mark.slow
def test_a_power_cut_and_one_in_the_next_life_leave_what_was_before_or_after() -> None:
    print(run_checks(_cut_test()))


CUT_MUTANTS = {
    "nothing is made firm": (
        "  if (entry[kSealAt] == kSealed) return true;\n",
        "  if (entry[kSealAt] != 1) return true;\n",
    ),
    "each start makes it firm": (
        "  if (entry[kSealAt] == kSealed) return true;\n",
        "",
    ),
    "the checksum is not compared": (
        "return crc == crc32(entry, kTanksBytes);",
        "return crc != 0xFFFFFFFFu;",
    ),
    "a sector is not erased first": ("!flash_->erase(flash_->ctx, at) || ", ""),
    "a head without an entry is trusted": (
        "  if (used != 0) slot_ = used;",
        "  if (number_ != 0) slot_ = used;",
    ),
    "a place is used again": ("entry_at(number_, slot_++)", "entry_at(number_, slot_)"),
    "a damaged entry ends the search": (
        "make_firm(number, slot - 1, entry)) continue;",
        "make_firm(number, slot - 1, entry)) return false;",
    ),
    "only the newest sector is looked at": ("number = newest_before(number))", "number = 0)"),
    "the fault is left out of what is due": ("if (fault_of(now[i]) != fault_of(tanks_[i]) || ", "if ("),
}


@pytest.mark.slow
@pytest.mark.parametrize("mutant", CUT_MUTANTS)
def test_a_record_that_a_cut_could_spoil_is_noticed(mutant: str, tmp_path: Path) -> None:
    notices(_cut_test(broken(("run_log.cpp", *CUT_MUTANTS[mutant]), tmp_path)), ["once"])


def _whole_node(instead: Path | None = None) -> Path:
    """The test of a whole node, with that file instead of the core's of its name."""
    return compile_program([f"{TESTS}/node_runs_test.cpp", CRYPTO, *with_instead(instead, core_sources())])


def test_faults_stay_and_runs_are_counted_in_a_whole_node() -> None:
    said = run_checks(_whole_node())
    print("\n".join(line for line in said.splitlines() if line.startswith("R4: ")))


NODE_MUTANTS = {
    "a start forgets": (
        "node_runs.cpp",
        "pump_resume(&control_.tanks[i].pump, runs_.carried(i));",
        "control_.tanks[i].pump.latched = TankFault::kNone;",
    ),
    "nothing is written before a wanted restart": ("node.cpp", "    note_runs(true);\n", ""),
    "a mark waits for the next checkpoint": (
        "run_log.cpp",
        "(marks_of(now[i]) & ~marks_of(tanks_[i])) != 0",
        "marks_of(now[i]) > 255",
    ),
    "a line that was never released clears": (
        "clear_button.cpp",
        "ClearButton{At::kNotYetReleased, ",
        "ClearButton{At::kReleased, ",
    ),
    "a press clears again and again": ("clear_button.cpp", "    button->at = At::kDone;\n", ""),
}


@pytest.mark.slow
@pytest.mark.parametrize("mutant", NODE_MUTANTS)
def test_a_node_that_forgets_or_clears_too_much_is_noticed(mutant: str, tmp_path: Path) -> None:
    notices(_whole_node(broken(NODE_MUTANTS[mutant], tmp_path)))


# --- a real process


@cache
def _image(release: str) -> bytes:
    """A tank whose pump is given 300 s to move a mark, and a button."""
    block = node_block(release, "two-slot")
    tank = replace(block.tanks[0], no_rise_s=300)
    return image_of(replace(block, tanks=(tank,), clear_pin=BUTTON))


def _fault(node: HostNode) -> tuple[str, str]:
    tank = node.state().tanks[0]
    assert tank.pump is not None
    return tank.fault, tank.pump.relay


@pytest.mark.slow
def test_an_update_and_a_power_cut_leave_a_latched_pump_off_until_the_button_is_held(tmp_path: Path) -> None:
    """The case that was seen: a tank latched on no-rise, a newer image, and the pump ran dry again."""
    address = f"127.{180 + os.getpid() % 70}.{os.getpid() // 70 % 250}.6"
    node = HostNode(tmp_path, address, speed=200)
    try:
        node.load(_image("1.0.0"), "two-slot")
        for gpio in (EMPTY, HALF, FULL, BUTTON):
            node.pins.set_input(gpio, high=True)
        node.start()
        node.wait_up()
        node.wait_for(lambda: _fault(node) == ("no-rise", "off"), "the pump is latched off")
        ticket = ticket_for(_image("1.1.0"), 6, "1.1.0")
        node.ask(lambda link: link.put_image(_image("1.1.0"), ticket))
        node.wait_exit()
        node.start("restart")
        assert node.wait_up().release == "1.1.0"
        assert _fault(node) == ("no-rise", "off")
        node.ask(lambda link: link.keep())
        for _ in range(3):
            node.stop()
            node.start()
            node.wait_up()
            assert _fault(node) == ("no-rise", "off")
            assert node.pins.driven_high(RELAY) is False
        node.pins.set_input(BUTTON, high=False)
        node.wait_for(lambda: node.pins.driven_high(RELAY) is True, "held for 5 s, it clears the fault")
    finally:
        node.end()
    assert "Sanitizer" not in node.log()
    assert "runtime error" not in node.log()
