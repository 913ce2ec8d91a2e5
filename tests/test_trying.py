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
from stocksim.changes.change import mends
from stocksim.changes.places import _with_taken, moved, taken_out
from stocksim.changes.search import help_of, name_of, newly_broken, sources
from stocksim.changes.ways import advise, find_changes
from stocksim.engine.results.frames import Season
from stocksim.faces.text import water_rows
from stocksim.heat.temperatures import plan_and_weather
from stocksim.library.sources import library_folder
from stocksim.memo import Memo, content_key
from stocksim.site.kinds import LIMITS
from stocksim.site.reading import OF_WATER, load_site, site_from_tables

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


# --- less is run: what heat does not ask, fish that leave, and moves that cannot do

WATER = {
    "ph": 7.3, "alkalinity_target": "95 mg/L", "buffer": "calcium_carbonate",
    "oxygen_supply": {"kind": "diffuser", "power": "99 W"}, "source_water": {"alkalinity": "33 mg/L"},
    "water_tests": [{"date": dt.date(2026, 11, 1), "tan": "0.2 mg/L"}],
    "water_changes": [{"date": dt.date(2026, 11, 2), "volume": "100 L", "temperature": "12 degC"}],
    "fishless_cycling": {"from": dt.date(2026, 10, 1), "to": dt.date(2026, 10, 4), "ammonia_nitrogen": "1 g/day"},
    "feeding_ramp": [{"from": dt.date(2026, 10, 1), "share": 0.5}], "feeding_hours": ["07:00", "12:00"],
}  # fmt: skip
ENTRIES = {"loops": "main", "tanks": "alder"}


def test_heat_asks_for_none_of_the_fields_that_its_key_leaves_out(demo_site):
    def plan(site):
        return content_key(*plan_and_weather(site.file, site.folder, site.held_c))

    demo_site = demo_site.with_changes({"cohorts": {}})  # where fish are no ammonia may be dosed
    before = plan(demo_site)
    for table, fields in OF_WATER.items():
        for field in fields:
            other = demo_site.with_changes({f"{table}.{ENTRIES[table]}.{field}": WATER[field]})
            assert plan(other) == before, field
            assert other.place_content == demo_site.place_content, field
            assert (other.stay_content != demo_site.stay_content) == (field in ("water_changes", "feeding_hours")), (
                field
            )
            assert other.content != demo_site.content, field
    warmer = demo_site.with_changes({"tanks.alder.flow": "999 L/h"})
    assert plan(warmer) != before
    assert warmer.place_content != demo_site.place_content


def test_a_season_with_fish_taken_is_that_of_its_file(demo_season):
    finding = next(f for f in demo_season.findings if f.limit == "density" and f.is_broken)
    change = next(taken_out(demo_season, finding, [finding.where.split(".")[1]]))
    day = (change.start - demo_season.layout.start).days
    column = demo_season.layout.cohorts.index(change.amounts["cohort"])
    quick = _with_taken(demo_season, change, column, day, change.amounts["fish"])
    of_file = run_season(demo_season.site, **change.fields)
    for name in ("count", "weight_g", "oxygen_mg_l", "tan_mg_l", "nitrate_mg_l"):
        assert np.array_equal(getattr(quick.course, name), getattr(of_file.course, name)), name
    assert quick.findings == of_file.findings


def test_moves_that_break_a_limit_at_once_come_last_and_do_break_one(demo_season):
    known = []
    for finding in demo_season.findings:
        if finding.is_broken and finding.where.startswith("tanks."):
            found = list(moved(demo_season, finding, [finding.where.split(".")[1]]))
            late = [change.breaks_at_once for change in found]
            assert late == sorted(late)
            known += [(finding, change) for change in found if change.breaks_at_once]
    assert len(known) >= 5
    for finding, change in known[::2]:
        after = run_season(demo_season.site, **change.fields)
        assert newly_broken(demo_season, after) or not mends(demo_season, after, finding, change)


def test_sources_of_a_finding_are_told_apart_by_name(demo_season):
    for finding in demo_season.findings:
        names = [name_of(source) for source in sources(demo_season, finding)]
        assert len(set(names)) == len(names)


def test_where_no_fish_are_nothing_is_advised_nor_sought():
    advice = advise(run_season(build(one_tank(days=10) | {"cohorts": {}})))
    assert advice.ways == ()
    assert advice.seasons == 0
