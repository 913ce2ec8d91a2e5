"""Winter: small fish die first, the answer says so before they are stocked, and tells when to feed in the cold."""

from __future__ import annotations

import datetime as dt
import sys
from pathlib import Path

import numpy as np
import pytest
import tomlkit
from command_line import runner
from hypothesis import given
from hypothesis import strategies as st
from small_sites import build, one_tank
from streamlit.testing.v1 import AppTest

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT / "docs"))

import winter_points  # noqa: E402
from fish_trials import is_for_fitting, tolerance, trials  # noqa: E402

from stocksim import load_site, run_season  # noqa: E402
from stocksim.answers.season.answer import season_answer  # noqa: E402
from stocksim.engine.results.feeding import feeding_plans  # noqa: E402
from stocksim.faces.feeding_words import feeding_cautions, feeding_data, feeding_lines  # noqa: E402
from stocksim.faces.text import answer_text  # noqa: E402
from stocksim.faces.words import cautions, summary  # noqa: E402
from stocksim.fish.survival import condition_hazard  # noqa: E402
from stocksim.fish.wintering import (  # noqa: E402
    DAILY_FEED,
    LITTLE_FEED,
    NO_FEED,
    feeding_band,
    feeding_phases,
    winter_losses,
)
from stocksim.heat.small_fish import small_candidates, small_cohorts  # noqa: E402
from stocksim.library.feeds import load_feed  # noqa: E402
from stocksim.library.species import load_species, species_names  # noqa: E402

ROWS = {row["key"]: row for row in trials()}
# Points of docs/winter_points.py that the model misses on the unsafe side, each told in docs/fish.md.
UNSAFE = {
    "lmb_winter_starved", "lmb_winter_fed", "lmb_winter_high", "lmb_winter_mid", "lmb_winter_low",
    "more_lmb_2g_unfed_deaths", "crappie_9c_13wk_loss", "redear_9c_13wk_loss", "more_bluegill_eats_4c",
}  # fmt: skip
MONTHS = {
    "sep": "18 degC", "oct": "13 degC", "nov": "9 degC", "dec": "5 degC", "jan": "4 degC", "feb": "4 degC",
    "mar": "7 degC", "apr": "11 degC", "may": "16 degC", "jun": "20 degC", "jul": "22 degC", "aug": "22 degC",
}  # fmt: skip


def yard(species="largemouth_bass", feed="bass_46", weight=2.2, ration=None, **cohort) -> dict:
    """A tank outdoors from 15 September to 31 May."""
    tables = one_tank(species, feed, count=50, mean_weight_g=weight)
    tables["season"] = {"start": dt.date(2026, 9, 15), "end": dt.date(2027, 5, 31)}
    tables["loops"]["main"]["water_temperature"] = {"kind": "monthly", "values": dict(MONTHS)}
    tables["cohorts"]["fish"] |= cohort | ({"ration": ration} if ration else {})
    return tables


# --- small fish


def test_small_fish_die_at_smaller_losses_of_weight():
    # a tenth of the weight gone: bass of 70 mm (3.2 g) and of 160 mm (48 g)
    small, middle, large = (float(condition_hazard(0.9 * w, w)) for w in (3.2, 48.0, 500.0))
    assert small > 5.0 * middle > 5.0 * large
    # fish of a pound as before: half of those at half of their weight in ten days
    assert float(condition_hazard(250.0, 500.0)) == pytest.approx(np.log(2.0) / 10.0, rel=1e-3)


@given(st.floats(0.05, 5000.0), st.floats(1.01, 3.0), st.floats(0.2, 1.0))
def test_a_smaller_fish_is_never_safer_at_the_same_loss(greatest, times, share):
    small, large = (float(condition_hazard(share * w, w)) for w in (greatest, times * greatest))
    assert small >= large >= 0.0


def test_starved_young_perch_die_as_in_the_trial():
    low, high = tolerance("share of fish", float(ROWS["more_perch_winter_starved"]["value"]))
    assert low <= winter_points.perch_dead(0.0) <= high


def test_fed_young_perch_that_keep_their_weight_lose_one_in_a_hundred():
    # published 1 % of fed ones; water in which the model's perch eat
    species, feed = load_species("yellow_perch"), load_feed("perch_45")
    for weight in (0.6, 2.3, 5.8):
        lost = winter_losses(species.__getitem__, feed.__getitem__, weight, np.full(150, 9.0), 1.0)
        assert lost == pytest.approx(0.01, abs=0.005)


def test_bass_below_100_mm_die_more_than_larger_ones():
    # the abstract's line between more and fewer deaths, in its long cold winter and its mild one
    for water, days in (winter_points.BASS_WINTERS["high"], winter_points.BASS_WINTERS["low"]):
        dead = [
            winter_points.dead_percent(
                "largemouth_bass", winter_points.standard_g("largemouth_bass", mm), water, days, 0
            )
            for mm in (70.0, 90.0, 110.0, 140.0)
        ]
        assert sorted(dead, reverse=True) == dead
        assert min(dead[:2]) > 1.5 * max(dead[2:])


def test_perch_above_70_mm_on_little_food_mostly_live():
    # of Eurasian perch on little food only those of 40-70 mm died much; half of the loss of unfed ones stands for it
    def dead(mm: float) -> float:
        weight = winter_points.standard_g("yellow_perch", mm)
        lost = winter_points.lost_percent("yellow_perch", weight, 4.0, 150) / 100.0
        course = weight * (1.0 - 0.5 * lost * np.arange(1, 151) / 150.0)
        return float(-np.expm1(-condition_hazard(course, weight).sum()))

    assert dead(45.0) > 2.0 * dead(85.0) > 4.0 * dead(140.0)
    assert dead(85.0) < 0.10


def test_points_are_rows_of_the_table_and_the_unsafe_misses_are_told():
    found = winter_points.compared()
    assert len({point["key"] for point in found}) == len(found) == len(winter_points.POINTS)
    assert all(ROWS[point["key"]]["topic"] in ("winter_survival", "cold_feeding") for point in found)
    assert sum(not point["is_fitted"] for point in found) >= 10
    assert all(np.isfinite(point["ours"]) for point in found)
    assert {point["key"] for point in found if point["is_unsafe"]} <= UNSAFE


def test_what_an_unfed_bass_loses_agrees_with_trials_kept_from_fits():
    found = {point["key"]: point for point in winter_points.compared()}
    for key in ("more_lmb_2g_unfed_loss", "lmb_unfed_5g", "lmb_unfed_33g"):
        assert found[key]["agrees"]
        assert not found[key]["is_fitted"]


# --- told before they are stocked


def test_small_bass_stocked_in_autumn_are_told_with_their_losses():
    site = build(yard(stocked=dt.date(2026, 11, 10)))
    (small,) = small_cohorts(site)
    assert (small.where, small.species, small.safe_length_mm) == ("cohorts.fish", "largemouth_bass", 100.0)
    assert small.length_mm == pytest.approx(58.0, abs=1.0)
    assert 0.01 < small.lost_fed < small.lost_unfed < 0.9
    said = [caution for caution in cautions(run_season(site)) if caution.startswith("cohorts.fish: these")]
    assert len(said) == 1
    assert f"{100 * small.lost_fed:.0f} of 100 if fed and {100 * small.lost_unfed:.0f} unfed" in said[0]
    assert "100 mm or longer" in said[0]


def test_what_is_told_is_what_the_season_then_shows():
    """The season's own unfed fry, day by day in the engine, against the sentence."""
    tables = yard(stocked=dt.date(2026, 11, 11), ration={"kind": "unfed"})
    (small,) = small_cohorts(build(tables))
    season = run_season(build(tables))
    last = season.dates.index(small.first) + small.days
    left = float(season.course.count[0, last, 0])
    assert 1.0 - left / 50.0 == pytest.approx(small.lost_unfed, abs=0.02)


@pytest.mark.parametrize(
    "tables",
    [
        yard(weight=40.0),  # large
        yard(species="black_crappie", feed="perch_45"),  # its length is not known
        one_tank("largemouth_bass", "bass_46", 20.0, days=200, mean_weight_g=2.2),  # no winter
        yard("yellow_perch", "perch_45", weight=3.0, stocked=dt.date(2027, 4, 20)),  # after it
    ],
)  # fmt: skip
def test_fish_that_winter_safely_are_not_told(tables):
    assert small_cohorts(build(tables)) == []


def test_fry_taken_indoors_before_the_cold_are_not_told():
    tables = yard(stocked=dt.date(2026, 10, 20))
    tables["loops"]["warm"] = tables["loops"]["main"] | {
        "water_temperature": {"kind": "constant", "value": "20 degC"}
    }  # fmt: skip
    tables["tanks"]["indoors"] = tables["tanks"]["one"] | {"loop": "warm"}
    tables["beds"]["indoors_bed"] = tables["beds"]["gravel"] | {"loop": "warm"}
    assert small_cohorts(build(tables))
    tables["events"] = [{"kind": "move", "date": dt.date(2026, 10, 25), "cohort": "fish", "tank": "indoors"}]
    assert small_cohorts(build(tables)) == []


def test_fry_that_an_event_brings_are_told_by_their_event():
    tables = yard(weight=400.0)
    tables["events"] = [
        {"kind": "stock", "date": dt.date(2026, 11, 20), "cohort": "fish", "count": 20, "mean_weight": "3 g"}
    ]
    assert [small.where for small in small_cohorts(build(tables))] == ["events[1]"]


def test_check_and_stock_tell_of_fry_to_buy(monkeypatch, capsys, tmp_path):
    tables = yard("bluegill", "sunfish_44", weight=60.0)
    tables["stocking"] = {
        "candidates": {
            "perchlets": {
                "species": "yellow_perch", "mean_weight": "1.5 g", "price": 0.5, "feed": "perch_45", "at_most": 40,
                "stocked": dt.date(2026, 11, 1),
            }
        }
    }  # fmt: skip
    (small,) = small_candidates(build(tables))
    path = tmp_path / "yard.toml"
    path.write_text(tomlkit.dumps(tables), encoding="utf-8")
    run = runner(monkeypatch, capsys, tmp_path)
    notes = run("check", path, "--json").data["understood"]["notes"]
    assert any(note.startswith("stocking.candidates.perchlets: these yellow perch") for note in notes)
    told = run("stock", path, "--json").data
    assert [one["where"] for one in told["small_in_winter"]] == ["stocking.candidates.perchlets"]
    assert told["small_in_winter"][0]["lost_unfed_percent"] == pytest.approx(100.0 * small.lost_unfed, abs=0.01)
    planned = {one["cohort"] for one in told["plan"]}
    assert planned == set(told["feeding"])
    assert "When to feed in the cold:" in run("stock", path, "--all").out


# --- feeding in the cold


@given(st.lists(st.floats(0.0, 25.0), min_size=1, max_size=60), st.integers(1, 5))
def test_phases_follow_the_water(water, restart):
    stop, start = 7.0, 12.0
    phases = feeding_phases(water, stop, start, restart)
    for day, (t, phase) in enumerate(zip(water, phases, strict=True)):
        if t < stop:
            assert phase == NO_FEED
        if t < start:
            assert phase != DAILY_FEED
        if phase == LITTLE_FEED:
            assert t >= stop
        row = water[max(day - restart + 1, 0) : day + 1]
        if len(row) == restart and min(row) >= start:
            assert phase == DAILY_FEED


@pytest.mark.parametrize("name", species_names())
def test_every_species_has_a_band_to_feed_by(name):
    band = feeding_band(load_species(name).number)
    assert 0.0 <= band.stop_c <= band.start_c <= 25.0
    assert 1.0 <= band.every_days <= 14.0
    assert band.is_measured == ("feeding_stop" in load_species(name).values)


@pytest.mark.parametrize(
    ("name", "row", "apart"),
    [
        ("largemouth_bass", "lmb_7c_eats", 0.1),
        ("channel_catfish", "cat_winter_coldest", 0.0),
        ("common_carp", "carp_stop_7", 0.0),
        ("brown_bullhead", "bhd_eats_3", 0.0),
        ("rainbow_trout", "sal_feed_zero", 0.0),
    ],
)
def test_stops_are_those_of_trials_that_fits_may_see(name, row, apart):
    assert is_for_fitting(ROWS[row]["source"])
    stop = load_species(name)["feeding_stop"]
    assert 0.0 <= float(ROWS[row]["value"]) - stop <= apart


def test_a_winter_ration_is_what_trials_saw_eaten():
    mean = {
        name: load_species(name)["winter_ration"] / load_species(name)["winter_feed_every"]
        for name in ("largemouth_bass", "channel_catfish", "bluegill", "rainbow_trout")
    }
    assert mean["largemouth_bass"] == pytest.approx(float(ROWS["lmb_7c_93d_least_feed"]["value"]), abs=0.005)
    intake = ROWS["cat_winter_intake"]
    assert float(intake["low"]) <= mean["channel_catfish"] <= float(intake["high"])
    wet = ROWS["more_bluegill_eats_4c"]
    assert float(wet["low"]) / 5.0 <= mean["bluegill"] <= float(wet["high"]) / 5.0
    assert (
        float(ROWS["sal_feed_2"]["value"]) <= mean["rainbow_trout"] * 10.0 * 22.0 <= float(ROWS["sal_feed_6"]["value"])
    )


def test_dates_to_stop_and_start_are_those_of_the_water():
    site = build(yard("channel_catfish", "catfish_32", weight=200.0))
    season = run_season(site)
    (plan,) = feeding_plans(season)
    water = dict(zip(season.dates, season.layout.temperature_c[:, 0], strict=True))
    assert [phase.kind for phase in plan.phases] == ["daily", "little", "none", "little", "daily"]
    _, autumn, winter, spring, summer = plan.phases
    day = dt.timedelta(days=1)
    assert water[winter.first] < 7.0 <= water[winter.first - day]
    # spring begins on the third day in a row of water warm enough
    for phase, edge in ((spring, 7.0), (summer, 17.75)):
        assert min(water[phase.first - n * day] for n in range(3)) >= edge > water[phase.first - 3 * day]
    assert autumn.last + day == winter.first
    (line,) = feeding_lines(season)
    assert line.startswith(
        f"fish (channel catfish): feed daily until {plan.phases[0].last.day} Sep 2026; then about 1 %"
    )
    assert f"nothing (water below 7.0 degC) until {winter.last.day} {winter.last:%b %Y}" in line
    data = summary(season, season.findings)["feeding"]["fish"]
    assert data["phases"][2]["first"] == winter.first.isoformat()
    assert (data["feeding_stop_c"], data["feeding_start_c"], data["winter_ration_percent"]) == (7.0, 18.0, 1.0)


def test_the_page_and_the_text_tell_the_dates(monkeypatch, tmp_path):
    path = tmp_path / "yard.toml"
    path.write_text(tomlkit.dumps(yard("channel_catfish", "catfish_32", weight=200.0)), encoding="utf-8")
    monkeypatch.setenv("STOCKSIM_SITE", str(path))
    at = AppTest.from_file(ROOT / "app.py", default_timeout=900).run()
    assert not at.exception
    shown = " ".join([*(html.proto.body for html in at.get("html")), *(text.value for text in at.markdown)])
    season = run_season(load_site(path))
    text = answer_text(season_answer(season, season.findings))
    for words in (shown, " ".join(text.split())):
        assert "When to feed in the cold" in words
        assert all(line in words for line in feeding_lines(season))
        assert "Weigh fish in the cold" in words


def test_a_longer_wait_for_warm_days_moves_the_dates():
    rule = {"kind": "appetite", "fraction": 0.85, "restart_after_days": 10}
    season = run_season(build(yard("channel_catfish", "catfish_32", weight=200.0, ration=rule)))
    plain = run_season(build(yard("channel_catfish", "catfish_32", weight=200.0)))
    late, usual = (feeding_plans(one)[0].phases[3].first for one in (season, plain))
    assert (late - usual).days == 7


def test_feed_offered_below_the_stop_is_told_and_the_rule_is_left_alone():
    rule = {"kind": "percent", "percent": 1.0}
    season = run_season(build(yard("channel_catfish", "catfish_32", weight=200.0, ration=rule)))
    (plan,) = feeding_plans(season)
    assert len(plan.fed_below) == (plan.phases[2].last - plan.phases[2].first).days + 1
    assert any("Write stop_below" in said for said in feeding_cautions(season))
    stopped = rule | {"stop_below": "7 degC"}
    kept = run_season(build(yard("channel_catfish", "catfish_32", weight=200.0, ration=stopped)))
    assert not any("Write stop_below" in said for said in feeding_cautions(kept))
    # nothing of it feeds the fish by itself
    assert season.site.file.cohorts["fish"].ration.stop_below is None


def test_fish_that_eat_and_get_nothing_for_weeks_are_told():
    season = run_season(build(yard("channel_catfish", "catfish_32", weight=200.0, ration={"kind": "unfed"})))
    assert any("offer a little and watch" in said for said in feeding_cautions(season))
    assert feeding_data(season)["fish"]["longest_unfed_days"] > 14


def test_a_species_without_a_known_stop_says_so():
    (line,) = feeding_lines(run_season(build(yard("black_crappie", "perch_45", weight=60.0))))
    assert "was found nowhere" in line


def test_warm_water_needs_no_dates():
    season = run_season(build(one_tank("bluegill", "sunfish_44", 24.0, days=20)))
    assert feeding_lines(season) == []
    assert feeding_data(season)["fish"]["phases"][0]["feed"] == "daily"
