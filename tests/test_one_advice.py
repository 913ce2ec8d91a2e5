"""Season, water and beds advise one thing for one site, and nothing that the keeper forbids."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from advice_sites import SITES, laden, planted
from one_advice import Told, contradictions, gathered
from small_sites import build

from stocksim import run_season
from stocksim.answers.beds import changes as bed_changes_module
from stocksim.answers.beds.answer import beds_answer
from stocksim.answers.beds.changes import bed_changes, bed_plan, fish_come_first
from stocksim.answers.beds.decide import bed_balance
from stocksim.answers.ramp.answer import water_answer
from stocksim.answers.season.answer import season_answer
from stocksim.changes.change import ADVICE_OF, Action
from stocksim.changes.nitrate import is_film_behind, nitrate_changes
from stocksim.changes.ways import advise
from stocksim.engine.results.beds import Side
from stocksim.faces.text import answer_text
from stocksim.faces.water_cautions import base_words, nitrate_data
from stocksim.plants.nutrients import ENOUGH_MG_L, TOLD_SHORT_SHARE
from stocksim.site.loop_water import CLEAN_RAIN


@pytest.fixture(scope="module")
def between():
    """Nitrate passes its level over more plants than the feed keeps green and fewer than its nitrogen does for."""
    return run_season(SITES["nitrate passed, between the two"]())


@pytest.fixture(scope="module")
def roomy():
    """Nitrate passes its level over fewer plants than the feed keeps green."""
    return run_season(SITES["nitrate passed, part of the bed bare"]())


@pytest.mark.parametrize("name", SITES)
def test_no_answer_gainsays_another(name):
    season = run_season(SITES[name]())
    told = gathered(season)
    assert contradictions(season, told) == []


def test_the_sites_are_advised_all_kinds_that_could_gainsay():
    kinds: dict[str, set[str]] = {}
    for name in ("few fish, many plants", "nitrate passed, between the two", "nitrate passed, part of the bed bare"):
        for one in gathered(run_season(SITES[name]())):
            kinds.setdefault(one.answer, set()).add(str(one.change.kind) if one.change else f"side {one.side}")
    assert {"planted_area", "weekly_changes"} <= kinds["water"]
    assert {"planted_area", "side 1", "side -1"} <= kinds["season"]
    assert {"stock", "planted_area", "weekly_changes"} <= kinds["beds"] | kinds["water"]


# --- what is planted is found


def test_two_amounts_of_water_are_found(roomy, monkeypatch):
    def doubled(season, loop):
        return [
            replace(c, fields={f: [{**row, "volume": "999 L"} for row in rows] for f, rows in c.fields.items()})
            for c in nitrate_changes(season, loop)
        ]

    monkeypatch.setattr(bed_changes_module, "nitrate_changes", doubled)
    found = contradictions(roomy, gathered(roomy))
    assert found == ["water weekly_changes / beds weekly_changes: loops.main.water_changes"]


def test_more_area_beside_feed_that_carries_less_is_found(between, roomy):
    told = gathered(between)
    (more,) = [c for c in nitrate_changes(roomy, "main") if c.kind is Action.PLANTED_AREA]
    grown = replace(more, fields={"beds.gravel.plantings": [{"crop": "kale", "area": "9 m2"}]})
    found = contradictions(between, [*told, Told("water", grown)])
    assert any("more and less planted area in main" in one for one in found)
    assert any("beds.gravel.plantings[0].area" in one for one in found)


def test_more_fish_beside_fewer_are_found():
    season = run_season(SITES["crowded and overplanted"]())
    told = gathered(season)
    fewer = next(
        step.change for way in advise(season).ways for step in way.steps if step.change.kind is Action.FEWER_FISH
    )
    more = replace(fewer, kind=Action.STOCK, fields={"cohorts.fish.count": 600})
    found = contradictions(season, [*told, Told("beds", more)])
    assert any("more and less fish and feed in main" in one for one in found)
    assert any(one.endswith("cohorts.fish.count") for one in found)


def test_what_is_forbidden_is_found(between):
    site = between.site.with_changes({"advice.never": ["water"]})
    told = [Told("water", change) for change in nitrate_changes(between, "main")]
    assert contradictions(run_season(site), told) == ["water advises weekly_changes, forbidden"]


# --- what the keeper forbids


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("nitrate passed, part of the bed bare", "plant"),
        ("nitrate passed, between the two", "water"),
        ("few fish, many plants", "plant"),
        ("few fish, many plants", "stock"),
        ("few fish, many plants", "feed"),
        ("starter", "plant"),
    ],
)
def test_no_answer_tells_what_the_keeper_forbids(name, kind):
    site = SITES[name]()
    kinds = {
        never: {ADVICE_OF[one.change.kind] for one in gathered(season) if one.change}
        for never in ("", kind)
        for season in [run_season(site, **({"advice.never": [never]} if never else {}))]
    }
    assert kind in kinds[""]
    assert kind not in kinds[kind]


# --- which area, and why


@pytest.mark.parametrize("name", SITES)
def test_the_ratio_is_told_on_the_side_of_the_area_to_build_for(name):
    season = run_season(SITES[name]())
    told = {f.where.removeprefix("loops."): f for f in season.findings if f.limit == "planting_ratio"}
    for loop, build_for in season.build_areas.items():
        finding = told.get(loop)
        if finding is None or not finding.days_broken or not build_for.is_by_ratio:
            continue
        if build_for.side is Side.ROOM:
            assert finding.worst_value > finding.threshold
        if build_for.side is Side.SALTS:
            assert finding.worst_value < finding.threshold


def test_area_is_advised_up_to_the_one_to_build_for(roomy):
    area = roomy.build_areas["main"]
    assert area.side is Side.ROOM
    (change,) = [c for c in nitrate_changes(roomy, "main") if c.kind is Action.PLANTED_AREA]
    after = run_season(roomy.site, **change.fields).build_areas["main"]
    assert after.side is Side.EVEN
    assert after.planted_m2 == pytest.approx(area.area_m2, rel=1e-3)
    # the ground that lies bare is planted, no bed is built
    assert list(change.fields) == ["beds.gravel.plantings"]


# --- nitrogen by week, with what the water holds


def hungry(nitrate_mg_l: float):
    tables = planted(count=4)
    tables["loops"]["main"]["water_tests"] = [{"date": tables["season"]["start"], "nitrate_n": f"{nitrate_mg_l} mg/L"}]
    return run_season(build(tables))


def test_nitrate_in_the_water_feeds_crops_until_it_is_used_up():
    season = hungry(12.0)
    (balance,) = bed_balance(season)
    short = [number for number, week in enumerate(balance.weeks) if week.is_short]
    wanting = [number for number, week in enumerate(balance.weeks) if week.side < 0]
    assert wanting[0] < short[0]  # the beds draw on the water before anything is missed
    level, taken = season.course.nitrate_mg_l[0, :, 0], season.course.uptake_n_g[0, :, 0]
    water_m3 = float(season.layout.loop_water_m3[0])
    for number, week in enumerate(balance.weeks):
        days = slice(7 * number, 7 * number + 7)
        assert week.stock_g == pytest.approx(level[days][-1] * water_m3)
        missed = 1.0 - taken[days].mean() / week.draw_g if week.draw_g > 0.0 else 0.0
        assert week.is_short == (missed > TOLD_SHORT_SHARE and level[days].min() < ENOUGH_MG_L["nitrogen"])
    (loop,) = beds_answer(bed_plan(season, is_sought=False)).data["loops"]
    assert [week["is_short"] for week in loop["weeks"]] == [week.is_short for week in balance.weeks]


def test_a_stock_that_lasts_asks_for_no_change():
    lasting, used_up = hungry(120.0), hungry(2.0)
    for season, is_short in ((lasting, False), (used_up, True)):
        (balance,) = bed_balance(season)
        assert balance.mean_gap_g < 0.0
        assert bool(balance.short) == is_short
        assert bool(bed_changes(season, balance)) == is_short


# --- fish first


def test_feed_and_fish_are_left_to_the_season_while_a_limit_is_broken(demo_season):
    plan = bed_plan(demo_season)
    data = {loop["loop"]: loop for loop in beds_answer(plan).data["loops"]}
    for loop, proofs in plan.proofs.items():
        assert fish_come_first(demo_season, loop)
        assert data[loop]["fish_come_first"]
        assert not {proof.change.kind for proof in proofs} & {Action.RATION, Action.STOCK}
    well = hungry(2.0)
    assert not fish_come_first(well, "main")
    assert {proof.change.kind for proof in bed_plan(well).proofs["main"]} & {Action.RATION, Action.STOCK}


def test_water_against_nitrate_waits_for_ammonia_and_nitrite():
    tables = laden(4.0, 120.0)
    tables["beds"]["gravel"]["nitrifying_surface"] = "3 m2"
    for site, is_behind in ((build(laden(4.0, 120.0)), False), (build(tables), True)):
        season = run_season(site)
        assert is_film_behind(season, "main") == is_behind
        (row,) = nitrate_data(season)
        waters = [c for c in nitrate_changes(season, "main") if ADVICE_OF[c.kind] == "water"]
        assert bool(waters) == (not is_behind)
        assert (row["weekly_change_l"] or row["change_at_once_l"] or 0.0) == pytest.approx(
            sum(1000.0 * change.amounts["volume_m3"] for change in waters), abs=0.1
        )


def test_base_is_asked_for_unless_the_keeper_forbids_it():
    site = SITES["gravel house"]()
    for never, is_told in ((["salt"], True), (["base"], False)):
        told = base_words(run_season(site, **{"advice.never": never}), "main")
        assert told
        assert ("alkalinity_target" in told) == is_told


def test_rain_is_told_in_one_way_alone(demo_season):
    texts = [
        answer_text(season_answer(demo_season, demo_season.findings, is_sought=False)),
        answer_text(beds_answer(bed_plan(demo_season, is_sought=False))),
        *(answer_text(water_answer(demo_season, loop, lambda _: {})) for loop in demo_season.layout.loops),
    ]
    told = " ".join(" ".join(texts).split())
    assert CLEAN_RAIN in told
    assert not re.search(r"\brain\b", told.replace(f"no rain but {CLEAN_RAIN}", "").replace(CLEAN_RAIN, ""))
