"""A sample of failing_disk.py; `python -m tests.failing_disk all` tries every write, fsync and rename."""

from __future__ import annotations

import errno
import os
import subprocess
import sys
from collections.abc import Iterator

import pytest

from tests.failing_disk import HOWS, OPS, SCENARIOS, Share, Yard, shim, yard_of
from tests.push.yard_process import ROOT


@pytest.fixture(scope="module")
def yard() -> Iterator[Yard]:
    with yard_of("set-network") as yard:
        yield yard


def test_the_disk_really_fails(yard: Yard) -> None:
    """Else nothing below would be shown: the shim's calls are counted, and the first write that fails is told."""
    with yard.project() as (project, _):
        done = yard.run(project, "write", "forever", 1)
        assert done.returncode == 2
        assert "No space left on device" in done.stderr
        assert int((project.parent / "count").read_text()) >= 1


def test_a_forked_command_does_what_one_of_its_own_process_does(yard: Yard) -> None:
    """Else the sweeps would show nothing of the tool as people start it: same calls, same words, same end."""
    with yard.project() as (project, _), yard.project() as (other, _):
        forked = yard.run(project, "write", "forever", 1)
        words = ["--project", str(other), *yard.scenario.words]
        environment = {
            **os.environ,
            "PYTHONPATH": str(ROOT),
            "LD_PRELOAD": str(shim()),
            "FAIL_UNDER": str(other),
            "FAIL_OP": "write",
            "FAIL_HOW": "forever",
            "FAIL_AT": "1",
            "FAIL_ERRNO": str(errno.ENOSPC),
            "FAIL_COUNT": str(other.parent / "count"),
        }
        own = subprocess.run(
            [sys.executable, "-m", "fleet", *words],
            input=yard.scenario.stdin,
            env=environment,
            cwd=ROOT,
            capture_output=True,
            text=True,
            check=False,
        )
        assert own.returncode == forked.returncode == 2
        assert (own.stdout, own.stderr.replace(str(other), str(project))) == (forked.stdout, forked.stderr)
        assert (other.parent / "count").read_text() == (project.parent / "count").read_text()


def test_parts_together_are_the_whole() -> None:
    count = {"write": 5, "fsync": 3, "rename": 0}.__getitem__
    whole = Share().of(count)
    parts = [Share(part=number, parts=3).of(count) for number in (1, 2, 3)]
    assert sorted(one for part in parts for one in part) == sorted(whole)
    assert len(whole) == len(set(whole)) == 16
    assert [op for op, _, _ in Share(1).of(count)] == ["write", "write", "fsync", "fsync"]


@pytest.mark.slow
@pytest.mark.parametrize("name", SCENARIOS)
def test_a_failing_disk_loses_nothing(name: str) -> None:
    """One of each scenario's calls, another one in each: the middle one of a kind that turns with the scenario."""
    turn = list(SCENARIOS).index(name)
    op, how = OPS[turn % len(OPS)], HOWS[turn % len(HOWS)]
    with yard_of(name) as yard:
        k = max(1, (yard.count(op) + 1) // 2)
        assert not (came := yard.one(op, how, k)).startswith("WRONG"), (
            f"{came}\npython -m tests.failing_disk {name} {op} {how} {k}"
        )
