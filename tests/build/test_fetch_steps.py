"""What is told of a fetch, in figures and in words; and what is removed after one that was cut off."""

from __future__ import annotations

import errno
import os
import shutil
from pathlib import Path

import pytest

from fleet.build import fetcher
from fleet.build.codes import DISK_FULL, NO_COMPILERS_FOLDER
from fleet.build.events import Fetched, Fetching, FetchPlanned, FetchStep
from fleet.build.fetch import _Tally, core_dir_error
from fleet.build.unfinished import SIGN, clear_unfinished, is_unfinished, litter_dir, marker_path
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
        "fetching a, b, 143.0 MB, into /core; this happens once"
    )
    event = Fetching(FetchStep.RECEIVING, "a", 1, 2, 1_500_000, 3_000_000, 1_500_000, 600.0)
    assert fetching_words(event) == "fetching a (1 of 2), 1.5 MB of 3.0 MB; about 10 min left for all"
    assert fetching_words(Fetching(FetchStep.UNPACKING, "a", 1, 2, 4000, 9157)) == (
        "unpacking a (1 of 2), 4,000 of 9,157 files"
    )
    assert "another tankfleet" in fetching_words(Fetching(FetchStep.OTHER_RUN))
    assert fetched_words(Fetched("a", "1.2", 1, 2)) == "fetched a 1.2 (1 of 2)"


@pytest.mark.parametrize("keep", [True, False])
@pytest.mark.parametrize("marker", ['{"package": "half"}', '{"package": "half", "before": []}', '{"pack'])
def test_only_what_the_fetch_began_is_removed(tmp_path, keep, marker) -> None:
    """The folder may be a person's own, into which PlatformIO installs as well; before that run, or since it was
    killed. The second marker is of an older version, the third was cut off."""
    for name in ("platforms/p", "packages/old", "packages/half", "packages/since"):
        (tmp_path / name).mkdir(parents=True)
        (tmp_path / name / "file").write_text("x")
    (tmp_path / "packages" / "half" / SIGN).touch()
    (tmp_path / "packages" / "link.pio-link").write_text("a person's own")
    marker_path(tmp_path).write_text(marker)
    for name in ("archives", "unpacked"):
        (litter_dir(tmp_path) / name).mkdir(parents=True)
    clear_unfinished(tmp_path, keep_archives=keep)
    there = sorted(path.name for path in (tmp_path / "packages").iterdir())
    assert there == ["link.pio-link", "old", "since"]
    assert (tmp_path / "platforms" / "p" / "file").is_file()
    assert (litter_dir(tmp_path) / "archives").exists() is keep
    assert not (litter_dir(tmp_path) / "unpacked").exists()
    assert is_unfinished(tmp_path) is keep
    clear_unfinished(tmp_path, keep_archives=False)
    assert not is_unfinished(tmp_path)


def test_removing_that_is_cut_off_is_gone_on_with(tmp_path, monkeypatch) -> None:
    """The sign goes last: what is left of the package is still known for what it is."""
    half = tmp_path / "packages" / "half"
    for name in ("a", "b", "z"):
        (half / name).mkdir(parents=True)
    (half / SIGN).touch()
    marker_path(tmp_path).write_text("{}")
    removed = []

    def killed(path: Path) -> None:
        if removed:
            raise KeyboardInterrupt
        removed.append(path)
        rmtree(path)

    rmtree = shutil.rmtree
    with monkeypatch.context() as patch:
        patch.setattr(shutil, "rmtree", killed)
        with pytest.raises(KeyboardInterrupt):
            clear_unfinished(tmp_path, keep_archives=False)
    assert half.is_dir()
    clear_unfinished(tmp_path, keep_archives=False)
    assert not half.exists()
    assert not is_unfinished(tmp_path)


def test_package_that_is_copied_to_another_disk_is_signed_first(tmp_path, monkeypatch) -> None:
    """A person may have put the packages on another disk, to which nothing can be renamed."""
    made, place = tmp_path / "made", tmp_path / "packages" / "tool"
    (made / "bin").mkdir(parents=True)
    place.parent.mkdir()
    run = fetcher.Run(0, marker_path(tmp_path), litter_dir(tmp_path), SIGN, 1, 1.0, 1.0)

    def other_disk(*_: object) -> None:
        raise OSError(errno.EXDEV, "Invalid cross-device link")

    def full(source: Path, to: Path, **_: object) -> None:
        assert (to / SIGN).is_file()
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "rename", other_disk)
    with monkeypatch.context() as patch:
        patch.setattr(shutil, "copytree", full)
        with pytest.raises(OSError, match="No space"), run.marked():
            run.put(made, place)
    clear_unfinished(tmp_path, keep_archives=False)
    assert not place.exists()
    with run.marked():
        run.put(made, place)
        assert (place / SIGN).is_file()
    assert [path.name for path in place.iterdir()] == ["bin"]
    assert not marker_path(tmp_path).exists()


def test_package_that_gives_way_is_never_half_there(tmp_path, monkeypatch) -> None:
    """Half of it might count as installed."""
    made, place = tmp_path / "made", tmp_path / "packages" / "tool"
    for folder in (made, place, litter_dir(tmp_path)):
        folder.mkdir(parents=True)
    (place / "file").write_text("x")
    run = fetcher.Run(0, marker_path(tmp_path), litter_dir(tmp_path), SIGN, 1, 1.0, 1.0)

    def killed(path: Path) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(shutil, "rmtree", killed)
        with pytest.raises(KeyboardInterrupt), run.marked():
            run.put(made, place)
    assert not place.exists()
    clear_unfinished(tmp_path, keep_archives=True)
    assert list((tmp_path / "packages").iterdir()) == []
    assert list(litter_dir(tmp_path).iterdir()) == []


def test_nothing_unfinished_is_nothing_to_do(tmp_path) -> None:
    assert not is_unfinished(tmp_path)
    clear_unfinished(tmp_path, keep_archives=True)
    assert list(tmp_path.iterdir()) == []


def test_full_disk_is_told_from_a_folder_that_is_not_ours(tmp_path) -> None:
    assert core_dir_error(tmp_path, OSError(errno.ENOSPC, "full")).code is DISK_FULL
    assert core_dir_error(tmp_path, OSError(errno.EDQUOT, "full")).code is DISK_FULL
    assert core_dir_error(tmp_path, PermissionError(errno.EACCES, "no")).code is NO_COMPILERS_FOLDER
