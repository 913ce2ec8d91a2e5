"""The commands of the record book: entering in one line, listing, files in and out, taking back."""

from __future__ import annotations

import csv
import datetime as dt
import json
import shlex
import sqlite3
from pathlib import Path

import pytest
from command_line import refused, runner

from stocksim.book import store
from stocksim.faces import registry

NOW = dt.datetime(2026, 12, 1, 12, tzinfo=dt.UTC)
BOOK = Path("house.book.sqlite")


@pytest.fixture
def run(monkeypatch, capsys, tmp_path):
    monkeypatch.setattr(store, "clock", lambda: NOW)
    call = runner(monkeypatch, capsys, tmp_path)
    return lambda line: call("record", *shlex.split(line))


def listed(run, line="list house.toml --json"):
    return run(line).data["records"]


@pytest.mark.parametrize(
    ("line", "held"),
    [
        ("weigh --cohort perch --count 20 --total '731 g'", {"count": 20.0, "total_g": 731.0}),
        ("weigh --cohort perch --count 16 --total '2 lb'", {"count": 16.0, "total_g": pytest.approx(907.185)}),
        ("weigh --cohort perch --weights '31 g, 35.5 g'", {"weights_g": "31 g, 35.5 g"}),
        ("feed --tank first --amount '55 g'", {"feed_g": 55.0}),
        ("temperature --tank first --at '57.2 degF'", {"temperature_c": pytest.approx(14.0)}),
        (
            "test --loop main --nitrate 40 --nitrate-as no3 --ph 7,1",
            {"ph": 7.1, "nitrate_n_mg_l": pytest.approx(9.036, abs=1e-3), "nitrate_read": 40.0, "nitrate_as": "NO3"},
        ),
        ("deaths --cohort perch --count 2 --cause 'jumped out'", {"count": 2.0, "cause": "jumped out"}),
        ("picking --bed gravel --amount '0.8 kg'", {"weight_g": 800.0}),
        ("base --loop main --amount '30 g' --salt potassium_bicarbonate",
         {"weight_g": 30.0, "salt": "potassium_bicarbonate"}),
        ("water --loop main --volume '50 gal'", {"volume_m3": pytest.approx(0.18927, abs=1e-5)}),
        ("move --cohort perch --to first", {"to_tank": "first"}),
        ("planting --bed gravel --crop kale --area '1 m2'", {"crop": "kale", "area_m2": 1.0}),
        ("note --note 'all well'", {}),
    ],
)  # fmt: skip
def test_a_record_is_entered_in_one_line(run, line, held):
    ran = run(f"add house.toml {line} --date 2026-11-01 --by Ada --time 07:30 --json")
    assert ran.code == 0, ran.err
    (kept,) = listed(run)
    assert kept["number"] == 1
    assert (kept["date"], kept["time"], kept["by"]) == ("2026-11-01", "07:30", "Ada")
    assert {key: kept[key] for key in held} == held


def test_the_form_of_a_kit_is_asked_once_and_kept_with_each_value(run):
    refused(run("add house.toml test --loop main --nitrate 40"), "--nitrate", "NO3-N or NO3")
    assert not BOOK.exists()
    assert run("add house.toml test --loop main --nitrate 40 --nitrate-as NO3").code == 0
    assert run("add house.toml test --loop main --nitrate 20").code == 0
    assert run("add house.toml test --loop main --nitrate 20 --nitrate-as NO3-N").code == 0
    assert run("add house.toml test --loop main --nitrate 21").code == 0
    assert [round(record["nitrate_n_mg_l"], 2) for record in listed(run)] == [9.04, 4.52, 20.0, 21.0]


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("add house.toml weigh --cohort perch --count 20 --total '731 g' --date 2026-12-02", "--date"),
        ("add house.toml weigh --cohort bass --count 20 --total '731 g'", "bass"),
        ("add house.toml weigh --cohort perch --count -3 --total '731 g'", "--count"),
        ("add house.toml weigh --cohort perch --count twenty --total '731 g'", "--count"),
        ("add house.toml weigh --cohort perch --count 20 --total 731", "--total"),
        ("add house.toml weigh --cohort perch --tank first --count 20 --total '731 g'", "--cohort"),
        ("add house.toml weighing --cohort perch", "weighing"),
        ("add house.toml test --loop main --nitrate 40 --nitrate-as N03", "--nitrate"),
        ("add house.toml temperature --tank first --at '58 degC'", "--confirm"),
        ("undo house.toml", "no record"),
        ("list house.toml --kind weighing", "--kind"),
        ("import house.toml nothing.csv", "nothing.csv"),
        ("import house.toml house.toml --unit degC", "--tank"),
        ("import house.toml house.toml --tank first --unit C", "--unit"),
    ],
)
def test_what_cannot_be_kept_is_one_sentence_and_makes_no_book(run, line, words):
    refused(run(line), words)
    assert not BOOK.exists()


def test_what_can_hardly_be_is_kept_where_it_is_confirmed(run):
    assert run("add house.toml temperature --tank first --at '58 degC' --confirm").code == 0
    assert listed(run)[0]["temperature_c"] == 58.0


def test_a_record_is_taken_back_and_stays_told(run):
    for number in (1, 2):
        run(f"add house.toml note --note n{number}")
    assert run("undo house.toml 1 --by Ben").code == 0
    assert [record["note"] for record in listed(run)] == ["n2"]
    taken = listed(run, "list house.toml --all --json")[0]
    assert (taken["note"], taken["undone_by"], taken["undone"][:10]) == ("n1", "Ben", "2026-12-01")


def test_files_go_out_and_come_in_once(run):
    run("add house.toml weigh --cohort perch --count 20 --total '731 g'")
    run("add house.toml note --note '=1+1'")
    run("undo house.toml")
    assert run("export house.toml all.csv").code == 0
    refused(run("export house.toml all.csv"), "already there")
    again = run("import house.toml all.csv --json").data
    assert (again["new"], again["repeats"], again["kept"]) == ([], 2, 0)
    BOOK.rename("old.sqlite")
    dry = run("import house.toml all.csv --dry-run --json").data
    assert (len(dry["new"]), dry["kept"], BOOK.exists()) == (2, 0, False)
    assert run("import house.toml all.csv --json").data["kept"] == 2
    assert [record["kind"] for record in listed(run)] == ["weigh"]
    rows = [list(csv.reader(Path(name).read_text().splitlines())) for name in ("all.csv",)]
    assert len(rows[0]) == 3


def test_what_was_told_once_goes_out_and_comes_in_with_the_records(run):
    assert run("add house.toml feed --cohort perch --amount '3 scoops' --scoop '18 g'").code == 0
    assert run("add house.toml test --loop main --nitrate 40 --nitrate-as NO3").code == 0
    assert run("export house.toml all.csv").code == 0
    Path("other.toml").write_text(Path("house.toml").read_text(encoding="utf-8"), encoding="utf-8")
    assert run("import other.toml all.csv").code == 0
    (kept,) = run("add other.toml feed --cohort perch --amount '2 scoops' --json").data["records"]
    assert (kept["feed_g"], kept["scoop_g"]) == (36.0, 18.0)
    (kept,) = run("add other.toml test --loop main --nitrate 20 --json").data["records"]
    assert kept["nitrate_as"] == "NO3"


def test_the_same_once_more_is_asked_back(run):
    line = "add house.toml deaths --cohort perch --count 1"
    assert run(line).code == 0
    again = run(line)
    assert (again.code, "record 1" in again.err) == (2, True)
    assert run(f"{line} --confirm").code == 0
    assert len(listed(run)) == 2


def test_a_loggers_file_comes_in_by_the_day_and_only_what_is_new_of_a_longer_one(run):
    def write(days):
        Path("log.csv").write_text(
            "Date;Water °C\n" + "".join(f"2026-11-{day:02d} {hour:02d}:00;1{day % 3},5\n" for day in range(1, days + 1)
                                      for hour in range(24)), encoding="utf-8")  # fmt: skip

    write(5)
    assert run("import house.toml log.csv --tank first --json").data["kept"] == 5
    write(8)
    found = run("import house.toml log.csv --tank first --json").data
    assert (found["kept"], found["repeats"]) == (3, 5)
    assert [record["temperature_c"] for record in listed(run)] == [11.5, 12.5, 10.5, 11.5, 12.5, 10.5, 11.5, 12.5]


def test_an_import_with_a_fault_or_a_doubt_keeps_nothing(run):
    Path("a.csv").write_text("kind,date,of,count\ndeaths,2026-11-01,perch,2\ndeaths,2026-11-02,perch,two\n")
    refused(run("import house.toml a.csv"), "line 3")
    Path("b.csv").write_text("kind,date,of,temperature_c\ntemperature,2026-11-01,main,14\n"
                             "temperature,2026-11-02,main,57\n")  # fmt: skip
    refused(run("import house.toml b.csv"), "--confirm")
    assert not BOOK.exists()
    assert run("import house.toml b.csv --confirm").code == 0
    assert len(listed(run)) == 2


def test_a_file_that_is_no_book_is_told_and_stays(run):
    BOOK.write_text("my notes")
    for line in ("list house.toml", "add house.toml note --note x", "undo house.toml", "export house.toml all.csv"):
        refused(run(line), BOOK.name)
    assert BOOK.read_text() == "my notes"
    BOOK.unlink()
    sqlite3.connect(BOOK).execute("CREATE TABLE mine (a)")
    refused(run("add house.toml note --note x"), "another program")


def test_the_blank_sheet_has_a_place_for_all_tanks_and_loops(run):
    heads = run("sheet house.toml --json").data["columns"]
    assert "feed first" in heads
    assert {"ammonia main", "water main", "base main"} <= set(heads)
    assert run("sheet house.toml").out.count("\n____") == 14


@pytest.mark.parametrize("name", registry.GROUPS["record"][1])
def test_each_has_a_help_that_says_what_it_reads_and_writes_and_an_example_that_runs(run, name):
    flat = " ".join(run(f"{name} --help").out.split())
    assert "Reads SITE" in flat
    assert "rites" in flat
    assert "--json" in flat
    example = registry.group("record")[1][registry.GROUPS["record"][1].index(name)][2]
    for number in range(13):
        run(f"add house.toml note --note {number}")
    Path("logger.csv").write_text("date,temperature_c\n2026-11-01,14\n")
    assert run(example.removeprefix("Example: stocksim record ")).code == 0
    assert json.loads(run("list house.toml --json").out)
