"""Projects with real images for slow end-to-end tests: the demo inventory, built for the host by the real
commands.

    project = real_project(tmp_path, shared_build=tmp_path_factory.getbasetemp() / "build")
    build(project, "kestrel-01", "--release", "1.1.0")

Programs that one test compiled are found again by the others through the shared build folder.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
SETTINGS = 'target = "host"\nkeys = "keys"\n'


def real_project(folder: Path, shared_build: Path) -> Path:
    """A project folder with the demo inventory and fresh keys; images are built for the host."""
    project = folder / "project"
    shutil.copytree(ROOT / "inventory", project / "inventory")
    (project / "tankfleet.toml").write_text(SETTINGS, encoding="utf-8")
    (project / ".tankfleet").mkdir()
    shared_build.mkdir(parents=True, exist_ok=True)
    (project / ".tankfleet" / "build").symlink_to(shared_build)
    tankfleet(project, "keys", "create", "--new-fleet")
    return project


def build(project: Path, *words: str) -> None:
    """`tankfleet build` with these words."""
    tankfleet(project, "build", *words)


def tankfleet(
    project: Path, *words: str, expect: int = 0, timeout_s: float = 280.0
) -> subprocess.CompletedProcess[str]:
    """A command of the tool in a process of its own; fails the test with all it said on another exit
    status."""
    done = subprocess.run(
        [sys.executable, "-m", "fleet", "--project", str(project), *words],
        capture_output=True,
        text=True,
        cwd=ROOT,
        timeout=timeout_s,
        check=False,
    )
    assert done.returncode == expect, (
        f"tankfleet {' '.join(words)}: {done.returncode}\n{done.stdout}{done.stderr}"
    )
    return done
