"""Advice is judged by doing it: promises kept, nothing cheaper or less that would do, nothing missed."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from score import all_sites, deaths, faults, is_kept
from small_sites import build, one_tank
from troubled import HEALTHY, broken_sites, changed, other_sites

from stocksim import run_season
from stocksim.changes.change import ADVICE_OF, Action
from stocksim.changes.effort import EFFORT
from stocksim.changes.ways import advise
from stocksim.site.kinds import ADVICE_KINDS

# The whole list takes minutes: `python tests/advice/score.py` runs it. Here are every second of the first healthy site
# and of the hand-made ones, and every ninth of the others.
CHOSEN = [site for site in broken_sites() if site.name.startswith("tilapia")][::2] + list(other_sites())[::2]
CHOSEN += [site for site in broken_sites() if not site.name.startswith("tilapia")][::9]
CHOSEN = [site for site in CHOSEN if any(f.is_broken for f in run_season(build(site.tables)).findings)]


def test_there_are_enough_troubled_sites():
    sites = all_sites()
    assert len(sites) >= 60
    assert sum(site.undo is not None for site in sites) >= 40
    assert len(CHOSEN) >= 20


@pytest.mark.parametrize("site", CHOSEN, ids=lambda site: site.name)
def test_advice_stands_when_it_is_done(site):
    found, _, _ = faults(site)
    assert found == []


@pytest.mark.parametrize("name", HEALTHY)
def test_a_healthy_site_is_told_to_change_nothing(name):
    advice = advise(run_season(build(HEALTHY[name])))
    assert advice.ways == ()
    assert advice.seasons == 0


def test_every_kind_of_change_has_a_kind_of_advice_and_an_effort():
    assert set(ADVICE_OF) == set(Action)
    assert set(ADVICE_OF.values()) <= set(ADVICE_KINDS) == set(EFFORT)


def test_what_the_keeper_forbids_is_not_advised():
    tables = changed(HEALTHY["tilapia"], {"tanks.one.oxygen_supply": {"kind": "diffuser", "power": "6 W"}})
    usual = advise(run_season(build(tables)))
    assert usual.ways[0].steps[0].change.kind is Action.MORE_AIR
    never = advise(run_season(build(tables | {"advice": {"never": ["air", "flow"]}})))
    assert never.ways
    kinds = {ADVICE_OF[step.change.kind] for way in never.ways for step in way.steps}
    assert kinds.isdisjoint({"air", "flow"})


def test_a_larger_reserve_asks_for_more():
    tables = changed(HEALTHY["tilapia"], {"tanks.one.oxygen_supply": {"kind": "diffuser", "power": "6 W"}})
    watts = []
    for reserve in (0.01, 0.1, 0.3):
        wished = {"reserve": reserve, "never": ["harvest", "move", "stock", "feed", "flow"]}
        way = advise(run_season(build(tables | {"advice": wished}))).ways[0]
        watts.append(way.steps[0].change.amounts["power_w"])
    assert watts == sorted(watts)
    assert watts[0] < watts[-1]


def test_a_pump_is_advised_with_the_range_that_works():
    """More air than that breaks ammonia, for it drives out carbon dioxide: the range ends there, in shop sizes."""
    tables = changed(
        HEALTHY["trout"],
        {
            "tanks.one.oxygen_supply": {"kind": "none"},
            "cohorts.fish_one.count": 90,
            "loops.main.alkalinity_target": "150 mg/L",
        },
    )
    season = run_season(build(tables))
    advice = advise(season)
    (way,) = [way for way in advice.ways if any(step.change.kind is Action.MORE_AIR for step in way.steps)][:1]
    (step,) = [step for step in way.steps if step.change.kind is Action.MORE_AIR]
    low, high = step.working
    assert low == step.change.amounts["power_w"] <= high
    field = "tanks.one.oxygen_supply"
    for watts in (low, high):
        fields = way.fields | {field: {"kind": "diffuser", "power": f"{watts:g} W"}}
        assert is_kept(season, run_season(season.site, **fields), 10.0)


def test_deaths_are_counted_for_the_loop_concerned_and_against_the_run_without():
    """A loop of dying fish beside one that only lacks air: what the air does is told of its own fish."""
    tables = changed(
        HEALTHY["trout"], {"tanks.one.oxygen_supply": {"kind": "diffuser", "power": "6 W"}, "tanks.one.flow": "300 L/h"}
    )
    other = one_tank(species="nile_tilapia", temperature_c=9.0, count=200)
    tables["loops"]["cold"] = other["loops"]["main"]
    tables["tanks"]["far"] = other["tanks"]["one"] | {"loop": "cold"}
    tables["beds"]["far_gravel"] = other["beds"]["gravel"] | {"loop": "cold"}
    tables["cohorts"]["doomed"] = other["cohorts"]["fish"] | {"tank": "far"}
    season = run_season(build(tables))
    assert deaths(season) > 150
    told = [step for way in advise(season).ways for step in way.steps if ("oxygen", "tanks.one") in step.cures]
    assert told
    for step in told:
        assert step.deaths.fish < 150
        assert step.deaths.dying <= step.deaths.before + 1.0


def test_same_site_same_advice():
    tables = changed(HEALTHY["perch"], {"tanks.one.flow": "25 L/h", "cohorts.fish_two.count": 300})
    first, again = (advise(run_season(build(tables))) for _ in range(2))
    assert [way.fields for way in first.ways] == [way.fields for way in again.ways]
    assert first.seasons == again.seasons
