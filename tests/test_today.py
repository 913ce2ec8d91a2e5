"""The day's list by a season and its records."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
import tomlkit
from command_line import refused, runner
from small_sites import START, build, one_tank
from streamlit.testing.v1 import AppTest

from stocksim import run_season
from stocksim.answers.today.answer import today_answer
from stocksim.answers.today.decide import SHEET_DAYS, the_day
from stocksim.book import store
from stocksim.book.store import Record
from stocksim.engine.measured import with_records
from stocksim.errors import InputError
from stocksim.faces.registry import script_of
from stocksim.water.ammonia import unionized_fraction


def on(day: int) -> dt.date:
    return START + dt.timedelta(days=day)


def record(kind: str, day: int, of: str, **held: float) -> Record:
    return Record(kind, on(day), of, held, number=day)


def day_of(tables: dict, day: int, *records: Record):
    site = with_records(build(tables), records).site
    season = run_season(site)
    return the_day(season, records, on(day)), season


def test_feed_base_and_top_up_are_those_of_the_season():
    tables = one_tank(alkalinity_target="80 mg/L", ph=None, evaporation="8 L/day",
                      source_water={"alkalinity": "40 mg/L"})  # fmt: skip
    day, season = day_of(tables, 5)
    (tank,), (loop,) = day.tanks, day.loops
    assert tank.feed_g == pytest.approx(season.course.fed_g[0, 5].sum())
    assert tank.by_cohort == {"fish": pytest.approx(tank.feed_g)}
    assert (loop.base_g, loop.top_up_l) == (
        pytest.approx(season.course.buffer_g[0, 5, 0]), pytest.approx(1000.0 * season.course.top_up_m3[0, 5, 0])
    )  # fmt: skip
    assert loop.base_g > 0.0
    assert loop.portions >= 1
    assert [date for date, _ in day.sheet] == [on(5 + at) for at in range(SHEET_DAYS)]
    assert day.sheet[3][1]["one"] == pytest.approx(season.course.fed_g[0, 8].sum())


def test_feed_goes_by_the_water_measured_today():
    cool = record("temperature", 5, "tanks.one", temperature_c=21.0)
    reckoned, measured = day_of(one_tank(), 5)[0], day_of(one_tank(), 5, cool)[0]
    assert measured.tanks[0].temperature_c == pytest.approx(21.0)
    assert (reckoned.tanks[0].is_measured, measured.tanks[0].is_measured) == (False, True)
    assert measured.tanks[0].feed_g < reckoned.tanks[0].feed_g


def test_a_test_over_a_limit_is_the_first_line_of_the_verdict():
    bad = record("test", 4, "loops.main", nitrite_n_mg_l=9.0, tan_mg_l=1.0)
    day, season = day_of(one_tank(), 5, bad)
    assert [one.limit for one in day.over] == ["nitrite"]
    assert day.over[0].value_mg_l == 9.0
    answer = today_answer(day, season.site)
    assert answer.is_trouble
    assert "9 mg/L" in answer.verdict
    assert day.loops[0].test_every_days == 1
    # a test of two weeks ago tells nothing of today
    old = record("test", 1, "loops.main", nitrite_n_mg_l=9.0)
    assert day_of(one_tank(), 20, old)[0].over == ()
    # nor does one of today that is well
    well = record("test", 5, "loops.main", nitrite_n_mg_l=0.05)
    assert day_of(one_tank(), 5, bad, well)[0].over == ()


def test_the_toxic_share_of_tested_ammonia_goes_by_the_ph_that_was_tested_with_it():
    """At pH 8.4 a twentieth of it is toxic and far over the limit; at the file's pH 7.0 it would be well below."""
    tested = record("test", 5, "loops.main", tan_mg_l=1.5, ph=8.4)
    (one,) = day_of(one_tank(), 5, tested)[0].over
    share = unionized_fraction(8.4, 26.0)
    assert (one.limit, one.value_mg_l) == ("unionized_ammonia", pytest.approx(1.5 * float(share)))
    assert day_of(one_tank(), 5, record("test", 5, "loops.main", tan_mg_l=1.5))[0].over == ()


def test_little_oxygen_measured_is_over_its_limit_too():
    (one,) = day_of(one_tank(), 5, record("test", 5, "loops.main", oxygen_mg_l=2.0))[0].over
    assert (one.limit, one.value_mg_l) == ("oxygen", 2.0)
    assert one.limit_mg_l > 2.0


def test_tests_are_due_daily_of_a_young_film_and_weekly_of_a_settled_one():
    young, settled = one_tank(biofilter_start="seeded"), one_tank()
    tested = record("test", 4, "loops.main", tan_mg_l=0.2)
    for tables, every in ((young, 1), (settled, 7)):
        loop = day_of(tables, 6, tested)[0].loops[0]
        assert (loop.test_every_days, loop.test_due) == (every, on(4 + every))
    assert day_of(settled, 6)[0].loops[0].test_due == on(6)
    # a test of pH alone is none of the film
    ph = record("test", 5, "loops.main", alkalinity_mg_l=70.0)
    assert day_of(settled, 6, tested, ph)[0].loops[0].test_due == on(11)


def test_what_is_planned_is_told_until_a_record_says_that_it_was_done():
    tables = one_tank() | {"events": [
        {"kind": "harvest", "date": on(3), "cohort": "fish", "count": 2},
        {"kind": "harvest", "date": on(12), "cohort": "fish", "count": 2},
        {"kind": "harvest", "date": on(28), "cohort": "fish", "count": 2},
    ]}  # fmt: skip
    planned = day_of(tables, 6)[0].planned
    assert [(one.date, one.is_overdue) for one in planned] == [(on(3), True), (on(12), False)]
    done = record("harvest", 4, "cohorts.fish", count=2.0)
    assert [one.date for one in day_of(tables, 6, done)[0].planned] == [on(12)]


def test_the_days_on_which_feeding_stops_and_begins_are_told():
    values = {"oct": "24 degC", "nov": "8 degC", "dec": "24 degC"}
    tables = one_tank(species="common_carp", feed="carp_35", days=92,
                      water_temperature={"kind": "monthly", "values": values})  # fmt: skip
    tables["season"] = {"start": dt.date(2026, 10, 1), "end": dt.date(2026, 12, 31)}
    tables["cohorts"]["fish"]["ration"] = {"kind": "appetite", "fraction": 0.85, "stop_below": "12 degC"}
    season = run_season(build(tables))
    fed = season.course.fed_g[0, :, 0] > 0.0
    stops = int(np.flatnonzero(~fed)[0])
    begins = stops + int(np.flatnonzero(fed[stops:])[0])
    assert the_day(season, [], dt.date(2026, 10, 2)).feeding == (("fish", season.dates[stops], False),)
    assert the_day(season, [], season.dates[stops]).feeding == (("fish", season.dates[begins], True),)


def test_the_next_limit_is_the_first_from_today_on():
    season = run_season(build(one_tank(count=400)))
    day = the_day(season, [], on(10))
    assert day.next_limits
    dates = [one.date for one in day.next_limits]
    assert dates == sorted(dates)
    assert min(dates) >= on(10)
    for one in day.next_limits:
        series = season.series_of(one.limit)
        at = series.entities.index(one.where.split(".", 1)[1])
        broken = np.broadcast_to(series.margin_percent[0], (season.layout.days, len(series.entities)))[:, at] < 0.0
        assert broken[(one.date - START).days]
        assert not broken[10 : (one.date - START).days].any()


def test_a_day_outside_the_season_is_refused():
    season = run_season(build(one_tank()))
    for day in (-1, 30):
        with pytest.raises(InputError):
            the_day(season, [], on(day))


def test_the_command_reads_the_book_up_to_that_day(monkeypatch, capsys, tmp_path):
    monkeypatch.setattr(store, "clock", lambda: dt.datetime(2026, 12, 1, 12, tzinfo=dt.UTC))
    run = runner(monkeypatch, capsys, tmp_path)
    before = run("today", "house.toml", "--json").data
    assert before["date"] == "2026-12-01"
    run("record", "add", "house.toml", "weigh", "--cohort", "perch", "--count", "10", "--total", "1200 g",
        "--date", "2026-11-20")  # fmt: skip
    after = run("today", "house.toml", "--json").data
    assert after["tanks"][0]["feed_g"] > 1.5 * before["tanks"][0]["feed_g"]
    assert run("today", "house.toml", "--on", "2026-11-19", "--json").data["tanks"][0]["feed_g"] == pytest.approx(
        run("today", "house.toml", "--on", "2026-11-19", "--json").data["feeding_sheet"][0]["feed_g"]["first"]
    )
    assert len(after["feeding_sheet"]) == SHEET_DAYS
    refused(run("today", "house.toml", "--on", "2028-01-01"), "2028-01-01")


def test_the_page_tells_the_day_with_the_records_of_its_book(monkeypatch, tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text(tomlkit.dumps(one_tank(count=10)), encoding="utf-8")
    monkeypatch.setenv("STOCKSIM_SITE", str(path))
    at = AppTest.from_file(script_of("today"), default_timeout=900).run()
    assert not at.exception
    at.text_input(key="day shown").set_value(on(5).isoformat()).run()
    assert "limit" in html_of(at)
    book = store.book_path(path)
    store.add(book, [Record("test", on(5), "loops.main", {"nitrite_n_mg_l": 9.0}, by="x")])
    at.run()
    assert "nitrite too high, 9 mg/L" in html_of(at)
    at.text_input(key="day shown").set_value("yesterday").run()
    assert "is not a day" in html_of(at)
    book.write_text("no book")
    at.text_input(key="day shown").set_value(on(5).isoformat()).run()
    assert book.name in html_of(at)
    assert not at.exception


def html_of(at: AppTest) -> str:
    return " ".join(element.proto.body for element in at.get("html"))
