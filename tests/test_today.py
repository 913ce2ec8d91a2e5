"""The day's list by a season and its records."""

from __future__ import annotations

import datetime as dt
import math

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
from stocksim.engine.measured import SCALE_ERROR, appetite_spread, with_records
from stocksim.engine.onward import onward
from stocksim.errors import InputError
from stocksim.faces.registry import script_of
from stocksim.water.ammonia import unionized_fraction
from stocksim.water.buffering import SALTS
from stocksim.water.nitrite import SALT_PER_CHLORIDE, SODIUM_PER_CHLORIDE


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
    first = answer.section("do").parts[0].items[0]
    assert "change water" in first  # and does not stand below all else
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


def test_what_was_given_today_is_taken_off():
    tables = one_tank(alkalinity_target="80 mg/L", ph=None, evaporation="8 L/day",
                      source_water={"alkalinity": "40 mg/L"})  # fmt: skip
    asked = day_of(tables, 5)[0]
    half = 0.5 * asked.loops[0].base_g
    per_alkalinity = [SALTS[salt].salt_g_per_alkalinity_g for salt in ("sodium_bicarbonate", asked.loops[0].salt)]
    soda = half * per_alkalinity[0] / per_alkalinity[1]
    given = (
        Record("base", on(5), "loops.main", {"weight_g": soda, "salt": "sodium_bicarbonate"}, number=1),
        record("base", 4, "loops.main", weight_g=half), record("feed", 5, "tanks.one", feed_g=30.0),
        record("feed", 5, "cohorts.fish", feed_g=12.0), record("feed", 4, "cohorts.fish", feed_g=99.0),
    )  # fmt: skip
    day, season = day_of(tables, 5, *given)
    assert day.loops[0].base_g == pytest.approx(half)
    assert (day.tanks[0].given_g, day.tanks[0].feed_g) == (42.0, pytest.approx(asked.tanks[0].feed_g))
    assert f"of which {42} g are given" in today_answer(day, season.site).verdict


def test_a_change_of_water_is_due_until_a_record_tells_of_it_and_is_no_top_up():
    tables = one_tank(evaporation="8 L/day", water_changes=[
        {"date": on(2), "volume": "100 L"}, {"date": on(5), "volume": "300 L"}, {"date": on(25), "volume": "300 L"},
    ])  # fmt: skip
    day = day_of(tables, 5)[0]
    assert [(one.date, one.volume_l, one.is_overdue) for one in day.changes] == [
        (on(2), pytest.approx(100.0), True), (on(5), pytest.approx(300.0), False)
    ]  # fmt: skip
    assert day.loops[0].top_up_l == pytest.approx(8.0)
    done = day_of(tables, 5, record("water", 5, "loops.main", volume_m3=0.25))[0]
    assert (done.changes, done.loops[0].top_up_l) == ((), pytest.approx(8.0))


def test_fish_that_died_in_the_model_alone_are_asked_after():
    tables = one_tank(count=300, power_w=0.0)
    day, season = day_of(tables, 5)
    (one,) = day.lost
    assert (one.cohort, one.since) == ("fish", START)
    assert one.dead == pytest.approx(season.course.deaths[0, :5].sum())
    counted = day_of(tables, 5, record("count", 5, "cohorts.fish", count=290))[0]
    assert counted.lost == ()
    assert day_of(one_tank(), 5)[0].lost == ()


def test_salt_that_was_given_is_not_asked_for_again():
    catfish = one_tank("channel_catfish", "catfish_32")
    bad = record("test", 4, "loops.main", nitrite_n_mg_l=1.5)
    asked = day_of(catfish, 4, bad)[0].loops[0].plain_salt
    given = Record("salt", on(4), "loops.main", {"weight_g": round(asked.grams)}, number=5)
    day, season = day_of(catfish, 4, bad, given)
    assert day.loops[0].plain_salt is None
    volume = season.layout.loop_water_m3[0]
    before = day_of(catfish, 4, bad)[1].course
    for solute, share in (("chloride", 1.0 / SALT_PER_CHLORIDE), ("sodium", SODIUM_PER_CHLORIDE / SALT_PER_CHLORIDE)):
        rise = getattr(season.course, f"{solute}_mg_l")[0, 4, 0] - getattr(before, f"{solute}_mg_l")[0, 4, 0]
        assert rise == pytest.approx(share * asked.grams / volume, rel=0.02)
    # the rest of the season has it too, as what was given before it or on its first day
    for today in (4, 5):
        rest = run_season(onward(build(catfish), [bad, given], on(today)).site)
        assert rest.course.chloride_mg_l[0, 0, 0] == pytest.approx(season.course.chloride_mg_l[0, today, 0], rel=0.01)
    # half of it leaves with half of the water where that is changed after it, nothing where it was changed before
    half = {"volume_m3": 0.5 * volume}
    salted = season.course.chloride_mg_l[0, 4, 0]
    for number, left in ((4.5, 1.0), (6, 0.5)):
        change = Record("water", on(4), "loops.main", half, number=number)
        level = day_of(catfish, 4, bad, given, change)[1].course.chloride_mg_l[0, 4, 0]
        other = day_of(catfish, 4, bad, change)[1].course.chloride_mg_l[0, 4, 0]
        assert level - other == pytest.approx(left * (salted - before.chloride_mg_l[0, 4, 0]), rel=0.03)
    # a test of chloride after it has it in already
    tested = Record("test", on(4), "loops.main", {"chloride_mg_l": 80.0}, number=6)
    assert day_of(catfish, 4, bad, given, tested)[1].course.chloride_mg_l[0, 4, 0] == pytest.approx(80.0, rel=0.02)


def test_what_the_day_starts_from_is_told_with_its_error():
    tables = one_tank()
    weighed = record("weigh", 3, "cohorts.fish", count=16.0, total_g=1600.0)
    dead, tested = record("deaths", 4, "cohorts.fish", count=2.0), record("test", 4, "loops.main", tan_mg_l=0.3)
    day, season = day_of(tables, 6, weighed, dead, tested)
    (fish,), (level,) = day.fish, day.levels
    assert (fish.weighed, fish.counted) == (on(3), on(4))
    assert fish.count == pytest.approx(38.0, abs=0.1)
    spread = season.site.species["nile_tilapia"].number("size_spread", 0.25)
    grown = appetite_spread(season.site, "nile_tilapia") * math.log(fish.weight_g / 100.0)
    assert fish.error == pytest.approx(math.hypot(spread / 4.0, SCALE_ERROR, grown))
    assert (level.level, level.value_mg_l, level.tested) == ("tan", 0.3, on(4))
    # of fish that were never weighed the error is that of their growth; it is told as a range about the middle
    (never,) = day_of(tables, 6)[0].fish
    assert (never.weighed, never.counted) == (None, None)
    told = today_answer(day, season.site).data["fish"][0]
    assert told["error_of_logarithm"] == pytest.approx(fish.error, abs=1e-4)


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
