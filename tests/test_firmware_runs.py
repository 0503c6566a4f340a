"""The record of runs (templates/firmware/core/run_log.h): what it holds, what power cuts leave of it, what the flash bears."""

from __future__ import annotations

import pytest
from firmware_build import compile_and_check, compile_program, core_sources, run_program

TESTS = "tests/firmware"
LOG = core_sources("run_log", "crc32")
FAST = ("-std=c++17", "-O2", "-fno-exceptions", "-fno-rtti")
# CRC by table: some million lives of a log.
QUICK = ["tests/firmware/quick_crc32.cpp" if name.endswith("/crc32.cpp") else name for name in LOG]
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
