"""The file of the journal: making it, opening it, looking whether it is sound, bringing an older form up."""

from __future__ import annotations

import os
import secrets
import sqlite3
from contextlib import closing, suppress
from typing import TYPE_CHECKING, Final

from fleet.durable import beside_of, left_behind, place_new, sync_folder
from fleet.limits import JOURNAL_BUSY_S
from fleet.push import journal_codes as codes
from fleet.push.disk import kind_of_disk, on_network
from fleet.push.journal_errors import about, broken
from fleet.push.journal_seal import (
    Head,
    Witness,
    read_witness,
    sealed,
    sha256,
    witness_path,
    write_witness,
)

if TYPE_CHECKING:
    from pathlib import Path

VERSION: Final = 2
UNSEALED: Final = 1
"""The form of before there were seals."""
_BEGINS_WITH: Final = b"SQLite format 3\x00"
"""The first 16 bytes of every database (sqlite.org/fileformat.html 1.3.1)."""
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
)
"""
_SEALS = """
ALTER TABLE event ADD COLUMN seal TEXT;
ALTER TABLE request ADD COLUMN seal TEXT;
CREATE TABLE push_seal (
    number INTEGER PRIMARY KEY, push TEXT NOT NULL UNIQUE REFERENCES push (id), began_at_s REAL NOT NULL,
    phase TEXT NOT NULL, ended_at_s REAL, plan TEXT NOT NULL, outcome TEXT,
    events INTEGER NOT NULL, last TEXT NOT NULL, seal TEXT NOT NULL
);
CREATE TABLE head (
    one INTEGER PRIMARY KEY CHECK (one = 1), name TEXT NOT NULL, commits INTEGER NOT NULL, pushes INTEGER NOT NULL,
    requests INTEGER NOT NULL, adopted INTEGER NOT NULL, seal TEXT NOT NULL
)
"""


def opened(path: Path, *, make: bool) -> tuple[sqlite3.Connection, int] | None:
    """The journal at that path and its form, looked through whether it is sound; None if nothing was ever pushed.

    With `make` it is made if it is not there, and one of an older form is brought up to VERSION: only who holds the
    runner's lock may ask for that. PushError or LockedError say what is wrong with it.
    """
    witness = read_witness(path)  # before the journal, which may go on meanwhile
    there = _there(path, witness)
    if not there and not make:
        return None
    refuse_network(path)
    if not there:
        _make(path)
    with about(path):
        db = _connected(path)
        try:
            form = _sound(db, path, witness)
            if form == UNSEALED and make:
                _seal_all(db, path)
                form = VERSION
        except BaseException:
            db.close()
            raise
    return db, form


def refuse_network(path: Path) -> None:
    """PushError (PSH148) if the folder of the journal lies on a network disk."""
    kind = kind_of_disk(path.parent)
    if on_network(kind):
        raise broken(path, f"its disk is of the kind {kind}", codes.JOURNAL_ON_NETWORK)


def read_head(db: sqlite3.Connection, path: Path) -> Head:
    """What the journal says of itself. PushError if that is not what was sealed."""
    row = db.execute("SELECT name, commits, pushes, requests, adopted, seal FROM head").fetchone()
    head = Head(*row[:5]) if row else None
    if head is None or head.seal != row[5]:
        raise broken(path, "the count of its commits does not match its checksum", codes.ALTERED_JOURNAL)
    return head


def write_head(db: sqlite3.Connection, head: Head) -> None:
    """Replace it, within a transaction."""
    db.execute(
        "INSERT OR REPLACE INTO head (one, name, commits, pushes, requests, adopted, seal)"
        " VALUES (1, ?, ?, ?, ?, ?, ?)",
        (head.name, head.commits, head.pushes, head.requests, head.adopted, head.seal),
    )


def _there(path: Path, witness: Witness | None) -> bool:
    """Whether there is a journal. PushError if it is empty, gone, or no database."""
    try:
        with path.open("rb") as file:
            first = file.read(len(_BEGINS_WITH))
    except FileNotFoundError:
        wal = path.with_name(f"{path.name}-wal")
        left = [one for one in (witness_path(path), wal) if one.exists() and one.stat().st_size]
        if left:
            raise broken(path, f"it is missing, but {left[0].name} exists", codes.EMPTY_JOURNAL) from None
        return False
    except PermissionError as error:
        raise broken(path, error.strerror or "no access", codes.JOURNAL_READ_ONLY) from error
    except IsADirectoryError as error:
        raise broken(path, "it is a folder", codes.NOT_A_JOURNAL) from error
    if not first:
        known = f", and {witness.commits} commits were made" if witness else ""
        raise broken(path, f"it has 0 bytes{known}", codes.EMPTY_JOURNAL)
    if first != _BEGINS_WITH:
        raise broken(path, "it does not begin like a database", codes.NOT_A_JOURNAL)
    return True


def _connected(path: Path) -> sqlite3.Connection:
    """With the settings that survive kill -9 and a power cut. The answer is looked at: where write-ahead logging
    cannot be, SQLite stays in another mode without an error (sqlite.org/wal.html 2)."""
    where = f"{path.absolute().as_uri()}?mode=rw"
    db = sqlite3.connect(
        where, uri=True, timeout=JOURNAL_BUSY_S, isolation_level=None, check_same_thread=False
    )
    try:
        (mode,) = db.execute("PRAGMA journal_mode=WAL").fetchone()
        if mode != "wal":
            what = f"write-ahead logging is refused on its disk ({kind_of_disk(path.parent)}); the mode stays {mode}"
            raise broken(path, what, codes.JOURNAL_ON_NETWORK)
        db.execute("PRAGMA synchronous=FULL")
        db.execute("PRAGMA foreign_keys=ON")
    except BaseException:
        db.close()
        raise
    return db


def _make(path: Path) -> None:
    """A new journal appears whole: made beside, synced, and linked to its place, which fails if another process was
    first. So a journal without content is always a damaged one."""
    with about(path):
        path.parent.mkdir(parents=True, exist_ok=True)
        for old in left_behind(path):
            _remove(old)
        beside = beside_of(path)
        _remove(beside)
        head = Head(secrets.token_hex(8), 0, 0, 0, 0)
        try:
            _write_new(beside, head)
            _synced(beside)
            if place_new(beside, path):
                sync_folder(path.parent)
                write_witness(path, head, first=True)
        finally:
            _remove(beside)


def _write_new(path: Path, head: Head) -> None:
    with closing(sqlite3.connect(path, isolation_level=None)) as db:
        db.execute("PRAGMA journal_mode=MEMORY")
        db.execute("BEGIN IMMEDIATE")
        for statement in (*_TABLES.split(";"), *_SEALS.split(";")):
            db.execute(statement)
        write_head(db, head)
        db.execute(f"PRAGMA user_version={VERSION}")
        db.execute("COMMIT")
        db.execute("PRAGMA journal_mode=WAL")  # before others have it open, who would stand in the way


def _remove(beside: Path) -> None:
    for end in ("", "-wal", "-shm"):
        with suppress(OSError):
            beside.with_name(f"{beside.name}{end}").unlink()


def _synced(path: Path) -> None:
    handle = os.open(path, os.O_RDONLY | os.O_CLOEXEC)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


# -------------------------------------------------------------------- looking through it
def _sound(db: sqlite3.Connection, path: Path, witness: Witness | None) -> int:
    """The form of the journal, once its pages and its own counts have been found right."""
    form, names = _form_and_tables(db)
    if form == 0 or not {"push", "event", "request"} <= names:
        raise broken(path, "a database with other tables", codes.NOT_A_JOURNAL)
    if form not in (UNSEALED, VERSION):
        what = f"it has format {form}, this tool knows formats {UNSEALED} to {VERSION}"
        raise broken(path, what, codes.NEWER_JOURNAL)
    if (form == VERSION) is not ("head" in names):
        raise broken(path, f"it claims format {form}, but has the tables of another")
    (said,) = db.execute("PRAGMA quick_check(1)").fetchone()
    if said != "ok":
        raise broken(path, str(said).replace("\n", " "))
    if form == VERSION:
        _counted(db, path, witness)
    elif witness is not None:  # it is written only after the journal got seals
        what = f"it is of before there were checksums, and {witness_path(path).name} counts {witness.commits} commits"
        raise broken(path, f"{what} since", codes.SHORT_JOURNAL)
    return int(form)


def _form_and_tables(db: sqlite3.Connection) -> tuple[int, set[str]]:
    """Both at one moment: another process may be bringing the journal up to this version's form."""
    db.execute("BEGIN")
    try:
        (form,) = db.execute("PRAGMA user_version").fetchone()
        names = db.execute("SELECT name FROM sqlite_schema WHERE type='table'").fetchall()
    finally:
        db.execute("ROLLBACK")
    return int(form), {name for (name,) in names}


def _counted(db: sqlite3.Connection, path: Path, witness: Witness | None) -> None:
    """The counts, and what the file beside says, against what is there; in one look, for others may write meanwhile."""
    db.execute("BEGIN")
    try:
        head = read_head(db, path)
        counts = [
            db.execute(f"SELECT count(*), coalesce(max({key}), 0) FROM {table}").fetchone()  # noqa: S608
            for table, key in (("push_seal", "number"), ("request", "id"))
        ]
    finally:
        db.execute("ROLLBACK")
    for wanted, (count, last), what in zip(
        (head.pushes, head.requests), counts, ("pushes", "requests"), strict=True
    ):
        if (count, last) != (wanted, wanted):
            raise broken(path, f"{wanted} {what} were sealed, {count} are there", codes.ALTERED_JOURNAL)
    if witness is None:
        return
    if witness.name != head.name:
        what = f"{witness_path(path).name} tells of another journal"
        raise broken(path, what, codes.SHORT_JOURNAL)
    behind = witness.commits - head.commits
    if behind > 0 or (behind == 0 and witness.seal != head.seal):
        raise broken(path, f"{max(1, behind)} of {witness.commits} commits are missing", codes.SHORT_JOURNAL)


# -------------------------------------------------------------------- an older form
def _seal_all(db: sqlite3.Connection, path: Path) -> None:
    """Bring form 1 up: seal what is there as it was found, and keep the count of what had no seal until now."""
    db.execute("BEGIN IMMEDIATE")
    try:
        if db.execute("PRAGMA user_version").fetchone()[0] != UNSEALED:  # another process was first
            db.execute("ROLLBACK")
            return
        for statement in _SEALS.split(";"):
            db.execute(statement)
        pushes = db.execute(
            "SELECT id, began_at_s, phase, ended_at_s FROM push ORDER BY began_at_s, rowid"
        ).fetchall()
        adopted = 0
        for row in pushes:
            adopted += _seal_push(db, *row)
        requests = db.execute("SELECT id, push, at_s, word, nodes, taken FROM request ORDER BY id").fetchall()
        for number, row in enumerate(requests, start=1):
            db.execute(
                "UPDATE request SET id=?, seal=? WHERE id=?", (number, sealed(number, *row[1:]), row[0])
            )
        db.execute("UPDATE sqlite_sequence SET seq=? WHERE name='request'", (len(requests),))
        head = Head(secrets.token_hex(8), 0, len(pushes), len(requests), adopted)
        write_head(db, head)
        db.execute(f"PRAGMA user_version={VERSION}")
        db.execute("COMMIT")
    except BaseException:
        with suppress(sqlite3.Error):
            db.execute("ROLLBACK")
        raise
    write_witness(path, head, first=True)


def _seal_push(
    db: sqlite3.Connection, push: str, began_at_s: float, phase: str, ended_at_s: float | None
) -> int:
    """Seal one push and its events; how many events there are."""
    plan, outcome = db.execute("SELECT plan, outcome FROM push WHERE id=?", (push,)).fetchone()
    of_plan, of_outcome = sha256(plan), None if outcome is None else sha256(outcome)
    last, events = of_plan, 0
    rows = db.execute("SELECT seq, at_s, kind, body FROM event WHERE push=? ORDER BY seq", (push,)).fetchall()
    for events, (seq, at_s, kind, body) in enumerate(rows, start=1):
        last = sealed(last, push, events - 1, at_s, kind, body)
        db.execute("UPDATE event SET seal=? WHERE seq=?", (last, seq))
    facts = (push, began_at_s, phase, ended_at_s, of_plan, of_outcome, events, last)
    write_push_seal(db, facts)
    return events


def write_push_seal(
    db: sqlite3.Connection, facts: tuple[str, float, str, float | None, str, str | None, int, str]
) -> None:
    """Seal how a push stands, for the first time or again: id, begin, phase, end, the SHA-256 of plan and of outcome,
    the number of its events and the seal of the last one."""
    db.execute(
        "INSERT INTO push_seal (push, began_at_s, phase, ended_at_s, plan, outcome, events, last, seal)"
        " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT (push) DO UPDATE SET phase=excluded.phase,"
        " ended_at_s=excluded.ended_at_s, outcome=excluded.outcome, events=excluded.events, last=excluded.last,"
        " seal=excluded.seal",
        (*facts, sealed(*facts)),
    )
