"""A season from its records on: what was measured goes before what was reckoned."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from small_sites import START, build, one_tank

from stocksim import run_season
from stocksim.book.store import Record
from stocksim.engine.measured import FADES_IN_DAYS, with_records
from stocksim.heat.temperatures import water_c


def on(day: int) -> dt.date:
    return START + dt.timedelta(days=day)


def record(kind: str, day: int, of: str = "cohorts.fish", **held) -> Record:
    return Record(kind, on(day), of, held, number=day)


@pytest.fixture(scope="module")
def site():
    return build(one_tank())


def started(site) -> float:
    return float(site.file.cohorts["fish"].count)


def test_without_records_the_site_is_as_it_was(site):
    assert with_records(site, []).site is site
    told = with_records(site, [record("feed", 3, feed_g=50.0), record("feed", -9, feed_g=50.0)])
    assert told.site is site
    assert len(told.notes) == 1


def test_weights_and_numbers_are_those_measured(site):
    course = run_season(with_records(site, [
        record("weigh", 4, count=10.0, total_g=700.0), record("weigh", 4, weights_g="50 60"),
        record("deaths", 6, count=2.0), record("harvest", 8, count=3.0), record("deaths", 9, count=1.0),
    ]).site).course  # fmt: skip
    mean = (700.0 + 110.0) / 12.0
    assert course.weight_g[0, 4, 0] - course.gain_g[0, 4, 0] / course.count[0, 4, 0] == pytest.approx(mean, rel=1e-3)
    there = course.count[0, :, 0] + course.deaths[0, :, 0]
    assert there[6] == pytest.approx(started(site) - 2.0)
    assert there[9] == pytest.approx(started(site) - 6.0)


def test_a_head_count_goes_before_all_that_was_subtracted(site):
    course = run_season(with_records(site, [
        record("harvest", 3, weight_g=100.0), record("deaths", 4, count=1.0), record("count", 6, count=11.0),
        record("deaths", 7, count=1.0),
    ]).site).course  # fmt: skip
    there = course.count[0, :, 0] + course.deaths[0, :, 0]
    # a harvest by weight leaves the number open, so deaths after it tell none until fish are counted
    assert there[4] > started(site) - 12
    assert there[6] == pytest.approx(11.0)
    assert there[7] == pytest.approx(10.0)


def test_more_dead_than_there_were_is_a_contradiction_and_not_used(site):
    told = with_records(site, [record("deaths", 4, count=500.0), record("weigh", 5, count=1.0, total_g=66.0)])
    assert len(told.contradictions) == 1
    assert "500" in told.contradictions[0]
    course = run_season(told.site).course
    assert course.count[0, 4, 0] > started(site) - 1.0


def test_what_cannot_be_is_left_out_and_the_number_before_it_goes_on(site):
    told = with_records(site, [
        record("deaths", 4, count=500.0), record("deaths", 6, count=2.0), record("harvest", 8, count=300.0),
        record("harvest", 9, count=3.0),
    ])  # fmt: skip
    assert len(told.contradictions) == 2
    course = run_season(told.site).course
    there = course.count[0, :, 0] + course.deaths[0, :, 0]
    assert there[6] == pytest.approx(started(site) - 2.0)
    assert course.count[0, 8, 0] - course.count[0, 9, 0] == pytest.approx(3.0, abs=0.1)


def test_all_may_have_died(site):
    told = with_records(site, [record("deaths", 4, count=started(site))])
    assert told.contradictions == ()
    assert np.all(run_season(told.site).course.fed_g[0, 4:] == 0.0)


def test_a_planned_harvest_takes_no_more_than_the_records_leave():
    tables = one_tank() | {"events": [
        {"kind": "harvest", "date": on(10), "cohort": "fish", "count": 25},
        {"kind": "sell", "date": on(12), "cohort": "fish", "count": 10},
    ]}  # fmt: skip
    told = with_records(build(tables), [record("deaths", 4, count=25.0)])
    assert [(event.kind, event.count) for event in told.site.file.events] == [("found", 15), ("harvest", 15)]
    assert len(told.notes) == 1


def test_recorded_harvests_take_the_place_of_planned_ones_until_then():
    tables = one_tank() | {"events": [
        {"kind": "harvest", "date": on(5), "cohort": "fish", "count": 2},
        {"kind": "harvest", "date": on(15), "cohort": "fish", "count": 2},
        {"kind": "ration", "date": on(2), "cohort": "fish", "ration": {"kind": "unfed"}},
    ]}  # fmt: skip
    told = with_records(build(tables), [record("harvest", 6, count=4.0)])
    assert [(event.kind, event.date, getattr(event, "count", None)) for event in told.site.file.events] == [
        ("ration", on(2), None), ("harvest", on(6), 4), ("harvest", on(15), 2),
    ]  # fmt: skip
    assert len(told.notes) == 1


def test_water_tests_set_levels_and_films(site):
    told = with_records(site, [
        record("test", 5, "loops.main", tan_mg_l=2.5, nitrate_n_mg_l=44.0),
        record("test", 5, "loops.main", nitrate_n_mg_l=40.0, oxygen_mg_l=7.0),
        record("water", 6, "loops.main", volume_m3=0.1),
    ]).site  # fmt: skip
    (test,) = told.file.loops["main"].water_tests
    assert (test.date, test.tan, test.nitrate_n) == (on(5), 2.5, 40.0)
    (change,) = told.file.loops["main"].water_changes
    assert (change.date, change.volume) == (on(6), 0.1)
    reckoned, measured = run_season(site), run_season(told)
    assert measured.course.nitrate_mg_l[0, 5, 0] == pytest.approx(40.0, abs=3.0)
    # far more ammonia than was reckoned is a weaker film
    (film,) = measured.film_corrections
    assert film.after < film.before
    assert measured.course.tan_mg_l[0, 9].mean() > reckoned.course.tan_mg_l[0, 9].mean()


def test_a_ph_that_the_file_holds_all_season_is_told_and_stays():
    tables = one_tank()
    tables["loops"]["main"]["ph"] = 7.0
    told = with_records(build(tables), [record("test", 5, "loops.main", ph=6.6)])
    assert told.site.file.loops["main"].water_tests == []
    assert len(told.notes) == 1


def test_a_loggers_day_that_came_in_twice_counts_once_as_the_fuller(site):
    """A file that ended in the morning, and a longer one of the same logger; what was read by hand counts beside it."""
    reckoned = water_c(site)["main"]
    began, whole = (
        record("temperature", 3, "tanks.one", temperature_c=reckoned[3] + off, readings=readings)
        for off, readings in ((4.0, 2.0), (1.0, 96.0))
    )
    off = water_c(with_records(site, [began, whole]).site)["main"] - reckoned
    assert off[3] == pytest.approx(1.0)
    by_hand = record("temperature", 3, "tanks.one", temperature_c=reckoned[3] + 2.0)
    off = water_c(with_records(site, [began, whole, by_hand]).site)["main"] - reckoned
    assert off[3] == pytest.approx(1.5)


def test_readings_move_the_water_and_fade(site):
    reckoned = water_c(site)["main"]
    days = len(reckoned)
    told = with_records(site, [record("temperature", 3, "tanks.first" if "first" in site.file.tanks else
                               f"tanks.{next(iter(site.file.tanks))}", temperature_c=reckoned[3] + 2.0),
                               record("temperature", 7, "loops.main", temperature_c=reckoned[7] + 1.0)])  # fmt: skip
    off = water_c(told.site)["main"] - reckoned
    assert off[3] == pytest.approx(2.0)
    assert off[5] == pytest.approx(1.5)
    assert off[7] == pytest.approx(1.0)
    last = min(7 + FADES_IN_DAYS, days - 1)
    assert np.all(np.diff(off[7 : last + 1]) < 0.0)
    assert off[min(7 + FADES_IN_DAYS // 2, days - 1)] == pytest.approx(0.5, abs=0.01)
    # fish eat by the water that was measured
    assert run_season(told.site).course.eaten_g[0, 3, 0] != run_season(site).course.eaten_g[0, 3, 0]
