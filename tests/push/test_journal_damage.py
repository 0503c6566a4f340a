"""A journal that cannot be used says so with a code of its own; and what it tells a person to do works."""

from __future__ import annotations

import hashlib
import json
import re
import sqlite3
import subprocess
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from fleet.errors import LockedError, PushError, TankfleetError
from fleet.push import journal_file
from fleet.push.disk import kind_of_disk, on_network
from fleet.push.events import Requested, RequestKind, Resumed, write_event
from fleet.push.journal import Journal
from fleet.push.journal_seal import read_witness, witness_path
from fleet.push.plan import write_plan
from tests.push.damage import all_of, run
from tests.push.plans import plan_of, planned

PLAN = plan_of([planned("a")], [planned("b")])

FORM_1 = """
CREATE TABLE push (
    id TEXT PRIMARY KEY, plan TEXT NOT NULL, began_at_s REAL NOT NULL, phase TEXT NOT NULL,
    ended_at_s REAL, outcome TEXT
);
CREATE TABLE event (
    seq INTEGER PRIMARY KEY AUTOINCREMENT, push TEXT NOT NULL REFERENCES push (id),
    at_s REAL NOT NULL, kind TEXT NOT NULL, body TEXT NOT NULL
);
CREATE INDEX event_of_push ON event (push, seq);
CREATE TABLE request (
    id INTEGER PRIMARY KEY AUTOINCREMENT, push TEXT NOT NULL REFERENCES push (id),
    at_s REAL NOT NULL, word TEXT NOT NULL, nodes TEXT NOT NULL, taken INTEGER NOT NULL DEFAULT 0
);
PRAGMA user_version=1;
"""
"""The tables as the first form of the tool made them (its journal.py before there were checksums)."""


@pytest.fixture
def path(quick_path: Path) -> Path:
    """A journal with a push that was cut off, and a request."""
    path = quick_path / "journal.db"
    with Journal.open(path) as journal:
        journal.begin(PLAN, 10.0)
        state = journal.state(PLAN.id)
        journal.append(PLAN.id, [Resumed(11.0), Resumed(12.0)], state)
        journal.request(PLAN.id, Requested(13.0, RequestKind.HOLD))
    return path


def sql(path: Path, *statements: str) -> None:
    """Change the file behind the journal's back."""
    with closing(sqlite3.connect(path)) as db:
        for statement in statements:
            db.execute(statement)
        db.commit()


def refusal(path: Path) -> TankfleetError:
    """The error with which reading all of it ends."""
    with pytest.raises(TankfleetError) as caught, Journal.open(path) as journal:
        all_of(journal)
    return caught.value


def test_damage_that_sqlite_quotes_and_python_cannot_read_has_its_code(path: Path) -> None:
    """The text of a table's making, with bytes that are no UTF-8 where SQLite looks for a word that it knows."""
    sql(path, "PRAGMA wal_checkpoint(TRUNCATE)")
    data = path.read_bytes()
    assert b"CREATE TABLE" in data
    path.write_bytes(data.replace(b"CREATE TABLE", b"CREATE \xee\xfeBLE", 1))
    assert refusal(path).code.code == "PSH108"


def test_ten_thousand_kinds_of_damage_in_small(quick_path: Path) -> None:
    """`python -m tests.push.damage 10000 SEED` does more."""
    came, wrong = run(250, 11, quick_path)
    assert wrong == []
    assert set(came) > {"same", "PSH108", "PSH141", "PSH143"}


@pytest.mark.parametrize(
    "harm",
    [
        "UPDATE event SET kind='dream' WHERE seq=2",
        "UPDATE event SET body='{}' WHERE seq=1",
        "UPDATE event SET at_s=at_s+1 WHERE seq=3",
        "DELETE FROM event WHERE seq=2",
        "DELETE FROM event WHERE seq=3",
        "DELETE FROM event",
        "UPDATE event SET seq=9 WHERE seq=2",
        "UPDATE push SET plan='{}'",
        "UPDATE push SET outcome='[]'",
        "UPDATE push_seal SET ended_at_s=99.0",
        "UPDATE push_seal SET phase='done'",
        "DELETE FROM push_seal",
        "UPDATE request SET taken=1",
        "UPDATE request SET word='stop'",
        "DELETE FROM request",
        "UPDATE head SET commits=commits+1",
        "DELETE FROM head",
    ],
)
def test_what_the_database_does_not_notice(path: Path, harm: str) -> None:
    sql(path, harm)
    assert refusal(path).code.code == "PSH141"


def test_the_seal_of_an_event_is_what_it_says(path: Path) -> None:
    """By hand, from the words of journal_seal.py: SHA-256 over JSON of the seal before, the push, the event's number
    from 0, time, kind and body; before the first one stands the SHA-256 of the plan."""
    last = hashlib.sha256(write_plan(PLAN).encode()).hexdigest()
    with closing(sqlite3.connect(path)) as db:
        rows = db.execute("SELECT at_s, kind, body, seal FROM event ORDER BY seq").fetchall()
    for number, (at_s, kind, body, seal) in enumerate(rows):
        text = json.dumps(
            [last, PLAN.id, number, at_s, kind, body], separators=(",", ":"), ensure_ascii=False
        )
        last = hashlib.sha256(text.encode()).hexdigest()
        assert seal == last
    assert len(rows) == 3


def test_what_is_no_database(path: Path) -> None:
    path.write_bytes(b"\x7fELF" + path.read_bytes()[4:])
    assert refusal(path).code.code == "PSH140"
    path.unlink()
    witness_path(path).unlink()
    sql(path, "CREATE TABLE readings (at_s REAL)")
    assert refusal(path).code.code == "PSH140"


@pytest.mark.parametrize("gone", [False, True])
def test_empty_or_gone(path: Path, gone: bool) -> None:
    if gone:
        path.unlink()
    else:
        path.write_bytes(b"")
    assert refusal(path).code.code == "PSH142"
    with pytest.raises(PushError, match="PSH142"):
        Journal.open_if_there(path)


def test_the_log_of_writes_was_dropped_or_an_older_copy_put_back(path: Path) -> None:
    older = path.read_bytes()
    with Journal.open(path) as journal:
        journal.append(PLAN.id, [Resumed(20.0)], journal.state(PLAN.id))
        cut_off = {one.name: one.read_bytes() for one in path.parent.iterdir()}
    for name, data in cut_off.items():
        path.with_name(name).write_bytes(data)
    path.with_name("journal.db-wal").unlink()
    path.with_name("journal.db-shm").unlink()
    assert refusal(path).code.code == "PSH143"
    path.write_bytes(older)
    error = refusal(path)
    assert (error.code.code, "1 of 4 commits" in error.what) == ("PSH143", True)
    witness_path(path).unlink()  # what its fix says: go on with what is there
    with Journal.open(path) as journal:
        assert len(journal.events(PLAN.id)) == 3


def test_moved_aside_as_the_message_says(path: Path) -> None:
    path.write_bytes(b"")
    error = refusal(path)
    (command,) = re.findall(r"\(`(.*?)`\)", error.fix)
    subprocess.run(command, shell=True, check=True)
    assert Journal.open_if_there(path) is None
    with Journal.open(path) as journal:
        assert journal.pushes() == []
    assert sorted(one.name for one in (path.parent / "old-journal").iterdir()) == [
        "journal.db",
        "journal.db-head",
    ]


def test_a_full_disk(path: Path) -> None:
    """SQLite answers SQLITE_FULL where its limit of pages is met, as it does for ENOSPC (sqlite.org/rescode.html)."""
    with Journal.open(path) as journal:
        pages = journal._db.execute("PRAGMA page_count").fetchone()[0]
        journal._db.execute(f"PRAGMA max_page_count={pages}")
        state, before = journal.state(PLAN.id), all_of(journal)
        with pytest.raises(PushError, match="PSH144"):
            journal.append(PLAN.id, [Resumed(20.0 + i) for i in range(500)], state)
        assert all_of(journal) == before
        journal._db.execute("PRAGMA max_page_count=100000")
        journal.append(PLAN.id, [Resumed(20.0)], state)
        assert len(journal.events(PLAN.id)) == 4


def test_read_only(path: Path) -> None:
    with Journal.open(path) as journal:
        journal._db.execute("PRAGMA query_only=ON")
        with pytest.raises(PushError, match="PSH145"):
            journal.request(PLAN.id, Requested(20.0, RequestKind.HOLD))


def test_locked_by_another_program(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(journal_file, "JOURNAL_BUSY_S", 0.0)
    with Journal.open(path) as journal, closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(LockedError, match="PSH146"):
            journal.request(PLAN.id, Requested(20.0, RequestKind.HOLD))


MOUNTS = """
22 1 254:0 / / rw,relatime - ext4 /dev/vda rw
30 22 0:40 / /srv/farm rw - nfs4 files:/farm rw
31 30 254:1 / /srv/farm/local rw shared:5 - xfs /dev/vdb rw
32 22 0:41 / /media/a\\040b rw - fuse.sshfs host:/ rw
33 22 0:42 / /mnt rw - ext4 /dev/vdc rw
34 22 0:43 / /mnt rw - cifs //host/share rw
"""
"""As proc_pid_mountinfo(5) has it: a space in a path is \\040, and of two at one place the later one is seen."""


@pytest.mark.parametrize(
    ("folder", "kind", "network"),
    [
        ("/home/a", "ext4", False),
        ("/srv/farm/.tankfleet", "nfs4", True),
        ("/srv/farm/local/.tankfleet", "xfs", False),
        ("/srv/farming", "ext4", False),
        ("/media/a b/x", "fuse.sshfs", True),
        ("/mnt/x", "cifs", True),
    ],
)
def test_which_disks_are_on_a_network(folder: str, kind: str, network: bool) -> None:
    assert kind_of_disk(Path(folder), MOUNTS) == kind
    assert on_network(kind) is network


def test_a_network_disk_is_refused(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(journal_file, "kind_of_disk", lambda folder: "nfs4")
    error = refusal(path)
    assert (error.code.code, "`state`" in error.fix) == ("PSH148", True)


def test_the_answer_to_write_ahead_logging_is_looked_at(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """SQLite's `unix-dotfile` has no shared memory, hence no write-ahead logging (sqlite.org/vfs.html 2.1)."""
    sql(path, "PRAGMA journal_mode=DELETE")
    connect = sqlite3.connect

    def without_memory(where: Any, **more: Any) -> sqlite3.Connection:
        return connect(f"{where}&vfs=unix-dotfile", **more)

    monkeypatch.setattr(journal_file.sqlite3, "connect", without_memory)
    assert refusal(path).code.code == "PSH148"


# -------------------------------------------------------------------- an older form
@pytest.fixture
def unsealed(quick_path: Path) -> Path:
    """A journal of form 1, with the same push."""
    path = quick_path / "journal.db"
    with closing(sqlite3.connect(path)) as db:
        db.executescript(FORM_1)
        db.execute("PRAGMA journal_mode=WAL")
        db.execute(
            "INSERT INTO push (id, plan, began_at_s, phase) VALUES (?, ?, 10.0, 'running')",
            (PLAN.id, write_plan(PLAN)),
        )
        for event in (Resumed(10.0), Resumed(11.0)):
            row = (PLAN.id, event.at_s, *write_event(event))
            db.execute("INSERT INTO event (push, at_s, kind, body) VALUES (?, ?, ?, ?)", row)
        db.execute("INSERT INTO request (push, at_s, word, nodes) VALUES (?, 12.0, 'hold', '[]')", (PLAN.id,))
        db.commit()
    return path


def test_a_journal_of_before_is_read_as_it_is_and_sealed_by_the_next_runner(unsealed: Path) -> None:
    journal = Journal.open_if_there(unsealed)
    assert journal is not None
    with journal:
        before = all_of(journal)
        number = journal.request(PLAN.id, Requested(13.0, RequestKind.GO_ON))
        assert [one.id for one in journal.open_requests(PLAN.id)] == [1, number]
        assert journal._db.execute("PRAGMA user_version").fetchone() == (1,)
    with Journal.open(unsealed) as journal:
        after = all_of(journal)
        assert after[:5] == before[:5]
        assert len(journal.open_requests(PLAN.id)) == 2
        assert journal._db.execute("SELECT adopted FROM head").fetchone() == (2,), (
            "that had no seal until now"
        )
        journal.append(PLAN.id, [Resumed(14.0)], journal.state(PLAN.id), [1])
        assert [one.id for one in journal.open_requests(PLAN.id)] == [2]
    witness = read_witness(unsealed)
    assert witness is not None
    assert witness.commits == 1
    sql(unsealed, "UPDATE event SET at_s=1.0 WHERE seq=1")
    assert refusal(unsealed).code.code == "PSH141"


def test_a_copy_of_before_that_is_put_back_lacks_what_came_since(unsealed: Path) -> None:
    """It was taken before the new version sealed the journal. What was pushed since is not forgotten in silence."""
    copy = unsealed.read_bytes()
    with Journal.open(unsealed) as journal:
        journal.append(PLAN.id, [Resumed(14.0)], journal.state(PLAN.id))
    unsealed.write_bytes(copy)
    assert refusal(unsealed).code.code == "PSH143"
    witness_path(unsealed).unlink()  # as the code's advice is
    with Journal.open(unsealed) as journal:
        assert journal.unfinished() == PLAN.id


def test_what_is_asked_while_the_next_runner_seals_the_journal_is_sealed_too(unsealed: Path) -> None:
    """`hold` opens the journal of before, `resume` brings it up, `hold` writes."""
    holding = Journal.open_if_there(unsealed)
    assert holding is not None
    with holding, Journal.open(unsealed) as runner:
        number = holding.request(PLAN.id, Requested(13.0, RequestKind.GO_ON))
        assert [one.id for one in runner.open_requests(PLAN.id)] == [1, number]
    with Journal.open(unsealed) as journal:
        all_of(journal)


def test_a_journal_that_is_sealed_while_it_is_opened_is_not_called_damaged(
    unsealed: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another process brings it up between two of the questions that opening asks."""
    connected = journal_file._connected

    class Between(sqlite3.Connection):
        sealed_by_another = False

        def execute(self, statement: str, *values: Any) -> sqlite3.Cursor:  # type: ignore[override]
            if "sqlite_schema" in statement and not self.sealed_by_another:
                self.sealed_by_another = True
                with closing(connected(unsealed)) as other:
                    journal_file._seal_all(other, unsealed)
            return super().execute(statement, *values)

    def slow(path: Path) -> sqlite3.Connection:
        return sqlite3.connect(path, factory=Between, isolation_level=None)

    monkeypatch.setattr(journal_file, "_connected", slow)
    with Journal.reading(unsealed) as journal:
        assert journal is not None
        assert journal.unfinished() == PLAN.id


def test_a_sealed_journal_is_not_taken_for_one_of_before(path: Path) -> None:
    sql(path, "PRAGMA user_version=1")
    assert refusal(path).code.code == "PSH108"
