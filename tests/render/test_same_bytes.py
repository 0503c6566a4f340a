"""The same sources give the same bytes wherever a project and PlatformIO's packages lie.

Arduino's cores compile with `-ggdb` (platformio-build.py of both), and an ESP32 image carries the SHA-256 of its ELF,
debug information included. What is compiled here are files in the places of a project and of a package, by this
machine's compiler, with the flags that PlatformIO's own reader makes of a rendered `platformio.ini`.
"""

from __future__ import annotations

import shlex
import subprocess
from pathlib import Path

import pytest
from platformio.project.config import ProjectConfig

from fleet.boards.board import board_ids
from tests.firmware.firmware_build import compiler
from tests.render.test_project import render_board

SOURCE = """
#include "one.h"
const char *place() { return __FILE__; }
int twice(int x) { return one(x) + one(x); }
"""
HEADER = "inline int one(int x) { return x + 1; }\n"


def _flags(ini: Path, monkeypatch: pytest.MonkeyPatch, packages: Path) -> list[str]:
    """As PlatformIO takes them apart: its configuration, then SCons, which splits them, fills in the project's folder
    last, and leaves what is quoted then to the shell."""
    monkeypatch.setenv("PLATFORMIO_PACKAGES_DIR", str(packages))
    raw = ProjectConfig(str(ini)).get("env:node", "build_flags")
    words = [word for line in raw for word in shlex.split(line)]
    maps = [word for word in words if "prefix-map" in word]
    return [
        shlex.split(word.replace("$PROJECT_DIR", str(ini.parent)))[0] if "$PROJECT_DIR" in word else word
        for word in maps
    ]


def _objects(folder: Path, board_id: str, monkeypatch: pytest.MonkeyPatch, *, mapped: bool) -> list[bytes]:
    """Objects of a source of the project and of one of the framework, as SCons names them to the compiler."""
    project, packages = folder / "project", folder / "core" / "packages"
    framework = packages / "framework" / "cores"
    for place in (project / "src", framework):
        place.mkdir(parents=True)
        (place / "a.cpp").write_text(SOURCE, encoding="utf-8")
        (place / "one.h").write_text(HEADER, encoding="utf-8")
    (project / "platformio.ini").write_bytes(render_board(board_id)["platformio.ini"])
    flags = _flags(project / "platformio.ini", monkeypatch, packages)
    assert len(flags) == 2
    made = []
    for source in ("src/a.cpp", str(framework / "a.cpp")):
        command = [compiler()[0], "-c", "-ggdb", "-Os", *(flags if mapped else []), f"-I{framework}", source]
        subprocess.run([*command, "-o", "a.o"], cwd=project, check=True, timeout=60)
        made.append((project / "a.o").read_bytes())
    return made


@pytest.mark.parametrize("board_id", board_ids())
def test_objects_tell_nothing_of_where_they_were_made(
    board_id: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    one = _objects(tmp_path / "one", board_id, monkeypatch, mapped=True)
    other = _objects(tmp_path / "a longer name", board_id, monkeypatch, mapped=True)
    assert one == other
    assert not [data for data in one if str(tmp_path).encode() in data]


def test_without_the_maps_they_do(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    one = _objects(tmp_path / "one", "esp32-devkit", monkeypatch, mapped=False)
    other = _objects(tmp_path / "a longer name", "esp32-devkit", monkeypatch, mapped=False)
    assert all(a != b for a, b in zip(one, other, strict=True))
