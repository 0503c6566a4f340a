"""The journal: durable settings, one transaction for what comes together, requests, refusals."""

from __future__ import annotations

import fcntl
import os
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest

from fleet.errors import LockedError, PushError
from fleet.push.engine import fold
from fleet.push.events import Began, Requested, RequestKind, Resumed
from fleet.push.journal import Journal
from fleet.push.journal_seal import witness_path
from fleet.push.lock import lock_path, runner_lock, runner_pid
from fleet.push.state import NodeStatus, PushPhase, fresh
from tests.push.plans import plan_of, planned
from tests.push.stage import Stage, begun, push

PLAN = plan_of([planned("a")], [planned("b")])
OTHER = plan_of([planned("c")])
EMPTY = plan_of()


def test_settings_that_survive_a_power_cut(tmp_path: Path) -> None:
    journal = Journal.open(tmp_path / "journal.db")
    assert journal._db.execute("PRAGMA journal_mode").fetchone() == ("wal",)
    assert journal._db.execute("PRAGMA synchronous").fetchone() == (2,), "2 is FULL (sqlite.org/pragma.html)"
    journal.close()


def test_a_push_from_begin_to_end(quick_path: Path) -> None:
    stage = Stage(PLAN)
    journal = begun(stage, quick_path)
    assert journal.unfinished() == PLAN.id
    assert journal.state(PLAN.id) == fold(fresh(PLAN), [Began(journal.pushes()[0].began_at_s)])
    state = push(stage, journal)
    (record,) = journal.pushes()
    assert (record.phase, record.ended, record.id) == (PushPhase.DONE, True, PLAN.id)
    assert journal.unfinished() is None
    assert journal.state(PLAN.id) == state
    assert [(o.node, o.stands) for o in journal.outcomes(PLAN.id)] == [
        ("a", NodeStatus.KEPT),
        ("b", NodeStatus.KEPT),
    ]
    assert journal.plan(PLAN.id) == PLAN
    with pytest.raises(PushError, match="PSH103"):
        journal.begin(PLAN, 0.0)


def test_what_came_of_an_ended_push_is_written_down(quick_path: Path) -> None:
    """It must not change when a later engine would fold the same events to something else."""
    stage = Stage(PLAN)
    journal = begun(stage, quick_path)
    push(stage, journal)
    journal._db.execute("UPDATE event SET kind='dream'")
    assert [o.stands for o in journal.outcomes(PLAN.id)] == [NodeStatus.KEPT, NodeStatus.KEPT]


@pytest.fixture(params=["cut off", "resumed"])
def with_an_empty_one(quick_path: Path, request: pytest.FixtureRequest) -> Path:
    """A push to its end, and after it what older versions left of a plan that updates no node: its begin alone; once
    `resume` came upon it, its end too."""
    stage = Stage(PLAN)
    journal = begun(stage, quick_path)
    push(stage, journal)
    journal.begin(EMPTY, 2e9)
    if request.param == "resumed":
        resumed = Resumed(2e9 + 1)
        journal.append(EMPTY.id, [resumed], fold(journal.state(EMPTY.id), [resumed]))
    journal.close()
    return quick_path / "journal.db"


@pytest.mark.parametrize("sealed", [True, False])
def test_a_push_of_nothing_that_an_older_version_left_is_none(with_an_empty_one: Path, sealed: bool) -> None:
    if not sealed:
        unseal(with_an_empty_one)
    with Journal.reading(with_an_empty_one) as journal:
        assert journal is not None
        assert [record.id for record in journal.pushes()] == [PLAN.id]
        assert journal.unfinished() is None
        assert not journal.has(EMPTY.id)
    with Journal.open(with_an_empty_one) as journal:  # which seals it again
        assert [record.id for record in journal.pushes()] == [PLAN.id]
        journal.begin(OTHER, 2e9 + 2)
        assert journal.unfinished() == OTHER.id


def unseal(path: Path) -> None:
    """As it was in form 1, before there were seals."""
    with closing(sqlite3.connect(path)) as db:
        db.executescript(
            "DROP TABLE head; DROP TABLE push_seal; ALTER TABLE event DROP COLUMN seal;"
            "ALTER TABLE request DROP COLUMN seal; PRAGMA user_version=1"
        )
    witness_path(path).unlink()


def test_requests_are_taken_in_once(tmp_path: Path) -> None:
    with closing(Journal.open(tmp_path / "journal.db")) as journal:
        journal.begin(PLAN, 10.0)
        number = journal.request(PLAN.id, Requested(11.0, RequestKind.ROLL_BACK, ("a", "b")))
        (request,) = journal.open_requests(PLAN.id)
        assert request.event == Requested(11.0, RequestKind.ROLL_BACK, ("a", "b"))
        assert not journal.is_taken(number)
        journal.append(PLAN.id, [request.event], journal.state(PLAN.id), [number])
        assert journal.open_requests(PLAN.id) == []
        assert journal.is_taken(number)


def test_events_that_come_together_are_committed_together(tmp_path: Path) -> None:
    commits: list[str] = []
    with closing(Journal.open(tmp_path / "journal.db", commits.append)) as journal:
        journal.begin(PLAN, 10.0)
        state = fold(journal.state(PLAN.id), [Resumed(11.0), Resumed(12.0)])
        journal.append(PLAN.id, [Resumed(11.0), Resumed(12.0)], state)
        assert commits == ["before", "after"] * 2
        assert len(journal.events(PLAN.id)) == 3


def test_what_is_not_there(tmp_path: Path) -> None:
    assert Journal.open_if_there(tmp_path / "journal.db") is None
    assert not (tmp_path / "journal.db").exists()
    with closing(Journal.open(tmp_path / "journal.db")) as journal, pytest.raises(PushError, match="PSH106"):
        journal.plan("0" * 12)


def test_a_journal_of_another_form_or_no_journal_at_all(tmp_path: Path) -> None:
    with closing(Journal.open(tmp_path / "newer.db")) as journal:
        journal._db.execute("PRAGMA user_version=99")
    with pytest.raises(PushError, match=r"PSH147.*format 99"):
        Journal.open(tmp_path / "newer.db")
    (tmp_path / "text.db").write_text("this is no database" * 100)
    with pytest.raises(PushError, match="PSH140"):
        Journal.open(tmp_path / "text.db")


def test_several_processes_may_make_the_journal_at_the_same_time(tmp_path: Path) -> None:
    path = tmp_path / "journal.db"
    code = (
        "import sys;from pathlib import Path;from fleet.push.journal import Journal\n"
        "sys.stdin.readline()\n"
        f"print(len(Journal.open(Path({str(path)!r})).pushes()))"
    )
    several = [
        subprocess.Popen(
            [sys.executable, "-c", code], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )
        for _ in range(4)
    ]
    for one in several:
        assert one.stdin is not None
        one.stdin.write("\n")
        one.stdin.flush()
    assert [one.communicate(timeout=60)[0] for one in several] == ["0\n"] * 4


def test_one_runner_per_journal(tmp_path: Path) -> None:
    path = tmp_path / "journal.db"
    assert runner_pid(path) is None
    with runner_lock(path, 4711):
        assert runner_pid(path) == 4711
        with pytest.raises(LockedError, match="process 4711 is working with the nodes"), runner_lock(path, 1):
            pass
    assert runner_pid(path) is None
    with runner_lock(path, os.getpid()):
        pass


def test_who_only_looks_who_runs_a_push_keeps_nobody_from_running_it(tmp_path: Path) -> None:
    """`runner_pid` holds the lock, shared, for as long as it looks."""
    path = tmp_path / "journal.db"
    with runner_lock(path, 4711):
        pass
    looking = os.open(lock_path(path), os.O_RDONLY)
    fcntl.flock(looking, fcntl.LOCK_SH)
    with runner_lock(path, 12, pause=lambda _: os.close(looking)):
        assert runner_pid(path) == 12


def test_the_lock_is_free_when_its_holder_was_killed(tmp_path: Path) -> None:
    path = tmp_path / "journal.db"
    code = (
        "import os,sys;from pathlib import Path;from fleet.push.lock import runner_lock\n"
        f"with runner_lock(Path({str(path)!r}), os.getpid()):\n"
        "    print('held', flush=True); sys.stdin.read()"
    )
    holder = subprocess.Popen([sys.executable, "-c", code], stdin=subprocess.PIPE, stdout=subprocess.PIPE)
    assert holder.stdout is not None
    assert holder.stdin is not None
    assert holder.stdout.readline() == b"held\n"
    assert runner_pid(path) == holder.pid
    holder.kill()
    holder.wait()
    holder.stdin.close()
    holder.stdout.close()
    assert lock_path(path).exists()
    assert runner_pid(path) is None
    with runner_lock(path, 1):
        pass
