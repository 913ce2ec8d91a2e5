"""The cold months: site files with weather, options and the recommendation, cold risk, failing heaters, the fit."""

from __future__ import annotations

import datetime as dt
import json
import math
import tomllib
from dataclasses import replace

import numpy as np
import pytest
from lever_checks import find_change
from site_faults import GONE, changed, faults_of, told

from stocksim import run_season
from stocksim.answers.cold.answer import cold_answer, fit_answer
from stocksim.answers.cold.choice import FuelUse, Option, fuel_months, fuel_rows, on_frontier, spares
from stocksim.answers.cold.decide import _said, compare_cold
from stocksim.answers.cold.fit import HeatFit, fit_heat
from stocksim.answers.cold.options import (
    FOAM_MM,
    Choice,
    Note,
    NoteKind,
    choices,
    computed_site,
    stacked_plan,
)
from stocksim.answers.cold.recommend import Bar, Hurdle, Turn, Verdict, Why, recommend
from stocksim.answers.cold.tally import cold_years
from stocksim.answers.cold.warm_loop import warm_loop
from stocksim.answers.cold.why import reason_words, turning_words
from stocksim.answers.cold.words import AS_PLANNED, NOTES, note_sentences, option_name
from stocksim.changes.change import Action, Change
from stocksim.climate.network import run_network
from stocksim.climate.weather import synthetic_days
from stocksim.engine.arrays.fish import build_stays
from stocksim.errors import InputError
from stocksim.faces.answer import Chart, Table
from stocksim.faces.text import answer_text
from stocksim.faces.understood import understood
from stocksim.heat.heaters import design_days, design_power_w, judged_heaters, warm_start
from stocksim.heat.hourly import site_warmth
from stocksim.heat.notes import heater_notes, site_notes
from stocksim.heat.outage import hours_to
from stocksim.heat.temperatures import water_c
from stocksim.site.climate_faults import hemisphere_notes
from stocksim.site.examples import FOLDER, example_text
from stocksim.site.reading import load_site, site_from_tables
from stocksim.site.weather import site_weather, smoothed

COMPUTED = tomllib.loads(example_text("heron_lane_computed"))
SHORT = changed(COMPUTED, {"season.end": dt.date(2027, 1, 31)})
for _bed in SHORT["beds"].values():
    _bed["plantings"] = [p | {"to": dt.date(2027, 1, 31)} for p in _bed["plantings"] if p["from"].year == 2026]


@pytest.fixture(scope="module")
def short_site():
    """The computed example until the end of January."""
    return site_from_tables(SHORT, FOLDER)


@pytest.fixture(scope="module")
def short_cold(short_site):
    """Its comparison, with few synthetic years."""
    return compare_cold(short_site, years=8, seed=3)


@pytest.fixture(scope="module")
def short_answer(short_site, short_cold):
    """Its answer."""
    return cold_answer(short_cold, short_site)


def of_kind(options, kind):
    """Options, or choices, of which a kind of change is the whole."""
    return [one for one in options if one.change is not None and one.change.kind is kind]


def parts_of(answer, key, kind):
    """Parts of a kind in a section."""
    return [part for part in answer.section(key).parts if isinstance(part, kind)]


# --- the site file

ONE_FAULT = [
    ({"weather": GONE}, ("loops.main", "water_temperature"), "needs [weather]"),
    ({"site.latitude": GONE}, ("loops.main", "water_temperature"), "site.latitude"),
    ({"weather.low.dec": GONE}, ("weather", "low"), "needs dec"),
    ({"weather.low.dec": "-90 degC"}, ("weather", "low.dec"), "between -70 and 55 degC"),
    ({"weather.low.december": "-9 degC"}, ("weather", "low.december"), "is not a month"),
    ({"weather.kind": "forecast"}, ("weather", "kind"), '"normals" or "file"'),
    ({"weather.low.dec": "60 degF"}, ("weather", "low.dec"), "above the high of that month, 28.0 degF"),
    ({"weather.design_cold": "20 degF"}, ("weather", "design_cold"), "above the coldest normal low, 6.0 degF"),
    ({"weather.rain": 3}, ("weather", "rain"), "is not known here"),
    ({"greenhouse.floor_area": GONE}, ("greenhouse", "floor_area"), "is missing"),
    ({"greenhouse.cover": "canvas"}, ("greenhouse", "cover"), '"double_film"'),
    ({"greenhouse.heater.fuel": "peat"}, ("greenhouse", "heater.fuel"), '"propane"'),
    ({"greenhouse.heater.power": "20"}, ("greenhouse", "heater.power"), "has no unit"),
    ({"greenhouse.heater.set_point": "90 degC"}, ("greenhouse", "heater.set_point"), "between -10 and 40 degC"),
    ({"greenhouse.heater.price_per": "kg"}, ("greenhouse", "heater.price_per"), "is not how propane is sold"),
    ({"greenhouse.heater.price_per": GONE}, ("greenhouse", "heater.price"), "together"),
    ({"greenhouse.insulated_wall.area": "900 m2"}, ("greenhouse", "insulated_wall.area"), "more than the whole cover"),
    ({"tanks.cedar.heat": {"room": "attic"}}, ("tanks.cedar", "heat.room"), '"attic"'),
    ({"loops.main.heat.foam": "2 m"}, ("loops.main", "heat.foam"), "0 to 500 mm"),
    ({"weather": {"kind": "file", "file": "gone.csv"}}, ("weather", "file"), "was not found"),
]  # fmt: skip


@pytest.mark.parametrize(("changes", "place", "words"), ONE_FAULT, ids=lambda value: str(value)[:40])
def test_one_fault_of_weather_or_heat_is_told_once_at_its_place(changes, place, words):
    faults = faults_of(changed(SHORT, changes))
    wanted = [place] if place[1] != "water_temperature" else [("loops.main", place[1]), ("loops.warm", place[1])]
    assert told(faults) == wanted
    assert words in faults[0].message


def test_a_room_that_is_named_must_have_a_table():
    faults = faults_of(changed(SHORT, {"fish_room": GONE}))
    assert told(faults) == [("loops.warm", "heat.room")]
    assert "[fish_room]" in faults[0].message


def test_faults_elsewhere_are_told_together_with_those_of_the_weather():
    faults = faults_of(changed(SHORT, {"weather.low.dec": "x", "tanks.cedar.volume": "0 L", "greenhouse.cover": 3}))
    assert told(faults) == [("greenhouse", "cover"), ("tanks.cedar", "volume"), ("weather", "low.dec")]


def test_a_cold_july_in_the_north_is_warned_not_refused():
    swapped = {"jan": "50 degF", "jul": "5 degF"}
    low = SHORT["weather"]["low"] | swapped
    high = SHORT["weather"]["high"] | {"jan": "70 degF", "jul": "20 degF"}
    site = site_from_tables(changed(SHORT, {"weather.low": low, "weather.high": high}), FOLDER)
    said = [note for note in site.notes if "July is colder than January" in note]
    assert len(said) == 2
    assert "sign of the latitude" in said[0]


def test_northern_months_at_a_southern_latitude_are_warned():
    site = site_from_tables(changed(SHORT, {"site.latitude": -45.0}), FOLDER)
    assert "warmer than January" in hemisphere_notes(site.file)[0]
    assert not hemisphere_notes(site_from_tables(SHORT, FOLDER).file)


def test_a_heater_too_small_for_the_design_night_is_told_by_how_much_and_not_enlarged():
    small = site_from_tables(changed(SHORT, {"greenhouse.heater.power": "9 kW"}), FOLDER)
    judged = next(one for one in judged_heaters(small) if one.place == "greenhouse")
    (note,) = heater_notes(small)
    assert f"-20.0 degF outdoors asks {judged.needed_kw:.1f} kW" in note
    assert f"{judged.needed_kw - 9.0:.1f} kW ({100 * (1 - 9 / judged.needed_kw):.0f} %) is missing" in note
    assert note in site_notes(small)
    warmth = site_warmth(small.file, small.folder, {})
    assert warmth.run.peak_w[0] == pytest.approx(9000.0)
    assert warmth.run.low_c[:, 0].min() < 9.0


def test_an_unvented_heater_is_warned_of_carbon_monoxide():
    site = site_from_tables(changed(SHORT, {"greenhouse.heater.vented": False}), FOLDER)
    assert any("carbon monoxide" in note for note in site.notes)


def test_a_schedule_changes_the_set_point_by_hour(short_site):
    later = site_from_tables(
        changed(SHORT, {"greenhouse.heater.schedule": [{"hour": 7, "set_point": "60 degF"},
                                                       {"hour": 19, "set_point": "46 degF"}]}), FOLDER)  # fmt: skip
    warmth = site_warmth(later.file, later.folder, {})
    assert warmth.run.hourly_c is not None
    hours = warmth.run.hourly_c[60 * 24 : 100 * 24, 0].reshape(-1, 24)
    assert hours[:, 12].mean() == pytest.approx((60.0 - 32.0) / 1.8, abs=0.3)
    assert hours[:, 4].mean() == pytest.approx((46.0 - 32.0) / 1.8, abs=0.7)


def test_typed_and_logged_temperatures_override_the_computed_ones(demo_site, tmp_path):
    assert demo_site.held_c["warm"] == pytest.approx((74.0 - 32.0) / 1.8)
    rows = [f"{SHORT['season']['start'] + dt.timedelta(days=day)},{10 + day % 3}" for day in range(123)]
    (tmp_path / "log.csv").write_text("date,temperature_c\n" + "\n".join(rows), encoding="utf-8")
    logged = changed(SHORT, {"loops.main.water_temperature": {"kind": "log", "file": "log.csv"}})
    site = site_from_tables(logged, tmp_path)
    assert site.held_c["main"].tolist() == [10.0 + day % 3 for day in range(123)]
    assert water_c(site)["warm"].max() < 25.0


def test_loops_csv_has_the_heat_and_sites_without_weather_leave_it_blank(short_site):
    frame = run_season(short_site).loops
    total = frame.groupby("date")["heat_kwh"].sum().to_numpy()
    warmth = site_warmth(short_site.file, short_site.folder, {})
    assert total == pytest.approx(warmth.run.heat_kwh.sum(axis=-1), rel=1e-9)
    bare = load_site(FOLDER / "starter.toml")
    assert run_season(bare).loops["heat_kwh"].isna().all()


def test_a_weather_file_drives_the_water(tmp_path):
    start = SHORT["season"]["start"]
    rows = [f"{start + dt.timedelta(days=day)},{-5},{3},{1.5}" for day in range(123)]
    (tmp_path / "out.csv").write_text("date,low_c,high_c,sun_kwh_m2\n" + "\n".join(rows), encoding="utf-8")
    site = site_from_tables(changed(SHORT, {"weather": {"kind": "file", "file": "out.csv"}}), tmp_path)
    warmth = site_warmth(site.file, site.folder, {})
    assert warmth.weather.mean_c == pytest.approx(-1.0, abs=0.02)
    assert any("design_cold is not" in note for note in site.notes)


# --- the comparison


def test_options_answer_the_contract(short_answer):
    data = json.loads(json.dumps(short_answer.data, allow_nan=False))
    assert data["recommended"] in {option["name"] for option in data["options"]}
    for option in data["options"]:
        assert {"name", "set_point_c", "heat_kwh", "cost", "growth_kg", "feed_kg", "deaths"} <= set(option)
        assert sum(option["heat_kwh_by_month"].values()) == pytest.approx(option["heat_kwh"], abs=1.0)
    names = [option["name"] for option in data["options"]]
    assert names[0] == AS_PLANNED
    assert len(set(names)) == len(names)


def test_every_option_is_a_change_that_the_site_takes(short_cold):
    plan, none, *_ = short_cold.options
    assert plan.change is None
    assert none.change.kind is Action.NO_HEAT
    kinds = {option.change.kind for option in short_cold.options[1:]}
    assert kinds >= {
        Action.AIR_SET_POINT, Action.WATER_SET_POINT, Action.FOAM, Action.COVERS, Action.BED_COVERS, Action.NIGHT_FLOW,
        Action.WARM_LOOP, Action.TOGETHER,
    }  # fmt: skip
    for number, option in enumerate(short_cold.options):
        assert all(option.change != other.change for other in short_cold.options[number + 1 :])
        assert short_cold.option(option.change) is option


@pytest.mark.parametrize(
    "kind",
    [Action.NO_HEAT, Action.AIR_SET_POINT, Action.WATER_SET_POINT, Action.FOAM, Action.COVERS, Action.BED_COVERS,
     Action.NIGHT_FLOW, Action.WARM_LOOP, Action.TOGETHER],
)  # fmt: skip
def test_a_season_with_an_options_fields_takes_its_heat(short_cold, kind):
    """The last of each kind; heaters that the file has are given power enough, as the options take for granted."""
    option = of_kind(short_cold.options, kind)[-1]
    fields = dict(option.change.fields)
    fields |= {
        f"{table}.power": "1000 kW" for table in ("greenhouse.heater", "loops.warm.heat.heater")
        if f"{table}.set_point" in fields
    }  # fmt: skip
    season = run_season(short_cold.site, **fields)
    assert float(season.loops["heat_kwh"].sum()) == pytest.approx(option.heat_kwh, rel=1e-6, abs=1e-6)


def test_a_set_point_holds_at_all_hours(short_site):
    stepped = short_site.with_changes({"greenhouse.heater.schedule": [{"hour": 7, "set_point": "60 degF"}]})
    for choice in of_kind(choices(stepped), Action.AIR_SET_POINT):
        heater = stepped.with_changes(choice.change.fields).file.greenhouse.heater
        assert not heater.schedule
        assert heater.set_point == choice.set_point_c == choice.change.amounts["set_point_c"]


def test_the_file_itself_as_an_option_equals_its_own_season(short_cold, short_site):
    season = run_season(short_site)
    plan = short_cold.options[0]
    assert plan.growth_kg == pytest.approx(season.totals()["growth_kg"], rel=1e-9)
    assert plan.heat_kwh == pytest.approx(float(season.loops["heat_kwh"].sum()), rel=1e-9)


def test_warmer_air_takes_more_fuel_and_no_heat_takes_none(short_cold):
    air = of_kind(short_cold.options, Action.AIR_SET_POINT)
    assert len(air) >= 5
    assert (np.diff([o.heat_kwh for o in air]) > 0.0).all()
    (none,) = of_kind(short_cold.options, Action.NO_HEAT)
    assert none.heat_kwh == 0.0
    assert none.cost == 0.0
    assert none.worst_cold_share == 1.0
    assert none.too_cold
    assert none not in short_cold.spared


def test_the_recommended_option_spares_the_fish_and_leaves_most(short_cold):
    best = short_cold.best
    assert best in short_cold.spared
    assert not best.too_cold
    plan = short_cold.options[0]
    assert best.cost is not None
    assert plan.cost is not None
    assert short_cold.worth * best.growth_kg - best.cost >= short_cold.worth * plan.growth_kg - plan.cost
    verdict = short_cold.verdict
    assert (verdict.best, verdict.plan, verdict.why) == (best, plan, Why.LEAVES_MOST)


def test_crops_grow_better_in_warmer_air_and_hardly_without_heat(short_cold):
    air = of_kind(short_cold.options, Action.AIR_SET_POINT)
    assert (np.diff([o.yield_kg for o in air[:5]]) > 0.0).all()
    (none,) = of_kind(short_cold.options, Action.NO_HEAT)
    assert 0.0 <= none.yield_kg < short_cold.options[0].yield_kg


def test_fuel_adds_up_in_every_unit(short_cold):
    for option in short_cold.options[:4]:
        for row, use in zip(fuel_rows(option), option.fuel, strict=True):
            efficiency = {"propane": 0.8, "electricity": 1.0}[use.fuel]
            assert row["fuel_kwh"] == pytest.approx(use.heat_kwh / efficiency, abs=0.1)
            assert row["fuel_therms"] == pytest.approx(row["fuel_kwh"] / 29.307107, abs=0.01)
            assert use.cost == pytest.approx(use.amount * {"propane": 2.6, "electricity": 0.16}[use.fuel])


def test_the_gravel_pumped_less_costs_nitrification_and_oxygen(short_cold):
    (less,) = of_kind(short_cold.options, Action.NIGHT_FLOW)
    assert less.change.amounts["kinds"] == ("media",)
    plan = short_cold.options[0]
    assert less.tan_high_mg_l > plan.tan_high_mg_l
    assert less.oxygen_low_mg_l <= plan.oxygen_low_mg_l + 1e-6


def test_a_separate_warm_loop_moves_only_tanks_of_warm_water_fish(short_site):
    split = warm_loop(short_site)
    assert split is not None
    assert split.amounts["tanks"] == ("birch",)
    parted = short_site.with_changes(split.fields)
    assert parted.file.tanks["birch"].loop == "main_warm"
    assert parted.file.tanks["cedar"].loop == "main"
    area = sum(bed.area for bed in parted.file.beds.values())
    assert area == pytest.approx(sum(bed.area for bed in short_site.file.beds.values()))
    assert water_c(parted)["main_warm"].min() > 22.0


def test_hours_to_a_limit_and_the_night_that_heaters_fail(short_cold):
    assert hours_to(np.array([10.0, 8.0, 6.0]), 7.0) == pytest.approx(1.5)
    assert hours_to(np.array([5.0, 4.0]), 6.0) == 0.0
    assert math.isinf(hours_to(np.array([5.0, 4.0]), 1.0))
    times = [t.hours for t in short_cold.failed.times]
    assert times == sorted(times)
    for course in short_cold.failed.tank_c.values():
        assert (np.diff(course) <= 1e-9).all()
    # small tanks in an unheated house: hours, not minutes and not weeks
    assert 6.0 < times[0] < 120.0


def test_a_site_without_weather_is_told_what_is_missing():
    with pytest.raises(InputError, match=r"\[weather\].*heron_lane_computed"):
        compare_cold(load_site(FOLDER / "starter.toml"))


def test_the_demo_sets_its_typed_temperatures_aside_and_says_so(demo_site):
    site, notes = computed_site(demo_site)
    assert {t.water_temperature.kind for t in site.file.loops.values()} == {"computed"}
    assert notes == [Note(NoteKind.TYPED_SET_ASIDE, loop) for loop in site.file.loops]


def option(name: str, cost: float | None, growth: float, **more) -> Option:
    """One made by hand; no change stands for the file's own way, and others are told apart by a made-up room."""
    change = None if name == AS_PLANNED else Change(Action.AIR_SET_POINT, {}, {"room": name})
    numbers = {
        "place": "", "set_point_c": None, "fuel": (), "heat_kwh": 0.0, "month_kwh": {}, "peak_kw": {},
        "installed_kw": {},
        "short_hours": 0.0, "feed_kg": 0.0, "deaths": 0.0, "water_c": {}, "broken": (), "oxygen_low_mg_l": 6.0,
        "tan_high_mg_l": 0.1, "cold_share": {},
    }  # fmt: skip
    return Option(change=change, cost=cost, growth_kg=growth, **(numbers | more))


def called(one: Option) -> str:
    """Name of an option that was made by hand."""
    return AS_PLANNED if one.change is None else one.change.amounts["room"]


def best_of(options: list[Option]) -> str:
    """Name of the one that is recommended where a kilo of fish is worth 8."""
    return called(recommend(options, 8.0).best)


def test_the_frontier_and_its_extra_kilo_by_hand():
    options = [option("a", 100.0, 10.0), option("b", 160.0, 13.0), option("c", 170.0, 12.0), option("d", 40.0, 8.0)]
    marked = {called(o): o for o in on_frontier(options)}
    assert [name for name, o in marked.items() if o.is_on_frontier] == ["a", "b", "d"]
    assert marked["d"].cost_per_extra_kg is None
    assert marked["a"].cost_per_extra_kg == pytest.approx(30.0)
    assert marked["b"].cost_per_extra_kg == pytest.approx(20.0)


@pytest.mark.parametrize(("worth", "best"), [(5.0, "d"), (25.0, "b"), (0.0, "d")])
def test_the_recommendation_by_hand(worth, best):
    # worth 25: a 150, b 165, d 160; worth 5: a -50, b -95, d 0
    options = [option("a", 100.0, 10.0), option("b", 160.0, 13.0), option("d", 40.0, 8.0)]
    verdict = recommend(options, worth)
    assert called(verdict.best) == best
    _, b, d = options
    turns = {5.0: (Turn(b, 24.0), None), 25.0: (None, Turn(d, 24.0)), 0.0: (Turn(b, 24.0), None)}
    assert (verdict.dearer, verdict.cheaper) == turns[worth]  # (160 - 40) / (13 - 8)
    assert verdict.bars == ()
    assert verdict.crops is None


def test_an_option_too_cold_for_a_fish_is_never_recommended_while_another_is_not():
    cold = option("cheap", 0.0, 9.0, broken=(("temperature_low", "cohorts.tilapia"),))
    risky = option("risky", 1.0, 9.5, cold_share={"tilapia": 0.2})
    safe = option("safe", 80.0, 10.0, cold_share={"tilapia": 0.05})
    assert best_of([cold, risky, safe]) == "safe"
    verdict = recommend([cold, risky], 8.0)
    assert (called(verdict.best), verdict.why) == ("cheap", Why.LEAST_HARM)


# --- what the choice must not overlook


def use(heat: float, cost: float | None, place: str = "greenhouse") -> FuelUse:
    return FuelUse(place, "propane", "gal", heat, heat / 20.0, cost)


def test_heat_without_a_price_never_loses_to_cold_that_kills():
    plan = option(AS_PLANNED, None, 10.0, fuel=(use(900.0, None),), heat_kwh=900.0)
    none = option("none", 0.0, 2.0, broken=(("temperature_low", "cohorts.perch"),))
    assert recommend([plan, none], 8.0) == Verdict(plan, plan, Why.OWN_WAY, 8.0, ("greenhouse",))
    # a file's own way that kills gives way to the least heat that spares, priced or not
    frozen = option(AS_PLANNED, 0.0, 2.0, cold_share={"perch": 1.0})
    more = option("air at 9", None, 11.0, fuel=(use(1200.0, None),), heat_kwh=1200.0)
    less = option("air at 7", None, 10.0, fuel=(use(900.0, None),), heat_kwh=900.0)
    assert recommend([frozen, more, less], 8.0) == Verdict(less, frozen, Why.LEAST_HEAT, 8.0, ("greenhouse",))
    # one unpriced option is enough: money cannot rank what it cannot weigh
    priced = option("dear", 50.0, 9.0, fuel=(use(100.0, 50.0),), heat_kwh=100.0)
    assert recommend([plan, priced], 8.0).why is Why.OWN_WAY


def test_an_option_that_kills_a_cohort_by_degrees_is_barred_and_its_dead_weigh():
    fish = {"tilapia": 55.0}
    plan = option(AS_PLANNED, 300.0, 20.0, deaths=1.0, died={"tilapia": 1.0}, stocked=fish)
    deadly = option("60 degF", 10.0, 21.0, deaths=55.0, died={"tilapia": 55.0}, stocked=fish, dead_kg=9.0)
    assert recommend([plan, deadly], 8.0).best is plan
    assert spares([plan, deadly]) == [plan]
    heavy = option("warm", 10.0, 25.0, deaths=55.0, died={"tilapia": 55.0}, stocked=fish, dead_kg=1.0)
    assert recommend([plan, heavy], 8.0).bars == (Bar(Hurdle.DEATHS, "tilapia"),)
    # gain less the dead: 20 - 0 beats 21 - 3 at the same fuel
    alive, dying = option("alive", 10.0, 20.0), option("dying", 10.0, 21.0, dead_kg=3.0)
    assert best_of([alive, dying]) == "alive"


def test_heat_that_the_files_own_way_has_too_bars_nothing_and_bars_are_named():
    hot = (("temperature_high", "cohorts.trout"),)
    plan = option(AS_PLANNED, 100.0, 10.0, broken=hot)
    cheaper = option("cover", 50.0, 10.0, broken=hot)
    cool = option("cool", 20.0, 1.0)
    assert best_of([plan, cheaper, cool]) == "cover"
    airless = option("crowd", 50.0, 30.0, broken=(*hot, ("oxygen", "tanks.birch")))
    assert recommend([plan, cheaper, airless], 8.0).bars == (Bar(Hurdle.LIMIT, "tanks.birch", "oxygen"),)
    frosty = option("frost", 50.0, 30.0, cold_share={"perch": 1.0, "bass": 0.2})
    assert recommend([plan, cheaper, frosty], 8.0).bars == (
        Bar(Hurdle.COLD_LIMIT, "bass"), Bar(Hurdle.COLD_LIMIT, "perch"),
    )  # fmt: skip
    boiling = option("boil", 50.0, 30.0, broken=(*hot, ("temperature_high", "cohorts.bass")))
    assert recommend([plan, cheaper, boiling], 8.0).bars == (Bar(Hurdle.HEAT_LIMIT, "bass"),)


def test_crops_without_a_price_are_a_condition_with_the_worth_below_which_they_are_given_up():
    plan = option(AS_PLANNED, 100.0, 10.0, crops={"kale": 30.0})
    colder = option("cold", 20.0, 10.0, crops={"kale": 10.0})
    verdict = recommend([plan, colder], 8.0)
    assert verdict.best is plan
    assert verdict.without_crops == Turn(colder, pytest.approx(4.0))  # (100 - 20) / (30 - 10)
    # a tenth less is no loss; then more crops have a worth from which they pay: (100 - 20) / (30 - 28)
    hardly = replace(colder, crops={"kale": 28.0})
    verdict = recommend([plan, hardly], 8.0)
    assert (verdict.best, verdict.without_crops) == (hardly, None)
    assert verdict.crops == Turn(plan, pytest.approx(40.0))
    # what the file's own way gives sets the condition, not what another gives
    assert recommend([replace(colder, change=None), replace(plan, change=colder.change)], 8.0).best.cost == 20.0


def test_crops_with_a_price_are_weighed_by_it():
    plan = option(AS_PLANNED, 100.0, 10.0, crops={"kale": 30.0})
    colder = option("cold", 20.0, 10.0, crops={"kale": 10.0})
    for price, best in ((3.9, colder), (4.1, plan)):  # even at (100 - 20) / (30 - 10)
        verdict = recommend([plan, colder], 8.0, {"kale": price})
        assert verdict.best is best
        assert verdict.without_crops is None
        assert verdict.crops_sold == pytest.approx(price * best.crops["kale"])
    # fish turn at another worth then: warmer water for 30 more, 5 kg of fish and 10 kg of kale at 2
    warm = option("warm", 130.0, 15.0, crops={"kale": 40.0})
    assert recommend([plan, warm], 1.0, {"kale": 2.0}).dearer == Turn(warm, pytest.approx(2.0))


def test_air_too_cold_for_a_standing_crop_bars_an_option_unless_the_files_own_way_has_it_too():
    plan = option(AS_PLANNED, 100.0, 10.0, crops={"tomato": 1.0})
    cold = option("cold", 20.0, 11.0, crops={"tomato": 1.0}, chilled={"tomato": 90})
    verdict = recommend([plan, cold], 8.0)
    assert (verdict.best, verdict.bars) == (plan, (Bar(Hurdle.CROP, "tomato"),))
    assert verdict.without_crops == Turn(cold, math.inf)  # no less of it, so no price tells
    assert recommend([replace(plan, chilled={"tomato": 5}), cold], 8.0).best is cold


def test_a_heater_to_buy_without_a_price_leaves_the_others_ranked():
    plan, cheap = option(AS_PLANNED, 100.0, 10.0), option("cheap", 50.0, 10.0)
    heat = (use(400.0, 10.0), FuelUse("loops.main", "electricity", "kWh", 200.0, 200.0, None))
    water = option("water", None, 12.0, fuel=heat, heat_kwh=600.0, to_buy=("loops.main",))
    verdict = recommend([plan, cheap, water], 8.0)
    assert verdict.best is cheap
    assert verdict.cheap_power == Turn(water, pytest.approx(0.28))  # (8 x 12 - 10 - (80 - 50)) / 200
    frozen = {"broken": (("temperature_low", "cohorts.perch"),)}
    verdict = recommend([replace(plan, **frozen), replace(cheap, **frozen), water], 8.0)
    assert (verdict.best, verdict.why) == (water, Why.LEAST_HEAT)


def test_an_option_that_eats_up_the_reserve_of_a_limit_is_barred():
    plan = option(AS_PLANNED, 100.0, 10.0)
    close = option("close", 20.0, 12.0, near=(("oxygen", "tanks.birch"),))
    verdict = recommend([plan, close], 8.0)
    assert (verdict.best, verdict.bars) == (plan, (Bar(Hurdle.LIMIT, "tanks.birch", "oxygen"),))
    assert recommend([replace(plan, near=close.near), close], 8.0).best is close


def test_where_nothing_spares_the_fish_what_does_no_better_is_not_told():
    harm = {"broken": (("temperature_low", "cohorts.tilapia"),), "died": {"tilapia": 20.0}}
    plan = option(AS_PLANNED, 100.0, 1.0, deaths=21.1, **harm)
    assert recommend([plan, option("cover", 20.0, 1.0, deaths=20.9, **harm)], 8.0).best is plan
    assert called(recommend([plan, option("warm", 200.0, 1.0, deaths=12.0, **harm)], 8.0).best) == "warm"


def test_fuel_dearer_than_the_growth_is_said():
    for cost, is_dearer in ((1000.0, True), (81.0, True), (79.0, False), (10.0, False)):
        verdict = recommend([option(AS_PLANNED, cost, 10.0)], 8.0)
        assert verdict.is_fuel_dearer == is_dearer
        assert (f"({cost:,.0f} against 80)" in reason_words(verdict, "metric")) == is_dearer


def test_every_verdict_and_every_bar_has_its_words():
    plan = option(AS_PLANNED, 100.0, 10.0)
    said = {why: (reason_words(verdict, "us"), turning_words(verdict, "us"))
            for why in Why if (verdict := Verdict(plan, plan, why, 8.0, ("greenhouse",)))}  # fmt: skip
    assert len({reason for reason, _ in said.values()}) == len(Why)
    assert len({change for _, change in said.values()}) == len(Why) - 1  # heat without a price wants one thing
    bars = tuple(Bar(hurdle, "tanks.birch", "oxygen") for hurdle in Hurdle)
    change = turning_words(Verdict(plan, plan, Why.LEAVES_MOST, 8.0, bars=bars), "us")
    assert len(set(change.split(": ")[1].split(", "))) == len(Hurdle)


def test_what_would_change_it_is_told_in_the_keepers_units():
    warm, cool = (
        replace(option("greenhouse", 10.0, 10.0), change=Change(Action.AIR_SET_POINT, {}, amounts))
        for amounts in ({"room": "greenhouse", "set_point_c": point} for point in (20.0, 5.0))
    )
    verdict = Verdict(warm, warm, Why.LEAVES_MOST, 8.0, (), Turn(cool, 16.0), Turn(cool, 4.0), (), Turn(cool, 2.0))
    for units, prices in (("metric", ("16.00 a kilo", "4.00 a kilo", "2.00 a kilo", "air at 5 degC")),
                          ("us", ("7.26 a pound", "1.81 a pound", "0.91 a pound", "air at 41 degF"))):  # fmt: skip
        change = turning_words(verdict, units)
        assert [price for price in (*prices, "at 50 %", "at 2.0 times") if price not in change] == []


def test_crumbs_of_growth_make_no_frontier():
    marked = on_frontier([option("a", 10.0, 10.0), option("b", 900.0, 10.05), option("c", 20.0, 10.2)])
    assert [called(o) for o in marked if o.is_on_frontier] == ["a", "c"]


def test_us_sites_are_told_of_pounds():
    reason = reason_words(recommend([option(AS_PLANNED, 10.0, 10.0)], 8.0), "us")
    assert "22.0 lb of growth" in reason
    assert "3.63 a pound" in reason  # 8 x 0.45359
    assert " kg" not in reason


def test_the_risk_counts_the_cold_days_on_which_fish_are_there(short_site):
    weather = site_weather(short_site.file, short_site.folder)
    (bare,) = of_kind(choices(short_site), Action.NO_HEAT)
    plan = stacked_plan(short_site, [bare], weather.wind_m_s)
    names = [stay.cohort for stay in build_stays(short_site)[0]]
    mean = 0.5 * (weather.normal_low_c + weather.normal_high_c)
    above = (mean - mean.min()) / np.ptp(mean)
    shares = []
    for days in (above >= 0.0, (above > 0.2) & (above < 0.5), above < 0.0):
        present = np.broadcast_to(days[None, :, None], (1, days.size, len(names)))
        found = cold_years(short_site, plan, weather, present, 4, 1, lambda part: None)
        shares.append(float(found[0, names.index("tilapia")]))
    assert shares == [1.0, 1.0, 0.0]


def test_what_is_tried_against_the_cold(short_site):
    tried = choices(short_site)
    points = [round(choice.set_point_c * 1.8 + 32.0) for choice in tried if choice.place == "greenhouse"]
    assert points == [36, 41, 46, 51, 56, 61, 66]
    (less,) = [choice for choice in tried if choice.night_flow]
    assert set(less.night_flow.values()) == set(less.change.fields.values()) == {0.25}
    assert less.change.amounts == {"kinds": ("media",), "share": 0.25}
    assert of_kind(tried, Action.CURTAIN) == []  # the house has one
    (curtain,) = of_kind(choices(short_site.with_changes({"greenhouse.night_curtain": None})), Action.CURTAIN)
    assert curtain.built == curtain.change.fields == {"greenhouse.night_curtain": True}
    (foam,) = of_kind(tried, Action.FOAM)
    assert foam.change.amounts["foam_m"] == FOAM_MM / 1000.0
    assert set(foam.change.fields.values()) == {"50 mm"}
    for water in of_kind(tried, Action.WATER_SET_POINT):
        is_cool = water.change.amounts["air_c"] is not None
        assert ("greenhouse.heater.set_point" in water.change.fields) == is_cool
        heater = short_site.with_changes(water.change.fields).file.loops[water.place.split(".")[1]].heat.heater
        assert (heater.fuel, heater.price) == (
            "electricity",
            0.16,
        )  # never a burner at a sump; the warm loop's own price
    for place in ("loops.main", "loops.warm"):  # each water under the file's own air and under cool air
        airs = {c.change.amounts["air_c"] for c in of_kind(tried, Action.WATER_SET_POINT) if c.place == place}
        assert airs == {None, 2.0}


def test_the_design_power_holds_the_design_night_and_four_fifths_of_it_do_not(short_site):
    weather = site_weather(short_site.file, short_site.folder)
    plan = stacked_plan(short_site, [Choice()], weather.wind_m_s)
    need = design_power_w(plan, weather)
    column, node = plan.controls.index("greenhouse"), plan.nodes.index("greenhouse")
    # more than the loss of the shell, for wet water and the fish room draw on it too, and less than half as much again
    loss = plan.loss_w_k["greenhouse"] * (10.0 - weather.design_cold_c)
    assert 1.0 < need[0, column] / loss < 1.5
    _, hours, night = design_days(weather, 3)
    lows = []
    for share in (1.001, 0.8):
        net = plan.network._replace(power_w=share * need)
        run = run_network(net, hours, night, warm_start(net), weather.ground_c)
        lows.append(float(run.low_c[-1, 0, node]))
    assert lows[0] == pytest.approx(10.0, abs=0.05)
    # a fifth of the heat over the shell's loss is what is missing in the end; floor and water put off some of it
    missing = 0.2 * need[0, column] / plan.loss_w_k["greenhouse"]
    assert 0.25 * missing < 10.0 - lows[1] < missing


def test_heaters_too_small_and_heaters_to_buy_are_told(short_cold, short_site, short_answer):
    by_name = {one["name"]: one for one in short_answer.data["options"]}
    plan, air = by_name[AS_PLANNED], by_name["air at 66 degF"]
    assert plan["design_night_kw"]["greenhouse"] > 20.0
    assert air["design_night_kw"]["greenhouse"] > plan["design_night_kw"]["greenhouse"]
    assert plan["is_heater_too_small"]
    assert plan["heaters_to_buy_kw"] == {}
    water = next(one for name, one in by_name.items() if name.startswith("water of main at 54"))
    assert water["heaters_to_buy_kw"]["loops.main"] > 0.5
    split = next(one for name, one in by_name.items() if "separate" in name)
    assert set(split["heaters_to_buy_kw"]) == {"loops.main_warm"}
    assert "loops.main_warm" not in split["installed_kw"]
    assert [row["fuel"] for row in water["fuel"] if row["place"] == "loops.main"] == ["electricity"]
    assert [row["fuel"] for row in split["fuel"] if row["place"] == "loops.main_warm"] == ["electricity"]
    options = {option_name(one, "us"): one for one in short_cold.options}
    best = options[water["name"]]
    bought = cold_answer(replace(short_cold, verdict=replace(short_cold.verdict, best=best)), short_site)
    need = best.design_kw["loops.main"]
    assert f"{1.25 * need:.1f} kW for loops.main must be bought" in " ".join(answer_text(bought).split())
    assert water["heaters_to_buy_kw"]["loops.main"] == pytest.approx(1.25 * need, abs=0.01)
    best = options[air["name"]]
    warm = cold_answer(replace(short_cold, verdict=replace(short_cold.verdict, best=best)), short_site)
    need = best.design_kw["greenhouse"]
    assert f"asks {need:.1f} kW of the heater of greenhouse; yours gives 20.0, too small" in " ".join(
        answer_text(warm).split()
    )


def test_the_failure_is_told_for_both_ways_by_name(short_cold, short_answer):
    data = short_answer.data
    assert data["heater_failure"]["option"] == AS_PLANNED
    assert data["heater_failure_recommended"]["option"] == option_name(short_cold.best, "us")
    same = short_cold.best is short_cold.plan
    assert (data["heater_failure"]["times"] == data["heater_failure_recommended"]["times"]) == same
    tables = parts_of(short_answer, "failure", Table)
    assert len(tables) == (1 if same else 2)
    assert [row["fish"] for row in tables[0].rows] == [time["cohort"] for time in data["heater_failure"]["times"]]
    (said,) = short_answer.section("advice").parts[-1].items
    assert ("As recommended, " in said) != same


def test_fish_at_their_limit_before_the_failure_have_too_small_a_heater(short_cold, short_site):
    first = replace(short_cold.failed.times[0], hours=0.0)
    answer = cold_answer(replace(short_cold, failed=replace(short_cold.failed, times=(first,))), short_site)
    assert answer.data["heater_failure"]["times"][0]["hours_to_limit"] == 0.0
    assert [row["reached after"] for row in parts_of(answer, "failure", Table)[0].rows] == ["at once"]
    (said,) = answer.section("advice").parts[-1].items
    assert "before any heater fails" in said
    assert "at once" not in said


def test_every_option_has_a_row_and_those_that_harm_a_fish_are_marked(short_cold, short_answer):
    (table,) = parts_of(short_answer, "options", Table)
    assert [row["option"].lstrip("!") for row in table.rows] == [
        option_name(option, "us") for option in short_cold.options
    ]  # fmt: skip
    harmless = [row["option"] for row in table.rows if not row["option"].startswith("!")]
    assert harmless == [option_name(option, "us") for option in short_cold.spared]
    assert short_answer.is_trouble == (AS_PLANNED not in harmless)
    text = answer_text(short_answer)
    assert all(set(row["option"].split()) <= set(text.split()) for row in table.rows)


def test_growth_is_drawn_against_cost_only_where_something_has_a_price(short_cold, short_site, short_answer):
    charts = parts_of(short_answer, "price", Chart) + parts_of(short_answer, "failure", Chart)
    assert [chart.name for chart in charts] == ["frontier", "fuel", "night"]
    assert all(chart.draw()["description"] for chart in charts)
    free = replace(short_cold, options=tuple(replace(option, cost=None) for option in short_cold.options))
    assert [chart.name for chart in parts_of(cold_answer(free, short_site), "price", Chart)] == ["fuel"]
    empty = replace(short_cold.failed, times=())
    (night,) = parts_of(cold_answer(replace(short_cold, failed=empty), short_site), "failure", Chart)
    assert night.draw() is None


def test_fuel_by_month_adds_up(short_cold, short_answer):
    for one in (short_cold.plan, short_cold.best):
        rows = fuel_months(one)
        assert sum(row["cost"] for row in rows) == pytest.approx(one.cost, abs=0.3)
        assert sum(row["heat_kwh"] for row in rows) == pytest.approx(one.heat_kwh, abs=1.0)
    (table,) = parts_of(short_answer, "fuel_months", Table)
    assert [row["month"] for row in table.rows] == list(short_cold.options[0].month_kwh)


def test_heaters_are_warned_of_where_the_water_is_typed():
    demo = tomllib.loads(example_text("heron_lane"))
    poor = site_from_tables(
        changed(demo, {"greenhouse.heater.power": "9 kW", "greenhouse.heater.vented": False}), FOLDER
    )
    assert [one.place for one in judged_heaters(poor) if one.size == "too_small"] == ["greenhouse"]
    assert len(heater_notes(poor)) == 1
    assert len([note for note in poor.notes if "carbon monoxide" in note]) == 1
    bare = site_from_tables(changed(demo, {"greenhouse.heater.vented": False, "weather": GONE}), FOLDER)
    assert any("carbon monoxide" in note for note in bare.notes)


def test_a_fish_room_by_itself_has_its_air_and_water_swept(short_site):
    heater = {"power": "5 kW", "set_point": "68 degF", "fuel": "propane"}
    both = short_site.with_changes({"fish_room.heater": heater})
    points = {
        room: [choice.set_point_c for choice in of_kind(choices(both), Action.AIR_SET_POINT) if choice.place == room]
        for room in ("greenhouse", "fish_room")
    }
    assert points["fish_room"] == points["greenhouse"] != []
    only = both.with_changes({"greenhouse.heater.power": "1 kW"})
    file = only.file.model_copy(update={"greenhouse": None})
    alone = [choice for choice in choices(replace(only, file=file)) if choice.place]
    assert {choice.place for choice in alone} == {"fish_room", "loops.main", "loops.warm"}
    assert any("fish_room" in choice.heaters for choice in alone if choice.place == "loops.main")


def test_what_is_set_aside_is_said_only_where_it_applies(short_site, short_cold):
    dark, unpriced = Note(NoteKind.BEDS_IN_FISH_ROOM), Note(NoteKind.UNPRICED_WATER_HEATER, "main")
    assert dark not in short_cold.notes
    tried = choices(short_site)
    typed = short_site.with_changes({"beds.north_raft.heat": {"room": "fish_room"}})
    assert dark in _said(typed.file, tried)
    air = short_site.file.site.model_copy(update={"air_temperature": {"jan": 10.0}})
    file = short_site.file.model_copy(update={"site": air})
    assert Note(NoteKind.AIR_SET_ASIDE) in _said(file, tried)
    assert Note(NoteKind.AIR_SET_ASIDE) not in _said(short_site.file, tried)
    assert Note(NoteKind.NO_HEATER) in _said(file, [Choice()])
    assert Note(NoteKind.NO_HEATER) not in short_cold.notes
    assert unpriced not in short_cold.notes  # the warm loop's heater tells the price of electricity
    lone = site_from_tables(changed(SHORT, {"greenhouse.heater": GONE}), FOLDER)
    assert Note(NoteKind.NO_ROOM_HEATER) in _said(lone.file, choices(lone))
    free = {"loops.warm.heat.heater.price": GONE, "loops.warm.heat.heater.price_per": GONE}
    bare = site_from_tables(changed(SHORT, free), FOLDER)
    assert unpriced in _said(bare.file, choices(bare))
    assert Note(NoteKind.HEAT_FORBIDDEN) not in short_cold.notes


def test_every_note_has_its_sentence_and_sentences_stay():
    assert set(NOTES) == set(NoteKind)
    said = note_sentences([*(Note(kind, "main") for kind in NoteKind), "as it is"], "metric")
    assert len(set(said)) == len(NoteKind) + 1
    assert said[-1] == "as it is"
    assert [kind for kind, note in zip(NoteKind, said, strict=False) if "{" in note] == []


# --- weather that was recorded


def recorded(tmp_path, lows: np.ndarray, **more):
    start = SHORT["season"]["start"]
    rows = [f"{start + dt.timedelta(days=day)},{low:.2f},{low + 8:.2f},1.5" for day, low in enumerate(lows)]
    (tmp_path / "out.csv").write_text("date,low_c,high_c,sun_kwh_m2\n" + "\n".join(rows), encoding="utf-8")
    return changed(SHORT, {"weather": {"kind": "file", "file": "out.csv", **more}})


def test_recorded_days_give_the_design_night_and_normals_to_vary_about(tmp_path):
    noise = np.random.default_rng(4).normal(0.0, 5.0, 123)
    tables = recorded(tmp_path, -5.0 + noise)
    site = site_from_tables(tables, tmp_path)
    weather = site_weather(site.file, tmp_path)
    assert weather.design_cold_c == pytest.approx(round(-5.0 + noise.min(), 2))
    assert any("the coldest low" in note for note in site.notes)
    assert any("smoothed over 61 days" in note for note in site.notes)
    assert np.std(weather.low_c) > 4.0
    assert np.std(weather.normal_low_c) < 1.2  # 5 / sqrt(61) is 0.6, more at the ends
    years, _, _ = synthetic_days(
        weather.normal_low_c, weather.normal_high_c, weather.normal_sun_share, weather.spread_c, 200, 1
    )
    assert np.std(years) < 6.2  # the spread of 5.5 or less, not 5 on top of it (7.4)
    faults = faults_of(recorded(tmp_path, -5.0 + noise, design_cold="0 degC"), tmp_path)
    assert told(faults) == [("weather", "design_cold")]
    assert "the coldest low" in faults[0].message


def test_smoothing_keeps_level_and_length():
    assert smoothed(np.full(200, 3.0)) == pytest.approx(3.0)
    assert smoothed(np.arange(200.0))[100] == pytest.approx(100.0)
    assert len(smoothed(np.arange(5.0))) == 5


# --- the fit


def test_factors_that_no_such_house_has_are_warned_of(short_site):
    rest = {"loop": "main", "days": 20, "rms_before_c": 2.0, "rms_after_c": 1.0, "bias_after_c": 0.0, "dates": (),
            "log_c": np.zeros(0), "before_c": np.zeros(0), "after_c": np.zeros(0), "is_on_normals": False}  # fmt: skip
    fit = HeatFit(factors={"loss_factor": 2.6, "sun_factor": 0.9}, uncertainty={"loss_factor": 1.1, "sun_factor": 1.1},
                  **rest)  # fmt: skip
    answer = fit_answer(fit, short_site)
    assert answer.data["factors_hard_to_believe"] == ["loss_factor"]
    (doubt,) = [said for said in answer.section("trust").parts[0].items if "over unseen" in said]
    assert "loss_factor over unseen: 2.60" in doubt


def test_a_fit_finds_the_factors_a_log_was_made_with(short_site, tmp_path):
    true = {"loss_factor": 1.3, "sun_factor": 0.7}
    made = short_site.with_changes({f"greenhouse.{key}": value for key, value in true.items()})
    noise = np.random.default_rng(5).normal(0.0, 0.2, short_site.days)
    start = short_site.file.season.start
    water = water_c(made)["main"] + noise
    rows = [f"{start + dt.timedelta(days=d)},{water[d]:.2f}" for d in range(0, 120, 2)]
    log = tmp_path / "log.csv"
    log.write_text("date,temperature_c\n" + "\n".join(rows), encoding="utf-8")
    fit = fit_heat(short_site, log, "main", ("loss_factor", "sun_factor"))
    assert fit.days == 60
    assert fit.rms_after_c < 0.3 < fit.rms_before_c
    # three of the fit's own standard deviations
    for key, value in true.items():
        assert abs(math.log(fit.factors[key] / value)) < 3.0 * math.log(fit.uncertainty[key])
    text = answer_text(fit_answer(fit, short_site))
    assert f"loss_factor = {fit.factors['loss_factor']:.3f}" in text
    assert "monthly normals" in text
    again = short_site.with_changes({f"greenhouse.{key}": value for key, value in fit.factors.items()})
    days = np.arange(0, 120, 2)
    error = water_c(again)["main"][days] - fit.log_c
    assert np.sqrt(np.mean(error**2)) == pytest.approx(fit.rms_after_c, abs=0.02)


def test_a_fit_refuses_a_log_too_short_and_a_loop_unknown(short_site, tmp_path):
    log = tmp_path / "log.csv"
    log.write_text("date,temperature_c\n2026-10-01,12\n", encoding="utf-8")
    with pytest.raises(InputError, match=r"^\D*1 days .* 14"):
        fit_heat(short_site, log, "main")
    with pytest.raises(InputError, match='"lake" is not a loop'):
        fit_heat(short_site, log, "lake")
    with pytest.raises(InputError, match="is needed to fit"):
        fit_heat(short_site, log)


def test_check_tells_what_it_understood_of_the_heat(short_site):
    heat = understood(short_site)["heat"]
    found = dict(line.split(": ", 1) for line in heat)
    assert found["weather"].split(", ")[0] == "normals"
    assert "-20.0 degF" in found["weather"]
    assert found["greenhouse"].startswith("20 kW of propane, ")
    assert " 50.0 degF; that night asks " in found["greenhouse"]
    assert found["greenhouse"].endswith("kW: too small")
    assert understood(load_site(FOLDER / "starter.toml"))["heat"] == []


def test_what_helps_against_cold_in_computed_water_is_a_heater_in_it():
    # the warm loop's heater is out: tilapia meet their cold limit, and a heater is proved to mend it
    site = site_from_tables(changed(SHORT, {"loops.warm.heat": {"room": "fish_room"}}), FOLDER)
    season = run_season(site)
    finding = next(f for f in season.findings if (f.limit, f.where) == ("temperature_low", "cohorts.tilapia"))
    assert finding.is_broken
    change = find_change(season, finding)
    assert change is not None
    assert change.kind is Action.SET_POINT
    assert change.amounts["is_floor"]
    assert "loops.warm.heat.heater" in change.fields
