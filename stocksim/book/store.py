"""The book's file: SQLite, appended to and never changed, safe against two writers, a killed program and a full disk.

A record is acknowledged when `add` returns: it is on the disk then. What a keeper takes back stays in the book with the
mark that it was taken back.
"""

from __future__ import annotations

import datetime as dt
import json
import os
import sqlite3
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from stocksim.errors import Fault, InputError

APPLICATION_ID = 0x53544B53  # "STKS", as SQLite keeps it in a file's head
BUSY_S = 20.0
_GUARDS = tuple(
    f"CREATE TRIGGER {table}_{what.lower()} BEFORE {what} ON {table} "
    "BEGIN SELECT RAISE(ABORT, 'records are never changed'); END"
    for table in ("record", "undone")
    for what in ("UPDATE", "DELETE")
)
# each lifts a book by one version; a step that was shipped is never changed
MIGRATIONS: tuple[tuple[str, ...], ...] = (
    (
        "CREATE TABLE record (number INTEGER PRIMARY KEY, kind TEXT NOT NULL, date TEXT NOT NULL, time TEXT NOT NULL, "
        "of TEXT NOT NULL, held TEXT NOT NULL, note TEXT NOT NULL, entered TEXT NOT NULL, by TEXT NOT NULL, "
        "source TEXT NOT NULL)",
        "CREATE TABLE undone (record INTEGER PRIMARY KEY REFERENCES record (number), at TEXT NOT NULL, "
        "by TEXT NOT NULL)",
        *_GUARDS,
    ),
    ("CREATE TABLE setting (name TEXT PRIMARY KEY, value TEXT NOT NULL)",),
)
_WITH_SETTINGS = 2


@dataclass(frozen=True)
class Record:
    """One dated observation.

    Parameters
    ----------
    kind : str
        One of `stocksim.book.kinds.KINDS`.
    date : date
        For which day.
    of : str
        What it is of, as ``cohorts.perch`` or ``loops.main``; empty for the site.
    held : mapping of str to float or str
        Values by keys of `stocksim.book.kinds.HELD`, in the inside units, and what a kit read in which form.
    time : str
        Time of day as 07:30, empty where not told.
    note : str
        In the keeper's words.
    by, entered, source : str
        Who entered it, when (UTC), and from which file.
    number : int
        Its number in the book, 0 where it is not there yet.
    undone, undone_by : str
        When it was taken back and by whom; empty for a record that holds.
    """

    kind: str
    date: dt.date
    of: str = ""
    held: Mapping[str, float | str] = field(default_factory=dict)
    time: str = ""
    note: str = ""
    by: str = ""
    entered: str = ""
    source: str = ""
    number: int = 0
    undone: str = ""
    undone_by: str = ""

    @property
    def name(self) -> str:
        """Name of what it is of, without its table."""
        return self.of.partition(".")[2]

    @property
    def content(self) -> str:
        """All that was observed: equal for a record that is entered twice."""
        return json.dumps([self.kind, self.date.isoformat(), self.time, self.of, _told(self.held), self.note])

    def value(self, key: str) -> float:
        """A number that it holds, NaN where it does not."""
        found = self.held.get(key)
        return float(found) if isinstance(found, (int, float)) else float("nan")


def book_path(site_path: Path) -> Path:
    """The book of a site file, beside it: house.book.sqlite of house.toml."""
    return site_path.with_name(f"{site_path.stem}.book.sqlite")


def clock() -> dt.datetime:
    """The machine's time with its zone."""
    return dt.datetime.now().astimezone()


def today(records: Sequence[Record]) -> dt.date:
    """Today by the clock, or the day of the last entry where the clock was set back behind it."""
    last = max((dt.datetime.fromisoformat(record.entered) for record in records if record.entered), default=None)
    now = clock()
    return max(now, last.astimezone(now.tzinfo)).date() if last else now.date()


def read_book(path: Path, with_undone: bool = False) -> list[Record]:
    """Records of a book in the order they were entered; none where there is no book.

    Parameters
    ----------
    path : Path
        The book.
    with_undone : bool
        Whether those that were taken back are given too.

    Raises
    ------
    InputError
        If the file is no book, or a newer one.
    """
    if not path.exists():
        return []
    with _explained(path), closing(_to_read(path)) as book:
        if not _version(book, path):
            return []
        rows = book.execute(
            "SELECT number, kind, date, time, of, held, note, entered, record.by, source, at, undone.by FROM record "
            "LEFT JOIN undone ON undone.record = number ORDER BY number"
        ).fetchall()
    records = [
        Record(
            kind, dt.date.fromisoformat(day), of, json.loads(held), hour, note, by, entered, source, number, at or "",
            taker or "",
        )
        for number, kind, day, hour, of, held, note, entered, by, source, at, taker in rows
    ]  # fmt: skip
    return [record for record in records if with_undone or not record.undone]


def add(path: Path, records: Sequence[Record], settings: Mapping[str, str] | None = None) -> list[int]:
    """Write records into a book, all of them or none; the book is made where there is none.

    Parameters
    ----------
    path : Path
        The book.
    records : sequence of Record
        With ``by``; ``entered`` is now where it is not given, as an import of another book gives it.
    settings : mapping of str to str, optional
        What the keeper told once, as the form a kit reads.

    Returns
    -------
    list of int
        Their numbers. When it returns they are on the disk.
    """
    now = clock().astimezone(dt.UTC).isoformat(timespec="milliseconds")
    numbers = []
    with _writing(path) as book:
        for record in records:
            at = book.execute(
                "INSERT INTO record (kind, date, time, of, held, note, entered, by, source) VALUES (?,?,?,?,?,?,?,?,?)",
                (record.kind, record.date.isoformat(), record.time, record.of, _told(record.held), record.note,
                 record.entered or now, record.by, record.source),
            )  # fmt: skip
            numbers.append(int(at.lastrowid or 0))
            if record.undone:
                book.execute("INSERT INTO undone VALUES (?,?,?)", (numbers[-1], record.undone, record.undone_by))
        for name, value in (settings or {}).items():
            book.execute("INSERT OR REPLACE INTO setting VALUES (?,?)", (name, value))
    return numbers


def undo(path: Path, number: int | None, by: str) -> Record:
    """Take back a record, by default the last one that holds; it stays in the book with that mark."""
    held = {record.number: record for record in read_book(path, with_undone=True)}
    holding = [record for record in held.values() if not record.undone]
    if number is None:
        if not holding:
            raise InputError(f"{path.name}: holds no record to take back.")
        number = holding[-1].number
    if number not in held:
        raise InputError(f"{path.name}: has no record {number}; `stocksim record list` shows their numbers.")
    if held[number].undone:
        raise InputError(f"{path.name}: record {number} was taken back already, on {held[number].undone[:10]}.")
    now = clock().astimezone(dt.UTC).isoformat(timespec="milliseconds")
    with _writing(path) as book:
        # another may have taken it back since
        book.execute("INSERT OR IGNORE INTO undone VALUES (?,?,?)", (number, now, by))
    return replace(held[number], undone=now, undone_by=by)


def read_settings(path: Path) -> dict[str, str]:
    """What the keeper told once, by name: as the book holds it, else as it stands beside the last value from a file."""
    if not path.exists():
        return {}
    beside: dict[str, str] = {}
    for record in read_book(path):
        for key, value in record.held.items():
            if key.endswith("_as"):
                beside[key.removesuffix("_as")] = str(value)
            elif key == "scoop_g":
                beside["scoop"] = repr(value)
    with _explained(path), closing(_to_read(path)) as book:
        if _version(book, path) < _WITH_SETTINGS:
            return beside
        return beside | dict(book.execute("SELECT name, value FROM setting").fetchall())


# --- how


def _told(held: Mapping[str, float | str]) -> str:
    return json.dumps({key: held[key] for key in sorted(held)})


def _to_read(path: Path) -> sqlite3.Connection:
    """A book open for reading, also on a disk that nothing can be written to."""
    name = path.absolute().as_uri()
    # a reader that may write tidies up behind it; what it does not find it does not make
    book = sqlite3.connect(f"{name}?mode=rw", uri=True, timeout=BUSY_S)
    try:
        book.execute("SELECT count(*) FROM sqlite_master").fetchone()
        return book
    except sqlite3.OperationalError:
        book.close()
        journal = path.with_name(path.name + "-wal")
        if (journal.exists() and journal.stat().st_size) or os.access(path.parent, os.W_OK):
            raise
    return sqlite3.connect(f"{name}?mode=ro&immutable=1", uri=True)


@contextmanager
def _writing(path: Path) -> Iterator[sqlite3.Connection]:
    """A book inside a transaction: all that is written in it is kept, or nothing."""
    with _explained(path), closing(sqlite3.connect(path, timeout=BUSY_S, isolation_level=None)) as book:
        _version(book, path)  # nothing is touched in a file that is no book
        if (damage := book.execute("PRAGMA quick_check(1)").fetchone()[0]) != "ok":
            raise sqlite3.DatabaseError(f"malformed: {damage}")
        book.execute("PRAGMA foreign_keys = ON")
        _in_wal(book)
        book.execute("PRAGMA synchronous = FULL")
        book.execute("BEGIN IMMEDIATE")
        try:
            _lift(book, path)
            yield book
            book.execute("COMMIT")
        except BaseException:
            if book.in_transaction:
                book.execute("ROLLBACK")
            raise


def _in_wal(book: sqlite3.Connection) -> None:
    """Set the way of writing; SQLite does not wait by itself for another that is just making the book."""
    until = time.monotonic() + BUSY_S
    while True:
        try:
            book.execute("PRAGMA journal_mode = WAL")
            return
        except sqlite3.OperationalError:
            if time.monotonic() > until:
                raise
            time.sleep(0.02)


def _version(book: sqlite3.Connection, path: Path) -> int:
    """Version of a book, 0 of an empty file; raises InputError where it is no book of ours, or a newer one."""
    # read as of one moment: another may just be making the book
    begins = not book.in_transaction
    if begins:
        book.execute("BEGIN")
    try:
        mark = book.execute("PRAGMA application_id").fetchone()[0]
        version = int(book.execute("PRAGMA user_version").fetchone()[0])
        tables = book.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
    finally:
        if begins and book.in_transaction:
            book.execute("ROLLBACK")
    if tables and mark != APPLICATION_ID:
        raise InputError([Fault("", "", "is a database of another program; it is left as it is.", path.name)])
    if version > len(MIGRATIONS):
        message = "was written by a newer stocksim; use that one, this one would lose what it does not know."
        raise InputError([Fault("", "", message, path.name)])
    return version


def _lift(book: sqlite3.Connection, path: Path) -> None:
    """Bring a book to the newest version, inside the transaction that writes."""
    version = _version(book, path)
    if version == len(MIGRATIONS):
        return
    for step in MIGRATIONS[version:]:
        for statement in step:
            book.execute(statement)
    book.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    book.execute(f"PRAGMA user_version = {len(MIGRATIONS)}")


_NOTHING_LOST = "nothing was written, and what is in the book stays"
# what SQLite says, in the order in which it is looked for, and what the keeper is told
_SENTENCES = (
    ("locked", f"another program is writing into it for very long; {_NOTHING_LOST}. Try again."),
    ("busy", f"another program is writing into it for very long; {_NOTHING_LOST}. Try again."),
    ("readonly", f"cannot be written here (read-only); {_NOTHING_LOST}. Copy site file and book to a disk of yours."),
    ("full", f"cannot be written, the disk is full; {_NOTHING_LOST}. Free some space and enter it again."),
    ("i/o error", f"cannot be written (the disk fails or is full); {_NOTHING_LOST}."),
    ("unable to open", "cannot be opened; check that it is a file in a folder that you may write to."),
)
_UNREADABLE = (
    "cannot be read as a record book; it is left as it is. Move it away and import your last export into a new one."
)


@contextmanager
def _explained(path: Path) -> Iterator[None]:
    """Turn what SQLite and the system refuse into a sentence."""
    try:
        yield
    except sqlite3.Error as error:
        said = str(error).lower()
        if "never changed" in said:
            raise
        message = next((words for sign, words in _SENTENCES if sign in said), _UNREADABLE)
        raise InputError([Fault("", "", message, path.name)]) from error
    except (json.JSONDecodeError, UnicodeDecodeError) as error:
        raise InputError([Fault("", "", _UNREADABLE, path.name)]) from error


def damage(path: Path) -> list[str]:
    """What SQLite's own check finds wrong in a book, each as it says it; nothing in a sound one."""
    with _explained(path), closing(_to_read(path)) as book:
        found = [row[0] for row in book.execute("PRAGMA integrity_check")]
        found += [f"foreign key of {row[0]}" for row in book.execute("PRAGMA foreign_key_check")]
    return [line for line in found if line != "ok"]


def as_data(record: Record) -> dict[str, Any]:
    """A record as plain data; keys carry units."""
    return {
        "number": record.number, "kind": record.kind, "date": record.date.isoformat(), "time": record.time,
        "of": record.of, **record.held, "note": record.note, "by": record.by, "entered": record.entered,
        "source": record.source, "undone": record.undone, "undone_by": record.undone_by,
    }  # fmt: skip
