"""What is told of a fetch, in figures and in words; and what is removed after one that was cut off."""

from __future__ import annotations

import errno
import json
from pathlib import Path

import pytest

from fleet.build.codes import DISK_FULL, NO_COMPILERS_FOLDER
from fleet.build.events import Fetched, Fetching, FetchPlanned, FetchStep
from fleet.build.fetch import _Tally, core_dir_error
from fleet.build.unfinished import clear_unfinished, is_unfinished, litter_dir, marker_path
from fleet.cli.fetching import fetched_words, fetching_words, planned_words

PLAN = {"is": "planned", "packages": [{"name": "a", "bytes": 1000}, {"name": "b", "bytes": 3000}]}


def _receiving(name: str, done: int, of: int | None = None) -> dict[str, object]:
    return {"is": "receiving", "name": name, "done": done, "of": of}


def test_time_left_is_the_rest_of_all_bytes_at_the_rate_so_far() -> None:
    """By hand: 500 bytes in 2 s after the first 100 are 250 a second; 3,400 are to come."""
    tally = _Tally(Path("/core"))
    assert tally.took(PLAN, 1) == FetchPlanned(("a", "b"), 4000, Path("/core"))
    assert tally.took(_receiving("a", 0), 1).left_s is None
    assert tally.took(_receiving("a", 100), 9).left_s is None, "the first bytes may be of an earlier run"
    event = tally.took(_receiving("a", 600), 2)
    assert event.left_s == pytest.approx(3400 / 250)
    assert (event.number, event.count, event.done, event.of, event.all_bytes) == (1, 2, 600, 1000, 600)
    unpacking = tally.took({"is": "unpacking", "name": "a", "done": 3, "of": 9}, 100)
    assert (unpacking.step, unpacking.left_s) == (FetchStep.UNPACKING, event.left_s), "no byte was awaited"
    assert tally.took({"is": "fetched", "name": "a", "package": "a", "version": "1"}, 1) == Fetched(
        "a", "1", 1, 2
    )


def test_size_that_the_registry_does_not_know_is_not_made_up() -> None:
    tally = _Tally(Path("/core"))
    plan = {"is": "planned", "packages": [{"name": "a", "bytes": None}, {"name": "b", "bytes": 5}]}
    assert tally.took(plan, 1).size_bytes is None
    tally.took(_receiving("a", 10, None), 1)
    assert tally.took(_receiving("a", 20, None), 1).left_s is None
    assert tally.took(_receiving("a", 30, 40), 1).left_s == pytest.approx((10 + 5) / 10)


def test_words_name_the_package_the_bytes_and_the_time_left() -> None:
    assert planned_words(FetchPlanned(("a", "b"), 143_000_000, Path("/core"))) == (
        "fetching a, b, 143.0 MB, into /core; this is done once"
    )
    event = Fetching(FetchStep.RECEIVING, "a", 1, 2, 1_500_000, 3_000_000, 1_500_000, 600.0)
    assert fetching_words(event) == "fetching a (1 of 2), 1.5 MB of 3.0 MB; about 10 min left for all"
    assert fetching_words(Fetching(FetchStep.UNPACKING, "a", 1, 2, 4000, 9157)) == (
        "unpacking a (1 of 2), 4,000 of 9,157 files"
    )
    assert "another tankfleet" in fetching_words(Fetching(FetchStep.OTHER_RUN))
    assert fetched_words(Fetched("a", "1.2", 1, 2)) == "fetched a 1.2 (1 of 2)"


@pytest.mark.parametrize("keep", [True, False])
def test_only_what_was_not_there_before_is_removed(tmp_path, keep) -> None:
    for name in ("platforms/p", "packages/old", "packages/half", "packages/tool-scons"):
        (tmp_path / name).mkdir(parents=True)
        (tmp_path / name / "file").write_text("x")
    (tmp_path / "packages" / "link.pio-link").write_text("a person's own")
    before = ["platforms/p", "packages/old", "packages/tool-scons"]
    marker_path(tmp_path).write_text(json.dumps({"package": "half", "before": before}))
    for name in ("archives", "unpacked"):
        (litter_dir(tmp_path) / name).mkdir(parents=True)
    clear_unfinished(tmp_path, keep_archives=keep)
    assert sorted(path.name for path in (tmp_path / "packages").iterdir()) == [
        "link.pio-link",
        "old",
        "tool-scons",
    ]
    assert (tmp_path / "platforms" / "p" / "file").is_file()
    assert (litter_dir(tmp_path) / "archives").exists() is keep
    assert not (litter_dir(tmp_path) / "unpacked").exists()
    assert is_unfinished(tmp_path) is keep
    clear_unfinished(tmp_path, keep_archives=False)
    assert not is_unfinished(tmp_path)


def test_nothing_unfinished_is_nothing_to_do(tmp_path) -> None:
    assert not is_unfinished(tmp_path)
    clear_unfinished(tmp_path, keep_archives=True)
    assert list(tmp_path.iterdir()) == []


def test_full_disk_is_told_from_a_folder_that_is_not_ours(tmp_path) -> None:
    assert core_dir_error(tmp_path, OSError(errno.ENOSPC, "full")).code is DISK_FULL
    assert core_dir_error(tmp_path, OSError(errno.EDQUOT, "full")).code is DISK_FULL
    assert core_dir_error(tmp_path, PermissionError(errno.EACCES, "no")).code is NO_COMPILERS_FOLDER
