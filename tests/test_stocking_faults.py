"""Bad input to the stocking planner: each contradiction told in a sentence that names both sides."""

from __future__ import annotations

import datetime as dt
import re

import pytest
from site_faults import good_english
from small_sites import START, build, one_tank

from stocksim.answers.stock.decide import plan_stocking
from stocksim.answers.stock.words import wish_kg, wish_words
from stocksim.errors import InputError

OFFER = {"species": "nile_tilapia", "mean_weight": "60 g", "price": 2, "feed": "tilapia_34", "at_most": 30}
BY = START + dt.timedelta(days=20)


def tables(stocking: dict, **site: object) -> dict:
    """One warm tank without fish of its own, unless ``cohorts`` are given."""
    return one_tank(**site) | {"cohorts": {}, "stocking": {"candidates": {"offer": OFFER}} | stocking}


@pytest.mark.parametrize(
    ("stocking", "place", "words"),
    [
        ({"budget": 0}, "stocking.budget", ["0 contradicts the prices", "costs 10"]),
        (
            {"budget": 10, "candidates": {"offer": OFFER | {"at_least": 6}}}, "stocking.budget",
            ["10 contradicts at_least", "stocking.candidates.offer", "costs 12"],
        ),
        (
            {"candidates": {"offer": OFFER | {"at_least": 40}}}, "stocking.candidates.offer.at_least",
            ["40 contradicts at_most 30"],
        ),
        (
            {"candidates": {"offer": OFFER | {"minimum_batch": 40}}}, "stocking.candidates.offer.minimum_batch",
            ["40 contradicts at_most 30"],
        ),
        (
            {"candidates": {"offer": OFFER | {"stocked": BY, "leaves": BY}}}, "stocking.candidates.offer.leaves",
            ["contradicts the day "],
        ),
        ({"margin": 1}, "stocking.margin", ["keeps all of every limit", "0.05"]),
        ({"candidates": {"offer": OFFER | {"price": -2}}}, "stocking.candidates.offer.price", ["-2", "0 or more"]),
        ({"species_at_least": 2}, "stocking.species_at_least", ["2 contradicts the candidates", "1 species"]),
        ({"species_at_least": 1, "species_at_most": 1, "goal": "most"}, "stocking.goal", ['"most"']),
        (
            {"harvest_wishes": [{"species": "walleye", "weight": "2 kg", "by": BY}]},
            "stocking.harvest_wishes[1].species", ['"walleye" contradicts the candidates'],
        ),
        (
            {"candidates": {"offer": OFFER | {"tanks": ["two"]}}}, "stocking.candidates.offer.tanks",
            ['"two"', "known are one"],
        ),
        ({"own": {"perch": {}}}, "stocking.own.perch", ["cohorts"]),
        ({"options": {"hot": {"loop": "main"}}}, "stocking.options.hot.at_least", ["at_most or both"]),
        (
            {"options": {"hot": {"loop": "main", "at_least": "30 degC", "at_most": "20 degC"}}},
            "stocking.options.hot.at_least", ["is above at_most"],
        ),
        ({"candidates": {"offer": OFFER | {"species": "dragon"}}}, "stocking.candidates.offer.species", ["known are"]),
        ({"candidates": {"offer": OFFER | {"colour": "red"}}}, "stocking.candidates.offer.colour", ["not known"]),
        ({"candidates": {"of fer": OFFER}}, "stocking.candidates.of fer", ["a usable name"]),
    ],
)  # fmt: skip
def test_a_stocking_table_at_fault_is_told_where_and_why(stocking, place, words):
    with pytest.raises(InputError) as caught:
        build(tables(stocking))
    told = {".".join(filter(None, (f.table, f.field))): f for f in caught.value.faults}
    assert place in told, list(told)
    for word in words:
        assert word in told[place].message
    good_english(told[place])


def test_every_key_that_is_needed_has_words():
    with pytest.raises(InputError) as caught:
        build(tables({"candidates": {"offer": {}}, "harvest_wishes": [{}], "options": {"hot": {}}}))
    assert len(caught.value.faults) == 9
    for fault in caught.value.faults:
        assert "is missing; " in fault.message
        good_english(fault)


@pytest.mark.parametrize(
    ("stocking", "site", "place", "words"),
    [
        ({}, {"temperature_c": 9.0, "days": 20}, "stocking", ["contradicts the fish", "9.0 degC", "13.0 degC"]),
        ({"goal": "cost"}, {"days": 20}, "stocking.goal", ['"cost"', "contradicts"]),
        ({"goal": "steady"}, {"days": 20}, "stocking.goal", ['"steady" contradicts the beds']),
        (
            {"harvest_wishes": [{"species": "nile_tilapia", "weight": "90 kg", "by": BY}]}, {"days": 30},
            "stocking.harvest_wishes[1].weight",
            ["90.0 kg of Nile tilapia", "by 2026-10-21", "contradicts the numbers"],
        ),
        (
            {"harvest_wishes": [{"species": "nile_tilapia", "weight": "9 kg", "by": BY, "each_at_least": "70 g"}]},
            {"days": 30}, "stocking.harvest_wishes[1].weight", ["9.0 kg", "70 g or more", "contradicts the numbers"],
        ),
        (
            {"goal": "cost", "candidates": {"offer": OFFER | {"price": 0, "at_least": 5}}}, {"days": 20},
            "stocking.goal", ['"cost" contradicts the prices'],
        ),
    ],
)  # fmt: skip
def test_wishes_that_the_water_or_the_numbers_forbid_are_refused(stocking, site, place, words):
    with pytest.raises(InputError) as caught:
        plan_stocking(build(tables(stocking, **site)))
    (fault,) = caught.value.faults
    assert ".".join(filter(None, (fault.table, fault.field))) == place
    for word in words:
        assert word in fault.message
    good_english(fault)


def test_nothing_to_plan_is_said():
    empty = one_tank(days=10) | {"cohorts": {}}
    with pytest.raises(InputError, match="offers none"):
        plan_stocking(build(empty))
    with pytest.raises(InputError, match='"fame" is not a goal'):
        plan_stocking(build(one_tank(days=10)), goal="fame")


def sized(each: str) -> dict:
    wish = {"species": "nile_tilapia", "weight": "1 kg", "by": BY, "each_at_least": each}
    return tables({"harvest_wishes": [wish]}, days=30)


def test_a_market_size_above_what_grows_is_told_with_one_that_may_be_wished():
    with pytest.raises(InputError) as caught:
        plan_stocking(build(sized("900 g")))
    (fault,) = caught.value.faults
    assert fault.field == "harvest_wishes[1].each_at_least"
    good_english(fault)
    (near,) = re.findall(r"wish for (\d+ g) or less", fault.message)
    plan = plan_stocking(build(sized(near)), refused=False)
    assert plan.plan is not None
    (told,) = wish_words(plan)
    assert f"{near} or more" in told
    kg, lightest = wish_kg(plan, plan.wishes.harvest_wishes[0])
    assert (kg >= 1.0) == (lightest >= float(near.split()[0]))
    # of a size that all have, the wish is the one without
    small, any_size = (plan_stocking(build(one), refused=False) for one in (sized("61 g"), tables({}, days=30)))
    assert small.cohorts == any_size.cohorts
