"""A scripted invented winter of 60 records, by the page, the command and files: one book, whichever way they came."""

from __future__ import annotations

import csv
import datetime as dt
from pathlib import Path

import pytest
import tomlkit
from command_line import runner
from small_sites import START, one_tank
from streamlit.testing.v1 import AppTest

from stocksim.book import sheets, store
from stocksim.engine.onward import onward
from stocksim.faces.registry import script_of
from stocksim.site.reading import load_site

DAYS = 100
BOOK = Path("mine.book.sqlite")


def on(day: int) -> dt.date:
    return START + dt.timedelta(days=day)


def by_command() -> list[list[str]]:
    """Twenty: a test of the water every week, the base given after it, and fish that died."""
    lines = []
    for week in range(1, 9):
        kit = ["--nitrate", str(20 + 5 * week), "--nitrate-as", "NO3", "--ammonia", "0.2", "--ammonia-as", "N"]
        lines.append(["test", "--loop", "main", *kit, "--date", on(7 * week).isoformat()])
        lines.append(["base", "--loop", "main", "--amount", f"{20 + week} g", "--date", on(7 * week).isoformat()])
    for day in (11, 30, 44, 71):
        lines.append(["deaths", "--cohort", "fish", "--count", "1", "--date", on(day).isoformat()])
    return lines


def table() -> list[list[str]]:
    """Twenty-two: the feed of every fourth day, as a table of a spreadsheet."""
    return [["kind", "date", "of", "feed_g"],
            *(["feed", on(4 * number).isoformat(), "fish", f"{40 + number},5"] for number in range(1, 23))]  # fmt: skip


def test_sixty_records_by_three_ways_make_one_book(monkeypatch, capsys, tmp_path):
    run = runner(monkeypatch, capsys, tmp_path)
    Path("mine.toml").write_text(tomlkit.dumps(one_tank(count=20, days=DAYS)), encoding="utf-8")
    site, now = load_site(Path("mine.toml")), dt.datetime(2027, 1, 8, 12, tzinfo=dt.UTC)
    monkeypatch.setattr(store, "clock", lambda: now)
    for line in by_command():
        assert run("record", "add", "mine.toml", *line).code == 0
    with Path("feed.csv").open("w", encoding="utf-8", newline="") as file:
        csv.writer(file, delimiter=";").writerows(table())
    assert len(run("record", "import", "mine.toml", "feed.csv", "--dry-run", "--json").data["new"]) == 22
    assert run("record", "import", "mine.toml", "feed.csv", "--json").data["kept"] == 22
    monkeypatch.setenv("STOCKSIM_SITE", str(Path("mine.toml").absolute()))
    at = AppTest.from_file(script_of("today"), default_timeout=900).run()
    for week in range(1, 7):  # eighteen on the page, three at a time; which form the kit reads is known of the command
        at.text_input(key="day shown").set_value(on(15 * week).isoformat())
        at.text_input(key="entered at").set_value(f"{25 + 0.1 * week:.1f}")
        at.text_input(key="entered ammonia").set_value("0,25")
        at.text_input(key="entered count").set_value("10")
        at.text_input(key="entered total").set_value(str(1000 + 250 * week))
        next(button for button in at.button if button.label == "Keep").click().run()
        assert not at.exception
    records = store.read_book(BOOK)
    kinds = [record.kind for record in records]
    assert {kind: kinds.count(kind) for kind in set(kinds)} == {
        "test": 14, "base": 8, "deaths": 4, "feed": 22, "temperature": 6, "weigh": 6
    }  # fmt: skip
    assert [record.number for record in records] == list(range(1, 61))
    weighed = [record for record in records if record.kind == "weigh"]
    assert [record.date for record in weighed] == [on(15 * week) for week in range(1, 7)]
    assert store.damage(BOOK) == []
    # the same file again, and the whole book out and into an empty one: nothing doubles and nothing is lost
    assert run("record", "import", "mine.toml", "feed.csv", "--json").data["repeats"] == 22
    assert run("record", "export", "mine.toml", "all.csv").code == 0
    again = sheets.read_table(Path("all.csv"), site, now.date())
    assert [record.content for record in again] == [record.content for record in records]
    # and the season goes on from it: what the page, the command and the file told stands in it together
    rest = onward(site, records, on(91)).site.file.cohorts["fish"]
    assert rest.count == 16
    assert rest.mean_weight == pytest.approx(250.0, rel=0.06)  # of the day before


def test_a_workbook_comes_in_as_its_table_does(monkeypatch, capsys, tmp_path):
    openpyxl = pytest.importorskip("openpyxl")
    run = runner(monkeypatch, capsys, tmp_path)
    Path("mine.toml").write_text(tomlkit.dumps(one_tank(days=DAYS)), encoding="utf-8")
    monkeypatch.setattr(store, "clock", lambda: dt.datetime(2027, 1, 8, 12, tzinfo=dt.UTC))
    book = openpyxl.Workbook()
    for row in table():
        kind, day, of, feed = row
        is_head = kind == "kind"
        book.active.append(row if is_head else [kind, dt.date.fromisoformat(day), of, float(feed.replace(",", "."))])
    book.save("feed.xlsx")
    with Path("feed.csv").open("w", encoding="utf-8", newline="") as file:
        csv.writer(file, delimiter=";").writerows(table())
    assert len(run("record", "import", "mine.toml", "feed.xlsx", "--dry-run", "--json").data["new"]) == 22
    assert not BOOK.exists()
    assert run("record", "import", "mine.toml", "feed.xlsx", "--json").data["kept"] == 22
    assert run("record", "import", "mine.toml", "feed.csv", "--json").data["repeats"] == 22
    Path("broken.xlsx").write_bytes(Path("feed.xlsx").read_bytes()[:900])
    book.active["D3"] = "two"
    book.save("wrong.xlsx")
    for name, words in (("broken.xlsx", "workbook"), ("wrong.xlsx", "line 3")):
        ran = run("record", "import", "mine.toml", name)
        assert (ran.code, len(ran.lines)) == (2, 1)
        assert words in ran.err
    assert len(store.read_book(BOOK)) == 22
