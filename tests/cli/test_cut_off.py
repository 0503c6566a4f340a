"""After kill -9: each command that looks at the nodes or prepares for them tells of the push, in one line; and no
command leaves the journal open."""

from __future__ import annotations

import sqlite3
from pathlib import Path
from typing import Any

import pytest

from fleet.keys.folder import KeyFolder
from fleet.keys.networks import Network
from fleet.push import journal_file
from fleet.push.journal_seal import witness_path
from fleet.push.lock import runner_lock
from tests.cli.commands import Farm, farm
from tests.fake_platformio import replace_platformio

__all__ = ["farm"]

LOOKING = [
    ("find", "--timeout", "0.1"),
    ("plan", "--timeout", "0.1"),
    ("build", "--target", "host"),
    ("rejoin", "farm-a", "--dry-run", "--timeout", "0.1"),
    ("audit", "--offline"),
]
STEERING = [
    ("hold",),
    ("hold",),
    ("go-on",),
    ("stop", "--dry-run"),
    ("roll-back", "--dry-run"),
    ("resume", "--dry-run"),
    ("push", "none.plan"),
    ("push", "other.plan"),
    ("rejoin", "farm-a", "--yes", "--timeout", "0.1"),
]


@pytest.fixture(autouse=True)
def _ready(farm: Farm, monkeypatch: pytest.MonkeyPatch) -> None:
    replace_platformio(monkeypatch)
    KeyFolder(farm.workspace.keys_dir).set_network("n", Network("Farm", "correct horse"))


@pytest.mark.parametrize("words", LOOKING, ids=lambda words: words[0])
def test_each_tells_of_a_push_that_was_cut_off(
    words: tuple[str, ...], farm: Farm, capsys: pytest.CaptureFixture[str]
) -> None:
    farm.run(*words)
    assert "cut off" not in capsys.readouterr().err, "without a journal there is nothing to say"
    push = farm.pushed(until="on-trial").plan.id
    farm.run(*words)
    printed = capsys.readouterr()
    (line,) = [line for line in printed.err.splitlines() if "was interrupted" in line]
    assert line.startswith(f"warning: push {push} was interrupted")
    assert "`tankfleet resume`" in line
    assert "was interrupted" not in printed.out
    with runner_lock(farm.workspace.journal_path, 4711):
        farm.run(*words)
    assert "was interrupted" not in capsys.readouterr().err, "a process runs it"


@pytest.mark.parametrize("words", [LOOKING[0], LOOKING[2], LOOKING[3]], ids=lambda words: words[0])
@pytest.mark.parametrize("harm", [b"", b"no database"])
def test_a_damaged_journal_is_told_of_and_stops_neither_find_nor_build(
    words: tuple[str, ...], harm: bytes, farm: Farm, capsys: pytest.CaptureFixture[str]
) -> None:
    sound = farm.run(*words)
    farm.pushed()
    farm.workspace.journal_path.write_bytes(harm)
    capsys.readouterr()
    assert farm.run(*words) == sound
    told = [line for line in capsys.readouterr().err.splitlines() if "PSH14" in line]
    assert len(told) == 1
    assert told[0].startswith("warning: ")
    farm.workspace.journal_path.unlink()
    farm.run(*words)
    assert "PSH142" in capsys.readouterr().err, "it is gone, and the file beside it knows"
    witness_path(farm.workspace.journal_path).unlink()
    farm.run(*words)
    assert "PSH14" not in capsys.readouterr().err


class _Counted(sqlite3.Connection):
    """A connection that is counted until it is closed."""

    open = 0
    made = 0

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        _Counted.open += 1
        _Counted.made += 1

    def close(self) -> None:
        super().close()
        _Counted.open -= 1


@pytest.mark.parametrize("until", ["on-trial", "done"])
def test_no_command_leaves_the_journal_open(until: str, farm: Farm, monkeypatch: pytest.MonkeyPatch) -> None:
    farm.pushed(until=until)
    other_plan(farm.folder / "other.plan")
    connect = sqlite3.connect
    monkeypatch.setattr(
        journal_file.sqlite3, "connect", lambda *a, **more: connect(*a, factory=_Counted, **more)
    )
    for words in (*LOOKING, *STEERING):
        _Counted.open = _Counted.made = 0
        farm.run(*words)
        assert _Counted.open == 0, words
        assert _Counted.made > 0 or "none.plan" in words, words


def other_plan(path: Path) -> None:
    from fleet.push.plan import write_plan
    from tests.push.plans import plan_of, planned

    path.write_text(write_plan(plan_of([planned("farm-b")])), encoding="utf-8")
