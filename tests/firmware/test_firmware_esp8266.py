"""The ESP8266's port under the chip's own compiler, against stand-ins for the core's headers, and what it weighs.

The stand-ins (tests/firmware/esp8266_core) declare what core_names.h names, with the core's own signatures, and do
nothing: this shows that the port compiles without a warning and what it takes of the chip, not that it runs; its pins
alone run, on this machine, over a core of a test's own (tests/firmware/esp8266_pins_test.cpp). The
compiler is Debian's GCC 12 for the lx106; PlatformIO's is GCC 10.3, whose figures may differ by some percent.
"""

from __future__ import annotations

import re
import shutil
import subprocess
from functools import cache
from pathlib import Path

import pytest
from elftools.elf.elffile import ELFFile

from fleet.boards.board import load_board
from fleet.flash.places import esp8266_places
from fleet.render.firmware_class import BLOCK_SECTIONS, SHARED, SIZES
from tests.firmware.firmware_build import FIRMWARE, ROOT, WARNINGS, compile_and_check, core_sources
from tests.firmware.firmware_build import FLAGS as HOST_FLAGS
from tests.firmware.firmware_objects import heap_symbols

COMPILER = "xtensa-lx106-elf-g++"
PORT = FIRMWARE / "ports" / "esp8266"
STANDINS = ROOT / "tests" / "firmware" / "esp8266_core"
LIBC = Path("/usr/lib/xtensa-lx106-elf/include")
FLAGS = (
    "-std=gnu++17", "-Os", "-mlongcalls", "-mtext-section-literals", "-ffunction-sections", "-fdata-sections",
    "-fno-exceptions", "-fno-rtti", "-falign-functions=4", "-fno-threadsafe-statics",
)  # fmt: skip
"""Those of the core's tools/platformio-build.py that bear on code."""
RAM_BYTES = 14 * 1024
"""Zeroed and initialised data: 11.4 KiB are measured, of the chip's 80."""
CONSTANT_BYTES = 9 * 1024
"""Tables and texts, which the core's linker script puts into RAM as well: 7.2 KiB are measured."""
CODE_BYTES = 64 * 1024

pytestmark = pytest.mark.slow


@cache
def _objects(folder: Path) -> tuple[Path, ...]:
    compiler = shutil.which(COMPILER)
    assert compiler, "install gcc-xtensa-lx106 and picolibc-xtensa-lx106-elf"
    defines = [f"-D{name}={value}" for name, value in SIZES["esp8266"]]
    include = [f"-I{FIRMWARE}", f"-isystem{STANDINS}", f"-isystem{LIBC}"]
    made = []
    for source in (*sorted((FIRMWARE / "core").glob("*.cpp")), *sorted(PORT.glob("*.cpp"))):
        target = folder / f"{source.parent.name}-{source.stem}.o"
        command = [compiler, *FLAGS, *WARNINGS, *defines, *include, "-c", str(source), "-o", str(target)]
        done = subprocess.run(command, capture_output=True, text=True, timeout=120)
        assert done.returncode == 0, done.stderr
        made.append(target)
    return tuple(made)


@pytest.fixture(scope="module")
def objects(tmp_path_factory) -> tuple[Path, ...]:
    """Core and port, compiled."""
    return _objects(tmp_path_factory.mktemp("esp8266"))


def _sizes(objects: tuple[Path, ...]) -> dict[str, int]:
    sizes = {"code": 0, "constants": 0, "data": 0, "zeroed": 0}
    for path in objects:
        with path.open("rb") as file:
            for section in ELFFile(file).iter_sections():
                name, flags = section.name, section["sh_flags"]
                if not flags & 2 or name.startswith((".ctors", ".dtors", ".eh_frame")):  # not SHF_ALLOC
                    continue
                if section["sh_type"] == "SHT_NOBITS":
                    sizes["zeroed"] += section["sh_size"]
                elif name.startswith(".rodata"):
                    sizes["constants"] += section["sh_size"]
                elif name.startswith((".text", ".literal")):
                    sizes["code"] += section["sh_size"]
                else:
                    sizes["data"] += section["sh_size"]
    return sizes


def test_port_and_core_compile_without_a_warning_and_fit(objects) -> None:
    sizes = _sizes(objects)
    print("esp8266:", ", ".join(f"{name} {count} bytes" for name, count in sizes.items()))
    assert sizes["zeroed"] + sizes["data"] <= RAM_BYTES
    assert sizes["constants"] <= CONSTANT_BYTES
    assert 10_000 < sizes["code"] <= CODE_BYTES


def test_nothing_of_ours_asks_for_instruction_ram(objects) -> None:
    """The core's linker script puts `*.cpp.o(.literal* .text*)` into flash, and `.iram*` into the 32 KiB of IRAM."""
    for path in objects:
        with path.open("rb") as file:
            names = [section.name for section in ELFFile(file).iter_sections()]
        assert not [name for name in names if "iram" in name], path.name


def test_the_core_of_ours_allocates_nothing(objects) -> None:
    """Only the port may use the heap: once at each start, and for the second stack of a verification."""
    for path in objects:
        heap = heap_symbols(path)
        assert not heap or path.name in ("esp8266-main.o", "esp8266-crypto_chip.o"), f"{path.name}: {heap}"


def test_node_block_is_whole_words_in_memory_mapped_from_flash(tmp_path) -> None:
    source = tmp_path / "block.cpp"
    source.write_text(
        '#include "core/node_block.h"\n'
        f'extern "C" __attribute__((section("{BLOCK_SECTIONS["esp8266"]}"), used, aligned(4))) '
        "const volatile tn::NodeBlock tn_node_block = {};\n",
        encoding="utf-8",
    )
    target = tmp_path / "block.o"
    command = [COMPILER, *FLAGS, f"-I{FIRMWARE}", f"-isystem{LIBC}", "-c", str(source), "-o", str(target)]
    subprocess.run(command, check=True, timeout=60)
    with target.open("rb") as file:
        section = ELFFile(file).get_section_by_name(BLOCK_SECTIONS["esp8266"])
        assert (section["sh_size"], section["sh_addralign"]) == (1024, 4)


def test_pins_over_a_core_of_the_tests_own() -> None:
    """The pull-up only while sampling; a relay's level before its driver; at the start all off; never the flash's."""
    sources = ["templates/firmware/ports/esp8266/pins.cpp", "tests/firmware/esp8266_pins_test.cpp"]
    sources += core_sources("node_block_check", "crc32")
    compile_and_check(sources, flags=(*HOST_FLAGS, "-isystem", str(STANDINS)))


def test_pins_over_a_model_of_the_pads() -> None:
    """Every pin from every state that may have been left: floating, pulled up or driven, and
    a relay never ON."""
    sources = ["templates/firmware/ports/esp8266/pins.cpp", "tests/firmware/esp8266_gpio_model_test.cpp"]
    sources += core_sources("node_block_check", "crc32")
    compile_and_check(sources, flags=(*HOST_FLAGS, "-isystem", str(STANDINS)))


def test_no_memory_is_not_a_bad_signature() -> None:
    sources = ["tests/firmware/crypto_chip_test.cpp", "templates/firmware/ports/esp8266/crypto_chip.cpp"]
    plain = tuple(flag for flag in HOST_FLAGS if "sanitize" not in flag)
    compile_and_check(sources, flags=(*plain, "-isystem", str(STANDINS)))


def test_radio_over_a_model_of_the_cores_own() -> None:
    """Off means without power; joined again it is awake, a station, and never in modem sleep."""
    sources = ["tests/firmware/esp8266_radio_test.cpp"]
    compile_and_check(sources, flags=(*HOST_FLAGS, "-isystem", str(STANDINS)))


def test_names_of_the_core_are_used_in_one_header_alone() -> None:
    """The rest of the port knows tn::core only, but for setup, loop and the two hooks that main.cpp defines."""
    names = r"\b(WiFi\w*|MDNS\w*|ESP|Serial|pinMode|digital\w+|micros64|delay\w*|eboot_\w+|GP\w+|system_\w+)\b\s*[.(]"
    shared = [path for name in SHARED["esp8266"] for path in (PORT.parent / name).iterdir()]
    for path in sorted([*PORT.iterdir(), *shared]):
        if path.name == "core_names.h":
            continue
        text = re.sub(r"//.*", "", path.read_text(encoding="utf-8"))
        assert not re.findall(names, text), path.name
        assert not re.findall(r"#include <(?!string\.h)", text), path.name


@pytest.mark.parametrize("board_id", ["d1-mini", "nodemcu-v2"])
def test_map_of_the_flash_is_the_one_that_the_first_flash_writes(board_id: str) -> None:
    """And keeps off the last 20 KiB (eagle.flash.4m.ld of the core: EEPROM at 0x3FB000, then the system's settings)."""
    text = (PORT / "chip_flash.h").read_text(encoding="utf-8")
    body = text.split("kEsp8266Partition = {")[1].split("};")[0]
    numbers = [int(word, 16) for word in re.findall(r"0x[0-9A-F]+", body)]
    credentials, other, first, second, *areas = numbers
    board = load_board(board_id)
    places = esp8266_places()
    assert ((credentials, other), (first, second)) == (places.credentials_at, places.records_at)
    runs, later = areas[-2:]
    assert areas[:-2] == [0, 0x100000, 0x100000, 0x100000, 0x200000, 0x100000]
    assert places.runs == (runs, 16 * 4096)
    assert places.application_at == areas[0]
    assert board.slot_bytes <= 0x100000
    assert later >= 0x300000
    assert later + 8 * 4096 <= runs
    assert runs + 16 * 4096 <= credentials < first < second < other <= 0x3FB000 - 4096
