"""The firmware's core for the chips' own instruction sets: built by PlatformIO, run under qemu."""

from __future__ import annotations

import fcntl
import json
import os
import subprocess
import sys
from collections.abc import Sequence
from functools import cache
from pathlib import Path

from fleet.build.core_dir import platformio_environment, prepare_core_dir
from fleet.build.tools import host_tools
from tests.firmware.bearssl_sources import bearssl_sources
from tests.firmware.firmware_build import CACHE, FIRMWARE, ROOT

CHIPS = ("lx106", "rv32imc")
TESTS = ROOT / "tests" / "firmware"
BUILD_TIMEOUT_S = 240
RUN_TIMEOUT_S = 200
_PLATFORM = ROOT / "templates" / "platforms" / "emulated"
_STEP = "_ZN2tn4Node4stepEv"
_BEGIN = "_ZN2tn4Node5beginEPKNS_4PortEPKNS_9NodeBlockEPKNS_9PartitionEh"

PROGRAMS = {
    **{
        name: TESTS / f"{name}.cpp"
        for name in (
            "console_test",
            "control_test",
            "documents_test",
            "fuzz_found_test",
            "http_test",
            "in_place_test",
            "network_test",
            "node_block_check_test",
            "node_idf_test",
            "slots_idf_test",
            "slots_test",
            "trust_tool",
        )
    },
    "node_figures": TESTS / "emulated" / "node_figures.cpp",
    "figures": TESTS / "emulated" / "figures.cpp",
}

_INI = """; Made by tests/firmware/firmware_emulated.py.
[platformio]
platforms_dir = platforms
default_envs = node

[env:node]
platform = tankemulated
board = {chip}
lib_compat_mode = off
build_src_filter = +<*> -<tests/>
build_flags =
  -Isrc
  -Isrc/tests
  ; uint32_t is `unsigned long` on some chips; only the tests print
  -Wno-format
  ; node_figures.cpp puts them on a stack of their own
  -Wl,--wrap={step}
  -Wl,--wrap={begin}
"""
_BEARSSL = {
    "name": "bearssl",
    "version": "0.6.0",
    "build": {
        "srcDir": "src",
        "includeDir": "inc",
        "flags": ["-w", "-Isrc"],
        "srcFilter": [
            "-<*>",
            "+<aead/gcm.c>",
            "+<codec/>",
            "+<ec/>",
            "+<hash/>",
            "+<int/>",
            "+<mac/>",
            "+<rand/hmac_drbg.c>",
            "+<settings.c>",
            "+<symcipher/aes_ct.c>",
            "+<symcipher/aes_ct_ctr.c>",
            "+<symcipher/aes_ct_enc.c>",
        ],
    },
}

_QEMU = ("-nographic", "-monitor", "none", "-serial", "none")


def _project(chip: str) -> dict[str, bytes]:
    """Files of the PlatformIO project: core, crypto, tests, BearSSL, platform."""
    files = {"platformio.ini": _INI.format(chip=chip, step=_STEP, begin=_BEGIN).encode()}

    def add(folder: Path, to: str, patterns: Sequence[str] = ("*",)) -> None:
        for path in sorted(p for pattern in patterns for p in folder.rglob(pattern) if p.is_file()):
            if "__pycache__" not in path.parts:
                files[f"{to}/{path.relative_to(folder)}"] = path.read_bytes()

    add(_PLATFORM, "platforms/tankemulated")
    add(FIRMWARE / "core", "src/core", ("*.cpp", "*.h"))
    for name in ("host/crypto_bearssl.cpp", "host/crypto_bearssl.h", "bearssl/glue.h"):
        files[f"src/ports/{name}"] = (FIRMWARE / "ports" / name).read_bytes()
    # Included, not compiled by themselves: the headers, and the test that node_figures.cpp goes through.
    add(TESTS, "src/tests", ("*.h",))
    files["src/tests/measure.h"] = files.pop("src/tests/emulated/measure.h")
    files["src/node_stack.cpp"] = (TESTS / "emulated" / "node_stack.cpp").read_bytes()
    files["src/tests/node_test.cpp"] = (TESTS / "node_test.cpp").read_bytes()
    for name, path in PROGRAMS.items():
        files[f"src/programs/{name}.cpp"] = path.read_bytes()
    add(bearssl_sources(), "lib/bearssl")
    files["lib/bearssl/library.json"] = json.dumps(_BEARSSL).encode()
    return files


def _write(folder: Path, files: dict[str, bytes]) -> None:
    """Makes the folder hold these files and no others, but for what PlatformIO made; leaves alone what is right."""
    for path in [p for p in folder.rglob("*") if p.is_file()]:
        inside = path.relative_to(folder)
        if inside.parts[0] != ".pio" and inside.as_posix() not in files:
            path.unlink()
    for name, data in files.items():
        path = folder / name
        if not path.is_file() or path.read_bytes() != data:
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(data)


@cache
def build(chip: str) -> Path:
    """Folder with NAME.elf for each of PROGRAMS, and the objects under `src/core`."""
    folder = CACHE / "emulated" / chip
    folder.mkdir(parents=True, exist_ok=True)
    with (CACHE / "emulated" / f"{chip}.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        _write(folder, _project(chip))
        tools = host_tools()
        core = prepare_core_dir(CACHE / "emulated" / f"platformio-{chip}", tools)
        environment = platformio_environment(os.environ, core, CACHE / "emulated" / "objects", tools)
        done = subprocess.run(
            [sys.executable, "-m", "platformio", "run", "-d", str(folder), "-e", "node"],
            env=environment,
            capture_output=True,
            text=True,
            timeout=BUILD_TIMEOUT_S,
        )
    assert done.returncode == 0, f"{done.stdout[-6000:]}\n{done.stderr[-6000:]}"
    return folder / ".pio" / "build" / "node"


def command(chip: str, program: Path, arguments: Sequence[str] = (), icount: bool = False) -> list[str]:
    """How to run it. `icount`: the emulator's clocks go by instructions, one nanosecond each."""
    # picolibc 1.8's start code for rv32imc puts a program name of its own before the arguments; qemu gives it the
    # kernel's when there are none.
    words = {"lx106": ["program", *arguments], "rv32imc": list(arguments) or [""]}[chip]
    semihosting = ",".join(["enable=on", "target=native", *(f"arg={word}" for word in words)])
    machine = {
        "lx106": ["qemu-system-xtensa", "-M", "sim", "-cpu", "lx106"],
        "rv32imc": ["qemu-system-riscv32", "-M", "virt", "-cpu", "rv32", "-bios", "none"],
    }[chip]
    counting = ["-icount", "shift=0"] if icount else []
    return [*machine, *counting, *_QEMU, "-semihosting-config", semihosting, "-kernel", str(program)]


def run(chip: str, name: str, arguments: Sequence[str] = (), stdin: bytes = b"", icount: bool = False) -> str:
    """Standard output of one of PROGRAMS, which must end with 0."""
    done = subprocess.run(
        command(chip, build(chip) / f"{name}.elf", arguments, icount),
        input=stdin,
        capture_output=True,
        timeout=RUN_TIMEOUT_S,
    )
    out = done.stdout.decode(errors="replace")
    assert done.returncode == 0, (
        f"{name} on {chip}: exit {done.returncode}\n{out[-3000:]}\n{done.stderr.decode()}"
    )
    return out
