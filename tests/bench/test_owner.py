"""Benches that end with the program that started them, and benches that stay: real processes, the stand-in as nodes."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from fleet.bench.codes import NOT_STARTED
from fleet.bench.control import BenchControl
from fleet.bench.owner import VARIABLE, Owner, owning
from fleet.bench.paths import BenchPaths
from fleet.bench.start import ensure_up, start_bench
from fleet.errors import BenchError
from tests.bench.scenery import eventually, flashed, node_spec, processes_of
from tests.real_fleet import ROOT

BETWEEN = """
import subprocess, sys
subprocess.run([sys.executable, "-m", "tests.bench.test_owner", sys.argv[1]], check=True)
"""
"""A process between the owner and the one that starts the bench, as `tankfleet bench up` is in the demo."""
OWNER = f"""
import os, pathlib, subprocess, sys
from fleet.bench.owner import owning
with owning(pathlib.Path(sys.argv[2])) as owned:
    subprocess.run([sys.executable, "-c", {BETWEEN!r}, sys.argv[1]], check=True, env={{**os.environ, **owned}})
    print("ready", flush=True)
    sys.stdin.read()
"""


def up(folder: Path) -> BenchControl:
    """A bench of two nodes."""
    control, silent = start_bench(
        folder, lambda subnet: [flashed(node_spec(folder, f"ridge-{i}", i, subnet)) for i in (1, 2)]
    )
    assert silent == ()
    return control


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """A bench's folder, in a run that owns no bench; nothing of it may be left."""
    monkeypatch.delenv(VARIABLE)
    folder = tmp_path / "bench"
    yield folder
    control = BenchControl(BenchPaths(folder).socket)
    if control.is_up():
        control.down()
    assert processes_of(folder) == {}


def owner_of(folder: Path) -> subprocess.Popen[str]:
    """A program that started a bench there for itself, and waits."""
    words = [sys.executable, "-c", OWNER, str(folder), str(folder.parent)]
    owner = subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, cwd=ROOT)
    assert owner.stdout is not None
    assert owner.stdout.readline() == "ready\n"
    owner.stdout.close()
    return owner


@pytest.mark.slow
@pytest.mark.parametrize("killed", [True, False], ids=["killed", "ended"])
def test_a_bench_ends_with_its_owner(folder, killed) -> None:
    owner = owner_of(folder)
    assert owner.stdin is not None
    assert len(processes_of(folder)) == 4, "the owner, the program in the background, two nodes"
    if killed:
        owner.send_signal(signal.SIGKILL)
    owner.stdin.close()
    assert owner.wait(timeout=20) == (-signal.SIGKILL if killed else 0)
    eventually("no process is left", lambda: not processes_of(folder), within_s=10.0)
    control = up(folder)
    assert [view.starts for view in control.nodes()] == [1, 1], "the next one starts clean"


@pytest.mark.slow
def test_a_bench_without_an_owner_stays_and_ends_by_down(folder) -> None:
    words = [sys.executable, "-m", "tests.bench.test_owner", str(folder)]
    subprocess.run(words, check=True, cwd=ROOT, timeout=60)
    control = BenchControl(BenchPaths(folder).socket)
    assert [view.power for view in control.nodes()] == ["running", "running"]
    control.down()
    assert processes_of(folder) == {}


@pytest.mark.slow
def test_no_bench_starts_for_an_owner_that_has_ended(folder, monkeypatch) -> None:
    """Killed while `bench up` was on its way: the pipe is still there, and nobody holds its other end."""
    pipe = folder.parent / "owner"
    os.mkfifo(pipe)
    monkeypatch.setenv(VARIABLE, str(pipe))
    with pytest.raises(BenchError) as caught:
        ensure_up(folder, 1.0)
    assert caught.value.code is NOT_STARTED
    assert "has ended" in caught.value.what
    pipe.unlink()
    with pytest.raises(BenchError, match="has ended"):
        ensure_up(folder, 1.0)


def test_an_owner_is_seen_to_end(tmp_path) -> None:
    with owning(tmp_path) as owned:
        owner = Owner(owned[VARIABLE])
        assert not owner.gone()
        before = Owner(owned[VARIABLE])
    assert owner.gone()
    assert before.gone()
    assert list(tmp_path.iterdir()) == []
    assert not Owner(None).gone()


if __name__ == "__main__":
    up(Path(sys.argv[1]))
