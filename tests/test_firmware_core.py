"""The control part of the firmware's core: its C++ tests, compiled with the sanitizers and run here."""

from __future__ import annotations

import zlib

from firmware_build import compile_and_run, compile_program, run_program

CORE = "templates/firmware/core"
TESTS = "tests/firmware"
CONTROL = [f"{CORE}/{name}.cpp" for name in ("control", "probe", "pump", "tank")]


def _all_passed(output: str) -> None:
    assert output.rstrip().endswith(", 0 failed"), output


def test_node_block_is_checked_and_the_checksum_is_that_of_zlib() -> None:
    texts = ["a", "tank", "the quick brown fox", "x" * 1020]
    sources = [f"{TESTS}/node_block_check_test.cpp", f"{CORE}/node_block_check.cpp", f"{CORE}/crc32.cpp"]
    output = run_program(compile_program(sources), texts)
    _all_passed(output)
    wanted = [f"{zlib.crc32(text.encode()):08x}" for text in texts]
    assert [line.split()[1] for line in output.splitlines() if line.startswith("crc ")] == wanted


def test_control_of_probes_level_and_pump() -> None:
    _all_passed(compile_and_run([f"{TESTS}/control_test.cpp", *CONTROL, f"{CORE}/crc32.cpp"]))
