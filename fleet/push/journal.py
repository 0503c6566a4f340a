"""The push journal: SQLite in WAL mode, synchronous=FULL. What is committed here survives kill -9 and a
power cut.

Every event is committed before the commands that follow from it are done, so the fold of the events
(engine.py) holds each intent (`NodeProgress.pending`) before its action, and each outcome after it. Events
that come together are committed together. One runner writes (lock.py); other commands read, and append
requests.
"""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fleet.errors import PlanError, PushError
from fleet.limits import JOURNAL_BUSY_S
from fleet.push.codes import ALREADY_PUSHED, DAMAGED_JOURNAL, NO_SUCH_PUSH
from fleet.push.engine import fold, step
from fleet.push.events import Began, Event, Requested, Word, read_event, write_event
from fleet.push.outcome import NodeOutcome, outcomes, read_outcomes, write_outcomes
from fleet.push.plan import Plan, read_plan, write_plan
from fleet.push.state import Phase, PushState, fresh

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

VERSION = 1
_TABLES = """
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
"""


@dataclass(frozen=True, slots=True)
class PushRecord:
    """One push of the journal. `phase` is that of the fold of its events."""

    id: str
    began_at_s: float
    phase: Phase
    ended_at_s: float | None

    @property
    def ended(self) -> bool:
        """Whether nothing is under way."""
        return self.ended_at_s is not None


@dataclass(frozen=True, slots=True)
class Request:
    """What a person said to a push, and whether its runner has taken it in."""

    id: int
    event: Requested


class Journal:
    """An open journal. `on_commit` is called before and after each commit ("before", "after")."""

    def __init__(self, connection: sqlite3.Connection, on_commit: Callable[[str], None]) -> None:
        self._db = connection
        self._on_commit = on_commit

    @classmethod
    def open(cls, path: Path, on_commit: Callable[[str], None] = lambda when: None) -> Journal:
        """The journal at that path, made if it is not there. PushError if it cannot be read."""
        path.parent.mkdir(parents=True, exist_ok=True)
        try:
            db = sqlite3.connect(path, timeout=JOURNAL_BUSY_S, isolation_level=None, check_same_thread=False)
            db.execute("PRAGMA journal_mode=WAL")
            db.execute("PRAGMA synchronous=FULL")
            db.execute("PRAGMA foreign_keys=ON")
            version = _prepare(db)
        except sqlite3.DatabaseError as error:
            raise PushError(DAMAGED_JOURNAL, f"{path}: {error}") from error
        if version != VERSION:
            raise PushError(DAMAGED_JOURNAL, f"{path} has form {version}, this tool knows form {VERSION}")
        return cls(db, on_commit)

    @classmethod
    def open_if_there(cls, path: Path) -> Journal | None:
        """The journal at that path; None if nothing was ever pushed. Nothing is written."""
        return cls.open(path) if path.exists() else None

    def close(self) -> None:
        """Close it; what was committed stays."""
        self._db.close()

    # ---------------------------------------------------------------- reading
    def pushes(self) -> list[PushRecord]:
        """All pushes, oldest first."""
        rows = self._db.execute(
            "SELECT id, began_at_s, phase, ended_at_s FROM push ORDER BY began_at_s, rowid"
        )
        return [PushRecord(i, began, Phase(phase), ended) for i, began, phase, ended in rows]

    def unfinished(self) -> str | None:
        """The id of the push that is under way; there is at most one."""
        row = self._db.execute("SELECT id FROM push WHERE ended_at_s IS NULL").fetchone()
        return row[0] if row else None

    def has(self, push: str) -> bool:
        """Whether there is such a push."""
        return self._db.execute("SELECT 1 FROM push WHERE id=?", (push,)).fetchone() is not None

    def plan(self, push: str) -> Plan:
        """The plan of a push. PushError if there is none of that id, or it cannot be read."""
        row = self._db.execute("SELECT plan FROM push WHERE id=?", (push,)).fetchone()
        if row is None:
            raise PushError(NO_SUCH_PUSH, f"there is no push {push!r}")
        try:
            return read_plan(row[0])
        except PlanError as error:
            raise PushError(DAMAGED_JOURNAL, f"the plan of push {push}: {error.what}") from error

    def events(self, push: str) -> list[Event]:
        """The events of a push, in order. PushError if one cannot be read."""
        rows = self._db.execute("SELECT seq, kind, body FROM event WHERE push=? ORDER BY seq", (push,))
        events: list[Event] = []
        for seq, kind, body in rows:
            try:
                events.append(read_event(kind, body))
            except (ValueError, TypeError, KeyError) as error:
                raise PushError(DAMAGED_JOURNAL, f"event {seq} of push {push}: {error}") from error
        return events

    def state(self, push: str) -> PushState:
        """How a push stands: the fold of its events."""
        return fold(fresh(self.plan(push)), self.events(push))

    def outcomes(self, push: str) -> tuple[NodeOutcome, ...]:
        """How each node of a push stands; of an ended push, as it was written down then."""
        row = self._db.execute("SELECT outcome FROM push WHERE id=?", (push,)).fetchone()
        if row is not None and row[0] is not None:
            return read_outcomes(row[0])
        return outcomes(self.state(push))

    def open_requests(self, push: str) -> list[Request]:
        """What was asked of a push and not yet taken in, in order."""
        rows = self._db.execute(
            "SELECT id, at_s, word, nodes FROM request WHERE push=? AND taken=0 ORDER BY id", (push,)
        )
        return [
            Request(i, Requested(at_s, Word(word), tuple(json.loads(nodes)))) for i, at_s, word, nodes in rows
        ]

    def is_taken(self, request: int) -> bool:
        """Whether the runner has taken in that request."""
        row = self._db.execute("SELECT taken FROM request WHERE id=?", (request,)).fetchone()
        return bool(row and row[0])

    # ---------------------------------------------------------------- writing
    def begin(self, plan: Plan, at_s: float) -> None:
        """Write down that a plan is pushed from now on. PushError if it was pushed before."""
        if self.has(plan.id):
            raise PushError(ALREADY_PUSHED, f"plan {plan.id} was pushed already")
        began = Began(at_s)
        after, _ = step(fresh(plan), began)
        with closing(self._db.cursor()) as cursor:
            cursor.execute("BEGIN IMMEDIATE")
            cursor.execute(
                "INSERT INTO push (id, plan, began_at_s, phase) VALUES (?, ?, ?, ?)",
                (plan.id, write_plan(plan), at_s, after.phase),
            )
            cursor.execute(
                "INSERT INTO event (push, at_s, kind, body) VALUES (?, ?, ?, ?)",
                (plan.id, at_s, *write_event(began)),
            )
            self._commit(cursor)

    def append(self, push: str, events: Sequence[Event], after: PushState, taken: Sequence[int] = ()) -> None:
        """Commit these events together, with the phase that the push has after them, and the requests
        taken in."""
        ended_at_s = after.now_s if after.ended else None
        outcome = write_outcomes(outcomes(after)) if after.ended else None
        with closing(self._db.cursor()) as cursor:
            cursor.execute("BEGIN IMMEDIATE")
            cursor.executemany(
                "INSERT INTO event (push, at_s, kind, body) VALUES (?, ?, ?, ?)",
                [(push, event.at_s, *write_event(event)) for event in events],
            )
            cursor.execute(
                "UPDATE push SET phase=?, ended_at_s=?, outcome=? WHERE id=?",
                (after.phase, ended_at_s, outcome, push),
            )
            cursor.executemany("UPDATE request SET taken=1 WHERE id=?", [(request,) for request in taken])
            self._commit(cursor)

    def request(self, push: str, event: Requested) -> int:
        """Ask something of a push that another process runs; the request's number."""
        with closing(self._db.cursor()) as cursor:
            cursor.execute(
                "INSERT INTO request (push, at_s, word, nodes) VALUES (?, ?, ?, ?)",
                (push, event.at_s, event.word, json.dumps(event.nodes)),
            )
            return int(cursor.lastrowid or 0)

    def _commit(self, cursor: sqlite3.Cursor) -> None:
        self._on_commit("before")
        cursor.execute("COMMIT")
        self._on_commit("after")


def _prepare(db: sqlite3.Connection) -> int:
    """The form of the journal; a new one gets its tables, whoever of several processes comes first."""

    def form() -> int:
        return int(db.execute("PRAGMA user_version").fetchone()[0])

    if form() == 0:
        db.execute("BEGIN IMMEDIATE")
        if form() == 0:
            for statement in _TABLES.split(";"):
                db.execute(statement)
            db.execute(f"PRAGMA user_version={VERSION}")
        db.execute("COMMIT")
    return form()
