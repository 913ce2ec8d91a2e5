"""What the cold months advise a keeper of crops, one who forbids heat, and one whom the season advises as well."""

from __future__ import annotations

import datetime as dt

import pytest
from site_faults import GONE, changed, faults_of, told

from stocksim import run_season
from stocksim.answers.cold.answer import cold_answer
from stocksim.answers.cold.crops import CHILL_SLACK_C
from stocksim.answers.cold.decide import compare_cold
from stocksim.answers.cold.options import choices
from stocksim.answers.cold.recommend import Why
from stocksim.changes.change import ADVICE_OF, Action
from stocksim.changes.ways import advise
from stocksim.library.crops import crop_names, load_crop
from stocksim.site.examples import FOLDER
from stocksim.site.reading import site_from_tables

START, END = dt.date(2026, 10, 1), dt.date(2027, 1, 31)
LOW = {"jan": -13, "feb": -12, "mar": -6, "apr": 1, "may": 7, "jun": 12, "jul": 15, "aug": 14, "sep": 10, "oct": 4,
       "nov": -2, "dec": -9}  # fmt: skip
# Invented: a house of tomatoes and basil kept at 16 degC, with a tank of few perch.
HOUSE = {
    "site": {"name": "Alder Bench (invented)", "latitude": 44.0, "units": "metric"},
    "season": {"start": START, "end": END},
    "loops": {"main": {"sump": "2300 L", "biofilter_started": dt.date(2026, 5, 1),
                       "water_temperature": {"kind": "computed"}, "source_water": {"alkalinity": "100 mg/L"}}},
    "tanks": {"one": {"loop": "main", "volume": "1100 L", "flow": "1500 L/h",
                      "oxygen_supply": {"kind": "diffuser", "power": "40 W"}}},
    "beds": {"gravel": {"loop": "main", "kind": "media", "area": "37 m2", "depth": "30 cm", "media_size": "12 mm",
                        "plantings": [{"crop": "tomato", "from": START, "to": END, "area": "23 m2"},
                                      {"crop": "basil", "from": START, "to": END, "area": "14 m2"}]}},
    "cohorts": {"perch": {"species": "yellow_perch", "tank": "one", "count": 40, "mean_weight": "60 g",
                          "feed": "perch_45"}},
    "weather": {"kind": "normals", "low": {month: f"{low} degC" for month, low in LOW.items()},
                "high": {month: f"{low + 11} degC" for month, low in LOW.items()}},
    "greenhouse": {"floor_area": "110 m2", "height": "2.7 m", "cover": "double_film",
                   "heater": {"power": "60 kW", "set_point": "16 degC", "fuel": "propane", "efficiency": 0.8,
                              "price": 0.7, "price_per": "L"}},
}  # fmt: skip
UNHEATED = {"greenhouse.heater": GONE, "cohorts.perch.species": "nile_tilapia", "cohorts.perch.feed": "tilapia_34"}


def house(changes=None):
    return site_from_tables(changed(HOUSE, changes or {}), FOLDER)


def compared(changes=None):
    return compare_cold(house(changes), years=4)


@pytest.fixture(scope="module")
def kept():
    """The comparison of the house."""
    return compared()


def test_every_crop_has_its_own_cold_limit_and_those_of_warm_lands_a_higher_one():
    limit = {name: load_crop(name)["temperature_low_limit"] for name in crop_names()}
    assert {name for name, value in limit.items() if value >= 10.0} == {"basil", "bean", "cucumber", "pepper", "tomato"}
    assert all(value <= 0.0 for value in limit.values() if value < 10.0)


def test_a_house_of_warm_crops_is_not_let_go_cold_for_few_fish(kept):
    best, plan = kept.best, kept.plan
    assert not best.chilled
    assert all(best.crops[crop] >= 0.9 * plan.crops[crop] - 0.5 for crop in plan.crops)
    # what fish and fuel alone ask for is told as a condition, with what it would save and the worth of what it loses
    option, worth = kept.verdict.without_crops
    assert set(option.chilled) == {"tomato", "basil"}
    saved = kept.worth * (option.net_kg - best.net_kg) - (option.cost - best.cost)
    assert saved > 0.0
    assert worth == pytest.approx(saved / (best.yield_kg - option.yield_kg))
    answer = cold_answer(kept, kept.site)
    assert not answer.is_trouble
    assert any("tomato and basil" in said for said in answer.data["conditions"])


def test_a_crop_counts_until_its_first_night_below_its_limit(kept):
    cold = next(o for o in kept.options if o.change is not None and o.change.kind is Action.AIR_SET_POINT
                and o.set_point_c == 2.0)  # fmt: skip
    cool = next(o for o in kept.options if o.change is not None and o.change.kind is Action.AIR_SET_POINT
                and o.set_point_c == 11.0)  # fmt: skip
    assert cold.yield_kg < 0.1 * kept.plan.yield_kg
    assert min(cold.chilled.values()) > 60
    assert not cool.chilled
    assert 0.0 < CHILL_SLACK_C < 1.0


def test_a_cold_house_over_warm_crops_is_never_all_well():
    found = compared({"greenhouse.heater.set_point": "2 degC"})
    answer = cold_answer(found, found.site)
    assert set(found.best.chilled) == {"tomato", "basil"}
    assert answer.is_trouble
    # what keeps them from cold is named, with its fuel
    assert any("keeps all crops from cold" in said for said in answer.data["conditions"])


def test_priced_crops_decide_by_their_worth():
    poor = compared({"advice": {"crop_worth": {"tomato": 0.1, "basil": 0.1}}})
    rich = compared({"advice": {"crop_worth": {"tomato": 5000.0, "basil": 5000.0}}})
    assert poor.best.yield_kg < 1.0 < rich.best.yield_kg
    assert rich.best.yield_kg == max(o.yield_kg for o in rich.spared if o.cost is not None)
    assert rich.verdict.without_crops is None
    data = cold_answer(rich, rich.site).data
    assert data["crop_worth_per_kg"] == {"tomato": 5000.0, "basil": 5000.0}


def test_a_worth_of_a_crop_that_is_not_planted_is_refused():
    faults = faults_of(changed(HOUSE, {"advice": {"crop_worth": {"kale": 3.0}}}))
    assert told(faults) == [("advice", "crop_worth")]
    assert "planted are basil, tomato" in faults[0].message


def test_warm_water_under_cool_air_is_tried_at_every_air(kept):
    together = [o for o in kept.options if o.change is not None and o.change.kind is Action.TOGETHER]
    air_and_water = [Action.AIR_SET_POINT, Action.WATER_SET_POINT]
    pairs = [o for o in together if [one.kind for one in o.change.amounts["changes"]] == air_and_water]
    airs = {o.change.amounts["changes"][0].amounts["set_point_c"] for o in pairs}
    assert {8.0, 11.0, 14.0} <= airs
    # its electricity has no price here: it is not ranked, and the price below which it would be the choice is told
    option, price = kept.verdict.cheap_power
    assert option in pairs
    assert option.change.amounts["changes"][0].amounts["set_point_c"] < 16.0 < option.set_point_c
    gain = kept.worth * (option.net_kg - kept.best.net_kg) + kept.best.cost - option.known_cost
    unpriced = sum(use.heat_kwh for use in option.fuel if use.cost is None)
    assert price == pytest.approx(gain / unpriced)
    # with electricity at less than that it is chosen, and at more not
    for share, is_chosen in ((0.8, True), (1.5, False)):
        heater = {"power": "1 kW", "set_point": "0 degC", "fuel": "electricity", "price": share * price,
                  "price_per": "kWh"}  # fmt: skip
        found = compared({"fish_room": {"floor_area": "4 m2", "foam": "90 mm", "heater": heater},
                          "tanks.one.heat": {"room": "greenhouse"}, "beds.gravel.heat": {"room": "greenhouse"},
                          "loops.main.heat": {"room": "greenhouse"}})  # fmt: skip
        assert any(use.place == "loops.main" and use.heat_kwh > 1.0 for use in found.best.fuel) == is_chosen


def test_no_burner_is_put_at_a_sump_and_every_burner_has_its_caution(kept):
    for choice in choices(house()):
        for field, value in (choice.change.fields if choice.change else {}).items():
            if field.startswith("loops.") and field.endswith("heat.heater"):
                assert value["fuel"] == "electricity"
    for option in kept.options:
        assert not any(place.startswith("loops.") for place in option.burners)
    (said,) = [said for said in cold_answer(kept, kept.site).data["conditions"] if "Fuel burns" in said]
    assert kept.best.burners == ("greenhouse",)
    assert [
        word for word in ("flue", "carbon monoxide", "licensed", "never stands at a sump") if word not in said
    ] == []


def test_heaters_are_sized_with_a_quarter_to_spare(kept):
    bought = [o for o in kept.options if o.to_buy]
    data = {one["name"]: one for one in cold_answer(kept, kept.site).data["options"]}
    assert bought
    for one in data.values():
        for place, power in one["heaters_to_buy_kw"].items():
            assert power == pytest.approx(1.25 * one["design_night_kw"][place], abs=0.02)


def test_a_keeper_who_forbids_heat_gets_none_and_is_told():
    found = compared({"advice": {"never": ["heat"]}})
    kinds = {option.change.kind for option in found.options if option.change is not None}
    assert {ADVICE_OF[kind] for kind in kinds} == {"flow"}
    answer = cold_answer(found, found.site)
    assert any("[advice] never" in said for said in answer.data["conditions"])
    # nor where the fish need it: they are told to be others, and the season says as little of heat
    bare = compared(UNHEATED | {"advice": {"never": ["heat"]}})
    assert (bare.verdict.why, bare.best) == (Why.LEAST_HARM, bare.plan)
    assert "larger heaters" not in cold_answer(bare, bare.site).data["what_would_change_it"]
    season = advise(run_season(bare.site))
    steps = [step.change for way in season.ways for step in way.steps]
    assert all(ADVICE_OF[change.kind] != "heat" for change in steps)


def test_the_reserve_of_the_file_bars_what_comes_nearer_to_a_limit():
    for reserve, is_near in ((0.01, False), (0.5, True)):
        found = compared({"advice": {"reserve": reserve}, "cohorts.perch.count": 60, "tanks.one.volume": "700 L"})
        density = [(o.near, o.broken) for o in found.options]
        near = {limit for places, _ in density for limit, _ in places}
        assert bool(near) == is_near
        assert not any(limit.startswith("temperature") for limit in near)


def test_where_no_heater_is_cold_and_season_both_heat_the_water_and_spare_the_fish():
    site = house(UNHEATED)
    season = run_season(site)
    change, *_ = [step.change for step in advise(season).ways[0].steps]
    assert change.kind is Action.SET_POINT
    after = run_season(site, **change.fields)
    assert float(after.course.deaths.sum()) < 0.5 * float(season.course.deaths.sum())
    found = compare_cold(site, years=4)
    assert found.best.to_buy == ("loops.main",)
    assert not found.best.too_cold
    # `cold` tries every third degree; the season goes on by two while that spares fish
    assert abs(found.best.set_point_c - change.amounts["temperature_c"]) <= 3.0
    assert found.best.deaths <= float(after.course.deaths.sum())


def test_where_a_typed_loop_is_too_cold_the_seasons_advice_is_told():
    side = {"loops.side": HOUSE["loops"]["main"] | {"water_temperature": {"kind": "constant", "value": "8 degC"}},
            "tanks.two": HOUSE["tanks"]["one"] | {"loop": "side"},
            "cohorts.tilapia": {"species": "nile_tilapia", "tank": "two", "count": 20, "mean_weight": "60 g",
                                "feed": "tilapia_34"}}  # fmt: skip
    found = compared(side)
    assert (found.verdict.why, found.best) == (Why.LEAST_HARM, found.plan)
    (change,) = found.season_advice
    assert (change.kind, change.amounts["loop"]) == (Action.SET_POINT, "side")
    assert "heat the water of loop side" in cold_answer(found, found.site).data["what_would_change_it"]
