"""The year's example: what the keeper does to the fish happens, and every fish and gram is accounted for."""

from __future__ import annotations

import datetime as dt
import json
import math
import re

import numpy as np
import pytest
from command_line import rows_of, runner

from stocksim import load_site, run_season
from stocksim.engine.results.deaths import SIGNS, ledger
from stocksim.faces.fates import event_data, event_lines, fate_data, fate_note, fate_rows, market
from stocksim.faces.words import summary
from stocksim.fish.ration import table_ration
from stocksim.fish.spread import share_above
from stocksim.site.examples import FOLDER

PATH = FOLDER / "heron_lane_year.toml"
ROUNDING = 1e-9  # of all that was added up


@pytest.fixture(scope="module")
def year():
    return run_season(load_site(PATH))


def days_of(season, cohort, column):
    """Dates and values of a cohort, one a day: a cohort that moves has two columns, one of them empty."""
    frame = season.cohorts[season.cohorts["cohort"] == cohort].groupby("date")[column].sum()
    return frame.index.date, frame.to_numpy()


def on(season, cohort, column, day):
    dates, values = days_of(season, cohort, column)
    return float(values[list(dates).index(day)])


def test_the_example_says_that_it_is_invented_and_lasts_a_year(year):
    assert "invented" in year.site.file.site.name
    assert year.layout.days == 365
    assert len(year.layout.loops) == 2


def test_every_cohort_sums_to_nothing_in_number_and_mass(year):
    for name, entries in ledger(year.layout, year.course).items():
        for what in (0, 1):
            left = math.fsum(SIGNS[key] * entries[key][what] for key in SIGNS)
            size = sum(abs(entries[key][what]) for key in SIGNS)
            assert left == pytest.approx(entries["at_end"][what], abs=ROUNDING * max(size, 1.0)), (name, what)


def test_what_the_whole_site_gets_and_gives_agrees(year):
    book = ledger(year.layout, year.course)
    out = sum(book[name]["to_grading"][1] for name in book)
    into = sum(book[name]["from_grading"][1] for name in book)
    assert out == pytest.approx(into, rel=1e-12)
    assert out > 0.0
    assert sum(entries["growth"][1] for entries in book.values()) == pytest.approx(1000.0 * year.totals()["growth_kg"])
    assert sum(entries["harvested"][1] for entries in book.values()) / 1000.0 == pytest.approx(
        year.totals()["harvested_kg"]
    )


def test_the_ledger_agrees_with_the_daily_frame(year):
    """Deaths, harvests and what is left, counted again from cohorts.csv."""
    for name, entries in ledger(year.layout, year.course).items():
        _, count = days_of(year, name, "count")
        assert count[-1] == pytest.approx(entries["at_end"][0], abs=1e-9)
        assert days_of(year, name, "deaths")[1].sum() == pytest.approx(entries["deaths"][0], abs=1e-9)
        assert days_of(year, name, "harvested_kg")[1].sum() == pytest.approx(entries["harvested"][1] / 1000.0, abs=1e-9)
        assert np.all(count >= 0.0)


@pytest.mark.parametrize(
    ("cohort", "day", "fish"),
    [("tilapia", dt.date(2027, 2, 10), 6.0), ("winter_trout", dt.date(2027, 4, 10), 15.0)],
)
def test_events_by_number_take_that_number_on_that_day(year, cohort, day, fish):
    before = on(year, cohort, "count", day - dt.timedelta(days=1))
    assert before - on(year, cohort, "count", day) - on(year, cohort, "deaths", day) == pytest.approx(fish, abs=1e-9)


def test_grading_puts_the_large_perch_apart(year):
    day = dt.date(2027, 3, 20)
    before = on(year, "perch", "mean_weight_g", day - dt.timedelta(days=1))
    small, large = (on(year, name, "mean_weight_g", day) for name in ("perch", "big_perch"))
    assert small < before < 80.0 < large
    fish = on(year, "perch", "count", day - dt.timedelta(days=1))
    stay, go = on(year, "perch", "count", day), on(year, "big_perch", "count", day)
    dead = on(year, "perch", "deaths", day) + on(year, "big_perch", "deaths", day)
    assert stay + go + dead == pytest.approx(fish, abs=1e-9)
    # a share by hand: lognormal of mean 66.5 g or so and spread 0.3
    spread = math.sqrt(math.log1p(0.3**2))
    score = (math.log(before / 80.0)) / spread - 0.5 * spread
    assert go / fish == pytest.approx(0.5 * math.erfc(-score / math.sqrt(2.0)), abs=2e-3)


def test_the_move_changes_the_tank_and_nothing_else(year):
    day = dt.date(2027, 5, 20)
    frame = year.cohorts[year.cohorts["cohort"] == "perch"].set_index("date")
    tank = {when.date(): name for when, name, count in zip(frame.index, frame["tank"], frame["count"], strict=True)
            if count > 0.0}  # fmt: skip
    assert (tank[day - dt.timedelta(days=1)], tank[day]) == ("cedar", "alder")
    assert on(year, "perch", "count", day) + on(year, "perch", "deaths", day) == pytest.approx(
        on(year, "perch", "count", day - dt.timedelta(days=1)), abs=1e-9
    )


def test_harvests_are_two_or_more_and_the_trout_are_gone(year):
    done = [event for event in event_data(year) if event["kind"] == "harvest"]
    assert len(done) == 4
    assert all(event["fish"] > 1.0 and event["kg"] > 0.5 for event in done)
    (by_weight,) = [event for event in done if event["cohort"] == "tilapia"]
    assert by_weight["kg"] == pytest.approx(6.0, abs=1e-6)
    assert on(year, "winter_trout", "count", dt.date(2027, 5, 10)) == 0.0


def test_rules_of_feeding_are_kept(year):
    dates, fed = days_of(year, "tilapia", "feed_g")
    assert all((feed == 0.0) == (day.weekday() == 6) for day, feed in zip(dates, fed, strict=True))
    # perch on alternate days while the water is colder than 11 degC
    dates, fed = days_of(year, "perch", "feed_g")
    january = fed[[day.year == 2027 and day.month == 1 for day in dates]]
    assert set((january > 0.0)[::2]) != set((january > 0.0)[1::2])
    assert len(set(january > 0.0)) == 2
    # trout by the table: the percentage that the file's table gives for the day's water and the fish's weight
    frame = year.cohorts[year.cohorts["cohort"] == "winter_trout"].reset_index(drop=True)
    rule = year.site.file.cohorts["winter_trout"].ration
    for at in (5, 60, 150):
        weight = frame["mean_weight_g"][at - 1]  # that morning's
        asked = table_ration(weight, frame["temperature_c"][at], rule.weights, rule.temperatures, rule.percent)
        assert frame["feed_percent_body_weight"][at] == pytest.approx(float(asked), rel=1e-6)


def test_wild_bluegill_do_not_grow_while_they_learn(year):
    _, growth = days_of(year, "pond_bluegill", "growth_g_per_day")
    assert np.all(growth[:21] <= 1e-9)
    assert growth[30] > 0.0
    _, deaths = days_of(year, "pond_bluegill", "deaths")
    # the species file: 15 % lost over 21 days, beside the few of every day, and next to none of the water
    expected = 100.0 * (1.0 - 0.85 * math.exp(-21 * 7.2e-5))
    assert expected <= deaths[:21].sum() < expected + 1e-3


def test_words_tell_each_event_with_its_day(year):
    lines = event_lines(year, "metric")
    assert len(lines) == len(year.site.file.events)
    assert lines[0].startswith("On 10 Feb 2027: thin 6 of ")
    assert "(6 fish, 0.9 kg, " in lines[0]
    (grading,) = (line for line in lines if line.startswith("On 20 Mar 2027: grade perch"))
    assert "80 g or more" in grading
    assert "big_perch" in grading
    assert event_lines(year, "metric", 4)[-1].startswith("And 6 more")
    assert "lb" in event_lines(year, "us")[0]


def test_the_table_tells_every_cohort(year):
    rows = {row["fish"]: row for row in fate_rows(year, "metric")}
    assert list(rows) == list(ledger(year.layout, year.course))
    assert rows["winter_trout"]["left"] == rows["winter_trout"]["market size"] == "-"
    assert rows["big_perch"]["stocked"] == "-"
    graded = re.match(r"\+(\d+), \+", rows["big_perch"]["graded in/out"])
    assert graded
    assert rows["perch"]["graded in/out"].startswith(f"-{graded[1]}, -")
    assert "perch" not in fate_note(year)
    assert "pond_bluegill" in fate_note(year)
    found = market(year, "perch")
    assert found is not None
    assert found["size_spread"] < 0.3  # grading took the upper tail
    last = year.cohorts[(year.cohorts["cohort"] == "perch") & (year.cohorts["count"] > 0.0)].iloc[-1]
    market_g = year.site.species["yellow_perch"]["market_weight"]
    above = share_above(last["mean_weight_g"], found["size_spread"], market_g)
    assert found["share_above_market"] == pytest.approx(float(above), abs=1e-6)
    assert 0.5 < above < 0.7


def test_the_data_are_json_and_sum(year):
    data = json.loads(json.dumps(summary(year, year.findings), allow_nan=False))
    assert data["fish"] == json.loads(json.dumps(fate_data(year)))
    for name, held in data["fish"].items():
        entries = held["ledger"]
        for what in ("fish", "kg"):
            left = math.fsum(SIGNS[key] * entries[key][what] for key in SIGNS)
            assert left == pytest.approx(entries["at_end"][what], abs=1e-5), name
    assert [event["date"] for event in data["events"]] == sorted(event["date"] for event in data["events"])


def test_a_new_file_from_the_example_runs_and_writes_its_ledger(monkeypatch, capsys, tmp_path):
    run = runner(monkeypatch, capsys, tmp_path)
    assert run("new", "year.toml", "--example", "heron_lane_year").code == 0
    assert (tmp_path / "year.toml").read_text(encoding="utf-8") == PATH.read_text(encoding="utf-8")
    checked = run("check", "year.toml", "--fish")
    assert checked.code == 0
    assert "20 Mar 2027: grade perch" in checked.out
    ran = run("season", "year.toml", "--out", "results", "--all")
    assert ran.code == 0
    assert "On 10 Apr 2027: harvest 15 " in ran.out
    book: dict[str, float] = {}
    for row in rows_of(tmp_path / "results" / "ledger.csv"):
        sign = SIGNS.get(row["entry"], -1.0)
        book[row["cohort"]] = book.get(row["cohort"], 0.0) + sign * float(row["kg"])
    assert len(book) == 6
    for name, sum_kg in book.items():
        assert sum_kg == pytest.approx(0.0, abs=1e-3), name  # the file holds six digits: to the gram
