"""Levers that cost little: meals at other hours, grading, settlers emptied more often, vents and shade."""

from __future__ import annotations

import datetime as dt
import sys
import tomllib
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent / "advice"))

from small_sites import build, one_tank
from troubled import HEALTHY, changed

from stocksim import run_season
from stocksim.changes.change import ADVICE_OF, Action, mends_when_run
from stocksim.changes.fish import FEEDING_HOURS, other_hours
from stocksim.changes.house import earlier_vents, shaded
from stocksim.changes.places import graded
from stocksim.changes.search import sources
from stocksim.changes.water import emptied_more_often
from stocksim.site.examples import FOLDER


def one_meal(watts):
    """Tilapia whose feed comes in one evening meal, with an air pump that just does without it."""
    supply = {"kind": "diffuser", "power": f"{watts} W"}
    return changed(HEALTHY["tilapia"], {"tanks.one.oxygen_supply": supply, "loops.main.feeding_hours": ["17:00"]})


def summer(**house):
    """Perch in the demonstration's greenhouse over a summer."""
    tables = tomllib.loads((FOLDER / "heron_lane_computed.toml").read_text())
    first, last = dt.date(2027, 5, 1), dt.date(2027, 8, 31)
    for table in ("fish_room", "stocking", "pumps", "backups", "settlers", "events"):
        tables.pop(table, None)
    tables["season"] = {"start": first, "end": last}
    tables["loops"] = {"main": tables["loops"]["main"]}
    tables["tanks"] = {key: tank for key, tank in tables["tanks"].items() if tank["loop"] == "main"}
    raft = tables["beds"]["north_raft"]
    basil = {"crop": "basil", "from": first, "to": last, "area": "3 m2"}
    tables["beds"] = {"north_raft": raft | {"plantings": [basil]}}
    fish = {"species": "yellow_perch", "tank": "cedar", "count": 40, "mean_weight": "35 g", "feed": "perch_45"}
    tables["cohorts"] = {"perch": fish}
    tables["greenhouse"] = tables["greenhouse"] | house
    return tables


def broken(season, limit, where=""):
    return next(f for f in season.findings if f.limit == limit and f.is_broken and where in f.where)


def test_the_same_feed_in_more_meals_keeps_oxygen_that_one_meal_breaks():
    season = run_season(build(one_meal(22)))
    found = broken(season, "oxygen")
    tried = list(other_hours(season, "main"))
    assert [change.amounts["hours"] for change in tried] == list(FEEDING_HOURS)
    mended = [change for change in tried if mends_when_run(season, found, change)]
    assert mended
    after = run_season(season.site, **mended[0].fields)
    assert not any(f.limit == "oxygen" and f.is_broken for f in after.findings)
    assert after.course.fed_g.sum() == pytest.approx(season.course.fed_g.sum(), rel=0.02)
    assert "hours" in {kind for kind, _ in sources(season, found)}


def test_meals_that_cohorts_have_of_their_own_give_way():
    tables = one_meal(22)
    ration = tables["cohorts"]["fish_one"].get("ration", {"kind": "appetite", "fraction": 0.8})
    tables["cohorts"]["fish_one"]["ration"] = ration | {"feeding_hours": ["17:00"]}
    change = next(other_hours(run_season(build(tables)), "main"))
    assert "feeding_hours" not in change.fields["cohorts.fish_one.ration"]
    assert change.fields["cohorts.fish_one.ration"]["kind"] == ration["kind"]


def test_fish_that_eat_their_own_are_graded_into_a_free_tank():
    tables = one_tank("walleye", "trout_44", days=60, count=60, mean_weight_g=20.0, power_w=100.0)
    tables["cohorts"]["fish"]["size_spread"] = 0.5
    tables["tanks"]["two"] = dict(tables["tanks"]["one"])
    season = run_season(build(tables))
    found = broken(season, "predation")
    change = next(change for change in graded(season, found, "one") if mends_when_run(season, found, change))
    (event,) = change.fields["events"]
    assert (event["kind"], event["tank"]) == ("grade", "two")
    after = run_season(season.site, **change.fields)
    assert not any(f.limit == "predation" and f.is_broken for f in after.findings)
    assert ADVICE_OF[change.kind] == "move"


def test_settlers_emptied_more_often_take_nitrite_away():
    tables = changed(
        HEALTHY["tilapia"],
        {"cohorts.fish_one.count": 120, "tanks.one.oxygen_supply": {"kind": "diffuser", "power": "150 W"}},
    )
    (bed,) = tables["beds"]
    tables["beds"][bed]["area"] = "1.2 m2"
    cone = {"loop": "main", "kind": "swirl", "capture": 0.8, "emptied_every_days": 30, "drawn_off": "20 L/day"}
    tables["settlers"] = {"cone": cone}
    season = run_season(build(tables))
    found = broken(season, "nitrite", "tanks.one")
    tried = list(emptied_more_often(season, "main"))
    assert [change.amounts["days"] for change in tried] == [15, 7, 3, 1]
    assert any(mends_when_run(season, found, change) for change in tried)


def test_shade_cools_a_house_that_the_sun_makes_too_warm():
    season = run_season(build(summer()))
    found = broken(season, "temperature_high")
    tried = list(shaded(season, found))
    shares = [change.amounts["share"] for change in tried]
    assert shares == sorted(shares)
    warmest = [run_season(season.site, **change.fields).layout.temperature_c.max() for change in tried]
    assert [season.layout.temperature_c.max(), *warmest] == sorted([season.layout.temperature_c.max(), *warmest])[::-1]
    # crops under it grow less
    grown = [run_season(season.site, **change.fields).beds["yield_kg"].sum() for change in tried[:1]]
    assert grown[0] < season.beds["yield_kg"].sum()


def test_vents_open_earlier_or_are_built():
    for house in ({"vents": {"opens_at": "40 degC"}}, {"vents": None}):
        tables = summer(**{key: value for key, value in house.items() if value})
        if house["vents"] is None:
            del tables["greenhouse"]["vents"]
        season = run_season(build(tables))
        found = broken(season, "temperature_high")
        tried = list(earlier_vents(season, found))
        assert {change.kind for change in tried} == {Action.VENTS}
        coolest = min(run_season(season.site, **change.fields).layout.temperature_c.max() for change in tried)
        assert coolest < season.layout.temperature_c.max() - 1.0


def test_a_house_is_not_shaded_for_typed_water_or_cold():
    season = run_season(build(one_tank("yellow_perch", "perch_45", 29.0, days=20)))
    found = broken(season, "temperature_high")
    assert list(shaded(season, found)) == list(earlier_vents(season, found)) == []
