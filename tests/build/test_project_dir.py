"""Projects on the disk: only differences are written, old files go, a person's own files stay."""

from __future__ import annotations

from fleet.build.project_dir import LIST_FILE, write_project

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
