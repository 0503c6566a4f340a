"""What ships is what is tested: the wheel, installed away from the checkout, does the main job up to an image."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def installed(tmp_path_factory) -> Path:
    """A folder with the wheel's packages, and nothing of the checkout."""
    dist, target = tmp_path_factory.mktemp("dist"), tmp_path_factory.mktemp("installed")
    subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", dist], cwd=ROOT, check=True
    )
    (wheel,) = dist.glob("tankfleet-*.whl")
    pip = [
        sys.executable,
        "-m",
        "pip",
        "install",
        "--quiet",
        "--no-deps",
        "--target",
        str(target),
        str(wheel),
    ]
    subprocess.run(pip, check=True)
    return target


def _tankfleet(installed: Path, folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    env = {**os.environ, "PYTHONPATH": str(installed), "TANKFLEET_KEYS": "keys", "TANKFLEET_TARGET": "host"}
    command = [sys.executable, "-m", "fleet", *words]
    return subprocess.run(command, cwd=folder, env=env, capture_output=True, text=True, check=False)


def _files(folder: Path) -> set[Path]:
    files = (path for path in folder.rglob("*") if path.is_file() and "__pycache__" not in path.parts)
    return {path.relative_to(folder) for path in files}


def test_the_wheel_carries_all_that_it_reads(installed) -> None:
    data = installed / "fleet" / "_data"
    for kept, carried in ((ROOT / "templates", data / "templates"), (ROOT / "inventory", data / "inventory")):
        assert _files(carried) == _files(kept)


def test_the_wheel_does_the_job_up_to_signed_images(installed, tmp_path) -> None:
    asked = subprocess.run(
        [sys.executable, "-c", "import fleet; print(fleet.__file__)"],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(installed)},
        capture_output=True,
        text=True,
        check=True,
    )
    assert asked.stdout.startswith(str(installed))
    assert _tankfleet(installed, tmp_path, "new", "farm").returncode == 0
    farm = tmp_path / "farm"
    for words in (
        ("check", "--strict"),
        ("keys", "create", "--new-fleet"),
        ("render",),
        ("build",),
        ("shelf",),
    ):
        done = _tankfleet(installed, farm, *words)
        assert done.returncode == 0, f"{words}\n{done.stdout}{done.stderr}"
    assert "header-node" in done.stdout
    sheet = _tankfleet(installed, farm, "sheet", "node", "header-node", "--out", "-")
    assert sheet.returncode == 0, sheet.stderr
    assert sheet.stdout.startswith("<!doctype html>")
