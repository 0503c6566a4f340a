"""The fuzz targets: a short run of each from the kept corpus, and proof that each corpus catches a broken reader.

Each target was run for 10.5 million inputs (`python -m tests.firmware.fuzzing`); what that found is in
firmware/fuzz_found_test.cpp.
"""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from tests.firmware.firmware_build import FIRMWARE
from tests.firmware.fuzzing import FUZZ, TARGETS, Target, build, run

CORPUS_BYTES = 200_000
EDGES = {"http": 150, "ticket": 200, "request": 300, "node_block": 300, "record": 300}
"""A little under what the kept corpus reaches: fewer mean that it no longer fits the readers."""

BREAKS = {
    "http": ("http.cpp", "reader->scanned = i + 1;", "reader->scanned = i + 4;"),
    "ticket": (
        "cbor.cpp",
        "return value < least ? refuse(c) : value;",
        "return least == 0 ? refuse(c) : value;",
    ),
    "request": (
        "signature.cpp",
        "if (!same_secret(given, right, sizeof right)) return",
        "if (given[0] == 1) return",
    ),
    "node_block": ("node_block_check.cpp", "low < high && high < tank.mark_count", "low < high"),
    "record": ("slots_record.cpp", "image.bytes > partition.images[i].bytes || ", ""),
}
"""One reader of each target with a check taken out or weakened; a kept input of its corpus shows it."""


def _named(target: Target) -> str:
    return target.name


@pytest.mark.slow
@pytest.mark.parametrize("target", TARGETS, ids=_named)
def test_nothing_is_found_from_the_kept_corpus_on(target: Target, tmp_path: Path) -> None:
    done = run(target, build(target), tmp_path, target.runs)
    print(f"{target.name}: {done.tried} inputs, {done.edges} edges")
    assert done.good, done.report
    assert done.tried >= target.runs
    assert done.edges >= EDGES[target.name]


@pytest.mark.slow
@pytest.mark.parametrize("target", TARGETS, ids=_named)
def test_a_broken_reader_is_caught(target: Target, tmp_path: Path) -> None:
    name, good, bad = BREAKS[target.name]
    core = tmp_path / "core"
    shutil.copytree(FIRMWARE / "core", core)
    text = (core / name).read_text(encoding="utf-8")
    assert text.count(good) == 1
    (core / name).write_text(text.replace(good, bad), encoding="utf-8")
    # The kept inputs alone: what drawn ones find depends on the order in which the file system lists the corpus.
    assert not run(target, build(target, core), tmp_path, runs=0).good


def test_the_corpus_is_small_and_of_known_targets() -> None:
    files = [path for path in (FUZZ / "corpus").rglob("*") if path.is_file()]
    assert {path.parent.name for path in files} == {target.name for target in TARGETS}
    assert 0 < sum(path.stat().st_size for path in files) < CORPUS_BYTES
