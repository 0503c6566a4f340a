"""The push journal: SQLite in WAL mode, synchronous=FULL. What is committed here survives kill -9 and a
power cut.

Every event is committed before the commands that follow from it are done, so the fold of the events
(engine.py) holds each intent (`NodeProgress.pending`) before its action, and each outcome after it. Events
that come together are committed together. One runner writes (lock.py); other commands read, and append
requests. Each record is sealed (journal_seal.py): what was altered or dropped is refused, with its own code.
"""

from __future__ import annotations

import json
import sqlite3
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from fleet.errors import PlanError, PushError
from fleet.push.codes import ALREADY_PUSHED, NO_SUCH_PUSH
from fleet.push.engine import fold, step
from fleet.push.events import Began, Event, Requested, RequestKind, read_event, write_event
from fleet.push.journal_codes import ALTERED_JOURNAL
from fleet.push.journal_errors import about, broken
from fleet.push.journal_file import VERSION, opened, read_head, write_head, write_push_seal
from fleet.push.journal_seal import sealed, sha256, write_witness
from fleet.push.outcome import NodeOutcome, outcomes, read_outcomes, write_outcomes
from fleet.push.plan import Plan, read_plan, write_plan
from fleet.push.state import PushPhase, PushState, fresh

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from pathlib import Path
    from types import TracebackType
    from typing import Self

_OF_NOBODY = sha256(write_outcomes(()))
_PUSH_SEAL = "push, began_at_s, phase, ended_at_s, plan, outcome, events, last"


@dataclass(frozen=True, slots=True)
class PushRecord:
    """One push of the journal. `phase` is that of the fold of its events."""

    id: str
    began_at_s: float
    phase: PushPhase
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


@dataclass(frozen=True, slots=True)
class _Sealed:
    """How a push stands, as it was sealed: `plan` and `outcome` by their SHA-256, the number of its events, the seal
    of the last one."""

    push: str
    began_at_s: float
    phase: str
    ended_at_s: float | None
    plan: str
    outcome: str | None
    events: int
    last: str

    @property
    def facts(self) -> tuple[str, float, str, float | None, str, str | None, int, str]:
        return (
            self.push,
            self.began_at_s,
            self.phase,
            self.ended_at_s,
            self.plan,
            self.outcome,
            self.events,
            self.last,
        )


class Journal:
    """An open journal; used in a `with`, or closed. `on_commit` is called before and after each commit ("before",
    "after"). Every method: PushError or LockedError if the journal cannot be read or written."""

    def __init__(
        self, connection: sqlite3.Connection, path: Path, form: int, on_commit: Callable[[str], None]
    ) -> None:
        self._db = connection
        self._path = path
        self._seals = form == VERSION
        self._on_commit = on_commit

    @classmethod
    def open(cls, path: Path, on_commit: Callable[[str], None] = lambda when: None) -> Journal:
        """The journal at that path, made if it is not there, and brought to this version's form."""
        found = opened(path, make=True)
        assert found is not None  # noqa: S101
        return cls(found[0], path, found[1], on_commit)

    @classmethod
    def open_if_there(cls, path: Path) -> Journal | None:
        """The journal at that path, in the form that it has; None if nothing was ever pushed."""
        found = opened(path, make=False)
        return cls(found[0], path, found[1], lambda when: None) if found else None

    @classmethod
    @contextmanager
    def reading(cls, path: Path) -> Iterator[Journal | None]:
        """As `open_if_there`, closed at the end."""
        journal = cls.open_if_there(path)
        if journal is None:
            yield None
            return
        with journal:
            yield journal

    def close(self) -> None:
        """Close it; what was committed stays."""
        self._db.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    # ---------------------------------------------------------------- reading
    def pushes(self) -> list[PushRecord]:
        """All pushes, oldest first; but for those of nothing, which older versions began."""
        if self._seals:
            rows = self._rows(f"SELECT {_PUSH_SEAL}, seal FROM push_seal ORDER BY began_at_s, number")  # noqa: S608
            found = [self._checked(row) for row in rows]
        else:
            rows = self._rows(
                "SELECT id, began_at_s, phase, ended_at_s, outcome FROM push ORDER BY began_at_s, rowid"
            )
            found = [
                _Sealed(push, began_at_s, phase, ended_at_s, "", outcome and sha256(str(outcome)), 0, "")
                for push, began_at_s, phase, ended_at_s, outcome in rows
            ]
        return [
            self._record(one.push, one.began_at_s, one.phase, one.ended_at_s)
            for one in found
            if not self._updates_nobody(one)
        ]

    def unfinished(self) -> str | None:
        """The id of the push that is under way; there is at most one."""
        return next((record.id for record in self.pushes() if not record.ended), None)

    def has(self, push: str) -> bool:
        """Whether there is such a push."""
        return any(record.id == push for record in self.pushes())

    def plan(self, push: str) -> Plan:
        """The plan of a push. PushError if there is none of that id, or it cannot be read."""
        text = self._text_of(push, "plan")
        if text is None:
            raise PushError(NO_SUCH_PUSH, f"there is no push {push!r}")
        try:
            return read_plan(text)
        except PlanError as error:
            raise self._broken(f"the plan of push {push}: {error.what}") from error

    def events(self, push: str) -> list[Event]:
        """The events of a push, in order. PushError if one cannot be read, or is missing."""
        seal = "seal" if self._seals else "NULL"
        sql = f"SELECT seq, at_s, kind, body, {seal} FROM event WHERE push=? ORDER BY seq"  # noqa: S608
        with self._one_look():
            rows, stands = self._rows(sql, push), self._stands(push)
        last = stands.plan if stands else ""
        events: list[Event] = []
        for seq, at_s, kind, body, said in rows:
            if stands:
                last = sealed(last, push, len(events), at_s, kind, body)
                if said != last:
                    raise self._altered(f"event {seq} of push {push}")
            try:
                events.append(read_event(kind, body))
            except (ValueError, TypeError, KeyError, AttributeError) as error:
                raise self._broken(f"event {seq} of push {push}: {error}") from error
        if stands and (len(events), last) != (stands.events, stands.last):
            raise self._altered(
                f"{stands.events} events of push {push} were sealed, {len(events)} are there:"
            )
        return events

    def state(self, push: str) -> PushState:
        """How a push stands: the fold of its events."""
        return fold(fresh(self.plan(push)), self.events(push))

    def outcomes(self, push: str) -> tuple[NodeOutcome, ...]:
        """How each node of a push stands; of an ended push, as it was written down then."""
        text = self._text_of(push, "outcome")
        if text is None:
            return outcomes(self.state(push))
        try:
            return read_outcomes(text)
        except (ValueError, TypeError, KeyError, AttributeError) as error:
            raise self._broken(f"what came of push {push}: {error}") from error

    def open_requests(self, push: str) -> list[Request]:
        """What was asked of a push and not yet taken in, in order."""
        found = []
        for number, of_push, at_s, word, nodes, taken, _ in self._requests():
            if of_push == push and not taken:
                found.append(Request(number, self._said(number, at_s, word, nodes)))
        return found

    def is_taken(self, request: int) -> bool:
        """Whether the runner has taken in that request."""
        return any(row[0] == request and row[5] for row in self._requests())

    # ---------------------------------------------------------------- writing
    def begin(self, plan: Plan, at_s: float) -> None:
        """Write down that a plan is pushed from now on. PushError if it was pushed before."""
        if self.has(plan.id):
            raise PushError(ALREADY_PUSHED, f"plan {plan.id} was already pushed")
        began = Began(at_s)
        after, _ = step(fresh(plan), began)
        text = write_plan(plan)
        with self._commit(pushes=1):
            self._db.execute(
                "INSERT INTO push (id, plan, began_at_s, phase) VALUES (?, ?, ?, ?)",
                (plan.id, text, at_s, after.phase),
            )
            stands = _Sealed(plan.id, at_s, after.phase.value, None, sha256(text), None, 0, sha256(text))
            self._add_events(stands, [began])

    def append(self, push: str, events: Sequence[Event], after: PushState, taken: Sequence[int] = ()) -> None:
        """Commit these events together, with the phase that the push has after them, and the requests
        taken in."""
        ended_at_s = float(after.now_s) if after.ended else None
        outcome = write_outcomes(outcomes(after)) if after.ended else None
        with self._commit():
            stands = self._stands(push)
            if stands is None:
                raise PushError(NO_SUCH_PUSH, f"there is no push {push!r}")
            if (stands.phase, stands.ended_at_s, outcome) != (after.phase, ended_at_s, None):
                self._db.execute(  # only then: the row holds the whole plan, and would be written anew
                    "UPDATE push SET phase=?, ended_at_s=?, outcome=? WHERE id=?",
                    (after.phase, ended_at_s, outcome, push),
                )
            of_outcome = None if outcome is None else sha256(outcome)
            now = replace(stands, phase=after.phase.value, ended_at_s=ended_at_s, outcome=of_outcome)
            self._add_events(now, events)
            for row in self._requests() if taken else ():
                if row[0] in taken:
                    seal = sealed(*row[:5], 1)
                    self._db.execute("UPDATE request SET taken=1, seal=? WHERE id=?", (seal, row[0]))

    def request(self, push: str, event: Requested) -> int:
        """Ask something of a push that another process runs; the request's number."""
        row = (push, float(event.at_s), event.word.value, json.dumps(event.nodes))
        with self._commit(requests=1):
            sql = "INSERT INTO request (push, at_s, word, nodes) VALUES (?, ?, ?, ?)"
            number = int(self._db.execute(sql, row).lastrowid or 0)
            if self._seals:
                self._db.execute("UPDATE request SET seal=? WHERE id=?", (sealed(number, *row, 0), number))
        return number

    # ---------------------------------------------------------------- inside
    def _rows(self, sql: str, *values: object) -> list[Any]:
        with about(self._path):
            return self._db.execute(sql, values).fetchall()

    @contextmanager
    def _one_look(self) -> Iterator[None]:
        """Read several things as they are at one moment, while another process may write."""
        if self._db.in_transaction:
            yield
            return
        with about(self._path):
            self._db.execute("BEGIN")
            try:
                yield
            finally:
                self._db.execute("ROLLBACK")

    def _checked(self, row: Sequence[Any]) -> _Sealed:
        """A row of `push_seal`, once it has been found as it was sealed."""
        stands = _Sealed(*row[:8])
        if sealed(*stands.facts) != row[8]:
            raise self._altered(f"push {stands.push}")
        return stands

    def _stands(self, push: str) -> _Sealed | None:
        """How a push was sealed; None if there is no such push, or there are no seals."""
        if not self._seals:
            return None
        rows = self._rows(f"SELECT {_PUSH_SEAL}, seal FROM push_seal WHERE push=?", push)  # noqa: S608
        return self._checked(rows[0]) if rows else None

    def _updates_nobody(self, stands: _Sealed) -> bool:
        """Whether its plan updates no node. Such a push was done with its begin, and its end was never written down
        but by a later `resume`; so the plan need not be read of any other."""
        if stands.ended_at_s is not None:
            return stands.outcome == _OF_NOBODY
        return stands.phase == PushPhase.DONE and not self.plan(stands.push).waves

    def _record(self, push: str, began_at_s: float, phase: str, ended_at_s: float | None) -> PushRecord:
        try:
            return PushRecord(push, began_at_s, PushPhase(phase), ended_at_s)
        except ValueError as error:
            raise self._broken(f"push {push}: {error}") from error

    def _text_of(self, push: str, column: str) -> str | None:
        """The plan or the outcome of a push, as it was sealed; None if there is none."""
        with self._one_look():
            rows, stands = self._rows(f"SELECT {column} FROM push WHERE id=?", push), self._stands(push)  # noqa: S608
        text = rows[0][0] if rows else None
        wanted = getattr(stands, column) if stands else None
        if self._seals and (None if text is None else sha256(str(text))) != wanted:
            raise self._altered(f"the {column} of push {push}")
        return text

    def _requests(self) -> list[Any]:
        """All requests: number, push, time, word, nodes, whether it is taken."""
        seal = "seal" if self._seals else "NULL"
        rows = self._rows(f"SELECT id, push, at_s, word, nodes, taken, {seal} FROM request ORDER BY id")  # noqa: S608
        for row in rows if self._seals else ():
            if sealed(*row[:6]) != row[6]:
                raise self._altered(f"request {row[0]}")
        return rows

    def _said(self, number: int, at_s: float, word: str, nodes: str) -> Requested:
        try:
            return Requested(at_s, RequestKind(word), tuple(json.loads(nodes)))
        except (ValueError, TypeError) as error:
            raise self._broken(f"request {number}: {error}") from error

    def _add_events(self, stands: _Sealed, events: Sequence[Event]) -> None:
        """Within a transaction: add the events, sealed, and seal the push anew."""
        last = stands.last
        for number, event in enumerate(events, start=stands.events):
            kind, body = write_event(event)
            at_s = float(event.at_s)
            last = sealed(last, stands.push, number, at_s, kind, body)
            self._db.execute(
                "INSERT INTO event (push, at_s, kind, body, seal) VALUES (?, ?, ?, ?, ?)",
                (stands.push, at_s, kind, body, last),
            )
        now = replace(
            stands, began_at_s=float(stands.began_at_s), events=stands.events + len(events), last=last
        )
        write_push_seal(self._db, now.facts)

    @contextmanager
    def _commit(self, *, pushes: int = 0, requests: int = 0) -> Iterator[None]:
        """One transaction, counted in the head and in the file beside. An error takes all of it back."""
        head = None
        with about(self._path):
            self._db.execute("BEGIN IMMEDIATE")
            try:
                self._look_at_form()
                yield
                if self._seals:
                    before = read_head(self._db, self._path)
                    head = replace(
                        before,
                        commits=before.commits + 1,
                        pushes=before.pushes + pushes,
                        requests=before.requests + requests,
                    )
                    write_head(self._db, head)
                self._on_commit("before")
                self._db.execute("COMMIT")
            except BaseException:
                with suppress(sqlite3.Error):
                    self._db.execute("ROLLBACK")
                raise
        if head is not None:
            write_witness(self._path, head)
        self._on_commit("after")

    def _look_at_form(self) -> None:
        """Within a transaction: whether the journal has seals by now. `resume` may have brought it up since it was
        opened here, and a record without a seal would make it a damaged one."""
        self._seals = self._seals or self._db.execute("PRAGMA user_version").fetchone()[0] == VERSION

    def _broken(self, what: str) -> PushError:
        return broken(self._path, what)

    def _altered(self, what: str) -> PushError:
        return broken(self._path, f"{what} does not match its checksum", ALTERED_JOURNAL)
