"""The model of the pumps at length: `python -m tests.firmware.pump_model STEPS SEED` lives that many random steps.

Through the real core, optimised and without sanitizers; it ends with 1 at the first rule broken. The rules are in
tests/firmware/pump_rules.h.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from tests.firmware.firmware_build import FLAGS, compile_program, core_sources

SOURCES = (
    "tests/firmware/pump_model.cpp",
    *core_sources("control", "probe", "pump", "run", "tank", "crc32"),
)
FAST = ("-std=c++17", "-O2", "-fno-exceptions", "-fno-rtti")
BROKEN = {
    1: "longest",  # a restart forgets the run
    2: "flapping",  # no probe ever flaps
    3: "stays",  # a rest clears the fault
    4: "short-off",  # a clear forgets the shortest off time
    5: "still",  # a flapping mark feeds the watch each time
    6: "stays",  # a restart clears the fault
    7: "longest",  # whatever stops the pump forgets the run
    8: "first-rise",  # no watch of the first rise
}
"""Cores damaged on purpose, and the rule that the model must find broken."""


def program(*, checked: bool) -> Path:
    """The model: with the sanitizers, or fast."""
    return compile_program(SOURCES, flags=FLAGS if checked else FAST)


def main(steps: str, seed: str) -> int:
    """Exit status of the model, which writes to our standard output."""
    return subprocess.run([str(program(checked=False)), steps, seed], check=False).returncode


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:3]))
