"""Stands in for the start of PlatformIO where a test is not about compiling: its images are real ELF
files."""

from __future__ import annotations

import hashlib
import shutil
import subprocess
import tempfile
from collections.abc import Iterator, Sequence
from functools import cache, reduce
from io import BytesIO
from operator import xor
from pathlib import Path
from struct import pack

import pytest
from elftools.elf.elffile import ELFFile

from fleet.build.compile import CompileJob, Compilers, failed
from fleet.build.events import Compiled, Compiling
from tests.flash.board_images import binary_table

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


def board_image(elf: bytes) -> bytes:
    """An ESP32's image of that ELF file, from the format's page: a description with the file's digest, and at address
    0, where an object file has its block, the block."""
    section = next(s for s in ELFFile(BytesIO(elf)).iter_sections() if s.name == ".tank_node_block")
    desc = pack("<I", 0xABCD5432) + bytes(140) + hashlib.sha256(elf).digest() + bytes(80)
    whole = bytes([0xE9, 2, 2, 0x20]) + pack("<I", 0x40080000) + b"\xee\0\0\0" + bytes(11) + b"\x01"
    checksum = 0xEF
    for address, data in ((0x3F400020, desc), (0, section.data())):
        whole += pack("<II", address, len(data)) + data
        checksum = reduce(xor, data, checksum)
    whole += bytes(15 - len(whole) % 16) + bytes([checksum])
    return whole + hashlib.sha256(whole).digest()


def replace_platformio(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """From now on a job's image is that ELF file with a digest of the sources behind it. Names what was
    compiled.

    A source that holds `#error here` fails.
    """
    ran: list[str] = []

    def run(self: Compilers, jobs: Sequence[CompileJob]) -> Iterator[Compiling | Compiled]:
        for job in jobs:
            ran.append(job.name)
            yield Compiling(job.name, job.log_path)
            sources = [*sorted((job.folder / "src").rglob("*.cpp")), job.folder / "platformio.ini"]
            text = b"".join(p.read_bytes() for p in sources if p.name != "node_block.cpp")
            if b"#error here" in text:
                job.log_path.parent.mkdir(parents=True, exist_ok=True)
                job.log_path.write_text("main.cpp:1: error: #error here\n")
                raise failed(job, "PlatformIO ended with 1")
            job.output_dir.mkdir(parents=True)
            if b"framework = arduino" in (job.folder / "platformio.ini").read_bytes():
                elf = elf_with_block() + hashlib.sha256(text).digest()
                (job.output_dir / "firmware.elf").write_bytes(elf)
                (job.output_dir / "firmware.bin").write_bytes(board_image(elf))
                (job.output_dir / "bootloader.bin").write_bytes(board_image(elf_with_block()))
                (job.output_dir / "partitions.bin").write_bytes(binary_table("esp32-devkit"))
                yield Compiled(job.name, 0.1)
                continue
            for name in ("image.elf", "program.elf"):
                (job.output_dir / name).write_bytes(elf_with_block() + hashlib.sha256(text).digest())
            yield Compiled(job.name, 0.1)

    monkeypatch.setattr(Compilers, "run", run)
    return ran
