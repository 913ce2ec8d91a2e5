"""Tests of TAN and nitrite: the films are as strong as the measured level says, and the balance holds it."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest
from hunting import examples
from hypothesis import given, settings
from hypothesis import strategies as st
from small_sites import START, build, one_tank, two_loops

from stocksim import run_season
from stocksim.engine.arrays.layout import build_layout
from stocksim.engine.days.films import LEAST_TESTED_MG_L, STRONGEST_BY_TEST, WEAKEST_BY_TEST
from stocksim.engine.results.films import film_corrections
from stocksim.engine.season import simulate
from stocksim.faces.words import cautions, summary

FOOD = {"ammonia": ("tan", "tan_mg_l"), "nitrite": ("nitrite_n", "nitrite_mg_l")}
both = pytest.mark.parametrize("oxidizer", FOOD)


def on(day: int) -> dt.date:
    return START + dt.timedelta(days=day)


def stocked(tests: dict[int, dict[str, float]], days: int = 12, **keys: object) -> dict:
    """Tables of a loop whose film has a good deal to do, tested on some mornings."""
    tables = one_tank(**{"days": days, "count": 25, "mean_weight_g": 120.0, "bed_m2": 2.0, **keys})
    tables["loops"]["main"]["water_tests"] = [
        {"date": on(day)} | {key: f"{level:.12f} mg/L" for key, level in levels.items()}
        for day, levels in tests.items()
    ]
    return tables


def ran(tests: dict[int, dict[str, float]], days: int = 12, **keys: object):
    return run_season(build(stocked(tests, days, **keys)))


# --- the balance holds what was tested


@both
@pytest.mark.parametrize("day", [0, 8])
def test_a_measured_level_stays_through_the_day(oxidizer, day):
    key, name = FOOD[oxidizer]
    plain = getattr(ran({}).course, name)[0, :, 0]
    tested = 0.8 if oxidizer == "nitrite" else 2.5
    season = ran({day: {key: tested}})
    level = getattr(season.course, name)[0, :, 0]
    assert plain[day] < 0.4 * tested, "else the test proves nothing"
    # what is missing the film grows within the day, weak as it is beside plenty
    assert level[day] == pytest.approx(tested, rel=0.25)
    assert level[day] < tested
    np.testing.assert_allclose(level[:day], plain[:day], rtol=1e-12)
    (told,) = season.film_corrections
    assert (told.loop, told.date, told.oxidizer, told.tested_mg_l) == ("main", on(day), oxidizer, tested)
    assert WEAKEST_BY_TEST < told.after / told.before < 0.9
    assert told.bound == 0


@both
def test_the_film_takes_at_the_tested_level_what_it_took_before(oxidizer):
    """Nothing flows out, so the films' removal by Monod's law is all."""
    half = {"ammonia": 1.93, "nitrite": 1.0}[oxidizer]
    key, name = FOOD[oxidizer]
    fast = {"flow_l_h": 60000.0, "evaporation": "0 L/day"}
    tables = stocked({}, **fast)
    tables["beds"]["gravel"]["flow"] = "60000 L/h"
    course = run_season(build(tables)).course
    own, before = getattr(course, name)[0, 7]
    tables["loops"]["main"]["water_tests"] = [{"date": on(8), key: f"{4.0 * own} mg/L"}]
    (told,) = run_season(build(tables)).film_corrections
    after = before + 3.0 * own  # bed and tank stand apart by as much as before
    expected = (before / (half + before)) / (after / (half + after))
    assert told.after / told.before == pytest.approx(expected, rel=0.01)


@both
def test_a_test_of_the_reckoned_level_changes_no_film(oxidizer):
    key, name = FOOD[oxidizer]
    own = getattr(ran({}).course, name)[0, 7, 0]
    assert own > 0.0
    season = ran({8: {key: own}})
    course = season.course
    before, after = (getattr(course, f"{oxidizer}_film_{part}")[0, 8, 0] for part in ("from", "to"))
    assert after == pytest.approx(before, rel=1e-6)
    assert before > 0.0
    assert season.film_corrections == []


@both
def test_a_higher_test_is_a_weaker_film_and_a_lower_one_a_stronger(oxidizer):
    key, name = FOOD[oxidizer]
    weak = {"bed_m2": 0.5}
    own = getattr(ran({}, **weak).course, name)[0, 7, 0]
    assert own > 2.0 * LEAST_TESTED_MG_L
    films = [
        getattr(ran({8: {key: share * own}}, **weak).course, f"{oxidizer}_film_to")[0, 8, 0]
        for share in (0.95, 1.0, 1.2, 1.5, 3.0)
    ]
    assert (np.diff(films) < 0.0).all()


@both
def test_tests_one_after_the_other_are_each_followed(oxidizer):
    key, name = FOOD[oxidizer]
    levels = {4: 0.6, 6: 1.2, 7: 1.2, 9: 0.7}
    # in cold water, where films grow little within a day
    cold = {"species": "yellow_perch", "feed": "perch_45", "temperature_c": 11.0, "count": 60}
    season = ran({day: {key: level} for day, level in levels.items()}, **cold)
    reached = getattr(season.course, name)[0, :, 0]
    for day, level in levels.items():
        assert reached[day] == pytest.approx(level, rel=0.15), day
    assert [one.date for one in season.film_corrections] == [on(day) for day in levels]


# --- what tells nothing


@both
def test_a_test_that_finds_nothing_ends_no_film(oxidizer):
    key, name = FOOD[oxidizer]
    for day in (0, 6):
        season = ran({day: {key: 0.0}})
        course = season.course
        before, after = (getattr(course, f"{oxidizer}_film_{part}")[0, day, 0] for part in ("from", "to"))
        assert before <= after <= min(STRONGEST_BY_TEST * before, 1.0) + 1e-12
        assert np.isfinite(getattr(course, name)).all()


@settings(max_examples=examples(25))
@given(
    st.dictionaries(
        st.integers(0, 9),
        st.dictionaries(
            st.sampled_from(["tan", "nitrite_n"]), st.sampled_from([0.0, 1e-9, 0.05, 0.3, 4.0, 5000.0]), min_size=1
        ),
        max_size=5,
    ),
    st.sampled_from([0, 1, 25]),
    st.sampled_from([0.0, 0.3, 10.0]),
)
def test_absurd_tests_leave_every_number_a_number(tests, count, bed_m2):
    tables = stocked(tests, 10, count=count, bed_m2=bed_m2 or 1.0)
    if bed_m2 == 0.0:
        tables["beds"] = {}
    season = run_season(build(tables))
    course = season.course
    for name in ("tan_mg_l", "nitrite_mg_l", "ammonia_maturity", "nitrite_maturity", "weight_g", "ph"):
        assert np.isfinite(getattr(course, name)).all(), name
    for oxidizer in FOOD:
        film = getattr(course, f"{oxidizer}_film_to")
        assert ((film >= 0.0) & (film <= 1.0)).all()


@both
def test_without_fish_no_film_is_corrected(oxidizer):
    key, _ = FOOD[oxidizer]
    cycling = {"from": START, "to": on(5), "ammonia_nitrogen": "2 g/day"}
    tables = stocked({2: {key: 3.0}, 6: {key: 2.0}, 7: {key: 2.0}, 8: {key: 2.0}}, fishless_cycling=cycling)
    tables["cohorts"]["fish"]["stocked"] = on(7)
    # while dosed, without fish, and on the morning they come nothing is told; the next day it is
    assert [one.date for one in run_season(build(tables)).film_corrections] == [on(8)]
    assert ran({4: {key: 2.0}}, count=0).film_corrections == []


@both
def test_the_first_morning_of_a_film_whose_age_is_typed_is_left_alone(oxidizer):
    key, _ = FOOD[oxidizer]
    for keys in ({"biofilter_start": "new"}, {"biofilter_start": "seeded"}, {"biofilter_started": on(-40)}):
        season = ran({0: {key: 2.0}}, **keys)
        assert season.film_corrections == [], keys


def test_other_tests_and_other_loops_leave_films_alone():
    plain = simulate(build_layout(build(two_loops())))
    tables = two_loops()
    tables["loops"]["warm"]["water_tests"] = [
        {"date": on(6), "nitrate_n": "40 mg/L"}, {"date": on(9), "tan": "0.6 mg/L", "nitrite_n": "0.9 mg/L"},
    ]  # fmt: skip
    layout = build_layout(build(tables))
    course = simulate(layout)
    assert {(one.date, one.loop) for one in film_corrections(layout, course)} == {(on(9), "warm")}
    cool = layout.leaf_loop[len(layout.tanks) :, layout.loops.index("cool")] > 0.0
    np.testing.assert_array_equal(course.ammonia_maturity[..., cool], plain.ammonia_maturity[..., cool])
    # all units of the loop alike
    share = course.ammonia_maturity[0, 9] / course.ammonia_maturity[0, 8]
    assert np.ptp(share[~cool]) < 0.35 * share[~cool].mean()


# --- bounds, scenarios and telling


def test_a_test_that_no_film_explains_is_told_so():
    season = ran({6: {"nitrite_n": 4.0}}, count=1, bed_m2=10.0)
    (told,) = season.film_corrections
    assert told.bound == -1
    assert told.after == pytest.approx(WEAKEST_BY_TEST * told.before, rel=1e-6)
    strong = ran({4: {"tan": 0.06}}, bed_m2=0.3)
    (told,) = strong.film_corrections
    assert told.bound == 1
    assert told.after == pytest.approx(min(STRONGEST_BY_TEST * told.before, 1.0))
    assert [one["bound"] for one in summary(strong, [])["film_corrected"]] == ["strongest"]


def test_every_scenario_has_its_own_correction():
    layout = build_layout(build(stocked({6: {"tan": 1.5, "nitrite_n": 0.7}})))
    many = replace(layout, count=layout.count * np.array([[0.5], [1.0], [0.0]]))
    course = simulate(many)
    for row in range(3):
        alone = film_corrections(layout, simulate(replace(layout, count=many.count[row : row + 1])))
        among = film_corrections(many, course, row)
        assert [one[:4] for one in among] == [one[:4] for one in alone]
        np.testing.assert_allclose([one[4:] for one in among], [one[4:] for one in alone], rtol=1e-9)
    assert film_corrections(many, course, 2) == []
    assert film_corrections(many, course, 0)[0].after < film_corrections(many, course, 1)[0].after


def test_what_a_test_said_is_in_the_answer():
    season = ran({8: {"nitrite_n": 0.8}})
    (told,) = season.film_corrections
    (data,) = summary(season, season.findings)["film_corrected"]
    assert data == {
        "loop": "main", "date": on(8).isoformat(), "oxidizer": "nitrite", "tested_n_mg_l": pytest.approx(0.8),
        "from_strength": pytest.approx(told.before, abs=1e-6), "to_strength": pytest.approx(told.after, abs=1e-6),
        "bound": None,
    }  # fmt: skip
    share = f"{100.0 * told.after / told.before:.0f} %"
    (sentence,) = [one for one in cautions(season) if "nitrite-eating bacteria of loop main" in one]
    assert share in sentence
    assert summary(ran({}), [])["film_corrected"] == []
    assert not [one for one in cautions(ran({})) if "oxidizers of loop" in one]
