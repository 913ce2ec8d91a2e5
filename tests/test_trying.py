"""Trials: what is run once is found again by its content alone, and stopping early gives the advice of trying all."""

from __future__ import annotations

import copy
import datetime as dt
import shutil
from dataclasses import replace

import numpy as np
import pytest
from lever_checks import dosed
from small_sites import START, build, one_tank

from stocksim import run_season
from stocksim.changes import change as trying
from stocksim.changes.search import help_of
from stocksim.changes.ways import find_changes
from stocksim.engine.results.frames import Season
from stocksim.faces.text import water_rows
from stocksim.library.sources import library_folder
from stocksim.memo import Memo
from stocksim.site.kinds import LIMITS
from stocksim.site.reading import load_site, site_from_tables

EDITS = {
    "site.name": "another (invented)",
    "site.elevation": "900 m",
    "season.end": START + dt.timedelta(days=11),
    "loops.main.sump": "801 L",
    "loops.main.ph": 7.2,
    "loops.main.biofilter_started": START,
    "loops.main.source_water": {"alkalinity": "31 mg/L"},
    "loops.main.water_temperature.value": "25.5 degC",
    "loops.main.water_changes": [{"date": START, "volume": "90 L"}],
    "tanks.one.flow": "990 L/h",
    "beds.gravel.area": "9 m2",
    "beds.gravel.plantings": [{"crop": "kale", "from": START, "to": START + dt.timedelta(days=5)}],
    "cohorts.fish.count": 41,
    "cohorts.fish.mean_weight": "101 g",
    "cohorts.fish.feed": "catfish_32",
    "cohorts.fish.species": "channel_catfish",
    "cohorts.fish.ration": {"kind": "appetite", "fraction": 0.7},
}


@pytest.fixture
def empty(monkeypatch):
    """Memos of trials without what other tests left, and the seasons that were really run."""
    monkeypatch.setattr(trying, "_seasons", Memo(64))
    monkeypatch.setattr(trying, "_trials", Memo(512))
    runs = []
    monkeypatch.setattr(
        trying, "run_season", lambda *site, **changes: runs.append(changes) or run_season(*site, **changes)
    )
    return runs


def test_an_edit_of_any_field_is_another_content_and_another_season(empty):
    site = build(one_tank(days=10))
    seen = {site.content}
    for field, value in EDITS.items():
        changed = site.with_changes({field: value})
        assert changed.content not in seen, field
        seen.add(changed.content)
        trying.prove(site, {field: value})
    assert len(empty) == len(EDITS)
    for field, value in EDITS.items():
        after = trying.prove(build(one_tank(days=10)), {field: copy.deepcopy(value)})
        assert after.site.content == site.with_changes({field: value}).content
    assert len(empty) == len(EDITS)


def test_seasons_of_two_sites_with_one_change_are_two(empty):
    one, other = build(one_tank(days=10)), build(one_tank(days=10, volume_l=900.0))
    change = {"cohorts.fish.count": 30}
    assert trying.prove(one, change).layout.volume_m3[0] == pytest.approx(1.0)
    assert trying.prove(other, change).layout.volume_m3[0] == pytest.approx(0.9)
    assert trying.prove(one, change) is trying.prove(one, dict(change))
    assert len(empty) == 2


def test_an_own_library_file_moves_the_answer(tmp_path, empty):
    own = tmp_path / "species_params" / "fish" / "nile_tilapia.toml"
    own.parent.mkdir(parents=True)
    shutil.copy(library_folder() / "fish" / "nile_tilapia.toml", own)
    change = {"cohorts.fish.count": 30}
    before = trying.prove(site_from_tables(one_tank(days=10), tmp_path), change)
    value = before.site.species["nile_tilapia"]["temperature_high_stress"]
    written = own.read_text(encoding="utf-8")
    place = written.index("value", written.index("temperature_high_stress"))
    own.write_text(written[:place] + written[place:].replace(f"{value:g}", f"{value - 1.0:g}", 1), encoding="utf-8")
    after = trying.prove(site_from_tables(one_tank(days=10), tmp_path), change)
    assert after.site.species["nile_tilapia"]["temperature_high_stress"] == value - 1.0
    assert after is not before
    assert after.layout.species["temperature_high_stress"][0] == value - 1.0


def test_a_weather_file_that_changed_is_another_content(tmp_path):
    tables = one_tank(days=10)
    tables["site"]["latitude"] = 45.0
    tables["weather"] = {"kind": "file", "file": "weather.csv"}
    path = tmp_path / "weather.csv"
    days = [START + dt.timedelta(days=day) for day in range(10)]
    path.write_text("date,low_c,high_c\n" + "".join(f"{day},2,9\n" for day in days), encoding="utf-8")
    before = site_from_tables(tables, tmp_path).content
    assert site_from_tables(tables, tmp_path).content == before
    path.write_text("date,low_c,high_c\n" + "".join(f"{day},2,8\n" for day in days), encoding="utf-8")
    assert site_from_tables(tables, tmp_path).content != before


def test_a_log_that_changed_is_another_content(tmp_path):
    tables = one_tank(days=3)
    tables["loops"]["main"]["water_temperature"] = {"kind": "log", "file": "log.csv"}
    days = [START + dt.timedelta(days=day) for day in range(3)]
    contents = set()
    for celsius in (25.0, 25.1):
        (tmp_path / "log.csv").write_text(
            "date,temperature_c\n" + "".join(f"{day},{celsius}\n" for day in days), encoding="utf-8"
        )
        contents.add(site_from_tables(tables, tmp_path).content)
    assert len(contents) == 2


def test_a_changed_site_leaves_the_first_as_it_was():
    site = build(one_tank(days=10))
    before, content = copy.deepcopy(site.raw), site.content
    for field, value in (EDITS | {"loops.main.heat.foam": "20 mm", "cohorts.fish.feed": "tilapia_34"}).items():
        site.with_changes({field: value})
    assert site.raw == before
    assert build(before).content == content


def hard_sites():
    """Sites with broken limits of several kinds, early and late."""
    young = one_tank(
        days=120, count=150, mean_weight_g=60.0, ph=None, biofilter_start="new", alkalinity_target="80 mg/L"
    )
    return [
        pytest.param(young, id="new films"),
        pytest.param(one_tank(days=150, count=120, power_w=15.0), id="too little air"),
        pytest.param(dosed(count=300, mean_weight_g=200, power_w=400, bed_m2=40), id="too dense"),
    ]


@pytest.mark.parametrize("tables", hard_sites())
def test_stopping_early_gives_the_advice_of_trying_all(tables, empty, monkeypatch):
    season = run_season(build(tables))
    assert any(finding.is_broken for finding in season.findings)
    early = find_changes(season)
    assert any(map(help_of, early))
    monkeypatch.setattr(trying, "_seasons", Memo(64))
    monkeypatch.setattr(trying, "_trials", Memo(512))
    # every scenario, each for the whole season, in one run
    monkeypatch.setattr(trying, "_enough_days", lambda season, finding: season.layout.days)
    monkeypatch.setattr(trying, "_growing", lambda numbers, first: [numbers])
    assert find_changes(season) == early


@pytest.mark.parametrize("passing", [set(), {0}, {15}, {16}, {17, 40}, {40}])
@pytest.mark.parametrize("screened", [set(), {3, 18}])
def test_the_first_that_passes_is_found(passing, screened, monkeypatch):
    season = run_season(build(one_tank(days=60)))
    asked = []

    def passes(season, finding, tried, chosen, days, cuts_feed):
        asked.append(days)
        good = passing if days == season.layout.days else passing | screened
        return np.isin(chosen, list(good))

    monkeypatch.setattr(trying, "_passes", passes)
    for days in (60, 30):
        monkeypatch.setattr(trying, "_enough_days", lambda season, finding, days=days: days)
        found = trying.first_passing(season, season.findings[0], {"count": np.ones((41, 1))})
        assert found == min(passing, default=None)
    assert set(asked) == {60, 30}


def test_printed_months_are_the_means_of_the_frames():
    season = run_season(build(one_tank(days=75, ph=None, alkalinity_target="80 mg/L")))
    rows = water_rows(season, "main", "metric")
    by_month = season.loops.groupby(season.loops["date"].dt.to_period("M"))
    tanks = season.tanks.groupby(season.tanks["date"].dt.to_period("M"))
    assert [row["nitrate-N"] for row in rows] == [f"{part['nitrate_n_mg_l'].mean():.0f}" for _, part in by_month]
    assert [row["TAN"] for row in rows] == [f"{part['tan_mg_l'].mean():.2f}" for _, part in tanks]
    assert [row["pH"] for row in rows] == [f"{part['ph'].min():.1f}-{part['ph'].max():.1f}" for _, part in tanks]
    assert [row["month"] for row in rows] == ["Oct 2026", "Nov 2026", "Dec 2026"]


def test_beds_are_shared_by_their_content_alone(tmp_path):
    own = tmp_path / "site.toml"
    shutil.copy(library_folder().parent / "stocksim" / "site" / "examples" / "heron_lane.toml", own)
    site = load_site(own)
    stands = run_season(site).planting.stands
    assert run_season(site, **{"cohorts.tilapia.count": 9}).planting.stands is stands
    for field, value in {
        "beds.warm_gravel.area": "7 m2",
        "weather.sun.jan": 0.4,
        "site.latitude": 47.0,
    }.items():
        assert run_season(site, **{field: value}).planting.stands is not stands, field


def test_a_trial_is_kept_by_its_site_its_numbers_and_its_days(empty, monkeypatch):
    ran, really = [], trying._try
    monkeypatch.setattr(trying, "_try", lambda layout, limit: ran.append(layout.days) or really(layout, limit))
    first, other = run_season(build(one_tank(days=40))), run_season(build(one_tank(days=40, bed_m2=9.0)))
    for _ in range(2):
        for season, share, days in [(first, 1.0, 40), (first, 1.0, 20), (first, 0.5, 20), (other, 0.5, 20)]:
            tried = {"count": share * season.layout.count * np.ones((2, 1))}
            of_water = next(finding for finding in season.findings if LIMITS[finding.limit].moves_with_feed)
            trying._passes(season, of_water, tried, np.arange(2), days, False)
    assert ran == [40, 20, 20, 20]


def test_a_change_may_cost_a_two_hundredth_of_the_fish_and_no_more():
    season = run_season(build(one_tank(days=5, count=100)))
    for more, is_spared in ((0.4, True), (0.6, False)):
        deaths = season.course.deaths.copy()
        deaths[0, 0, 0] += more
        after = Season(season.site, season.layout, replace(season.course, deaths=deaths), season.planting)
        assert trying.spares_fish(season, after) is is_spared
