"""The power-cut proof of slots and trial (docs/power-cuts.md): every cut, every kind of node, every damage model."""

from __future__ import annotations

import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.firmware.firmware_build import CRYPTO, ROOT, SLOTS, compile_program, run_program

# Optimised and without the sanitizers: some hundred thousand lives of a node.
FAST = ("-std=c++17", "-O3", "-fno-exceptions", "-fno-rtti")
CUT_TEST = "tests/firmware/slots_cut_test.cpp"
EVENTS_TEST = "tests/firmware/slots_events_test.cpp"
KINDS = ("two-slot", "copy-in-place", "esp32", "esp8266")
QUICK = ["tests/firmware/quick_crc32.cpp" if name.endswith("/crc32.cpp") else name for name in SLOTS]
# Figures of one flash operation, in milliseconds (facts H: 4 KiB sector erase 70 typical, 500 at most; page at most 5;
# measured on an ESP8266: erase 54.6, write 4.0).
ERASE_MS, WORST_ERASE_MS, PAGE_MS = 70, 500, 5
PAGES_PER_SECTOR = 16


def mass_program() -> Path:
    return compile_program([CUT_TEST, *QUICK, CRYPTO], flags=FAST)


def events_program() -> Path:
    return compile_program([EVENTS_TEST, *QUICK, CRYPTO], flags=FAST)


def counts(output: str) -> dict[str, int]:
    """The figures of the program's last line, `R1: single runs=... cuts=...`; printed for the captured summary."""
    line = output.splitlines()[-1]
    assert line.startswith("R1: "), output
    print(line)
    return {name: int(value) for name, _, value in (word.partition("=") for word in line.split()[2:])}


def ask(program: Path, *words: str) -> tuple[int, str]:
    done = subprocess.run([program, *words], capture_output=True, text=True, timeout=240, check=False)
    return done.returncode, done.stdout


def sanitized_program() -> Path:
    """With the core's own CRC."""
    return compile_program([CUT_TEST, *SLOTS, CRYPTO])


@pytest.mark.parametrize(
    "program",
    [mass_program, pytest.param(sanitized_program, marks=pytest.mark.slow)],
    ids=["fast", "sanitizers"],
)
def test_every_cut_of_small_images(program: Callable[[], Path]) -> None:
    """Real SHA-256; the kinds of node that can be cut anywhere, and the one that cannot."""
    found = counts(run_program(program(), ["small", "1"]))
    assert found["runs"] >= 35_000
    assert found["models"] >= 4
    assert (found["unbootable"], found["broken"]) == (0, 0)
    assert 0 < found["need-cable"] <= found["within-copy"]


@pytest.mark.slow
def test_every_cut_of_long_stories() -> None:
    """R1 of the project's figures: at least 1,000 operations a story and 24,000 runs."""
    output = run_program(mass_program(), ["single", "1"])
    found = counts(output)
    assert found["fewest-operations"] >= 1_000
    assert found["runs"] >= 24_000
    assert found["models"] >= 4
    assert (found["unbootable"], found["broken"]) == (0, 0)
    window = next(
        int(line.rpartition("=")[2])
        for line in output.splitlines()
        if line.startswith("esp8266 from a, keep")
    )
    sectors, rest = divmod(window, 1 + PAGES_PER_SECTOR)
    assert (sectors, rest) == (21, 0)
    pages_ms = sectors * PAGES_PER_SECTOR * PAGE_MS
    print(
        f"R1: window of copy-in-place on the ESP8266: {window} operations, {sectors} sectors, "
        f"{sectors * ERASE_MS + pages_ms} ms typical, {sectors * WORST_ERASE_MS + pages_ms} ms at most"
    )


@pytest.mark.slow
def test_every_cut_and_then_every_cut_of_the_next_start() -> None:
    """Small images, every pair of damages; runs that begin the same way are judged once."""
    found = counts(run_program(mass_program(), ["double", "1"]))
    assert found["runs"] >= 2_000_000
    assert (found["unbootable"], found["broken"]) == (0, 0)
    assert 0 < found["need-cable"] <= found["within-copy"]


@pytest.mark.slow
@pytest.mark.parametrize("kind", KINDS)
def test_every_sequence_of_trial_events(kind: str) -> None:
    """All 8^6: send, healthy, keep, told back, trial over, crash, power cut while it starts, brown-out; after each, the
    model."""
    found = counts(run_program(events_program(), [kind]))
    assert found["sequences"] == 8**6 == 262_144
    assert found["failed"] == 0
    assert found["cuts"] > 19_000
    assert min(found["kept"], found["on-trial"], found["put-back"]) > 10_000
    assert found["unwatched"] == 0 or kind == "esp32"


@pytest.mark.parametrize(
    "token", ["two-slot:011250", "copy-in-place:000553", "esp32:42206", "esp8266:0563", "esp32:077762"]
)
def test_a_token_replays_its_sequence(token: str) -> None:
    assert ask(events_program(), token) == (0, f"passed {token}\n")


def test_what_is_no_sequence_is_refused() -> None:
    for text in ("two-slot:8", "two-slot:", "two-slot:0123456", "three-slot", "three-slot:0"):
        assert ask(events_program(), text)[0] == 2


@pytest.mark.parametrize(
    "token",
    [
        "small:two-slot:a:keep:40:torn:1",
        "small:copy-in-place:b:two-updates:200:weak:3",
        "small:esp32:a:undo:95:some-bits:1",
        "small:copy-in-place:a:keep:100+4:one-bit+garbage:2",
        "large:two-slot:b:crash:1093:done:1",
    ],
)
def test_a_token_replays_its_run(token: str) -> None:
    assert ask(mass_program(), token) == (0, f"passed {token}\n")


def test_what_is_no_token_is_refused() -> None:
    for text in (
        "small:two-slot:a:keep:40:torn",
        "small:two-slot:c:keep:4:torn:1",
        "small:two-slot:a:keep:4:bent:1",
    ):
        assert ask(mass_program(), text) == (2, f"not a token: {text}\n")
    assert ask(mass_program(), "small:two-slot:a:keep:99999:torn:1")[0] == 2


def test_a_cut_within_the_esp8266_s_copy_needs_a_cable() -> None:
    status, said = ask(mass_program(), "large:esp8266:a:keep:900:torn:1")
    assert (status, said) == (0, "needs a cable large:esp8266:a:keep:900:torn:1\n")


# Slot machines that are wrong on purpose: file, what it says, what the broken one says, which the proof must catch.
MUTANTS = {
    "the older image stays named while it is written over": (
        "slots.cpp",
        "memset(&record_.images[area], 0, sizeof record_.images[area]);  // no record",
        "// no record",
    ),
    "the keep area stays named while it is written over": (
        "slots.cpp",
        "memset(&record_.images[kKeep], 0, sizeof record_.images[kKeep]);",
        "",
    ),
    "the record is written over in place": (
        "two_sectors.cpp",
        "{ return newest.sector == 0 ? 1 : 0; }",
        "{ return newest.sector; }",
    ),
    "a record's checksum is not compared": (
        "two_sectors.cpp",
        "if (stored != crc) return 0;",
        "(void)stored;",
    ),
    "the record is not read back": (
        "two_sectors.cpp",
        "return head.number == UINT64_MAX ? 0 : head.number;",
        "return head.number == UINT64_MAX ? 0 : 1;",
    ),
    "copied at once, and only once, though weak": (
        "slots.cpp",
        "for (int tries = 0; tries < 2; ++tries)\n    if (copy(from",
        "for (int tries = 0; tries < 1; ++tries)\n    if (copy(from",
    ),
    "the old image is not saved first": (
        "slots.cpp",
        "if (update_.done < record_.images[kRun].bytes) return Step::kMore;",
        "",
    ),
    "no erase before a copy": ("slots_area.cpp", "if (!flash.erase(flash.ctx, to)) return false;", ""),
    "the floor does not rise": (
        "slots.cpp",
        "if (sequence > record_.floor)",
        "if (sequence < record_.floor)",
    ),
    "keep is not written": (
        "slots.cpp",
        "if (sequence > record_.floor) record_.floor = sequence;\n  return save()",
        "if (sequence > record_.floor) record_.floor = sequence;\n  return record_.boots > 0",
    ),
    "a hand-over that power cut off is not made good": (
        "slots_arrive.cpp",
        "const bool had_its_start = trial && (",
        "const bool had_its_start = trial || (",
    ),
    "nothing is made firm before the other sector is erased": (
        "two_sectors.cpp",
        "if (!program_again(flash, where, newest.sector))",
        "if (where.length == 0 && !program_again(flash, where, newest.sector))",
    ),
    "what a start goes by is not made firm first": (
        "slots.cpp",
        "if (!read_record_firmly(",
        "if (!read_record(",
    ),
    "a lost copy order is not given again": (
        "slots_in_place.cpp",
        "if (order(from, to)) return true;\n  if (installs)",
        "if (record_.copy_orders == 0 && order(from, to)) return true;\n  if (installs)",
    ),
}


# And those which only a sequence of events shows, without any cut.
EVENT_MUTANTS = {
    "what was put back is kept as an older image": (
        "slots.cpp",
        "record_.images[record_.active].present = 0;",
        "",
    ),
    "healthy starts are not told from others": (
        "slots.cpp",
        "record_.unhealthy_starts = 0;\n  return save() ? Code::kOk : Code::kFlashFailed;\n}\n\nCode Slots::clear",
        "return save() ? Code::kOk : Code::kFlashFailed;\n}\n\nCode Slots::clear",
    ),
    "a brown-out is held against the image": (
        "slots.cpp",
        "if (record_.unhealthy_starts > 0) --record_.unhealthy_starts;  // the one",
        "// the one",
    ),
    "brown-outs of a trial are tried again for ever": (
        "slots.cpp",
        "if (of_trial < UINT8_MAX) ++of_trial;",
        "of_trial = 0;",
    ),
    "a brown-out is no reason to try again": (
        "slots_arrive.cpp",
        "if (cause != Reset::kBrownOut || over(cause) != Reason::kNone) return false;",
        "if (cause != Reset::kBrownOut || over(cause) == Reason::kNone) return false;",
    ),
    "another reason takes the place of the one that was told": (
        "slots.cpp",
        "why == Reason::kNone || record_.pending != Pending::kNothing || ",
        "why == Reason::kNone || ",
    ),
}


def broken_program(mutant: tuple[str, str, str], test: str, folder: Path) -> Path:
    """The test's program with that one change in the slot machine."""
    file, right, wrong = mutant
    text = (ROOT / "templates" / "firmware" / "core" / file).read_text(encoding="utf-8")
    assert text.count(right) == 1, f"{file} has changed: adapt this mutant"
    broken = folder / file
    broken.write_text(text.replace(right, wrong).replace('#include "', '#include "core/'), encoding="utf-8")
    sources = [broken if item.endswith(f"/{file}") else item for item in (test, *QUICK, CRYPTO)]
    return compile_program(sources, flags=FAST)


def check_caught(said: str, broken: Path, sound: Path, colons: int) -> None:
    """There is a token that fails on the broken one, in the same words, and passes on the sound one."""
    failures = [line for line in said.splitlines() if line.startswith("FAILED")]
    tokens = [line.split()[1] for line in failures if line.split()[1].count(":") == colons]
    if not tokens:  # so broken that it does not even live without a cut
        assert any(line.startswith("FAILED without a cut") for line in failures)
        return
    line = next(line for line in failures if tokens[0] in line)
    assert ask(broken, tokens[0]) == (1, f"{line}\n")
    assert ask(sound, tokens[0])[0] == 0


@pytest.mark.slow
@pytest.mark.parametrize("name", list(MUTANTS))
def test_a_broken_slot_machine_is_caught_and_its_token_replays(name: str, tmp_path: Path) -> None:
    program = broken_program(MUTANTS[name], CUT_TEST, tmp_path)
    status, said = 0, ""
    for run in ("small", "double", "single"):  # it ends with the first few failures
        status, said = ask(program, run, "1")
        if status != 0:
            break
    assert status == 1, said
    check_caught(said, program, mass_program(), 6)


@pytest.mark.slow
@pytest.mark.parametrize("name", list(EVENT_MUTANTS))
def test_a_slot_machine_with_a_wrong_trial_is_caught_and_its_token_replays(name: str, tmp_path: Path) -> None:
    program = broken_program(EVENT_MUTANTS[name], EVENTS_TEST, tmp_path)
    said = next(said for status, said in (ask(program, kind) for kind in KINDS) if status == 1)
    check_caught(said, program, events_program(), 1)
