"""The ESP32 port: compiled against stand-ins for its core's headers, and its parts run over stand-ins for the chip.

`tests/firmware/esp32_standin` declares what the port uses of Arduino core 2.0.x and esp-idf 4.4.7, with the
signatures of the real headers; a test cannot have the whole core and its compiler. Mbed TLS is the real one,
2.28 as Debian builds it.
"""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import pytest
from elftools.elf.elffile import ELFFile

from tests.firmware.firmware_build import (
    FIRMWARE,
    FLAGS,
    ROOT,
    compile_and_check,
    compile_object,
    core_sources,
)

PORT = FIRMWARE / "ports" / "esp32"
STANDIN = f"-I{ROOT / 'tests' / 'firmware' / 'esp32_standin'}"
STRICT = ("-Wall", "-Wextra", "-Wconversion", "-Werror")
HOST = (*FLAGS, STANDIN)
CHIP = (
    "-march=rv32imc", "-mabi=ilp32", "--specs=picolibc.specs", "-std=gnu++17", "-Os",
    "-fno-exceptions", "-fno-rtti",
)  # fmt: skip
SOURCES = sorted(path.name for path in PORT.glob("*.cpp"))


@pytest.fixture(scope="module")
def mbedtls(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the headers of Mbed TLS and nothing else of this machine."""
    folder = tmp_path_factory.mktemp("headers")
    (folder / "mbedtls").symlink_to("/usr/include/mbedtls")
    return folder


@pytest.mark.parametrize("name", SOURCES)
def test_port_compiles_without_a_warning(name: str) -> None:
    compile_object(PORT / name, flags=HOST)


def _compiled_for_the_c3(source: Path, mbedtls: Path, target: Path) -> Path:
    compiler = shutil.which("riscv64-unknown-elf-g++")
    assert compiler is not None, "install gcc-riscv64-unknown-elf and picolibc-riscv64-unknown-elf"
    options = [*CHIP, *STRICT, "-isystem", str(mbedtls), STANDIN, f"-I{FIRMWARE}"]
    command = [compiler, *options, "-c", str(source), "-o", str(target)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=120)
    assert done.returncode == 0, done.stderr
    return target


@pytest.mark.parametrize("name", SOURCES)
def test_port_compiles_for_the_instruction_set_of_the_c3(name: str, mbedtls: Path, tmp_path: Path) -> None:
    _compiled_for_the_c3(PORT / name, mbedtls, tmp_path / "object.o")


def _sizes(path: Path) -> tuple[int, int]:
    """Bytes of code and constants, and of data that is written, of one object."""
    kept = written = 0
    with path.open("rb") as file:
        for section in ELFFile(file).iter_sections():
            if section["sh_flags"] & 2 and section["sh_flags"] & 1:  # SHF_ALLOC, SHF_WRITE
                written += section["sh_size"]
            elif section["sh_flags"] & 2:
                kept += section["sh_size"]
    return kept, written


@pytest.mark.slow
def test_memory_is_what_the_page_says(mbedtls: Path, tmp_path: Path) -> None:
    """To a tenth: the page rounds, and is to be written anew when the figures move."""
    page = (ROOT / "docs" / "board-esp32.md").read_text(encoding="utf-8").split("## Memory")[1]
    told = {
        key: int(value.replace(",", "")) for key, value in re.findall(r"\| ours: (.+?) \| ([\d,]+) \|", page)
    }
    sources = [*sorted((FIRMWARE / "core").glob("*.cpp")), *(PORT / name for name in SOURCES)]
    sizes = [
        _sizes(_compiled_for_the_c3(source, mbedtls, tmp_path / f"{source.parent.name}-{source.stem}.o"))
        for source in sources
    ]
    measured = dict(
        zip(("code and constants, in flash", "fixed memory"), map(sum, zip(*sizes, strict=True)), strict=True)
    )
    print(
        "esp32 port and core, rv32imc: "
        + ", ".join(f"{value} bytes of {key}" for key, value in measured.items())
    )
    assert set(told) == set(measured)
    for key, value in measured.items():
        assert abs(told[key] - value) <= value / 10, (key, told[key], value)


def test_names_from_outside_come_through_one_header() -> None:
    """Its other files include the port's and the core's headers and C's, and call nothing global of the IDF."""
    listed = set(re.findall(r"^using ::(\w+);", (PORT / "idf.h").read_text(encoding="utf-8"), re.M))
    assert len(listed) > 100
    used: set[str] = set()
    for path in sorted(PORT.iterdir()):
        if path.name == "idf.h":
            continue
        text = re.sub(r"//.*", "", path.read_text(encoding="utf-8"))
        outside = set(re.findall(r"#include <([^>]+)>", text))
        assert outside <= {"errno.h", "stddef.h", "stdint.h", "string.h"}, path.name
        used |= set(re.findall(r"idf::(\w+)", text))
        foreign = re.findall(r"(?<![\w:.>])((?:esp|gpio|mdns|lwip|mbedtls)_[a-z_0-9]+)\(", text)
        own = {"mbedtls_crypto"}
        assert set(foreign) <= own, path.name
    assert used == listed, "what is listed is used, and the other way round"


def test_core_finds_what_it_calls_in_us() -> None:
    """By their names without C++'s decoration (esp32-hal-misc.c), and with it (main.cpp, a C++ file)."""
    listing = subprocess.run(
        ["nm", str(compile_object(PORT / "main.cpp", flags=HOST))], capture_output=True, text=True, check=True
    ).stdout
    defined = {line.split()[-1] for line in listing.splitlines() if " T " in line}
    assert {"verifyRollbackLater", "_Z5setupv", "_Z4loopv", "_Z27getArduinoLoopTaskStackSizev"} <= defined


def test_crypto_over_mbed_tls() -> None:
    sources = ["tests/firmware/crypto_mbedtls_test.cpp", "templates/firmware/ports/esp32/crypto_mbedtls.cpp"]
    compile_and_check(sources, flags=HOST)


def test_no_memory_is_not_a_bad_signature() -> None:
    sources = ["tests/firmware/crypto_memory_test.cpp", "templates/firmware/ports/esp32/crypto_mbedtls.cpp"]
    plain = tuple(flag for flag in HOST if "sanitize" not in flag)
    compile_and_check(sources, flags=plain)


def test_no_memory_of_the_engines_is_not_a_broken_seal() -> None:
    """The chips' own engines stand behind the library's names, and have errors of their own."""
    sources = ["tests/firmware/crypto_engine_test.cpp", "templates/firmware/ports/esp32/crypto_mbedtls.cpp"]
    compile_and_check(sources, flags=HOST)


@pytest.mark.parametrize(
    "defines",
    [
        ("CONFIG_IDF_TARGET_ESP32=1",),
        ("CONFIG_IDF_TARGET_ESP32S2=1",),
        ("CONFIG_IDF_TARGET_ESP32S3=1",),
        ("CONFIG_IDF_TARGET_ESP32S3=1", "CONFIG_SPIRAM_MODE_OCT=1"),
        ("CONFIG_IDF_TARGET_ESP32C3=1",),
    ],
    ids=["esp32", "s2", "s3", "s3-octal", "c3"],
)
def test_pins_over_a_model_of_the_pads(defines: tuple[str, ...]) -> None:
    """Every pin of the chip, from its reset state: floating, pulled up, driven, USB pads and RTC let go.

    Those of the flash are never touched.
    """
    sources = ["templates/firmware/ports/esp32/pins.cpp", "tests/firmware/esp32_pins_test.cpp"]
    compile_and_check(sources, defines=defines, flags=HOST)


def test_flash_map_writes_nothing_but_its_own() -> None:
    sources = ["tests/firmware/flash_map_test.cpp", "templates/firmware/ports/esp32/flash_map.cpp"]
    compile_and_check(sources, flags=HOST)


@pytest.mark.parametrize(
    ("chip", "pins"),
    [
        ("ESP32", "1,3"),
        pytest.param("ESP32S2", "43,44", marks=pytest.mark.slow),
        pytest.param("ESP32S3", "43,44", marks=pytest.mark.slow),
        pytest.param("ESP32C3", "21,20", marks=pytest.mark.slow),
    ],
)
def test_port_over_a_chip_of_the_tests_own(chip: str, pins: str) -> None:
    """Pins, radio, sockets, announcement, console (UART0: uart_pins.h of esp-idf), causes of a reset."""
    names = [name for name in SOURCES if name != "main.cpp"]
    sources = [f"templates/firmware/ports/esp32/{name}" for name in names]
    sources += ["tests/firmware/esp32_port_test.cpp"]
    sources += core_sources("node_block_check", "crc32")
    defines = [f"CONFIG_IDF_TARGET_{chip}=1", f"CONSOLE_PINS={pins}"]
    compile_and_check(sources, defines=defines, flags=HOST)
