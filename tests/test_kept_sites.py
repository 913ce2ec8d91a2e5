"""Invented sites built as keepers build them: fish that live in practice live here, and what they lack is asked for."""

from __future__ import annotations

import itertools
from pathlib import Path

import numpy as np
import pytest
from small_sites import START, build, one_tank

from stocksim import run_season
from stocksim.changes.change import Action
from stocksim.changes.search import help_of
from stocksim.changes.ways import find_changes
from stocksim.engine.results.deaths import deaths_by_cause
from stocksim.faces.water_cautions import base_data, base_words, most_portions
from stocksim.faces.words import cautions, summary
from stocksim.heat.notes import site_notes
from stocksim.site.reading import load_site
from stocksim.water.buffering import dose_portions

DATA = Path(__file__).parent / "data"
KEPT_SHARE = 0.95


def kept(season) -> float:
    """Share of the fish that are alive at the end."""
    stocked = float(season.layout.count.sum())
    return 1.0 - float(season.course.deaths[0].sum()) / stocked


@pytest.fixture(scope="module")
def house():
    """The household at its keeper's numbers."""
    return run_season(load_site(DATA / "gravel_house.toml"))


# --- a household: alkalinity, ammonia, base


def test_the_household_keeps_its_alkalinity_or_is_asked_for_base(house):
    alkalinity = house.course.alkalinity_mg_l[0, :, 0]
    assert alkalinity.max() < 130.0
    told = summary(house, house.findings)["base_needed"]
    assert (alkalinity.min() >= 40.0) == (told == [])
    (row,) = told
    assert row["first_date"] == house.dates[int(np.flatnonzero(alkalinity < 40.0)[0])].isoformat()
    assert row["lowest_mg_l"] == pytest.approx(alkalinity.min(), abs=1e-3)
    assert base_words(house, "main") in cautions(house)
    # what breaks first comes after it, and the base asked for mends it
    broken = [finding for finding in find_changes(house) if finding.is_broken]
    assert broken
    assert all(f.first_date.isoformat() > row["first_date"] for f in broken)
    assert {help_of(f).change.kind for f in broken} == {Action.BUFFER}


def test_no_ammonia_limit_breaks_in_the_household(house):
    for season in (house, run_season(house.site, **{"loops.main.alkalinity_target": "80 mg/L"})):
        assert not [f for f in season.findings if f.limit == "unionized_ammonia" and f.is_broken]


def test_the_household_that_doses_keeps_its_fish():
    season = run_season(load_site(DATA / "gravel_house.toml"), **{"loops.main.alkalinity_target": "80 mg/L"})
    assert kept(season) > KEPT_SHARE
    assert base_data(season) == []
    assert 40.0 < season.course.alkalinity_mg_l[0, :, 0].min() < season.course.alkalinity_mg_l[0, :, 0].max() < 130.0


# --- rafts at the handbooks' own feed


@pytest.mark.parametrize("ratio", [None, 60.0, 80.0, 100.0])
def test_a_raft_loop_lives_on_the_feed_of_the_handbooks(ratio):
    ration = {"kind": "beds"} | ({} if ratio is None else {"ratio": f"{ratio:g} g/m2/day"})
    season = run_season(load_site(DATA / "raft_by_beds.toml"), **{"cohorts.tilapia.ration": ration})
    assert season.cohorts["feed_g"].sum() > 60e3
    assert kept(season) > KEPT_SHARE


# --- base: any salt, in portions


@pytest.mark.parametrize("salt", ["potassium_bicarbonate", "potassium_hydroxide", "calcium_hydroxide"])
def test_a_loop_keeps_its_fish_on_any_soluble_base(salt):
    season = run_season(load_site(DATA / "base.toml"), **{"loops.main.buffer": salt})
    assert kept(season) > KEPT_SHARE


def test_a_dose_that_passes_a_days_rise_is_told_in_portions():
    # at 20 mg/L a rise of 0.2 is 20 * (10^0.2 - 1) = 11.7 mg/L of alkalinity
    np.testing.assert_array_equal(dose_portions([0.0, 11.6, 11.8, 23.5], 20.0), [0.0, 1.0, 2.0, 3.0])
    few = {"loops.main.alkalinity_target": "30 mg/L", "loops.main.source_water": {"alkalinity": "20 mg/L"}}
    season = run_season(load_site(DATA / "base.toml"), **few)
    most = most_portions(season, "main")
    assert most > 1
    assert any(f"{most} for loop main" in words for words in cautions(season))


# --- what crops give back


def given_back(crop: str) -> tuple[float, float]:
    """What a bed of a crop gives back a gram of nitrogen, by its column and by the water. [g/g]

    By the water: the rise of alkalinity over that of a bare bed, less what films and sediment did otherwise there.
    """
    hard = {"source_water": {"alkalinity": "250 mg/L"}, "evaporation": "0 L/day"}
    bare, planted = (one_tank(temperature_c=20.0, days=60, count=4, **hard) for _ in range(2))
    planted["site"]["latitude"] = bare["site"]["latitude"] = 40.0
    planted["beds"]["gravel"]["plantings"] = [{"crop": crop, "from": START, "to": planted["season"]["end"]}]
    without, grown = (run_season(build(tables)) for tables in (bare, planted))
    rise = 0.0
    for season, sign in ((grown, 1.0), (without, -1.0)):
        course = season.course
        rise += sign * float(course.alkalinity_mg_l[0, -1, 0] * season.layout.loop_water_m3[0])
        rise += sign * 3.573 * float(2.0 * course.nitrified_g[0].sum() - course.denitrified_n_g[0].sum())
        rise -= sign * 3.573 * float(season.cohorts["tan_excreted_g"].sum() + course.solids_n_freed_g[0].sum())
    taken = float(grown.course.uptake_n_g[0].sum())
    assert taken > 5.0
    return float(grown.beds["alkalinity_given_back_g"].sum()) / taken, rise / taken


def test_a_loop_of_kale_gets_back_more_than_one_of_tomato_and_peas_give_acid():
    (kale, kale_rise), (tomato, tomato_rise), (pea, pea_rise) = map(given_back, ("kale", "tomato", "pea"))
    # half of a charge a nitrate, a tenth, and a third the other way, of 3.573 g a gram
    assert (kale, tomato) == (pytest.approx(0.5 * 3.573), pytest.approx(0.1 * 3.573))
    assert -1.2 < pea < -1.1
    # and the water shows it, but for what lies in tanks and beds above or below the sump's level
    for rise, told in ((kale_rise, kale), (tomato_rise, tomato), (pea_rise, pea)):
        assert rise == pytest.approx(told, abs=0.02)


# --- seasons that begin in the cold


def test_no_cliff_between_waters_that_a_season_begins_in():
    """A mature film that slept is there on the first cold morning, at 4 degC as at 5."""
    lost, films = [], []
    for celsius in (4.0, 4.5, 5.0, 6.0):
        tables = one_tank("yellow_perch", "perch_45", celsius, days=120, count=60, mean_weight_g=80.0, bed_m2=6.0)
        tables["loops"]["main"]["biofilter_start"] = "mature"
        season = run_season(build(tables))
        lost.append(float(deaths_by_cause(season.layout, season.course)["ammonia"].sum()))
        films.append(float(season.course.ammonia_maturity[0, 0].max()))
    assert max(lost) < 3.0
    assert min(films) > 0.3
    assert max(abs(a - b) for a, b in itertools.pairwise(films)) < 0.25


# --- nobody doses down


@pytest.mark.parametrize("source", [300.0, 400.0])
def test_hard_source_water_starts_as_hard_as_it_is_and_says_so(source):
    tables = one_tank(days=20, count=10, alkalinity_target="60 mg/L")
    tables["loops"]["main"]["source_water"] = {"alkalinity": f"{source:g} mg/L"}
    season = run_season(build(tables))
    assert season.course.alkalinity_mg_l[0, 0, 0] > 0.9 * source
    assert season.course.buffer_g[0, :, 0].sum() == 0.0
    (told,) = [note for note in site_notes(season.site) if "alkalinity_target" in note]
    assert f"{source:g}" in told
    assert "lies below the source" in told
    # and no change of the file may prove itself by starting lower
    for finding in find_changes(season):
        found = help_of(finding)
        if found is not None and found.change is not None:
            assert found.change.kind is not Action.BUFFER


def test_a_target_above_the_source_is_not_said_to_lie_below_it():
    tables = one_tank(days=3, count=10, alkalinity_target="120 mg/L")
    tables["loops"]["main"]["source_water"] = {"alkalinity": "60 mg/L"}
    assert not [note for note in site_notes(build(tables)) if "lies below the source" in note]
