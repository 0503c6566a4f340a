"""The core on the chips' own instruction sets: results as here, and within its budget (docs/emulated-chips.md)."""

from __future__ import annotations

import hashlib
import json
import re
import subprocess
import tomllib
from functools import cache
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric import ec

from tests.firmware.firmware_build import CACHE, CRYPTO, ROOT, compile_and_check, core_sources
from tests.firmware.firmware_emulated import CHIPS, build, run
from tests.firmware.firmware_objects import SIZES, heap_symbols, over, sizes
from tests.firmware.firmware_trust import point_of, questions
from tests.firmware.sealing_vectors import gcm_vectors, hkdf_vectors

pytestmark = [pytest.mark.slow, pytest.mark.timeout(600), pytest.mark.parametrize("chip", CHIPS)]
# The first test of each chip builds all programs for it (BUILD_TIMEOUT_S), then runs one (RUN_TIMEOUT_S).

BUDGET = tomllib.loads((ROOT / "templates" / "firmware" / "budget.toml").read_text(encoding="utf-8"))
DECLARATIONS = """
typedef decltype(sizeof 0) size_t;
extern "C" void *malloc(size_t); extern "C" void *calloc(size_t, size_t); extern "C" void *realloc(void *, size_t);
extern "C" void free(void *); extern "C" char *strdup(const char *);
struct Thing { ~Thing(); int of[4]; };
"""
HEAP_USERS = [
    ("void *f() { return malloc(8); }", "malloc"),
    ("void *f() { return calloc(2, 8); }", "calloc"),
    ("void *f(void *p) { return realloc(p, 8); }", "realloc"),
    ("void f(void *p) { free(p); }", "free"),
    ('char *f() { return strdup("a"); }', "strdup"),
    ("Thing *f() { return new Thing; }", "_Znw[jm]"),
    ("Thing *f() { return new Thing[3]; }", "_Zna[jm]"),
    ("void f(Thing *p) { delete p; }", "_ZdlPv[jm]"),
    ("void f(Thing *p) { delete[] p; }", "_ZdaPv[jm]"),
    ("void f(void *p) { ::operator delete(p); }", "_ZdlPv"),
    ("void f(void *p) { ::operator delete[](p); }", "_ZdaPv"),
]
"""Code that takes memory from the heap or gives it back, and what its object then asks the linker for."""
# RFC 6979 appendix A.2.5, P-256 with SHA-256: private key, and the signatures of two messages
RFC6979_KEY = 0xC9AFA9D845BA75166B5C215767B1D6934E50C3DB36E89B127B8A622B120F6721
RFC6979 = {
    b"sample": "efd48b2aacb6a8fd1140dd9cd45e81d69d2c877b56aaf991c34d0ea84eaf3716"
    "f7cb1c942d657c41d436c7a1b6e29f65f3e900dbb9aff4064dc4ab2f843acda8",
    b"test": "f1abb023518351cd71d881567b1ea663ed3efcf6c5132b354f28d3b0b7d38367"
    "019f4113742a2b14bd25926b49c649155f267e60d3814b4c0cc84250e46f0083",
}
COMPARED = [
    "console_test", "control_test", "documents_test", "fuzz_found_test", "http_test", "in_place_test", "network_test",
    "node_block_check_test", "node_idf_test", "slots_idf_test", "slots_test",
]  # fmt: skip
IN_NODE_FIGURES = {"node_test"}
STAY_HERE = {
    "slots_cut_test": "takes too long",
    "run_log_cut_test": "takes too long",
    "run_log_test": "takes too long: years of the log",
    "node_runs_test": "takes too long: lives of many starts",
    "serve_test": "takes too long: hours of many connections",
    "slots_events_test": "takes too long",
    "trial_outage_test": "takes too long: whole trials of a node",
    "credentials_cut_test": "takes too long",
    "air_test": "needs files",
    "flash_file_test": "needs files",
    "crypto_mbedtls_test": "of a port, with another library",
    "crypto_chip_test": "of a port",
    "crypto_engine_test": "of a port, with another library",
    "crypto_memory_test": "of a port, with another library",
    "esp32_port_test": "of a port",
    "digest_count_test": "counts calls, which are the same everywhere",
    "esp32_pins_test": "of a port",
    "esp8266_gpio_model_test": "of a port",
    "esp8266_pins_test": "of a port",
    "esp8266_radio_test": "of a port",
    "flash_map_test": "of a port",
}
"""Unit tests that run on this machine alone, and why."""


@cache
def _here(name: str) -> str:
    return compile_and_check([f"tests/firmware/{name}.cpp", CRYPTO, *core_sources()])


@cache
def _figures(chip: str) -> dict[str, int]:
    """Everything measured: sizes of the core's objects, and what the two measuring programs say."""
    figures = sizes((build(chip) / "src" / "core").glob("*.o"))
    aside = run(chip, "node_figures", ["aside"]).split("\nstep_stack_bytes ")[1]
    figures["step_stack_without_es256_bytes"] = int(aside)
    said = run(chip, "figures", icount=True) + run(chip, "node_figures")
    words = [line.split() for line in said.splitlines()]
    return figures | {w[0]: int(w[1]) for w in words if len(w) == 2 and w[1].isdigit()}


def test_each_unit_test_runs_on_the_chips_or_says_why_not(chip: str) -> None:
    del chip
    there = {path.stem for path in (ROOT / "tests" / "firmware").glob("*_test.cpp")}
    assert there == {*COMPARED, *IN_NODE_FIGURES, *STAY_HERE}


@pytest.mark.parametrize("name", COMPARED)
def test_same_results_as_here(chip: str, name: str) -> None:
    output = run(chip, name)
    assert output == _here(name)


def test_whole_node_has_the_same_results_as_here(chip: str) -> None:
    checks = [line for line in run(chip, "node_figures").splitlines() if "_stack_bytes " not in line]
    assert checks == _here("node_test").splitlines()


def test_published_vectors(chip: str) -> None:
    """FIPS 180-4, RFC 4231 sections 4.2 and 4.3, RFC 6979 A.2.5, as in test_firmware_trust.py."""
    point = point_of(ec.derive_private_key(RFC6979_KEY, ec.SECP256R1())).hex()
    lines = ["sha256 -", f"sha256 {b'abc'.hex()}"]
    lines += [f"hmac {'0b' * 20} {b'Hi There'.hex()}"]
    lines += [f"hmac {b'Jefe'.hex()} {b'what do ya want for nothing?'.hex()}"]
    for message, signature in RFC6979.items():
        digest = hashlib.sha256(message).hexdigest()
        lines += [f"es256 {point} {digest} {signature}", f"es256 {point} {digest} 77{signature[2:]}"]
    sealing = [*hkdf_vectors(), *gcm_vectors()[::5]]  # RFC 5869 appendix A; NIST CAVP
    stdin = "".join(f"{line}\n" for line in lines).encode() + questions([line for line, _ in sealing])
    answers = run(chip, "trust_tool", stdin=stdin).splitlines()
    assert answers == [
        "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
        "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad",
        "b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7",
        "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843",
        *["good", "bad"] * 2,
        *(answer for _, answer in sealing),
    ]


def test_core_allocates_nothing(chip: str) -> None:
    objects = sorted((build(chip) / "src" / "core").glob("*.o"))
    assert len(objects) > 10
    for path in objects:
        assert not heap_symbols(path), path.name


def _compiled(chip: str, source: str, folder: Path) -> Path:
    """An object of the chip; the flags that differ from those of the core bear on no name and no static array."""
    compiler = {"lx106": "xtensa-lx106-elf-g++", "rv32imc": "riscv64-unknown-elf-g++"}[chip]
    machine = {"lx106": ["-mlongcalls"], "rv32imc": ["-march=rv32imc", "-mabi=ilp32"]}[chip]
    path = folder / "wasteful.cpp"
    path.write_text(source, encoding="utf-8")
    command = [
        compiler,
        *machine,
        "-std=gnu++17",
        "-Os",
        "-fno-exceptions",
        "-fno-rtti",
        "-fno-builtin",
        "-c",
        str(path),
    ]
    subprocess.run([*command, "-o", str(path.with_suffix(".o"))], check=True, timeout=60)
    return path.with_suffix(".o")


@pytest.mark.parametrize(("code", "name"), HEAP_USERS)
def test_heap_users_are_seen(chip: str, code: str, name: str, tmp_path: Path) -> None:
    seen = heap_symbols(_compiled(chip, DECLARATIONS + code, tmp_path))
    assert any(re.fullmatch(name, symbol) for symbol in seen), seen


@pytest.mark.parametrize(
    ("figure", "code"),
    [
        ("bss_bytes", "char many[8]; char first() { return many[0]; }"),
        ("data_bytes", "char some[8] = {1}; char first() { return some[0]; }"),
        ("constant_bytes", "extern const char table[20000] = {1};"),
        ("code_bytes", 'void f() { asm volatile (".fill 66000"); }'),
    ],
)
def test_a_core_that_outgrows_its_room_is_refused(chip: str, figure: str, code: str, tmp_path: Path) -> None:
    budget = {name: limit for name, limit in BUDGET[chip].items() if name in SIZES}
    assert set(over(sizes([_compiled(chip, code, tmp_path)]), budget)) == {figure}


def test_a_step_that_goes_too_deep_is_refused(chip: str) -> None:
    """The same test of a node, at whose end one step goes 4.5 KB deeper (node_figures.cpp)."""
    words = [line.split() for line in run(chip, "node_figures", ["deep"]).splitlines()]
    figures = {w[0]: int(w[1]) for w in words if len(w) == 2 and w[0].endswith("_stack_bytes")}
    budget = {name: BUDGET[chip][name] for name in figures}
    assert set(over(figures, budget)) == {"step_stack_bytes"}


def _commit() -> str:
    """Which commit the figures belong to; with `-dirty` where the checkout differs from it."""
    command = ["git", "-C", str(ROOT), "describe", "--always", "--dirty", "--abbrev=12"]
    try:
        done = subprocess.run(command, capture_output=True, text=True, timeout=30)
    except FileNotFoundError:
        return "not a checkout"
    return done.stdout.strip() if done.returncode == 0 else "not a checkout"


def test_within_the_budget(chip: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Each figure of the budget; the report goes to the terminal and beside the objects, as JSON."""
    figures, budget = _figures(chip), BUDGET[chip]
    commit = _commit()
    report = json.dumps({"commit": commit, **figures}, indent=1)
    (CACHE / "emulated" / f"figures-{chip}.json").write_text(report + "\n")
    with capsys.disabled():
        print(f"\n{chip} at {commit}: " + ", ".join(f"{name} {value}" for name, value in figures.items()))
    assert figures["begin_stack_bytes"] > 0
    assert figures["step_stack_bytes"] > figures["control_stack_bytes"] > 0
    too_much = over(figures, budget)
    assert not too_much, f"over the budget of templates/firmware/budget.toml (measured, limit): {too_much}"
