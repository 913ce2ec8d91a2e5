"""What a record may hold, and the book as a table that goes out and comes in again without a loss."""

from __future__ import annotations

import csv
import datetime as dt

import pytest
from hunting import examples
from hypothesis import given, settings
from hypothesis import strategies as st

from stocksim.book.checks import doubts, faults, mean_weight_g, read_weights
from stocksim.book.kinds import HELD, KINDS, READINGS, from_kit
from stocksim.book.sheets import apart_from, export_text, read_number, read_table
from stocksim.book.store import Record, add, read_book, undo
from stocksim.errors import InputError
from stocksim.site.examples import FOLDER
from stocksim.site.reading import load_site

SITE = load_site(FOLDER / "starter.toml")
DAY, TODAY = dt.date(2026, 11, 1), dt.date(2027, 1, 1)


def fields(record: Record, today: dt.date = TODAY) -> list[str]:
    return [fault.field for fault in faults(record, SITE, today)]


def one(kind: str, of: str, **held: float | str) -> Record:
    return Record(kind, DAY, of, held)


SOUND = [
    one("weigh", "cohorts.perch", count=20, total_g=900.0),
    one("weigh", "cohorts.perch", weights_g="31.5 40 28 g"),
    one("count", "cohorts.perch", count=58),
    one("feed", "tanks.first", feed_g=55.0),
    one("feed", "tanks.first", feed_g=54.0, scoop_g=18.0),
    one("temperature", "loops.main", temperature_c=14.2, readings=288.0, lowest_c=13.9, highest_c=14.6),
    one("test", "loops.main", nitrate_n_mg_l=9.0, nitrate_read=40.0, nitrate_as="NO3", ph=7.1),
    one("deaths", "cohorts.perch", count=2, cause="jumped out"),
    one("harvest", "cohorts.perch", weight_g=1200.0),
    one("move", "cohorts.perch", to_tank="first"),
    one("planting", "beds.gravel", crop="kale", area_m2=1.0),
    one("picking", "beds.gravel", weight_g=800.0),
    one("base", "loops.main", weight_g=30.0, salt="potassium_bicarbonate"),
    one("salt", "loops.main", weight_g=500.0),
    one("water", "loops.main", volume_m3=0.2),
    Record("note", DAY, note="pump sounded odd"),
]


@pytest.mark.parametrize("record", SOUND, ids=lambda record: record.kind)
def test_what_is_sound_is_taken_without_a_question(record):
    assert faults(record, SITE, TODAY) == []
    assert doubts(record, SITE, []) == []


def test_every_kind_and_every_value_stands_among_the_sound_ones_or_is_a_plain_level():
    assert {record.kind for record in SOUND} == set(KINDS)
    held = {key for record in SOUND for key in record.held} | set(KINDS["test"].holds)
    assert set(HELD) <= held


@pytest.mark.parametrize(
    ("record", "field"),
    [
        (one("weigh", "cohorts.bass", count=20, total_g=900.0), "of"),
        (one("weigh", "", count=20, total_g=900.0), "of"),
        (one("weigh", "tanks.first", count=20, total_g=900.0), "of"),
        (one("temperature", "tanks.second", temperature_c=14.0), "of"),
        (one("nothing", "cohorts.perch"), "kind"),
        (one("weigh", "cohorts.perch", count=20), ""),
        (one("weigh", "cohorts.perch", count=-3, total_g=900.0), "count"),
        (one("weigh", "cohorts.perch", count=2.5, total_g=900.0), "count"),
        (one("weigh", "cohorts.perch", count="twenty", total_g=900.0), "count"),
        (one("weigh", "cohorts.perch", count=20, total_g=float("nan")), "total_g"),
        (one("weigh", "cohorts.perch", weights_g="31,5 40"), "weights_g"),
        (one("weigh", "cohorts.perch", weights_g="31 40", count=3, total_g=100.0), "weights_g"),
        (one("deaths", "cohorts.perch", count=2, feed_g=3.0), "feed_g"),
        (one("temperature", "loops.main", temperature_c=95.0), "temperature_c"),
        (one("test", "loops.main"), ""),
        (one("test", "loops.main", ph=15.0), "ph"),
        (one("move", "cohorts.perch", to_tank="second"), "to_tank"),
        (one("base", "loops.main", weight_g=30.0, salt="snow"), "salt"),
        (Record("note", DAY, note="  "), "note"),
        (Record("note", TODAY + dt.timedelta(days=1), note="soon"), "date"),
        (Record("note", dt.date(202, 1, 1), note="long ago"), "date"),
        (Record("note", DAY, note="when", time="25:10"), "time"),
    ],
)
def test_what_cannot_be_is_one_fault_in_its_field(record, field):
    assert fields(record) == [field]


@pytest.mark.parametrize(
    "record",
    [
        one("temperature", "loops.main", temperature_c=58.0),
        one("test", "loops.main", tan_mg_l=45.0),
        one("test", "loops.main", ph=4.0),
        one("weigh", "cohorts.perch", count=20, total_g=40_000.0),
        one("deaths", "cohorts.perch", count=70),
        one("planting", "beds.gravel", crop="kale", area_m2=200.0),
    ],
)
def test_what_can_hardly_be_is_asked_back(record):
    before = [one("weigh", "cohorts.perch", count=20, total_g=900.0)]
    assert faults(record, SITE, TODAY) == []
    assert len(doubts(record, SITE, before)) == 1


def test_what_is_asked_back_is_in_the_keepers_units():
    us = SITE.with_changes({"site.units": "us"})
    (asked,) = doubts(one("temperature", "loops.main", temperature_c=58.0), us, [])
    assert "136.4 degF" in asked
    (fault,) = faults(one("temperature", "loops.main", temperature_c=-40.0), us, TODAY)
    assert "-40.0 degF" in fault.message


def test_weighings_give_a_number_and_a_mean():
    assert mean_weight_g(one("weigh", "cohorts.perch", count=20, total_g=900.0)) == (20.0, 45.0)
    assert mean_weight_g(one("weigh", "cohorts.perch", weights_g="30 g, 2 oz 40")) == (
        3.0, pytest.approx((30.0 + 2 * 28.349523 + 40.0) / 3)
    )  # fmt: skip
    assert read_weights("thirty") is None
    assert read_weights("-5") is None


@pytest.mark.parametrize(
    ("name", "form", "factor"),
    # molar masses: 14.007/62.004, 14.007/46.005, 14.007/17.031, 14.007/18.039; 17.848 mg/L of CaCO3 a German degree
    [("nitrate", "NO3", 0.2259), ("nitrite", "NO2", 0.3045), ("ammonia", "NH3", 0.8224), ("ammonia", "NH4", 0.7765),
     ("alkalinity", "dKH", 17.848)],
)  # fmt: skip
def test_kits_are_read_in_their_form(name, form, factor):
    assert from_kit(name, 2.0, form) == pytest.approx(2.0 * factor, rel=3e-4)
    assert all(from_kit(name, 2.0, form) == 2.0 for form, one in READINGS[name].forms.items() if one == 1.0)


def test_an_exported_book_comes_in_again_as_it_was(tmp_path):
    path, copy = tmp_path / "a.book.sqlite", tmp_path / "b.book.sqlite"
    odd = [Record("note", DAY, note=text, by="=A1") for text in ("=1+1", "'quoted", 'a,b;c\n"d"', "-5", "é\r\n")]
    add(path, SOUND + odd + SOUND[:1])
    undo(path, 3, "Ben")
    out = tmp_path / "all.csv"
    out.write_text(export_text(read_book(path, with_undone=True)), encoding="utf-8", newline="")
    add(copy, read_table(out, SITE, TODAY))
    was, now = (read_book(one, with_undone=True) for one in (path, copy))
    assert [record.source for record in now] == ["all.csv"] * len(was)  # they came from there
    for old, new in zip(was, now, strict=True):
        assert new == Record(**{**vars(old), "source": "all.csv"})
    again = apart_from(read_table(out, SITE, TODAY), now)
    assert (len(again.new), len(again.repeats)) == (0, len(was))


def test_no_cell_of_an_export_runs_in_a_spreadsheet():
    rows = list(csv.reader(export_text([Record("note", DAY, note="=HYPERLINK(1)", by="+x")]).splitlines()))
    assert not any(cell.startswith(("=", "+", "-", "@")) for row in rows for cell in row)


def test_equal_rows_of_one_file_are_all_kept_and_those_of_the_book_are_not_kept_twice():
    fed = one("feed", "tanks.first", feed_g=50.0)
    assert len(apart_from([fed, fed], []).new) == 2
    found = apart_from([fed, fed, fed], [fed, fed])
    assert (len(found.new), len(found.repeats)) == (1, 2)


def test_a_keepers_own_table_with_semicolons_and_decimal_commas(tmp_path):
    file = tmp_path / "mine.csv"
    file.write_text("\ufeffDate;Kind;of;count;total_g;note\n2026-11-01;weigh;perch;20;731,5;\n\n"
                    "2026-11-02;note;;;;all well\n", encoding="utf-8")  # fmt: skip
    weighed, noted = read_table(file, SITE, TODAY)
    assert (weighed.of, weighed.held, weighed.source) == (
        "cohorts.perch",
        {"count": 20.0, "total_g": 731.5},
        "mine.csv",
    )
    assert noted.note == "all well"


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("kind,date,of,count\ndeaths,2026-11-01,perch,two\n", "line 2"),
        ("kind,date,of,count\ndeaths,1.11.2026,perch,2\n", "line 2"),
        ("kind,date,of,count\ndeaths,2026-11-01,perch,2\ndeaths,2027-11-01,perch,2\n", "line 3"),
        ("kind,date,of,count\ndeaths,2026-11-01,bass,2\n", "line 2"),
        ("kind,date,of,count\ndeaths,2026-11-01,perch\n", "line 2"),
        ("kind,date,of,count,colour\ndeaths,2026-11-01,perch,2,red\n", ""),
        ("a,b\n1,2\n", ""),
        ("", ""),
    ],
)
def test_a_table_with_a_fault_is_refused_whole_with_its_line(tmp_path, text, line):
    file = tmp_path / "mine.csv"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as told:
        read_table(file, SITE, TODAY)
    assert [fault.table for fault in told.value.faults] == [line]


@given(st.text(alphabet=st.characters(codec="utf-8", exclude_characters="\x00"), max_size=40), st.floats(0.01, 1e6))
@settings(max_examples=examples(60))
def test_any_text_and_number_comes_back_as_it_was(tmp_path_factory, text, number):
    file = tmp_path_factory.mktemp("sheet") / "all.csv"
    put = Record("picking", DAY, "beds.gravel", {"weight_g": number}, note=text, by="x", source="s")
    file.write_text(export_text([put]), encoding="utf-8", newline="")
    assert read_table(file, SITE, TODAY)[0].held == put.held
    assert read_table(file, SITE, TODAY)[0].note == text


@pytest.mark.parametrize(("text", "number"), [("1,5", 1.5), ("1.5", 1.5), ("1,500.5", None), ("1_0", None), ("", None),
                                              ("nan", None), ("x", None), ("1 500", None)])  # fmt: skip
def test_numbers_are_never_guessed(text, number):
    assert read_number(text) == number
