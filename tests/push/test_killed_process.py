"""Real kill -9 of the tool in the middle of a push to stand-ins over real HTTP; then `resume` in a new
process."""

from __future__ import annotations

import secrets
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from fleet.push.journal import Journal
from fleet.push.state import NodeStatus, PushPhase, PushState, Task
from tests.push.yard import lay_out
from tests.push.yard_process import ROOT, stand_ins
from tests.real_fleet import tankfleet

pytestmark = pytest.mark.slow
WITHIN_S = 60.0


def any_task(*tasks: Task) -> Callable[[PushState], bool]:
    return lambda state: any(node.task in tasks for node in state.nodes.values())


def kept(count: int) -> Callable[[PushState], bool]:
    return lambda state: sum(node.stands is NodeStatus.KEPT for node in state.nodes.values()) >= count


def in_wave_2(state: PushState) -> bool:
    return state.wave == 2 and any_task(Task.SOAK)(state)


@pytest.mark.parametrize(
    "moment",
    [lambda state: True, any_task(Task.SEND), any_task(Task.RETURN), any_task(Task.SOAK), kept(1), in_wave_2],
    ids=["begun", "sending", "restarting", "soaking", "first-kept", "wave-2"],
)
def test_killed_then_resumed(tmp_path: Path, moment: Callable[[PushState], bool]) -> None:
    folder = tmp_path / "project"
    word = secrets.token_hex(2)
    names = [f"k{i}-{word}" for i in range(4)]
    field = lay_out(folder, names)
    with stand_ins(folder) as yard:
        yard.tell("read_bytes_per_s", "60000")
        plan = str(folder / "the.plan")
        tankfleet(folder, "plan", "--any-hour", "--out", plan)
        words = [sys.executable, "-m", "fleet", "--project", str(folder), "push", plan, "--fleet", "yard"]
        tool = subprocess.Popen(words, cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        try:
            until(field.workspace.journal_path, moment)
        finally:
            tool.send_signal(signal.SIGKILL)
            tool.wait()
        done = tankfleet(folder, "resume")
        report = yard.report()
    assert {node["release"] for node in report.values()} == {"1.1.0"}, done.stderr
    assert {node["phase"] for node in report.values()} == {"kept"}
    assert all(len(node["taken"]) == 1 for node in report.values()), "the same image twice"
    journal = Journal.open(field.workspace.journal_path)
    (record,) = journal.pushes()
    assert record.phase is PushPhase.DONE
    assert journal.state(record.id).phase is PushPhase.DONE
    journal.close()


def until(path: Path, wanted: Callable[[PushState], bool]) -> None:
    """Wait until the push under way stands like that."""
    until_s = time.monotonic() + WITHIN_S
    while time.monotonic() < until_s:
        journal = Journal.open_if_there(path)
        if journal is not None:
            push = journal.unfinished()
            state = journal.state(push) if push else None
            journal.close()
            if state is not None and wanted(state):
                return
        time.sleep(0.01)
    raise AssertionError("the push never stood like that")
