"""What harms fish and what is a caution, by the season's own deaths and appetite."""

from __future__ import annotations

import datetime as dt
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent / "advice"))

from small_sites import START, build, one_tank
from troubled import HEALTHY, broken_sites, changed

from stocksim import load_site, run_season
from stocksim.changes.ways import advise
from stocksim.engine.results.deaths import deaths_by_cause
from stocksim.engine.results.harm import harms, is_measured

SYSTEMS = Path(__file__).parent / "systems"
# Common carp among 12-21 mg/L of nitrite nitrogen in a film's first weeks: the paper tells it as a start-up, and
# its survival is not judged (docs/systems.md).
BEGUN_WITH_FISH = "carp_new_film"


def broken(season, limit):
    return next(f for f in season.findings if f.limit == limit and f.is_broken)


@pytest.mark.parametrize("name", sorted(path.stem for path in SYSTEMS.glob("*.toml")))
def test_a_published_system_is_told_to_change_nothing(name):
    season = run_season(load_site(SYSTEMS / f"{name}.toml"))
    harmful = [(f.limit, f.where, f.margin_percent) for f in season.findings if harms(season, f)]
    assert bool(harmful) == (name == BEGUN_WITH_FISH), harmful


def test_what_fish_die_of_harms_them():
    season = run_season(build(changed(HEALTHY["trout"], {"loops.main.biofilter_start": "new"})))
    found = broken(season, "unionized_ammonia")
    dead = deaths_by_cause(season.layout, season.course)["ammonia"].sum()
    assert dead > 0.02 * 100
    assert harms(season, found)
    assert advise(season).must_change


def test_density_alone_harms_nobody_and_nothing_must_change():
    (site,) = [site for site in broken_sites() if site.name == "bass: far too many fish in one tank"]
    season = run_season(build(site.tables))
    assert broken(season, "density").margin_percent < -100.0
    assert not any(harms(season, f) for f in season.findings)
    advice = advise(season)
    assert advice.ways
    assert not advice.must_change


def test_cold_that_kills_harms_and_cold_that_does_not_is_a_caution():
    for temperature, harmful in ((7.0, True), (12.5, False)):
        season = run_season(build(one_tank("nile_tilapia", "tilapia_34", temperature, days=60, count=60)))
        assert harms(season, broken(season, "temperature_low")) is harmful


def test_a_limit_that_a_test_found_broken_is_measured_and_counts():
    tables = changed(HEALTHY["tilapia"], {})
    tables["loops"]["main"]["water_tests"] = [{"date": START + dt.timedelta(days=20), "nitrite_n": "4 mg/L"}]
    season = run_season(build(tables))
    found = broken(season, "nitrite")
    assert is_measured(season, found)
    assert harms(season, found)
    tables["loops"]["main"]["water_tests"][0]["nitrite_n"] = "0.1 mg/L"
    season = run_season(build(tables))
    assert not any(is_measured(season, f) for f in season.findings)
