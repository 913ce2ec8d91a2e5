"""Levers: for each kind of broken limit the change named mends it in a run, and the next weaker one does not."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from lever_checks import deaths, dosed, find_change, finding_of, is_broken, keeps, margin_of, only, sought, told_help
from small_sites import START, build, one_tank

from stocksim import run_season
from stocksim.changes.change import ADVICE_OF, Action
from stocksim.changes.fish import _LEAST_RATION_SHARE, SHOP_POWERS_W, less_feed, shop_powers
from stocksim.changes.search import WhyNone, help_of, prove_change
from stocksim.changes.steps import PREFERENCES
from stocksim.changes.ways import advise, find_changes
from stocksim.engine.results.beds import BuildRule
from stocksim.engine.results.frames import Season
from stocksim.units import parse_quantity
from stocksim.water.oxygen import diffuser_standard_transfer


def crowded(count: int = 300) -> dict:
    """Plenty of air and bed, too many fish."""
    return dosed(count=count, mean_weight_g=200, power_w=400, bed_m2=40)


def test_too_many_fish_are_thinned_to_the_last_fish_that_fits():
    season, change = sought(crowded(), "density", kinds=("stock",))
    assert list(change.fields) == ["cohorts.fish.count"]
    kept = change.fields["cohorts.fish.count"]
    assert isinstance(kept, int)
    assert change.kind is Action.FEWER_FISH
    assert change.amounts == {"where": "tanks.one", "kept": (("fish", kept, 300),)}
    assert keeps(season, change.fields, "density")
    assert not keeps(season, {"cohorts.fish.count": kept + 1}, "density")


@pytest.mark.parametrize("count", [97, 240, 911, 5000])
def test_no_fish_is_given_up_for_the_grid(count):
    tables = crowded(count) | {"season": {"start": START, "end": START + dt.timedelta(days=9)}}
    season, change = sought(tables, "density", kinds=("stock",))
    kept = change.fields["cohorts.fish.count"]
    assert keeps(season, {"cohorts.fish.count": kept}, "density")
    assert not keeps(season, {"cohorts.fish.count": kept + 1}, "density")


def test_two_cohorts_of_a_tank_are_thinned_in_proportion_and_others_are_left_alone():
    tables = crowded()
    tables["cohorts"]["cats"] = tables["cohorts"]["fish"] | {
        "species": "channel_catfish",
        "feed": "catfish_32",
        "count": 37,
    }
    tables["tanks"]["two"] = dict(tables["tanks"]["one"])
    tables["cohorts"]["other"] = tables["cohorts"]["fish"] | {"tank": "two", "count": 20}
    season, change = sought(tables, "density", kinds=("stock",))
    fish, cats = change.fields["cohorts.fish.count"], change.fields["cohorts.cats.count"]
    assert set(change.fields) == {"cohorts.fish.count", "cohorts.cats.count"}
    assert change.amounts["kept"] == (("fish", fish, 300), ("cats", cats, 37))
    assert cats == int(37 * fish / 300)
    assert keeps(season, change.fields, "density")
    more = {"cohorts.fish.count": fish + 1, "cohorts.cats.count": int(37 * (fish + 1) / 300)}
    assert not keeps(season, more, "density")


@pytest.mark.parametrize("power_w", [0, 10, 18])
def test_too_little_oxygen_gets_the_next_size_of_air_pump_that_does(power_w):
    tables = dosed(count=90, mean_weight_g=150, power_w=power_w, bed_m2=40)
    season, change = sought(tables, "oxygen", kinds=("air",))
    supply = change.fields["tanks.one.oxygen_supply"]
    watts = parse_quantity(supply["power"], "power")
    assert change.kind is Action.MORE_AIR
    assert change.amounts == {"tank": "one", "power_w": watts, "now_w": pytest.approx(power_w)}
    assert watts > power_w
    assert watts in SHOP_POWERS_W
    assert keeps(season, change.fields, "oxygen")
    weaker = [size for size in SHOP_POWERS_W if power_w < size < watts]
    assert weaker
    for size in weaker:
        less = {"tanks.one.oxygen_supply": {"kind": "diffuser", "power": f"{size} W"}}
        assert not keeps(season, less, "oxygen"), size


@pytest.mark.parametrize(("most_w", "last"), [(300.0, 400.0), (400.0, 400.0), (900.0, 1200.0)])
def test_air_pumps_come_in_sizes_that_shops_sell_and_where_more_is_asked_for_in_several(most_w, last):
    sizes = shop_powers(most_w)
    assert sizes == sorted(sizes)
    assert sizes[-1] == last
    assert all(size in SHOP_POWERS_W or size % SHOP_POWERS_W[-1] == 0 for size in sizes)


def test_a_measured_supply_is_compared_by_its_transfer():
    tables = one_tank(days=75, count=120, mean_weight_g=150, bed_m2=40)
    tables["tanks"]["one"]["oxygen_supply"] = {"kind": "measured", "transfer": "300 g/day"}
    season, change = sought(tables, "oxygen", kinds=("air",))
    per_watt = float(diffuser_standard_transfer(1.0))
    assert change.kind is Action.MORE_AIR
    assert change.amounts["now_w"] == pytest.approx(300.0 / per_watt)
    assert change.amounts["power_w"] > change.amounts["now_w"]
    deaths = told_help(season, "oxygen").deaths
    assert deaths.is_told
    assert deaths.fish == pytest.approx(120.0)
    assert not is_broken(season, change.fields, "oxygen")


def test_where_nothing_helps_the_lever_says_so():
    tables = one_tank(count=40, temperature_c=29, bed_m2=40)
    tables["site"]["elevation"] = "3600 m"  # saturation is hardly above 5 mg/L, and bed and fish take their share
    season = run_season(build(tables))
    finding = finding_of(season, "oxygen")
    assert finding.is_broken
    assert find_change(season, finding) is None
    told = told_help(season, "oxygen")
    assert (told.change, told.why_none) == (None, WhyNone.NONE_MENDS)
    for changes in ({"cohorts.fish.count": 1}, {"tanks.one.oxygen_supply": {"kind": "diffuser", "power": "400 W"}}):
        assert is_broken(season, changes, "oxygen")


def growing(count: int = 60) -> dict:
    """Tilapia that fit their tank at first and outgrow it after twelve days."""
    return dosed(count=count, mean_weight_g=300, power_w=400, bed_m2=40, days=60)


@pytest.mark.parametrize(("mean_weight_g", "kind"), [(300, "harvest"), (100, "sell")])
def test_the_fewest_fish_are_taken_out_some_days_before_they_are_too_many(mean_weight_g, kind):
    tables = growing()
    if mean_weight_g < 300:  # of half of the market weight they are worth eating, before that they are sold
        tables["tanks"]["one"]["volume"] = "400 L"
        tables["cohorts"]["fish"]["mean_weight"] = f"{mean_weight_g} g"
    season, change = sought(tables, "density", kinds=("harvest",))
    assert list(change.fields) == ["events"]
    (event,) = change.fields["events"]
    first = finding_of(season, "density").first_date
    assert START < event["date"] < first
    assert (first - event["date"]).days >= 3
    assert (change.kind, change.start) == (Action.TAKEN_OUT, event["date"])
    assert (event["kind"], event["cohort"], event["which"]) == (kind, "fish", "largest")
    there = int(season.course.count[0, (event["date"] - START).days - 1, 0])
    assert change.amounts == {
        "tank": "one", "cohort": "fish", "fish": event["count"], "of": there, "is_harvest": kind == "harvest",
    }  # fmt: skip
    assert 0 < event["count"] < there
    assert not keeps(season, {"events": [event | {"count": event["count"] - 1}]}, "density")


def test_an_event_of_the_file_stays_beside_the_harvest():
    tables = growing()
    tables["events"] = [{"kind": "harvest", "date": START + dt.timedelta(days=5), "cohort": "fish", "count": 2}]
    season, change = sought(tables, "density", kinds=("harvest",))
    kept, added = change.fields["events"]
    assert kept == season.site.raw["events"][0]
    assert added["date"] > kept["date"]


def test_what_is_too_dense_from_the_first_day_is_no_matter_of_a_harvest():
    season = run_season(build(only(crowded(), "harvest")))
    assert find_change(season, finding_of(season, "density")) is None
    assert told_help(season, "density").why_none is WhyNone.NONE_MENDS


def test_the_lightest_fish_are_moved_to_another_tank_before_they_are_too_many():
    tables = growing(40)
    tables["tanks"]["two"] = dict(tables["tanks"]["one"])
    tables["cohorts"]["few"] = tables["cohorts"]["fish"] | {"count": 20, "mean_weight": "280 g"}
    season, change = sought(tables, "density", kinds=("move",))
    assert change.kind is Action.MOVED
    assert change.amounts == {"cohort": "few", "tank": "one", "into": "two"}
    (event,) = change.fields["events"]
    assert event == {"kind": "move", "date": change.start, "cohort": "few", "tank": "two"}
    assert START < event["date"] < finding_of(season, "density").first_date
    assert not is_broken(season, change.fields, "density", "tanks.two")
    # no tank, no move
    alone = run_season(build(only(growing(), "move")))
    assert find_change(alone, finding_of(alone, "density")) is None


def test_those_that_would_be_eaten_are_stocked_in_another_tank():
    tables = dosed(
        species="largemouth_bass", feed="bass_46", temperature_c=25.0, count=8, mean_weight_g=300, power_w=200,
        bed_m2=40,
    )  # fmt: skip
    tables["cohorts"]["prey"] = tables["cohorts"]["fish"] | {
        "species": "bluegill", "feed": "sunfish_44", "count": 30, "mean_weight": "40 g",
    }  # fmt: skip
    tables["tanks"]["two"] = dict(tables["tanks"]["one"])
    season, change = sought(tables, "predation", kinds=("move",))
    assert (change.kind, change.start, change.fields) == (Action.MOVED, None, {"cohorts.prey.tank": "two"})
    assert deaths(season) > 5.0
    assert deaths(run_season(season.site, **change.fields)) < 1.0


def test_a_tank_that_hardly_turns_over_is_sent_the_smallest_flow_that_does():
    tables = dosed(count=300, mean_weight_g=100, power_w=400, bed_m2=80, flow_l_h=10, volume_l=3000, ph=7.4)
    season, change = sought(tables, "unionized_ammonia", kinds=("flow",))
    field = "tanks.one.flow"
    assert list(change.fields) == [field]
    assert change.kind is Action.MORE_FLOW
    flow = parse_quantity(change.fields[field], "flow")
    assert change.amounts == {"tank": "one", "flow_m3_day": pytest.approx(flow), "now_m3_day": pytest.approx(0.24)}
    assert 0.24 < flow <= 48.0 * 3.0
    assert not keeps(season, {field: f"{flow / 1.2} m3/day"}, "unionized_ammonia")
    # dead of the water at 10 L/h, none at 1,500 L/h: then only those of every day
    assert deaths(season) > 5.0
    assert deaths(run_season(season.site, **{field: "1500 L/h"})) < 1.0
    assert deaths(run_season(season.site, **change.fields)) < 1.0
    # and with nothing forbidden this is what is told
    (first, *_) = advise(run_season(build(tables))).ways
    assert [step.change.kind for step in first.steps] == [Action.MORE_FLOW]
    assert first.holds


def test_what_the_keeper_never_wants_is_in_no_way():
    tables = growing()
    tables["cohorts"]["fish"]["mean_weight"] = "260 g"  # with the reserve of a tenth there is time for a harvest
    free = advise(run_season(build(tables)))
    assert free.ways
    forbidden: list[str] = []
    for _ in range(3):
        ways = advise(run_season(build(tables | {"advice": {"never": forbidden}}))).ways
        told = [ADVICE_OF[step.change.kind] for way in ways for step in way.steps]
        assert not set(told) & set(forbidden)
        if not told:
            break
        forbidden.append(told[0])
    assert forbidden[0] == "harvest"
    nothing = run_season(build(only(tables)))
    advice = advise(nothing)
    assert advice.ways == ()
    assert find_change(nothing, finding_of(nothing, "density")) is None
    assert told_help(nothing, "density").change is None


@pytest.mark.parametrize("reserve", [0.005, 0.1, 0.3])
def test_a_change_leaves_the_reserve_that_the_keeper_wants(reserve):
    season = run_season(build(only(crowded(), "stock", reserve=reserve)))
    change = find_change(season, finding_of(season, "density"))
    assert change is not None
    kept = change.fields["cohorts.fish.count"]
    assert margin_of(season, change.fields, "density") >= 100.0 * reserve - 1e-6
    assert margin_of(season, {"cohorts.fish.count": kept + 1}, "density") < 100.0 * reserve
    if reserve == 0.1:  # that is what is taken where the file says nothing
        usual = run_season(build(crowded() | {"advice": {"never": only({}, "stock")["advice"]["never"]}}))
        assert find_change(usual, finding_of(usual, "density")) == change


AMMONIA = {"count": 100, "mean_weight_g": 100, "power_w": 200, "bed_m2": 6}


def test_too_much_ammonia_is_met_with_less_feed_where_more_surface_would_not_do():
    season, change = sought(dosed(**AMMONIA, ph=8.2), "unionized_ammonia", kinds=("biofilter", "feed"))
    ration = change.fields["cohorts.fish.ration"]
    assert ration["kind"] == "appetite"
    assert change.kind is Action.LESS_FEED
    assert change.cuts_feed
    assert change.amounts == {"rations": (("fish", ration["fraction"], 0.85),)}
    assert keeps(season, change.fields, "unionized_ammonia")
    weaker = {"cohorts.fish.ration": ration | {"fraction": ration["fraction"] + 0.85 / 40}}
    assert not keeps(season, weaker, "unionized_ammonia")


def test_fish_are_never_fed_less_than_three_tenths_of_their_ration():
    # 150 fish need two fifths of their ration or less; 200 would need a fifth
    for count, is_found in ((150, True), (200, False)):
        season = run_season(build(only(dosed(**AMMONIA | {"count": count}, ph=8.2), "feed")))
        changes = list(less_feed(season, finding_of(season, "unionized_ammonia"), ["one"]))
        assert bool(changes) is is_found
        for change in changes:
            assert change.fields["cohorts.fish.ration"]["fraction"] >= 0.3 * 0.85 - 1e-3


def test_less_feed_is_asked_of_every_tank_of_the_loop_and_keeps_the_rest_of_the_ration():
    tables = dosed(**AMMONIA, ph=8.2)
    tables["tanks"]["two"] = dict(tables["tanks"]["one"])
    tables["cohorts"]["cats"] = tables["cohorts"]["fish"] | {
        "tank": "two", "count": 10, "ration": {"kind": "appetite", "fraction": 0.6, "spilled_share": 0.1},
    }  # fmt: skip
    tables["cohorts"]["unfed"] = tables["cohorts"]["fish"] | {"tank": "two", "count": 1, "ration": {"kind": "unfed"}}
    season, change = sought(tables, "unionized_ammonia", kinds=("feed",))
    assert set(change.fields) == {"cohorts.fish.ration", "cohorts.cats.ration"}
    assert change.fields["cohorts.cats.ration"]["spilled_share"] == 0.1
    share = change.fields["cohorts.fish.ration"]["fraction"] / 0.85
    assert change.fields["cohorts.cats.ration"]["fraction"] == pytest.approx(0.6 * share, abs=0.001)
    assert [(key, now) for key, _, now in change.amounts["rations"]] == [("fish", 0.85), ("cats", 0.6)]
    assert keeps(season, change.fields, "unionized_ammonia")


def test_fish_are_not_starved_for_the_water_but_thinned():
    tables = dosed(**AMMONIA | {"count": 150}, ph=8.8)
    season, change = sought(tables, "unionized_ammonia", kinds=("feed", "stock"))
    starved = {"cohorts.fish.ration": {"kind": "appetite", "fraction": _LEAST_RATION_SHARE * 0.85}}
    assert is_broken(season, starved, "unionized_ammonia")
    kept = change.fields["cohorts.fish.count"]
    assert change.kind is Action.FEWER_FISH
    assert change.amounts == {"where": "loops.main", "kept": (("fish", kept, 150),)}
    assert keeps(season, change.fields, "unionized_ammonia")
    assert not keeps(season, {"cohorts.fish.count": kept + 1}, "unionized_ammonia")


@pytest.mark.parametrize("units", ["metric", "us"])
def test_cold_water_is_heated_to_the_limit(units):
    tables = one_tank(temperature_c=11)
    tables["site"]["units"] = units
    season, change = sought(tables, "temperature_low", "cohorts.fish")
    field = "loops.main.water_temperature.at_least"
    limit = finding_of(season, "temperature_low", "cohorts.fish").threshold
    assert list(change.fields) == [field]
    shown = "13 degC" if units == "metric" else "56 degF"  # 13 degC is 55.4 degF
    assert change.kind is Action.SET_POINT
    assert change.amounts == {
        "loop": "main", "cohort": "fish", "temperature_c": parse_quantity(shown, "temperature"), "is_floor": True,
    }  # fmt: skip
    assert limit <= parse_quantity(change.fields[field], "temperature") < limit + 1
    assert not is_broken(season, change.fields, "temperature_low", "cohorts.fish")
    assert is_broken(season, {field: f"{limit - 0.1} degC"}, "temperature_low", "cohorts.fish")


@pytest.mark.parametrize("units", ["metric", "us"])
def test_warm_water_is_cooled_to_the_limit(units):
    tables = one_tank("yellow_perch", "perch_45", 27.3)
    tables["site"]["units"] = units
    season, change = sought(tables, "temperature_high", "cohorts.fish")
    field = "loops.main.water_temperature.at_most"
    limit = finding_of(season, "temperature_high", "cohorts.fish").threshold
    shown = "26 degC" if units == "metric" else "78 degF"  # 26 degC is 78.8 degF
    assert change.kind is Action.SET_POINT
    assert change.amounts == {
        "loop": "main", "cohort": "fish", "temperature_c": parse_quantity(shown, "temperature"), "is_floor": False,
    }  # fmt: skip
    assert limit - 1 < parse_quantity(change.fields[field], "temperature") <= limit
    assert not is_broken(season, change.fields, "temperature_high", "cohorts.fish")
    assert is_broken(season, {field: f"{limit + 0.1} degC"}, "temperature_high", "cohorts.fish")


def test_a_change_that_cannot_be_written_is_passed_over_without_a_crash():
    tables = one_tank(temperature_c=11)
    tables["loops"]["main"]["water_temperature"]["at_most"] = "12 degC"
    season = run_season(build(tables))
    assert find_change(season, finding_of(season, "temperature_low", "cohorts.fish")) is None
    assert told_help(season, "temperature_low", "cohorts.fish").why_none is WhyNone.OTHER_LOOP


def test_a_lever_that_breaks_another_limit_says_so_and_a_way_mends_that_as_well():
    # starved of oxygen the fish eat little; given air they eat, and the small bed cannot keep up
    tables = dosed(count=120, power_w=3, bed_m2=8, ph=8.2)
    season, change = sought(tables, "oxygen", kinds=("air",))
    assert not finding_of(season, "unionized_ammonia").is_broken
    ammonia = ("unionized_ammonia", "tanks.one")
    assert ammonia in prove_change(season, finding_of(season, "oxygen")).breaks
    assert not is_broken(season, change.fields, "oxygen")
    assert is_broken(season, change.fields, "unionized_ammonia")
    (way,) = advise(season).ways  # nothing but air is allowed, and it says what that leaves
    assert ammonia in [(f.limit, f.where) for f in way.left]
    free = run_season(build(tables))
    (first, *_) = advise(free).ways
    assert not first.left
    for limit in ("oxygen", "unionized_ammonia"):
        assert not is_broken(free, first.fields, limit)
    assert keeps(free, first.fields, "oxygen")


PLANTED_DAYS = 20


def planted(area_m2: float) -> dict:
    tables = one_tank()
    last = START + dt.timedelta(days=PLANTED_DAYS - 1)
    tables["beds"]["gravel"]["plantings"] = [
        {"crop": "basil", "from": START, "to": last, "area": f"{0.4 * area_m2} m2"},
        {"crop": "kale", "from": START, "to": last, "area": f"{0.6 * area_m2} m2"},
    ]
    return tables


def mean_ratio(season: Season) -> float:
    loops = season.loops.iloc[:PLANTED_DAYS]
    return float(loops["feed_g"].mean() / loops["planted_area_m2"].mean())


@pytest.mark.parametrize("area_m2", [9.0, 0.6])
def test_planted_area_is_brought_to_what_the_feed_carries(area_m2):
    season = run_season(build(planted(area_m2)))
    (finding,) = [f for f in season.findings if f.limit == "planting_ratio"]
    assert not finding.is_broken
    assert finding.days_broken == PLANTED_DAYS
    change = find_change(season, finding)
    assert change is not None
    low, high = season.layout.ratio_low[0, 0], season.layout.ratio_high[0, 0]
    carried = area_m2 * mean_ratio(season) / (0.5 * (low + high))
    assert change.kind is Action.PLANTED_AREA
    assert change.amounts == {
        "loop": "main", "carried_m2": pytest.approx(carried), "planted_m2": pytest.approx(area_m2), "is_whole": True,
        "rule": BuildRule.HANDBOOK, "is_salted": False, "is_built": False,
    }  # fmt: skip
    assert not low <= mean_ratio(season) <= high
    after = run_season(season.site, **change.fields)
    assert low <= mean_ratio(after) <= high
    areas = [planting.area for planting in after.site.file.beds["gravel"].plantings]
    assert areas == pytest.approx([0.4 * carried, 0.6 * carried], abs=1e-3)


def test_limits_that_hold_get_no_lever_and_the_order_stays():
    season = run_season(build(one_tank()))
    found = find_changes(season)
    assert [(f.limit, f.where) for f in found] == [(f.limit, f.where) for f in season.findings]
    assert not any(f.is_broken for f in found)
    assert [help_of(f) for f in found] == [None] * len(found)


def test_levers_do_not_change_the_season():
    season = run_season(build(crowded()))
    before = season.course.weight_g.copy(), season.layout.count.copy(), dict(season.site.raw["cohorts"]["fish"])
    find_changes(season)
    np.testing.assert_array_equal(season.course.weight_g, before[0])
    np.testing.assert_array_equal(season.layout.count, before[1])
    assert season.site.raw["cohorts"]["fish"] == before[2]


def test_progress_is_told_for_every_way_sought():
    told = []
    season = run_season(build(dosed(count=120, power_w=3, bed_m2=3, ph=8.2)))
    find_changes(season, lambda done, total: told.append((done, total)))
    assert told == [(n, len(PREFERENCES)) for n in range(1, len(PREFERENCES) + 1)]
    told.clear()
    find_changes(run_season(build(one_tank())), lambda done, total: told.append((done, total)))
    assert told == []  # nothing is broken
