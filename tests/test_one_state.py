"""Every question tells one state of one site: the same areas, waters, levels, harvests and limits on the same days."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path

import numpy as np
import pytest
from small_sites import START, build, one_tank
from typer.testing import CliRunner

from stocksim import run_season
from stocksim.answers.beds.answer import beds_answer
from stocksim.answers.beds.changes import bed_plan
from stocksim.answers.beds.decide import bed_balance
from stocksim.answers.beds.nutrients import budgets
from stocksim.answers.ramp.answer import water_answer
from stocksim.answers.ramp.decide import feeding_ramp
from stocksim.answers.ramp.words import loop_sentence
from stocksim.answers.season.answer import season_answer
from stocksim.changes.change import Action
from stocksim.changes.nitrate import nitrate_changes
from stocksim.changes.ways import advise
from stocksim.engine.results.beds import BuildRule, Side
from stocksim.engine.results.nitrate import nitrate_passed
from stocksim.faces.change_words import change_words
from stocksim.faces.cli import app
from stocksim.faces.text import answer_text
from stocksim.faces.water_cautions import nitrate_words
from stocksim.faces.ways_words import dated_words
from stocksim.faces.words import summary
from stocksim.plants.nutrients import ENOUGH_MG_L
from stocksim.site.examples import FOLDER, example_names
from stocksim.site.reading import load_site
from stocksim.units import format_quantity

DATA = Path(__file__).parent / "data"
_SEASONS = {name: FOLDER / f"{name}.toml" for name in example_names()}


@pytest.fixture(scope="module", params=_SEASONS)
def example(request):
    """A shipped example's season."""
    return run_season(load_site(_SEASONS[request.param]))


def laden_bed(**more: object) -> dict:
    """Many perch over three square metres of kale: nitrate passes what they are told to bear."""
    tables = one_tank(days=120, count=60, bed_m2=3.0, alkalinity_target="80 mg/L", **more)
    tables["beds"]["gravel"]["nitrifying_surface"] = "60 m2"
    tables["site"]["latitude"] = 45.0
    tables["cohorts"]["fish"] |= {"species": "yellow_perch", "feed": "perch_45"}
    tables["loops"]["main"]["water_temperature"] = {"kind": "constant", "value": "20 degC"}
    tables["loops"]["main"]["water_tests"] = [{"date": START, "nitrate_n": "95 mg/L"}]
    tables["beds"]["gravel"]["plantings"] = [{"crop": "kale", "from": START, "to": tables["season"]["end"]}]
    return tables


def plain(text: str) -> str:
    return " ".join(text.split())


# --- planted area


def test_season_and_beds_name_one_area_to_build_for_and_say_why(example):
    told = summary(example, example.findings)["build"]
    plan = bed_plan(example, is_sought=False)
    beds = beds_answer(plan)
    of_loop = {loop["loop"]: loop["build"] for loop in beds.data["loops"]}
    assert told
    for area in told:
        assert area == of_loop[area["loop"]]
        known = [area[key] for key in ("handbook_m2", "nitrogen_m2") if area[key] is not None]
        assert area["area_m2"] == min(known)
        assert area["rule"] in {rule.name.lower() for rule in BuildRule}
        for answer in (beds, season_answer(example, example.findings, is_sought=False)):
            assert plain(answer_text(answer)).count(plain(area["words"])) == 1
    for loop, found in example.build_areas.items():
        column = example.layout.loops.index(loop)
        assert found.planted_m2 == pytest.approx(_mean_planted(example, column))


def _mean_planted(season, column: int) -> float:
    planted = season.loop_table["planted_area_m2"][:, column]
    return float(planted[planted > 0.0].mean()) if planted.any() else 0.0


def test_the_two_areas_are_the_seasons_feed_and_nitrogen():
    season = run_season(build(laden_bed()))
    found = season.build_areas["main"]
    feed, layout = season.loop_table["feed_g"][:, 0], season.layout
    middle = 0.5 * (layout.ratio_low + layout.ratio_high)[:, 0]
    assert found.handbook_m2 == pytest.approx(feed.mean() / middle.mean())
    (balance,) = bed_balance(season)
    draw = season.planting.stands.even_nitrogen_g_m2[:, 0].mean()
    assert found.nitrogen_m2 == pytest.approx(balance.mean("supply_g") / draw)
    assert found.rule is BuildRule.HANDBOOK
    assert found.area_m2 == found.handbook_m2 < found.nitrogen_m2 == found.most_m2


@pytest.mark.parametrize("bed_m2", [0.5, 200.0])
def test_more_area_is_offered_only_up_to_the_area_to_build_for(bed_m2):
    tables = laden_bed()
    tables["beds"]["gravel"] |= {"area": f"{bed_m2} m2", "nitrifying_surface": "60 m2"}
    tables["loops"]["main"]["water_tests"] = [{"date": START, "nitrate_n": "160 mg/L"}]
    season = run_season(build(tables))
    area = season.build_areas["main"]
    told = nitrate_words(season, "main")
    assert area.side is (Side.ROOM if bed_m2 == 0.5 else Side.TOO_MUCH)
    against_nitrate = [c for c in nitrate_changes(season, "main") if c.kind is Action.PLANTED_AREA]
    assert bool(against_nitrate) == (area.side is Side.ROOM)
    assert all(change_words(change, "metric")[1:] in told for change in against_nitrate)
    of_beds = [p.change for p in bed_plan(season).proofs["main"] if p.change.kind is Action.PLANTED_AREA]
    assert all(change.amounts["carried_m2"] == area.area_m2 for change in against_nitrate + of_beds)


def test_what_brings_nearer_moves_a_tenth_of_the_gap(example):
    plan = bed_plan(example)
    for balance in plan.loops:
        data = next(one for one in beds_answer(plan).data["loops"] if one["loop"] == balance.loop)
        for proof, lever in zip(plan.proofs[balance.loop], data["levers"], strict=True):
            moved = abs(proof.gap_after_g) <= 0.9 * abs(proof.gap_before_g)
            assert lever["is_nearer"] == proof.is_nearer == moved
        assert not (balance.is_even and data["levers"])


# --- nutrients by the level of the water


def test_nitrogen_is_short_only_where_the_water_holds_little(example):
    for budget in budgets(example):
        if budget.nutrient != "nitrogen":
            continue
        column = example.layout.loops.index(budget.loop)
        level = example.course.nitrate_mg_l[0, :, column]
        for week, short in enumerate(budget.is_short):
            assert not short or level[7 * week : 7 * week + 7].min() < ENOUGH_MG_L["nitrogen"]
            assert (budget.add_g[week] > 0.0) == short


def test_nitrogen_is_not_short_at_28_mg_l_and_is_at_2():
    tables = laden_bed()
    tables["cohorts"]["fish"]["count"] = 2
    found = {}
    for level in (2.0, 28.0):
        tables["loops"]["main"]["water_tests"] = [
            {"date": START + np.timedelta64(day, "D").astype(object), "nitrate_n": f"{level} mg/L"}
            for day in range(0, 120, 2)
        ]
        (budget,) = [one for one in budgets(run_season(build(tables))) if one.nutrient == "nitrogen"]
        missed = budget.terms["short"] > 0.15 * budget.wanted_g
        found[level] = (bool(missed.any()), bool(budget.is_short.any()))
    # roots take a little less than they could at both, but only one of them is too little
    assert found[2.0] == (True, True)
    assert found[28.0][1] is False


# --- one water to change


def test_season_water_page_and_beds_change_the_same_water():
    season = run_season(build(laden_bed()))
    passed = nitrate_passed(season, "main")
    liters = format_quantity(passed.weekly_m3, "volume", "metric")
    told = nitrate_words(season, "main")
    assert f"about {liters} a week" in told
    assert told in water_answer(season, "main").data["cautions"]
    (row,) = summary(season, season.findings)["nitrate"]
    assert row["weekly_change_l"] == pytest.approx(1000.0 * passed.weekly_m3, abs=0.1)
    plan = bed_plan(season)
    changes = [p.change for p in plan.proofs["main"] if p.change.kind is Action.WEEKLY_CHANGES]
    assert all(change.amounts["volume_m3"] == passed.weekly_m3 for change in changes)
    assert all(change.start == season.dates[passed.from_day] for change in changes)


# --- the same season in every question


def test_ramp_and_cold_tell_the_seasons_own_limits_deaths_and_harvest():
    site = FOLDER / "heron_lane_computed.toml"
    season = run_season(load_site(site))
    # as `season --json` tells it, without what is advised, which takes long and is not compared
    answers = {"season": json.loads(json.dumps(season_answer(season, season.findings, is_sought=False).data))}
    for name in ("beds", "ramp", "cold"):
        result = CliRunner().invoke(app, [name, str(site), "--json"])
        assert result.exit_code == 0, result.output
        answers[name] = json.loads(result.stdout)
    as_said = answers["cold"]["options"][0]
    totals = answers["season"]["totals"]
    for ours, theirs in (("deaths", "deaths"), ("growth_kg", "growth_kg"), ("feed_kg", "feed_kg")):
        assert as_said[ours] == pytest.approx(totals[theirs], abs=1e-3)
    broken = {f"{f['limit']} {f['where']}" for f in answers["season"]["limits"] if (f["margin_percent"] or 0.0) < 0.0}
    assert set(as_said["limits_broken"]) == broken
    harvest = sum(bed["harvest_kg"] or 0.0 for bed in answers["beds"]["beds"])
    # cold takes the air of each month as its mean
    assert as_said["yield_kg"] == pytest.approx(harvest, rel=0.005)
    limits = {(f["limit"], f["where"]): f for f in answers["season"]["limits"]}
    told = [finding for loop in answers["ramp"]["loops"] for finding in loop["as_fed"]]
    assert told
    for finding in told:
        mine = limits[finding["limit"], finding["where"]]
        for key in ("first_date", "worst_date", "worst_value", "threshold", "days_broken"):
            assert finding[key] == mine[key], key


def test_a_ramp_that_falls_short_asks_for_what_the_season_asks_for():
    """Begun shortly before a loop runs out of alkalinity: base, not fewer fish or more film."""
    site = load_site(DATA / "gravel_house.toml")
    season = run_season(site)
    (loop,) = feeding_ramp(site, dt.date(2027, 5, 1)).loops
    assert loop.full_from is None
    told = loop_sentence(loop, "metric")
    kinds = {step.change.kind for step in loop.full_ration.steps}
    assert Action.BUFFER in kinds
    assert Action.BUFFER in {step.change.kind for step in advise(season).ways[0].steps}
    for step in loop.full_ration.steps:
        assert dated_words(step, "metric") in told
