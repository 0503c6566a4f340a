"""The host's flash file and boot loader: first flash, start, update, fall back, and what it says when it cannot."""

from __future__ import annotations

import hashlib
import subprocess
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import pytest

from fleet.build.ticket import sign
from tests.firmware.firmware_build import CRYPTO, SLOTS, compile_and_check, compile_program, core_sources
from tests.firmware.firmware_trust import sample_node

HOST = "templates/firmware/ports/host"
_PARTS = [
    *core_sources("cbor", "credentials", "node_view", "refusal", "ticket"),
    *SLOTS,
    CRYPTO,
    f"{HOST}/flash_file.cpp",
]
PLAIN = ("-std=c++17", "-O1", "-fno-exceptions", "-fno-rtti", "-s")
NODE_KEY = hashlib.sha256(b"a node key").hexdigest()
TIMEOUT_S = 30
LAYOUTS = ("two-slot", "copy-in-place")


@cache
def boot_loader() -> Path:
    return compile_program([f"{HOST}/boot_main.cpp", *_PARTS])


@cache
def image(name: str, layout: str) -> bytes:
    """A program that tells how it was started; see tests/firmware/boot_image.cpp."""
    defines = [f'TN_TEST_IMAGE_NAME="{name}"', f"TN_TEST_COPIES={int(layout == 'copy-in-place')}"]
    return compile_program(["tests/firmware/boot_image.cpp", *_PARTS], defines, PLAIN).read_bytes()


def ticket(body: bytes, sequence: int) -> bytes:
    node = sample_node()
    digest = hashlib.sha256(body).digest()
    return sign(replace(node.fields, sequence=sequence, size_bytes=len(body), digest=digest), node.key)


@dataclass(frozen=True)
class Said:
    status: int
    out: str
    err: str


def run(*words: str, stdin: bytes = b"") -> Said:
    done = subprocess.run(
        [boot_loader(), *words], input=stdin, capture_output=True, timeout=TIMEOUT_S, check=False
    )
    return Said(done.returncode, done.stdout.decode(), done.stderr.decode())


@dataclass(frozen=True)
class Bench:
    folder: Path
    layout: str

    @property
    def flash(self) -> Path:
        return self.folder / "flash.bin"

    def load(self, body: bytes, ticket_bytes: bytes, key: str = NODE_KEY) -> Said:
        (self.folder / "image").write_bytes(body)
        (self.folder / "ticket").write_bytes(ticket_bytes)
        words = ["--flash", self.flash, "--layout", self.layout]
        words += ["--image", self.folder / "image", "--ticket", self.folder / "ticket"]
        return run("load", *map(str, words), stdin=f"{key}\n".encode())

    def start(self, *options: str, stdin: bytes = b"") -> Said:
        return run("run", "--flash", str(self.flash), *options, stdin=stdin)

    def damage(self, place: int) -> None:
        with self.flash.open("r+b") as file:
            file.seek(place)
            byte = file.read(1)[0]
            file.seek(place)
            file.write(bytes([byte ^ 8]))


@pytest.fixture(params=LAYOUTS)
def bench(request: pytest.FixtureRequest, tmp_path: Path) -> Bench:
    made = Bench(tmp_path, request.param)
    body = image("first", made.layout)
    said = made.load(body, ticket(body, 5))
    assert said == Said(0, "", "")
    return made


def test_flash_file_keeps_the_rules_of_nor_flash(tmp_path: Path) -> None:
    sources = ["tests/firmware/flash_file_test.cpp", f"{HOST}/flash_file.cpp"]
    sources += core_sources("credentials", "crc32", "two_sectors")
    compile_and_check(sources, [str(tmp_path / "flash.bin")])


def test_first_flash_then_start(bench: Bench) -> None:
    options = ("--address", "127.99.0.1", "--port", "8080", "--reset", "power-on")
    said = bench.start(*options)
    assert said.status == 0, said.err
    assert said.out.splitlines() == [
        "image first",
        f"option --flash {bench.flash}",
        "option --address 127.99.0.1",
        "option --port 8080",
        "option --reset power-on",
        "option --slot a",
        f"key {NODE_KEY}",
        "phase kept boots 1 floor 5",
    ]
    assert bench.start().out.endswith("phase kept boots 2 floor 5\n")
    assert sorted(path.name for path in bench.folder.iterdir()) == ["flash.bin", "image", "ticket"]


def test_update_starts_on_trial_and_falls_back_by_itself(bench: Bench) -> None:
    body = image("second", bench.layout)
    sealed = ticket(body, 6)
    said = bench.start("--what", "update", stdin=b"%d\n" % len(sealed) + sealed + body)
    assert said.out.endswith("update ok\n"), said
    slot = "b" if bench.layout == "two-slot" else "a"
    for _ in range(3):  # this image never says that it is healthy
        said = bench.start()
        assert "image second\n" in said.out
        assert f"option --slot {slot}\n" in said.out
        assert "phase on-trial" in said.out
    said = bench.start()
    assert "image first\n" in said.out
    assert "phase put-back boots 5 floor 5" in said.out


def test_damaged_image_is_not_started(bench: Bench) -> None:
    bench.damage(0x10000 + 700)
    said = bench.start()
    assert said.status == 78
    assert said.out == ""
    assert said.err == f"tanknode-boot: {bench.flash}: nothing bootable: no image matches its digest\n"


def test_flash_without_records_is_not_started(bench: Bench) -> None:
    bench.damage(0x1000 + 100)
    said = bench.start()
    assert (said.status, said.out) == (78, "")
    assert "nothing bootable: no trial record" in said.err


def test_flash_that_is_not_there_or_too_short_is_not_started(tmp_path: Path) -> None:
    said = run("run", "--flash", str(tmp_path / "none"))
    assert said.status == 78
    assert "No such file" in said.err
    (tmp_path / "short").write_bytes(bytes(100))
    assert run("run", "--flash", str(tmp_path / "short")).status == 78


def test_image_that_is_no_program_cannot_be_started(tmp_path: Path) -> None:
    bench = Bench(tmp_path, "two-slot")
    assert bench.load(b"not a program", ticket(b"not a program", 1)).status == 0
    said = bench.start()
    assert (said.status, said.out) == (71, "")
    assert "Exec format error" in said.err
    assert [path.name for path in tmp_path.glob("*running*")] == []


def test_first_flash_refuses(tmp_path: Path) -> None:
    bench = Bench(tmp_path, "two-slot")
    body = b"an image"
    good = ticket(body, 1)
    refusals = [
        (bench.load(b"an imagf", good), 70, "digest is not the one promised"),
        (bench.load(b"an image and more", good), 70, "size of the image is not the ticket's"),
        (bench.load(body, good[:-1]), 70, "ticket cannot be read"),
        (bench.load(body, good, key=NODE_KEY[:-1]), 64, "64 hex digits"),
        (bench.load(body, good, key="z" * 64), 64, "64 hex digits"),
        (Bench(tmp_path, "three-slot").load(body, good), 64, "three-slot"),
        (bench.load(bytes(5_000_000), good), 70, "File too large"),
        (run("load", "--flash", str(bench.flash)), 64, "needs --flash"),
        (run("run"), 64, "--flash FILE"),
        (run("run", "--flash", "x", "--slot", "a"), 64, "--slot not"),
        (run("erase"), 64, "run|load"),
    ]
    for said, status, words in refusals:
        assert (said.status, said.out) == (status, "")
        assert words in said.err
        assert NODE_KEY not in said.err
    assert not bench.flash.exists()
    assert bench.load(body, good).status == 0
    again = bench.load(body, good)
    assert (again.status, "File exists" in again.err) == (70, True)
    assert bench.flash.exists()
