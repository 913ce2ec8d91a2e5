"""The rest of a season by its records: it goes on as the whole season does, and changes tried keep what was read."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from small_sites import START, build, one_tank

from stocksim import run_season
from stocksim.book.store import Record
from stocksim.engine.measured import with_records
from stocksim.engine.onward import onward
from stocksim.faces.record_words import over_words
from stocksim.faces.words import is_trouble, verdict
from stocksim.heat.temperatures import water_c

DAYS, TODAY = 60, 20


def on(day: int) -> dt.date:
    return START + dt.timedelta(days=day)


def record(kind: str, day: int, of: str, **held: float) -> Record:
    return Record(kind, on(day), of, held, number=day)


def tables() -> dict:
    made = one_tank(days=DAYS, ph=None, biofilter_start="seeded", alkalinity_target="80 mg/L", count=60,
                    source_water={"alkalinity": "40 mg/L"})  # fmt: skip
    made["beds"]["gravel"]["plantings"] = [
        {"crop": "lettuce", "from": on(0), "to": on(DAYS - 1), "every_days": 7, "area": "3 m2"}
    ]
    made["loops"]["main"]["feeding_ramp"] = [{"from": on(2), "share": 0.6}, {"from": on(30), "share": 1.0}]
    made["loops"]["main"]["water_changes"] = [{"date": on(4), "volume": "300 L"}, {"date": on(40), "volume": "300 L"}]
    made["events"] = [
        {"kind": "harvest", "date": on(6), "cohort": "fish", "count": 5},
        {"kind": "harvest", "date": on(45), "cohort": "fish", "count": 10},
    ]
    return made


RECORDS = (
    record("temperature", 15, "tanks.one", temperature_c=24.0),
    record("weigh", 17, "cohorts.fish", count=20.0, total_g=2600.0),
    record("deaths", 18, "cohorts.fish", count=3.0),
    record("test", 18, "loops.main", nitrate_n_mg_l=30.0, tan_mg_l=0.8, nitrite_n_mg_l=0.3),
)


@pytest.fixture(scope="module")
def site():
    return build(tables())


@pytest.fixture(scope="module")
def rest(site):
    return onward(site, RECORDS, on(TODAY))


def test_the_rest_begins_today_and_goes_on_as_the_whole_season_does(site, rest):
    assert (rest.since, rest.site.file.season.start) == (on(TODAY), on(TODAY))
    assert "4 records" in rest.told[0]
    whole, later = run_season(with_records(site, RECORDS).site), run_season(rest.site)
    for name in ("weight_g", "count", "fed_g"):
        one, other = (getattr(season.course, name)[0, -1, 0] for season in (whole, later))
        assert other == pytest.approx(one, rel=0.02), name
    for name in ("nitrate_mg_l", "alkalinity_mg_l", "sump_nitrite_mg_l", "potassium_mg_l"):
        one, other = (getattr(season.course, name)[0, :, 0] for season in (whole, later))
        assert other[5:] == pytest.approx(one[TODAY + 5 :], rel=0.1, abs=0.05), name
    films = [season.course.ammonia_maturity[0, :, 0] for season in (whole, later)]
    assert films[1] == pytest.approx(films[0][TODAY:], abs=0.05)
    assert later.planting.stands.area_m2[:, 0] == pytest.approx(whole.planting.stands.area_m2[TODAY:, 0])


def test_what_is_past_is_left_out_and_what_holds_is_kept(rest):
    loop = rest.site.file.loops["main"]
    assert [event.date for event in rest.site.file.events] == [on(45)]
    assert [change.date for change in loop.water_changes] == [on(40)]
    assert [(step.start, step.share) for step in loop.feeding_ramp] == [(on(TODAY), 0.6), (on(30), 1.0)]


def test_a_change_that_is_tried_keeps_the_water_that_was_read(site, rest):
    for one in (with_records(site, RECORDS).site, rest.site):
        read = water_c(one)["main"]
        assert read.min() < 25.0
        for fields in ({"cohorts.fish.count": 30}, {"tanks.one.flow": "1200 L/h"}):
            assert np.array_equal(water_c(one.with_changes(fields))["main"], read)
        # a set point that is tried has the reading on top
        warmer = {"loops.main.water_temperature": {"kind": "constant", "value": "28 degC"}}
        assert water_c(one.with_changes(warmer))["main"] == pytest.approx(read + 2.0)


def test_a_test_over_a_limit_is_the_first_line_of_the_rest_of_the_season(site):
    """Oxygen that was read is no state of the season, so nothing else would tell of it."""
    low = record("test", 18, "loops.main", oxygen_mg_l=2.0)
    season = run_season(onward(site, (*RECORDS, low), on(TODAY)).site)
    (one,) = season.site.begun.over
    assert (one.limit, one.value_mg_l, one.date) == ("oxygen", 2.0, on(18))
    assert verdict(season, season.findings).startswith(over_words(one))
    assert is_trouble(season, season.findings)
    assert run_season(onward(site, RECORDS, on(TODAY)).site).site.begun.over == ()


def test_a_planned_harvest_takes_no_more_than_the_model_leaves():
    """Too little air for 300 fish, so that fewer are left than the file takes out later."""
    made = one_tank(days=40, count=300, power_w=0.0)
    made["events"] = [{"kind": "harvest", "date": on(30), "cohort": "fish", "count": 290}]
    site = build(made)
    rest = onward(site, [record("feed", 5, "cohorts.fish", feed_g=10.0)], on(TODAY)).site
    left = rest.file.cohorts["fish"].count
    assert left < 290
    assert [event.count for event in rest.file.events] == [left]


def test_without_records_of_its_season_the_site_is_as_it_was(site):
    for records, day in (((), TODAY), (RECORDS, -3), (RECORDS, DAYS + 3), (RECORDS, 12)):
        found = onward(site, records, on(day))
        assert found.site is site
        assert found.since is None


def test_a_season_without_fish_left_is_not_begun_anew():
    gone = [record("harvest", 19, "cohorts.fish", count=40.0)]
    found = onward(build(one_tank()), gone, on(TODAY))
    assert (found.since, len(found.told)) == (None, 1)
