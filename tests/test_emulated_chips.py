"""The core on the chips' own instruction sets: results as here, and within its budget (docs/emulated-chips.md)."""

from __future__ import annotations

import hashlib
import json
import tomllib
from functools import cache

import pytest
from cryptography.hazmat.primitives.asymmetric import ec
from elftools.elf.elffile import ELFFile
from firmware_build import CACHE, ROOT, compile_program, run_program
from firmware_emulated import CHIPS, build, run
from firmware_trust import point_of, questions
from sealing_vectors import gcm_vectors, hkdf_vectors

pytestmark = [pytest.mark.slow, pytest.mark.parametrize("chip", CHIPS)]

CORE = "templates/firmware/core"
BUDGET = tomllib.loads((ROOT / "templates" / "firmware" / "budget.toml").read_text(encoding="utf-8"))
ALLOCATORS = {"malloc", "calloc", "realloc", "free", "_Znwj", "_Znaj", "_Znwm", "_Znam", "_ZdlPv", "_ZdaPv"}
# RFC 6979 appendix A.2.5, P-256 with SHA-256: private key, and the signatures of two messages
RFC6979_KEY = 0xC9AFA9D845BA75166B5C215767B1D6934E50C3DB36E89B127B8A622B120F6721
RFC6979 = {
    b"sample": "efd48b2aacb6a8fd1140dd9cd45e81d69d2c877b56aaf991c34d0ea84eaf3716"
    "f7cb1c942d657c41d436c7a1b6e29f65f3e900dbb9aff4064dc4ab2f843acda8",
    b"test": "f1abb023518351cd71d881567b1ea663ed3efcf6c5132b354f28d3b0b7d38367"
    "019f4113742a2b14bd25926b49c649155f267e60d3814b4c0cc84250e46f0083",
}
# The host's own results are those of its tests; slots_cut_test and flash_file_test stay there: too long, and files.
COMPARED = [
    "console_test", "control_test", "documents_test", "fuzz_found_test", "http_test", "in_place_test",
    "node_block_check_test", "node_idf_test", "slots_idf_test", "slots_test",
]  # fmt: skip


@cache
def _here(name: str) -> str:
    sources = [str(path.relative_to(ROOT)) for path in sorted((ROOT / CORE).glob("*.cpp"))]
    crypto = "templates/firmware/ports/host/crypto_bearssl.cpp"
    return run_program(compile_program([f"tests/firmware/{name}.cpp", crypto, *sources], libs=["bearssl"]))


@cache
def _figures(chip: str) -> dict[str, int]:
    """Everything measured: sizes of the core's objects, and what the two measuring programs say."""
    figures = dict.fromkeys(("code_bytes", "constant_bytes", "data_bytes", "bss_bytes"), 0)
    for path in sorted((build(chip) / "src" / "core").glob("*.o")):
        with path.open("rb") as file:
            for section in ELFFile(file).iter_sections():
                flags, size = section["sh_flags"], section["sh_size"]
                if not flags & 2:  # SHF_ALLOC
                    continue
                if section["sh_type"] == "SHT_NOBITS":
                    figures["bss_bytes"] += size
                elif flags & 1:  # SHF_WRITE
                    figures["data_bytes"] += size
                else:
                    figures["code_bytes" if flags & 4 else "constant_bytes"] += size
    said = run(chip, "figures", icount=True) + run(chip, "node_figures")
    words = [line.split() for line in said.splitlines()]
    return figures | {w[0]: int(w[1]) for w in words if len(w) == 2 and w[1].isdigit()}


@pytest.mark.parametrize("name", COMPARED)
def test_same_results_as_here(chip: str, name: str) -> None:
    output = run(chip, name)
    assert output.endswith(", 0 failed\n")
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
        with path.open("rb") as file:
            table = ELFFile(file).get_section_by_name(".symtab")
            assert table is not None
            assert not ALLOCATORS & {symbol.name for symbol in table.iter_symbols()}, path.name


def test_within_the_budget(chip: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Each figure of the budget; the report goes to the terminal and beside the objects, as JSON."""
    figures, budget = _figures(chip), BUDGET[chip]
    (CACHE / "emulated" / f"figures-{chip}.json").write_text(json.dumps(figures, indent=1) + "\n")
    with capsys.disabled():
        print(f"\n{chip}: " + ", ".join(f"{name} {value}" for name, value in figures.items()))
    assert figures["begin_stack_bytes"] > 0
    assert figures["step_stack_bytes"] > figures["control_stack_bytes"] > 0
    over = {name: (figures[name], limit) for name, limit in budget.items() if figures[name] > limit}
    assert not over, f"over the budget of templates/firmware/budget.toml (measured, limit): {over}"
