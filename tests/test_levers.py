"""Levers: for each kind of broken limit the change named mends it in a run, and the next weaker one does not."""

from __future__ import annotations

import datetime as dt
import re

import numpy as np
import pytest
from lever_checks import dosed, find_lever, finding_of, is_broken, sought
from small_sites import START, build, one_tank

from stocksim import run_season
from stocksim.changes.fish import _DIFFUSER_STEP_W, _LEAST_RATION_SHARE, less_feed
from stocksim.changes.search import find_levers
from stocksim.engine.results.frames import Season
from stocksim.units import parse_quantity


def crowded(count: int = 300) -> dict:
    """Plenty of air and bed, too many fish."""
    return dosed(count=count, mean_weight_g=200, power_w=400, bed_m2=40)


def test_too_many_fish_are_thinned_to_the_last_fish_that_fits():
    season, lever = sought(crowded(), "density")
    assert list(lever.changes) == ["cohorts.fish.count"]
    kept = lever.changes["cohorts.fish.count"]
    assert isinstance(kept, int)
    assert lever.words == f"keep {kept} of the 300 fish in one"
    assert not is_broken(season, lever.changes, "density")
    assert is_broken(season, {"cohorts.fish.count": kept + 1}, "density")


@pytest.mark.parametrize("count", [97, 240, 911, 5000])
def test_no_fish_is_given_up_for_the_grid(count):
    season, lever = sought(
        crowded(count) | {"season": {"start": START, "end": START + dt.timedelta(days=9)}}, "density"
    )
    kept = lever.changes["cohorts.fish.count"]
    assert not is_broken(season, {"cohorts.fish.count": kept}, "density")
    assert is_broken(season, {"cohorts.fish.count": kept + 1}, "density")


def test_two_cohorts_of_a_tank_are_thinned_in_proportion_and_others_are_left_alone():
    tables = crowded()
    tables["cohorts"]["cats"] = tables["cohorts"]["fish"] | {
        "species": "channel_catfish",
        "feed": "catfish_32",
        "count": 37,
    }
    tables["tanks"]["two"] = dict(tables["tanks"]["one"])
    tables["cohorts"]["other"] = tables["cohorts"]["fish"] | {"tank": "two", "count": 20}
    season, lever = sought(tables, "density")
    fish, cats = lever.changes["cohorts.fish.count"], lever.changes["cohorts.cats.count"]
    assert set(lever.changes) == {"cohorts.fish.count", "cohorts.cats.count"}
    assert lever.words == f"keep {fish} of the 300 fish and {cats} of the 37 cats in one"
    assert cats == int(37 * fish / 300)
    assert not is_broken(season, lever.changes, "density")
    more = {"cohorts.fish.count": fish + 1, "cohorts.cats.count": int(37 * (fish + 1) / 300)}
    assert is_broken(season, more, "density")


@pytest.mark.parametrize("power_w", [0, 10, 24])
def test_too_little_oxygen_gets_the_next_size_of_air_pump_that_does(power_w):
    season, lever = sought(dosed(count=90, mean_weight_g=150, power_w=power_w, bed_m2=40), "oxygen")
    supply = lever.changes["tanks.one.oxygen_supply"]
    watts = parse_quantity(supply["power"], "power")
    old = f" instead of {power_w} W" if power_w else ""
    assert lever.words == f"give one air stones fed by {watts:.0f} W{old}"
    assert watts > power_w
    assert watts % _DIFFUSER_STEP_W == 0
    assert not is_broken(season, lever.changes, "oxygen")
    weaker = {"tanks.one.oxygen_supply": {"kind": "diffuser", "power": f"{max(watts - _DIFFUSER_STEP_W, 0.01)} W"}}
    assert is_broken(season, weaker, "oxygen")


def test_a_measured_supply_is_compared_by_its_transfer():
    tables = one_tank(count=90, mean_weight_g=150, bed_m2=40)
    tables["tanks"]["one"]["oxygen_supply"] = {"kind": "measured", "transfer": "300 g/day"}
    season, lever = sought(tables, "oxygen")
    assert re.fullmatch(
        r"give one air stones fed by \d+ W instead of \d+ W \(with it, \d+ of 90 fish still die .*\)", lever.words
    )
    assert not is_broken(season, lever.changes, "oxygen")


def test_where_nothing_helps_the_lever_says_so():
    tables = one_tank(count=40, temperature_c=29, bed_m2=40)
    tables["site"]["elevation"] = "3600 m"  # saturation is hardly above 5 mg/L, and bed and fish take their share
    season = run_season(build(tables))
    finding = finding_of(season, "oxygen")
    assert finding.is_broken
    assert find_lever(season, finding) is None
    (told,) = [f.lever for f in find_levers(season) if f.limit == "oxygen"]
    assert told.startswith(
        "no single change that we tried mends this without costing fish their lives, not even fewer fish here"
    )
    for changes in ({"cohorts.fish.count": 1}, {"tanks.one.oxygen_supply": {"kind": "diffuser", "power": "400 W"}}):
        assert is_broken(season, changes, "oxygen")


AMMONIA = {"count": 100, "mean_weight_g": 100, "power_w": 200, "bed_m2": 6}


def test_too_much_ammonia_is_met_with_less_feed_where_more_surface_would_not_do():
    season, lever = sought(dosed(**AMMONIA, ph=8.2), "unionized_ammonia")
    ration = lever.changes["cohorts.fish.ration"]
    assert ration["kind"] == "appetite"
    assert lever.words == f"feed fish {100 * ration['fraction']:.0f} % of appetite instead of 85 %"
    assert not is_broken(season, lever.changes, "unionized_ammonia")
    weaker = {"cohorts.fish.ration": ration | {"fraction": ration["fraction"] + 0.85 / 40}}
    assert is_broken(season, weaker, "unionized_ammonia")


def test_fish_are_never_fed_less_than_three_tenths_of_their_ration():
    # 150 fish need two fifths of their ration or less; 200 would need a fifth
    for count, is_found in ((150, True), (200, False)):
        season = run_season(build(dosed(**AMMONIA | {"count": count}, ph=8.2)))
        levers = list(less_feed(season, finding_of(season, "unionized_ammonia"), ["one"]))
        assert bool(levers) is is_found
        for lever in levers:
            assert lever.changes["cohorts.fish.ration"]["fraction"] >= 0.3 * 0.85 - 1e-3


def test_less_feed_is_asked_of_every_tank_of_the_loop_and_keeps_the_rest_of_the_ration():
    tables = dosed(**AMMONIA, ph=8.2)
    tables["tanks"]["two"] = dict(tables["tanks"]["one"])
    tables["cohorts"]["cats"] = tables["cohorts"]["fish"] | {
        "tank": "two", "count": 10, "ration": {"kind": "appetite", "fraction": 0.6, "spilled_share": 0.1},
    }  # fmt: skip
    tables["cohorts"]["unfed"] = tables["cohorts"]["fish"] | {"tank": "two", "count": 1, "ration": {"kind": "unfed"}}
    season, lever = sought(tables, "unionized_ammonia")
    assert set(lever.changes) == {"cohorts.fish.ration", "cohorts.cats.ration"}
    assert lever.changes["cohorts.cats.ration"]["spilled_share"] == 0.1
    share = lever.changes["cohorts.fish.ration"]["fraction"] / 0.85
    assert lever.changes["cohorts.cats.ration"]["fraction"] == pytest.approx(0.6 * share, abs=0.001)
    assert "cats" in lever.words
    assert "instead of 60 %" in lever.words
    assert not is_broken(season, lever.changes, "unionized_ammonia")


def test_fish_are_not_starved_for_the_water_but_thinned():
    season, lever = sought(dosed(**AMMONIA | {"count": 150}, ph=8.8), "unionized_ammonia")
    starved = {"cohorts.fish.ration": {"kind": "appetite", "fraction": _LEAST_RATION_SHARE * 0.85}}
    assert is_broken(season, starved, "unionized_ammonia")
    kept = lever.changes["cohorts.fish.count"]
    assert lever.words == f"keep {kept} of the 150 fish in loop main"
    assert not is_broken(season, lever.changes, "unionized_ammonia")
    assert is_broken(season, {"cohorts.fish.count": kept + 1}, "unionized_ammonia")


@pytest.mark.parametrize("units", ["metric", "us"])
def test_cold_water_is_heated_to_the_limit(units):
    tables = one_tank(temperature_c=11)
    tables["site"]["units"] = units
    season, lever = sought(tables, "temperature_low", "cohorts.fish")
    field = "loops.main.water_temperature.at_least"
    limit = finding_of(season, "temperature_low", "cohorts.fish").threshold
    assert list(lever.changes) == [field]
    shown = "13 degC" if units == "metric" else "56 degF"  # 13 degC is 55.4 degF
    assert lever.words == f"heat the water of loop main to at least {shown}, or keep fish in another loop"
    assert limit <= parse_quantity(lever.changes[field], "temperature") < limit + 1
    assert not is_broken(season, lever.changes, "temperature_low", "cohorts.fish")
    assert is_broken(season, {field: f"{limit - 0.1} degC"}, "temperature_low", "cohorts.fish")


@pytest.mark.parametrize("units", ["metric", "us"])
def test_warm_water_is_cooled_to_the_limit(units):
    tables = one_tank("yellow_perch", "perch_45", 27.3)
    tables["site"]["units"] = units
    season, lever = sought(tables, "temperature_high", "cohorts.fish")
    field = "loops.main.water_temperature.at_most"
    limit = finding_of(season, "temperature_high", "cohorts.fish").threshold
    shown = "26 degC" if units == "metric" else "78 degF"  # 26 degC is 78.8 degF
    assert lever.words == f"cool the water of loop main to at most {shown}, or keep fish in another loop"
    assert limit - 1 < parse_quantity(lever.changes[field], "temperature") <= limit
    assert not is_broken(season, lever.changes, "temperature_high", "cohorts.fish")
    assert is_broken(season, {field: f"{limit + 0.1} degC"}, "temperature_high", "cohorts.fish")


def test_a_lever_that_cannot_be_written_is_passed_over_without_a_crash():
    tables = one_tank(temperature_c=11)
    tables["loops"]["main"]["water_temperature"]["at_most"] = "12 degC"
    season = run_season(build(tables))
    assert find_lever(season, finding_of(season, "temperature_low", "cohorts.fish")) is None
    (told,) = [f.lever for f in find_levers(season) if f.limit == "temperature_low"]
    assert told == "no single change that we tried mends this; keep fish in another loop"


def test_a_lever_that_breaks_another_limit_says_so():
    # starved of oxygen the fish eat little; given air they eat, and the small bed cannot keep up
    season, lever = sought(dosed(count=120, power_w=3, bed_m2=8, ph=8.2), "oxygen")
    assert not finding_of(season, "unionized_ammonia").is_broken
    assert lever.words.endswith("(but that breaks un-ionized ammonia of one)")
    after = run_season(season.site, **lever.changes)
    assert not finding_of(after, "oxygen").is_broken
    assert finding_of(after, "unionized_ammonia").is_broken


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


@pytest.mark.parametrize(("area_m2", "side"), [(9.0, "less than"), (0.6, "more than")])
def test_planted_area_is_brought_to_what_the_feed_carries(area_m2, side):
    season = run_season(build(planted(area_m2)))
    (finding,) = [f for f in season.findings if f.limit == "planting_ratio"]
    assert not finding.is_broken
    assert finding.days_broken == PLANTED_DAYS
    lever = find_lever(season, finding)
    assert lever is not None
    low, high = season.layout.ratio_low[0, 0], season.layout.ratio_high[0, 0]
    carried = area_m2 * mean_ratio(season) / (0.5 * (low + high))
    assert lever.words == (
        f"the season's feed carries about {carried:.1f} m2 by the handbooks, {side} the {area_m2:.1f} m2 planted"
    )
    assert not low <= mean_ratio(season) <= high
    after = run_season(season.site, **lever.changes)
    assert low <= mean_ratio(after) <= high
    areas = [planting.area for planting in after.site.file.beds["gravel"].plantings]
    assert areas == pytest.approx([0.4 * carried, 0.6 * carried], abs=1e-3)


def test_limits_that_hold_get_no_lever_and_the_order_stays():
    season = run_season(build(one_tank()))
    found = find_levers(season)
    assert [(f.limit, f.where) for f in found] == [(f.limit, f.where) for f in season.findings]
    assert not any(f.is_broken for f in found)
    assert [f.lever for f in found] == [""] * len(found)


def test_levers_do_not_change_the_season():
    season = run_season(build(crowded()))
    before = season.course.weight_g.copy(), season.layout.count.copy(), dict(season.site.raw["cohorts"]["fish"])
    find_levers(season)
    np.testing.assert_array_equal(season.course.weight_g, before[0])
    np.testing.assert_array_equal(season.layout.count, before[1])
    assert season.site.raw["cohorts"]["fish"] == before[2]


def test_progress_is_told_for_every_limit_sought():
    told = []
    season = run_season(build(dosed(count=120, power_w=3, bed_m2=3, ph=8.2)))
    find_levers(season, lambda done, total: told.append((done, total)))
    broken = sum(f.is_broken for f in season.findings)
    assert broken >= 2
    assert told == [(n, broken) for n in range(1, broken + 1)]
