"""The set-up script names exactly what to install where it may not, and does nothing where nothing is missing."""

from __future__ import annotations

import os
import subprocess
from pathlib import Path

import pytest

PREPARE = Path(__file__).resolve().parent.parent / ".ci" / "prepare"


@pytest.fixture
def stand_ins(tmp_path):
    """A folder of stand-in commands, first on PATH: each a shell line."""

    def make(**commands: str) -> dict[str, str]:
        for name, line in commands.items():
            path = tmp_path / name.replace("_", "-")
            path.write_text(f"#!/bin/sh\n{line}\n")
            path.chmod(0o755)
        return {**os.environ, "PATH": f"{tmp_path}:{os.environ['PATH']}"}

    return make


def _prepare(env: dict[str, str], *words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([str(PREPARE), *words], env=env, capture_output=True, text=True, check=False)


def test_names_the_command_when_it_may_not_install(stand_ins) -> None:
    env = stand_ins(dpkg_query="exit 1", id="echo 1000", sudo="exit 1", apt_get="exit 9")
    done = _prepare(env)
    assert done.returncode == 1
    assert "sudo apt-get install -y --no-install-recommends g++ libbearssl-dev" in done.stderr


def test_tests_need_more(stand_ins) -> None:
    env = stand_ins(dpkg_query="exit 1", id="echo 1000", sudo="exit 1", apt_get="exit 9")
    assert "avahi-daemon" in _prepare(env, "tests").stderr


def test_installs_what_is_missing_with_sudo_that_asks_nothing(stand_ins, tmp_path) -> None:
    log = tmp_path / "log"
    env = stand_ins(
        dpkg_query='case "$4" in g++) printf "ii " ;; *) exit 1 ;; esac',
        id="echo 1000",
        sudo=f'shift; [ "$1" = true ] || echo "$@" >> {log}',
        apt_get="exit 9",
    )
    done = _prepare(env)
    assert done.returncode == 0, done.stderr
    wanted = ["apt-get update -q", "apt-get install -q -y --no-install-recommends libbearssl-dev"]
    assert log.read_text().splitlines() == wanted


def test_nothing_missing_says_nothing(stand_ins) -> None:
    done = _prepare(stand_ins(dpkg_query='printf "ii "', apt_get="exit 9"))
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")


def test_an_old_python_is_named(stand_ins) -> None:
    env = {
        **stand_ins(old_python='[ "$1" = --version ] && echo Python 3.9.2; exit 1'),
        "PYTHON": "old-python",
    }
    done = _prepare(env)
    assert done.returncode == 1
    assert "Python 3.11 or newer; old-python is Python 3.9.2" in done.stderr
