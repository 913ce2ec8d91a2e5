"""Two limits of company and water: who fits whose mouth, and water that changes faster than fish bear."""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm
from small_sites import START, build, one_tank, two_loops

from stocksim import run_season
from stocksim.engine.arrays.layout import build_layout
from stocksim.engine.results.mouths import predation_by_tank
from stocksim.engine.season import simulate
from stocksim.library.species import load_species


def on(day: int) -> dt.date:
    return START + dt.timedelta(days=day)


def bass_and_bluegill(bass_g: float, bluegill_g: float, spread: float = 0.2, days: int = 4) -> dict:
    tables = one_tank("largemouth_bass", "bass_46", 24.0, days, 5, bass_g, volume_l=4000.0)
    bluegill = {"species": "bluegill", "feed": "sunfish_44", "count": 20, "mean_weight": f"{bluegill_g} g"}
    tables["cohorts"]["prey"] = dict(tables["cohorts"]["fish"], **bluegill)
    for cohort in tables["cohorts"].values():
        cohort["size_spread"] = spread
    return tables


def found(tables: dict, limit: str, where: str):
    (one,) = [f for f in run_season(build(tables)).findings if (f.limit, f.where) == (limit, where)]
    return one


# --- predation


def length_mm(species: str, grams: float) -> float:
    fish = load_species(species)
    relative = grams / fish["farmed_condition"]
    return 10.0 ** ((np.log10(relative) - fish["length_weight_intercept"]) / fish["length_weight_slope"])


def test_small_bluegill_are_meals_of_large_bass():
    finding = found(bass_and_bluegill(600.0, 5.0), "predation", "tanks.one")
    assert finding.is_broken
    assert finding.margin_percent < 0.0
    assert finding.first_date == finding.worst_date == START
    assert finding.worst_value > 99.0
    assert (finding.threshold, finding.unit) == (pytest.approx(1.0), "% of pairs")


def test_bluegill_as_heavy_as_the_bass_are_not():
    finding = found(bass_and_bluegill(100.0, 100.0), "predation", "tanks.one")
    assert not finding.is_broken
    assert finding.first_date is None
    assert 0.0 < finding.margin_percent <= 100.0


def test_the_chance_is_that_of_two_lognormal_lengths():
    # a pair in between: prey at about half of the bass's length, where the spread decides
    layout = build_layout(build(bass_and_bluegill(400.0, 60.0)))
    course = simulate(layout)
    told = predation_by_tank(layout, course)
    bass, prey = (length_mm(name, course.weight_g[0, 0, at]) for at, name in enumerate(("largemouth_bass", "bluegill")))
    assert 0.4 < prey / bass < 0.65
    spreads = [np.sqrt(np.log1p(0.2**2)) / load_species(name)["length_weight_slope"]
               for name in ("largemouth_bass", "bluegill")]  # fmt: skip
    share = load_species("largemouth_bass")["prey_share_deep"]
    expected = norm.cdf(np.log(share * bass / prey) / np.hypot(*spreads))
    assert 0.001 < expected < 0.999
    # the medians of lognormal lengths lie a little below the length at the mean weight: told to a few in a thousand
    assert told[0, 0, 0] == pytest.approx(expected, abs=0.02)


def test_margins_run_against_the_chance():
    margins, values = [], []
    for grams in (20.0, 60.0, 120.0, 250.0):
        finding = found(bass_and_bluegill(400.0, grams), "predation", "tanks.one")
        margins.append(finding.margin_percent)
        values.append(finding.worst_value)
        assert finding.is_broken == (finding.worst_value > 1.0)
    assert values == sorted(values, reverse=True)
    assert margins == sorted(margins)


def test_fish_of_one_cohort_among_themselves_count_by_their_spread():
    tables = one_tank("largemouth_bass", "bass_46", 24.0, 3, 10, 20.0)
    tables["cohorts"]["fish"]["size_spread"] = 0.1
    alike = found(tables, "predation", "tanks.one")
    tables["cohorts"]["fish"]["size_spread"] = 0.9
    uneven = found(tables, "predation", "tanks.one")
    assert not alike.is_broken
    assert uneven.is_broken, "why bass fry are graded"


def test_other_tanks_absent_fish_and_empty_tanks_do_not_count():
    tables = bass_and_bluegill(600.0, 5.0, days=8)
    tables["tanks"]["two"] = dict(tables["tanks"]["one"])
    tables["cohorts"]["prey"]["tank"] = "two"
    apart = run_season(build(tables))
    assert not [f for f in apart.findings if f.limit == "predation" and f.is_broken]
    # they meet on the day of the move and not before
    tables["events"] = [{"kind": "move", "date": on(5), "cohort": "prey", "tank": "one"}]
    met = found(tables, "predation", "tanks.one")
    assert met.is_broken
    assert met.first_date == on(5)
    assert met.days_broken == 3
    layout = build_layout(build(tables))
    empty = predation_by_tank(layout, simulate(replace(layout, count=layout.count * 0.0)))
    assert np.isnan(empty).all()


def test_grading_mends_an_uneven_cohort():
    tables = one_tank("largemouth_bass", "bass_46", 24.0, 8, 40, 20.0)
    tables["tanks"]["two"] = dict(tables["tanks"]["one"])
    tables["cohorts"]["fish"]["size_spread"] = 0.6
    tables["events"] = [
        {"kind": "grade", "date": on(4), "cohort": "fish", "into": "large", "tank": "two", "largest_share": 0.4}
    ]
    layout = build_layout(build(tables))
    chance = predation_by_tank(layout, simulate(layout))[0]
    assert chance[3, 0] > 10.0 * chance[4].max()
    assert np.isnan(chance[:4, 1]).all()


# --- temperature change


def moved(from_c: float, to_c: float, species: str = "yellow_perch", feed: str = "perch_45") -> dict:
    tables = one_tank(species, feed, from_c, 8)
    tables["loops"]["other"] = dict(tables["loops"]["main"], water_temperature={
        "kind": "constant", "value": f"{to_c} degC"
    })  # fmt: skip
    tables["tanks"]["two"] = dict(tables["tanks"]["one"], loop="other")
    tables["events"] = [{"kind": "move", "date": on(5), "cohort": "fish", "tank": "two"}]
    return tables


def test_a_move_from_18_to_12_degrees_is_too_much_at_once():
    finding = found(moved(18.0, 12.0), "temperature_change", "cohorts.fish")
    allowed = load_species("yellow_perch")["temperature_change_per_day"]
    assert allowed < 6.0
    assert finding.is_broken
    assert finding.first_date == finding.worst_date == on(5)
    assert finding.days_broken == 1
    assert finding.worst_value == pytest.approx(6.0)
    assert (finding.threshold, finding.unit) == (allowed, "degC/day")
    assert finding.margin_percent == pytest.approx(100.0 * (allowed - 6.0) / allowed)


def test_up_counts_as_down_and_a_small_step_holds():
    assert found(moved(12.0, 18.0), "temperature_change", "cohorts.fish").worst_value == pytest.approx(6.0)
    small = found(moved(18.0, 17.5), "temperature_change", "cohorts.fish")
    assert not small.is_broken
    assert small.worst_value == pytest.approx(0.5)
    none = found(moved(18.0, 18.0), "temperature_change", "cohorts.fish")
    assert none.margin_percent == pytest.approx(100.0)


def test_fish_graded_into_colder_water_change_too():
    tables = moved(18.0, 12.0)
    tables["events"] = [
        {"kind": "grade", "date": on(5), "cohort": "fish", "into": "big", "tank": "two", "largest_share": 0.5}
    ]
    season = run_season(build(tables))
    broken = {f.where for f in season.findings if f.limit == "temperature_change" and f.is_broken}
    assert broken == {"cohorts.big"}


def test_water_that_changes_by_itself_counts_and_arrival_does_not():
    tables = two_loops()
    season = run_season(build(tables))
    water = season.site.held_c["cool"]
    steps = np.abs(np.diff(water))
    (perch,) = [f for f in season.findings if (f.limit, f.where) == ("temperature_change", "cohorts.perch")]
    # perch come on day 6: what the water did before is not theirs
    assert perch.worst_value == pytest.approx(steps[6:].max())
    assert season.layout.temperature_change_c[6, season.layout.cohorts.index("perch")] == 0.0


# --- names


def test_both_limits_are_named_in_the_summary(tmp_path, monkeypatch, capsys):
    from command_line import runner

    run = runner(monkeypatch, capsys, tmp_path)
    ran = run("season", "house.toml", "--out", "results")
    assert ran.code in (0, 1), ran.err
    summary = json.loads((tmp_path / "results" / "summary.json").read_text(encoding="utf-8"))
    limits = {finding["limit"]: finding for finding in summary["limits"]}
    assert limits["predation"]["where"] == "tanks.first"
    assert limits["temperature_change"]["where"] == "cohorts.perch"
    assert limits["predation"]["unit"] == "% of pairs"
    assert limits["temperature_change"]["unit"] == "degC/day"
