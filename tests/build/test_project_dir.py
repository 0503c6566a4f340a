"""Projects on the disk: in a person's folder only differences are written, old files go and own ones stay; what is
compiled has a fresh folder."""

from __future__ import annotations

import pytest

from fleet.build.project_dir import LIST_FILE, strangers, write_fresh, write_project
from fleet.errors import RenderError

PROJECT = {"platformio.ini": b"[env]\n", "src/a.cpp": b"1", "src/core/b.h": b"2"}


def test_second_run_writes_nothing(tmp_path) -> None:
    first = write_project(tmp_path / "p", PROJECT)
    assert first.written == tuple(sorted(PROJECT))
    stamps = {path: path.stat().st_mtime_ns for path in tmp_path.rglob("*")}
    second = write_project(tmp_path / "p", PROJECT)
    assert not second.changed
    assert {path: path.stat().st_mtime_ns for path in tmp_path.rglob("*")} == stamps


def test_only_what_differs_is_written(tmp_path) -> None:
    write_project(tmp_path, PROJECT)
    done = write_project(tmp_path, {**PROJECT, "src/a.cpp": b"other"})
    assert done.written == ("src/a.cpp",)
    assert (tmp_path / "src/a.cpp").read_bytes() == b"other"


def test_what_is_no_longer_rendered_goes_and_other_files_stay(tmp_path) -> None:
    write_project(tmp_path, PROJECT)
    (tmp_path / "notes.txt").write_text("mine")
    done = write_project(tmp_path, {"platformio.ini": b"[env]\n"})
    assert done.removed == ("src/a.cpp", "src/core/b.h")
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted(
        [LIST_FILE, "notes.txt", "platformio.ini"]
    )


def test_changed_by_hand_is_put_right_and_deleted_comes_back(tmp_path) -> None:
    write_project(tmp_path, PROJECT)
    (tmp_path / "src/a.cpp").write_bytes(b"by hand")
    (tmp_path / "src/core/b.h").unlink()
    assert write_project(tmp_path, PROJECT).written == ("src/a.cpp", "src/core/b.h")


def test_list_of_files_that_leads_outside_is_not_believed(tmp_path) -> None:
    outside = tmp_path / "outside"
    outside.write_text("precious")
    folder = tmp_path / "p"
    folder.mkdir()
    (folder / LIST_FILE).write_text('["../outside", 7]')
    assert write_project(folder, PROJECT).removed == ()
    assert outside.read_text() == "precious"


@pytest.mark.parametrize("link", ["rendered", "rendered/p", "rendered/p/src", "rendered/p/src/core"])
def test_nothing_is_written_through_a_link(tmp_path, link) -> None:
    outside = tmp_path / "outside"
    outside.mkdir()
    (outside / "a.cpp").write_text("precious")
    place = tmp_path / link
    place.parent.mkdir(parents=True, exist_ok=True)
    place.symlink_to(outside)
    with pytest.raises(RenderError, match="RND106"):
        write_project(tmp_path / "rendered" / "p", PROJECT)
    assert [(one.name, one.read_text()) for one in outside.iterdir()] == [("a.cpp", "precious")]


def test_a_file_that_is_a_link_is_replaced_and_one_that_goes_is_removed(tmp_path) -> None:
    outside = tmp_path / "outside"
    outside.write_bytes(PROJECT["src/a.cpp"])
    folder = tmp_path / "p"
    write_project(folder, PROJECT)
    for path in ("src/a.cpp", "src/core/b.h"):
        (folder / path).unlink()
        (folder / path).symlink_to(outside)
    done = write_project(folder, {path: data for path, data in PROJECT.items() if path != "src/core/b.h"})
    assert done.written == ("src/a.cpp",)
    assert not (folder / "src/a.cpp").is_symlink()
    assert outside.read_bytes() == PROJECT["src/a.cpp"]


def _all(folder) -> set[str]:
    return {path.relative_to(folder).as_posix() for path in folder.rglob("*") if not path.is_dir()}


def test_a_fresh_folder_holds_the_project_alone(tmp_path) -> None:
    folder = tmp_path / "p"
    write_project(folder, PROJECT)
    for path in (
        "src/evil.cpp",
        "src/core/cstdio",
        "lib/evil/evil.cpp",
        "include/b.h",
        ".pio/libdeps/node/x/x.cpp",
    ):
        (folder / path).parent.mkdir(parents=True, exist_ok=True)
        (folder / path).write_text("evil")
    (folder / "platformio.ini").write_text("[env]\nextra_scripts = evil.py\n")
    write_fresh(folder, PROJECT)
    assert _all(folder) == {*PROJECT, LIST_FILE}
    assert (folder / "platformio.ini").read_bytes() == PROJECT["platformio.ini"]


def test_a_fresh_folder_is_not_what_a_link_leads_to(tmp_path) -> None:
    outside, folder = tmp_path / "outside", tmp_path / "p"
    outside.mkdir()
    (outside / "precious").write_text("mine")
    folder.symlink_to(outside)
    write_fresh(folder, PROJECT)
    assert not folder.is_symlink()
    (folder / "src").rename(tmp_path / "moved")
    (folder / "src").symlink_to(outside)
    write_fresh(folder, PROJECT)
    assert not (folder / "src").is_symlink()
    assert _all(outside) == {"precious"}


@pytest.mark.parametrize(
    "path", ["src/evil.cpp", "src/core/cstdio", "lib/evil/evil.cpp", "include/b.h", "boards/x.json"]
)
def test_a_stranger_is_named(tmp_path, path) -> None:
    write_fresh(tmp_path / "p", PROJECT)
    assert strangers(tmp_path / "p", PROJECT) == []
    (tmp_path / "p" / path).parent.mkdir(parents=True, exist_ok=True)
    (tmp_path / "p" / path).write_text("evil")
    assert strangers(tmp_path / "p", PROJECT) == [path]


def test_a_changed_and_a_missing_file_are_named_and_a_link_is_one(tmp_path) -> None:
    write_fresh(tmp_path, PROJECT)
    (tmp_path / "platformio.ini").write_text("[env]\nextra_scripts = evil.py\n")
    (tmp_path / "src/a.cpp").unlink()
    (tmp_path / "src/core/b.h").rename(tmp_path / "elsewhere.h")
    (tmp_path / "src/core/b.h").symlink_to(tmp_path / "elsewhere.h")
    (tmp_path / ".pio").mkdir()
    (tmp_path / ".pio/x.o").write_bytes(b"")
    assert strangers(tmp_path, PROJECT) == ["platformio.ini", "src/a.cpp", "src/core/b.h"]
