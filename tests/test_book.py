"""The book's file: nothing that was acknowledged is lost, whatever is killed, full, locked, older or no book at all."""

from __future__ import annotations

import datetime as dt
import os
import random
import signal
import sqlite3
import stat
import subprocess
import sys
import threading
import time

import pytest

from stocksim.book import store
from stocksim.book.store import MIGRATIONS, Record, add, book_path, damage, read_book, read_settings, today, undo
from stocksim.errors import InputError

# a smaller number where many tests run; STOCKSIM_KILLS=200 runs the whole of it
KILLS = int(os.environ.get("STOCKSIM_KILLS", "12"))
DAY = dt.date(2020, 1, 5)


def note(text: str) -> Record:
    return Record("note", DAY, note=text, by="a keeper")


@pytest.fixture
def path(tmp_path):
    return book_path(tmp_path / "house.toml")


def test_a_book_stands_beside_its_site_and_gives_back_what_was_put_in(path):
    assert path.name == "house.book.sqlite"
    assert read_book(path) == []
    assert not path.exists()
    put = Record("weigh", DAY, "cohorts.perch", {"count": 20.0, "total_g": 731.25}, "07:30", "wet", "Ada")
    assert add(path, [put, note("é=1+1\n'x")]) == [1, 2]
    first, second = read_book(path)
    assert (first.kind, first.date, first.of, first.held, first.time, first.note, first.by) == (
        "weigh", DAY, "cohorts.perch", {"count": 20.0, "total_g": 731.25}, "07:30", "wet", "Ada",
    )  # fmt: skip
    assert second.note == "é=1+1\n'x"
    assert abs((dt.datetime.fromisoformat(first.entered) - dt.datetime.now(dt.UTC)).total_seconds()) < 600
    assert damage(path) == []
    # closed, it is one file alone that can be copied
    assert [entry.name for entry in path.parent.iterdir()] == [path.name]


def test_what_is_taken_back_stays_in_the_book_with_its_mark(path):
    add(path, [note("one"), note("two")])
    assert undo(path, None, "Ben").number == 2
    assert [record.note for record in read_book(path)] == ["one"]
    _, taken = read_book(path, with_undone=True)
    assert taken.note == "two"
    assert taken.undone
    assert taken.undone_by == "Ben"
    for number in (2, 7):
        with pytest.raises(InputError):
            undo(path, number, "Ben")
    undo(path, 1, "Ben")
    with pytest.raises(InputError):
        undo(path, None, "Ben")


@pytest.mark.parametrize(
    "change", ["DELETE FROM record", "UPDATE record SET note = ''", "DELETE FROM undone", "UPDATE undone SET by = ''"]
)
def test_records_cannot_be_changed_or_removed(path, change):
    add(path, [note("one"), note("two")])
    undo(path, 1, "Ben")
    with sqlite3.connect(path) as book, pytest.raises(sqlite3.IntegrityError):
        book.execute(change)
    book.close()
    assert len(read_book(path, with_undone=True)) == 2


def test_an_undoing_of_no_record_is_refused_by_the_file_itself(path):
    add(path, [note("one")])
    book = sqlite3.connect(path)
    book.execute("PRAGMA foreign_keys = ON")
    with pytest.raises(sqlite3.IntegrityError):
        book.execute("INSERT INTO undone VALUES (9, 'now', 'me')")
    book.close()


@pytest.mark.parametrize("version", range(1, len(MIGRATIONS)))
def test_an_older_book_is_read_and_lifted_with_all_it_holds(path, version):
    old = sqlite3.connect(path)
    for step in MIGRATIONS[:version]:
        for statement in step:
            old.execute(statement)
    old.execute(f"PRAGMA application_id = {store.APPLICATION_ID}")
    old.execute(f"PRAGMA user_version = {version}")
    old.execute("INSERT INTO record VALUES (1, 'note', '2020-01-05', '', '', '{}', 'old', '2020-01-06T00:00:00+00:00', "
                "'Ada', '')")  # fmt: skip
    old.commit()
    old.close()
    assert [record.note for record in read_book(path)] == ["old"]
    assert read_settings(path) == {}
    add(path, [note("new")], {"nitrate": "NO3"})
    assert [record.note for record in read_book(path)] == ["old", "new"]
    assert read_settings(path) == {"nitrate": "NO3"}
    assert damage(path) == []


def test_a_newer_book_is_neither_read_nor_written(path):
    add(path, [note("one")])
    newer = sqlite3.connect(path)
    newer.execute("PRAGMA user_version = 99")
    newer.close()
    before = path.read_bytes()
    for act in (lambda: read_book(path), lambda: add(path, [note("two")]), lambda: read_settings(path)):
        with pytest.raises(InputError, match="newer"):
            act()
    assert path.read_bytes() == before


def another_database(path):
    book = sqlite3.connect(path)
    book.execute("CREATE TABLE mine (a)")
    book.commit()
    book.close()


def spoilt_middle(path):
    add(path, [note("x" * 1500) for _ in range(60)])
    data = bytearray(path.read_bytes())
    data[4096:12288] = os.urandom(8192)
    path.write_bytes(data)


def cut_off(path):
    add(path, [note("x" * 1500) for _ in range(60)])
    path.write_bytes(path.read_bytes()[:9000])


@pytest.mark.parametrize(
    "make", [lambda p: p.write_text("my notes, not a book " * 300), another_database, spoilt_middle, cut_off]
)
def test_a_file_that_is_no_sound_book_is_never_written(path, make):
    make(path)
    before = path.read_bytes()
    with pytest.raises(InputError) as told:
        add(path, [note("lost?")])
    assert len(told.value.faults) == 1
    assert path.name in str(told.value)
    assert path.read_bytes() == before


def test_a_folder_in_its_place_is_told(path):
    path.mkdir()
    with pytest.raises(InputError):
        add(path, [note("one")])


def test_an_empty_file_becomes_a_book(path):
    """A writing that was killed as it made the book leaves one, and nothing is lost by it."""
    path.touch()
    assert read_book(path) == []
    add(path, [note("one")])
    assert len(read_book(path)) == 1


def test_a_locked_book_is_told_and_keeps_what_it_has(path, monkeypatch):
    add(path, [note("one")])
    monkeypatch.setattr(store, "BUSY_S", 0.2)
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    with pytest.raises(InputError, match="another program"):
        add(path, [note("two")])
    assert len(read_book(path)) == 1  # reading goes on
    other.execute("ROLLBACK")
    other.close()
    add(path, [note("two")])
    assert len(read_book(path)) == 2


def test_a_full_disk_is_told_and_nothing_half_is_kept(path, monkeypatch):
    add(path, [note("one")])
    connect = sqlite3.connect

    def small(*given, **more):
        book = connect(*given, **more)
        book.execute("PRAGMA max_page_count = 12")  # SQLite then refuses as on a full disk
        return book

    monkeypatch.setattr(store.sqlite3, "connect", small)
    with pytest.raises(InputError, match="full"):
        add(path, [note("x" * 3000) for _ in range(100)])
    monkeypatch.undo()
    assert [record.note for record in read_book(path)] == ["one"]
    assert damage(path) == []


@pytest.mark.skipif(os.name == "nt" or (hasattr(os, "geteuid") and os.geteuid() == 0), reason="root may write anywhere")
def test_a_read_only_place_is_read_and_told(path):
    add(path, [note("one")])
    path.chmod(stat.S_IREAD)
    path.parent.chmod(stat.S_IREAD | stat.S_IEXEC)
    try:
        assert len(read_book(path)) == 1
        with pytest.raises(InputError):
            add(path, [note("two")])
    finally:
        path.parent.chmod(stat.S_IRWXU)


def test_two_writers_at_once_lose_nothing(path):
    """Eight threads also make the book together."""
    told: list[int] = []

    def write(who: int) -> None:
        for number in range(15):
            told.extend(add(path, [note(f"{who}.{number}")]))

    writers = [threading.Thread(target=write, args=(who,)) for who in range(8)]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join()
    assert sorted(told) == list(range(1, 121))
    assert {record.note for record in read_book(path)} == {f"{who}.{n}" for who in range(8) for n in range(15)}
    assert damage(path) == []


def test_a_book_that_another_is_just_making_is_not_taken_for_a_foreign_one(tmp_path):
    """Twenty books, each made by eight threads that begin at the same moment."""
    wrong: list[str] = []
    for number in range(20):
        book, start = tmp_path / f"{number}.book.sqlite", threading.Barrier(8)

        def write(book=book, start=start) -> None:
            start.wait()
            try:
                add(book, [note("one")])
            except InputError as error:
                wrong.append(str(error))

        writers = [threading.Thread(target=write) for _ in range(8)]
        for writer in writers:
            writer.start()
        for writer in writers:
            writer.join()
        assert len(read_book(book)) == 8 - len(wrong)
    assert wrong == []


_WRITER = """
import datetime as dt, sys
from pathlib import Path
from stocksim.book.store import Record, add
path, who = Path(sys.argv[1]), sys.argv[2]
for number in range(10 ** 9):
    add(path, [Record("note", dt.date(2020, 1, 5), note=f"{who}.{number}", by="x")])
    print(f"{who}.{number}", flush=True)
"""


@pytest.mark.skipif(os.name == "nt", reason="kill -9 is of POSIX systems")
def test_no_acknowledged_record_is_lost_when_writers_are_killed(path):
    """Two writers at a time; one record more than was told may be there, for it was killed before it could tell."""
    told, chance = set(), random.Random(1)
    for kill in range(0, KILLS, 2):
        writers = [
            subprocess.Popen(
                [sys.executable, "-c", _WRITER, str(path), f"{kill + one}"], stdout=subprocess.PIPE, text=True
            )
            for one in range(2)
        ]
        for writer in writers:
            assert writer.stdout is not None
            told.add(writer.stdout.readline().strip())  # it has begun
        time.sleep(chance.uniform(0.0, 0.2))
        for writer in writers:
            writer.send_signal(signal.SIGKILL)
        for writer in writers:
            assert writer.stdout is not None
            told |= {line.strip() for line in writer.stdout.read().splitlines(keepends=True) if line.endswith("\n")}
            writer.stdout.close()
            writer.wait()
    kept = [record.note for record in read_book(path)]
    assert damage(path) == []
    assert len(kept) == len(set(kept))
    assert told <= set(kept)
    assert len(set(kept) - told) <= KILLS
    assert len(told) >= KILLS


def test_a_clock_that_was_set_back_does_not_make_yesterdays_entry_one_of_the_future(path, monkeypatch):
    add(path, [note("one")])
    real = store.clock()
    monkeypatch.setattr(store, "clock", lambda: real - dt.timedelta(days=400))
    assert today(read_book(path)) == real.date()
    assert today([]) == real.date() - dt.timedelta(days=400)
