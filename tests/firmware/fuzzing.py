"""Builds the fuzz targets of tests/fuzz with clang, libFuzzer, ASan and UBSan, and runs them from the kept corpus on.

By hand, for as many inputs as wanted; what is found is left in the folder:
python -m tests.firmware.fuzzing TARGET RUNS FOLDER
"""

from __future__ import annotations

import hashlib
import os
import re
import shutil
import subprocess
import sys
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from tests.firmware.firmware_build import CACHE, CRYPTO, FIRMWARE, ROOT

FUZZ = ROOT / "tests" / "fuzz"
GLUE = FIRMWARE / "ports" / "bearssl" / "glue.h"
FLAGS = (
    "-std=c++17", "-g", "-O1", "-fno-exceptions", "-fno-rtti", "-fno-omit-frame-pointer",
    "-fsanitize=fuzzer,address,undefined", "-fno-sanitize-recover=all",
    "-Wall", "-Wextra", "-Werror",
)  # fmt: skip
COMPILE_TIMEOUT_S = 200
RUN_TIMEOUT_S = 200


@dataclass(frozen=True)
class Target:
    """One target: its sources of the core, the longest input worth trying, and how many runs a smoke run makes."""

    name: str
    core: tuple[str, ...]
    input_bytes: int
    runs: int
    quick_crc: bool = False

    @property
    def corpus(self) -> Path:
        """The kept inputs."""
        return FUZZ / "corpus" / self.name


_SLOTS = ("slots", "slots_area", "slots_arrive", "slots_in_place", "slots_record", "two_sectors", "otadata")
_DOCUMENTS = ("state_doc", "metrics", "node_view", "text", "credentials")
TARGETS = (
    Target("http", ("http", "text"), 2100, 100_000),
    Target("ticket", ("cbor", "ticket", "crc32"), 520, 200_000),
    Target("request", ("base64", "hkdf", "network_body", "structured", "signature", "text"), 2049, 100_000),
    Target(
        "node_block",
        ("node_block_check", "control", "probe", "pump", "run", "tank", *_DOCUMENTS, *_SLOTS),
        1024,
        50_000,
        quick_crc=True,
    ),
    Target("record", _SLOTS, 3585, 25_000, quick_crc=True),
)


@cache
def _clang() -> tuple[str, str]:
    path = shutil.which("clang++")
    assert path is not None, "no clang++: install clang and libclang-rt-dev"
    version = subprocess.run([path, "--version"], capture_output=True, text=True, check=True)
    return path, version.stdout.splitlines()[0]


def _tree_key(core: Path) -> str:
    """Of everything that a target can be made of."""
    digest = hashlib.sha256()
    for path in sorted(
        [
            *core.glob("*.[hc]*"),
            *FUZZ.glob("*.[hc]*"),
            *(ROOT / "tests/firmware").glob("*.h"),
            ROOT / CRYPTO,
            GLUE,
        ]
    ):
        digest.update(path.name.encode() + b"\0" + path.read_bytes() + b"\0")
    return digest.hexdigest()


def build(target: Target, core: Path = FIRMWARE / "core") -> Path:
    """The target's program, from the core in that folder; cached by content."""
    path, version = _clang()
    words = "\0".join([version, *FLAGS, target.name, *target.core, _tree_key(core)])
    program = CACHE / f"fuzz-{target.name}-{hashlib.sha256(words.encode()).hexdigest()[:32]}"
    if program.exists():
        return program
    program.parent.mkdir(parents=True, exist_ok=True)
    sources = [
        FUZZ / f"{target.name}_fuzz.cpp",
        ROOT / CRYPTO,
        *(core / f"{name}.cpp" for name in target.core),
    ]
    sources += [FUZZ / "quick_crc32.cpp"] if target.quick_crc else []
    includes = [
        f"-I{core.parent}",
        f"-I{FIRMWARE}",
        f"-I{ROOT / 'tests'}",
        f"-I{ROOT / 'tests' / 'firmware'}",
    ]
    made = program.with_name(f"{program.name}.{os.getpid()}")
    line = [path, *FLAGS, *includes, *map(str, sources), "-lbearssl", "-o", str(made)]
    done = subprocess.run(line, capture_output=True, text=True, timeout=COMPILE_TIMEOUT_S, check=False)
    assert done.returncode == 0, done.stderr
    made.replace(program)
    return program


@dataclass(frozen=True)
class Run:
    """What a run said: whether it found nothing, how many inputs it tried, how many edges it reached, its report."""

    good: bool
    tried: int
    edges: int
    report: str


def run(
    target: Target, program: Path, folder: Path, runs: int, timeout_s: float | None = RUN_TIMEOUT_S
) -> Run:
    """`runs` inputs from the kept corpus on (0: those of the corpus alone); what is found goes to `folder`."""
    found = folder / "found"
    found.mkdir(exist_ok=True)
    words = [
        str(program),
        f"-runs={runs}",
        "-seed=1",
        f"-max_len={target.input_bytes}",
        "-print_final_stats=1",
    ]
    words += ["-dict=" + str(FUZZ / f"{target.name}.dict")] if (FUZZ / f"{target.name}.dict").exists() else []
    words += [f"-artifact_prefix={folder}/", str(found), str(target.corpus)]
    done = subprocess.run(words, capture_output=True, timeout=timeout_s, check=False)
    report = done.stderr.decode(errors="replace")
    tried = re.search(r"number_of_executed_units: (\d+)", report)
    edges = re.findall(r" cov: (\d+) ", report)
    return Run(
        done.returncode == 0, int(tried[1]) if tried else 0, int(edges[-1]) if edges else 0, report[-4000:]
    )


if __name__ == "__main__":
    chosen = {each.name: each for each in TARGETS}[sys.argv[1]]
    done_by_hand = run(chosen, build(chosen), Path(sys.argv[3]), int(sys.argv[2]), timeout_s=None)
    print(done_by_hand.report)
    sys.exit(0 if done_by_hand.good else 1)
