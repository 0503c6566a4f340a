"""Stands in for the start of PlatformIO where a test is not about compiling: its images are real ELF
files."""

from __future__ import annotations

import hashlib
import shutil
import subprocess
import tempfile
from collections.abc import Iterator, Sequence
from functools import cache
from pathlib import Path

import pytest

from fleet.build.compile import CompileJob, Compilers, failed
from fleet.build.events import Compiled, Compiling

FIRMWARE = Path(__file__).resolve().parent.parent / "templates" / "firmware"
_SOURCE = """#include "core/node_block.h"
extern "C" __attribute__((section(".tank_node_block"), used)) const volatile tn::NodeBlock tn_node_block = {};
"""


@cache
def elf_with_block() -> bytes:
    """An ELF file with a section for the node block, as the compiler makes it."""
    compiler = shutil.which("g++")
    assert compiler, "install g++"
    with tempfile.TemporaryDirectory() as folder:
        source, made = Path(folder, "block.cpp"), Path(folder, "block.o")
        source.write_text(_SOURCE, encoding="utf-8")
        flags = ["-std=c++17", "-Wno-missing-field-initializers", f"-I{FIRMWARE}"]
        subprocess.run([compiler, *flags, "-c", str(source), "-o", str(made)], check=True)
        return made.read_bytes()


def replace_platformio(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """From now on a job's image is that ELF file with a digest of the sources behind it. Names what was
    compiled.

    A source that holds `#error` fails.
    """
    ran: list[str] = []

    def run(self: Compilers, jobs: Sequence[CompileJob]) -> Iterator[Compiling | Compiled]:
        for job in jobs:
            ran.append(job.name)
            yield Compiling(job.name, job.log_path)
            sources = [*sorted((job.folder / "src").rglob("*.cpp")), job.folder / "platformio.ini"]
            text = b"".join(p.read_bytes() for p in sources if p.name != "node_block.cpp")
            if b"#error" in text:
                job.log_path.parent.mkdir(parents=True, exist_ok=True)
                job.log_path.write_text("main.cpp:1: error: #error here\n")
                raise failed(job, "PlatformIO ended with 1")
            job.output_dir.mkdir(parents=True)
            for name in ("image.elf", "program.elf"):
                (job.output_dir / name).write_bytes(elf_with_block() + hashlib.sha256(text).digest())
            yield Compiled(job.name, 0.1)

    monkeypatch.setattr(Compilers, "run", run)
    return ran
