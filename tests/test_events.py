"""Events: what stocking, moving, grading and taking do to the fish, and that nothing else changes."""

from __future__ import annotations

import datetime as dt
from dataclasses import fields, replace

import numpy as np
import pytest
from hunting import examples
from hypothesis import given, settings
from scipy.stats import lognorm
from small_sites import START, any_eventful_site, build, busy_season, one_tank, two_loops

from stocksim import run_season
from stocksim.engine.arrays.layout import build_layout
from stocksim.engine.season import Course, simulate

SAME, AGREED = 1e-9, 1e-8
BY_COHORT = ("count", "deaths", "fed_g", "eaten_g", "gain_g", "fish_oxygen_g", "excreted_nitrogen_g")


def on(day: int) -> dt.date:
    return START + dt.timedelta(days=day)


def event(kind: str, day: int, cohort: str = "fish", **more: object) -> dict:
    return {"kind": kind, "date": on(day), "cohort": cohort} | more


def with_events(*events: dict, days: int = 8, spread: float = 0.3, **more) -> dict:
    """A tank of 40 unfed fish of 100 g, and a second tank."""
    tables = one_tank(days=days, **more)
    tables["tanks"]["two"] = dict(tables["tanks"]["one"])
    tables["cohorts"]["fish"] |= {"size_spread": spread, "ration": {"kind": "unfed"}}
    tables["events"] = list(events)
    return tables


def course_of(tables: dict) -> Course:
    return simulate(build_layout(build(tables)))


def by_cohort(tables: dict) -> dict[str, dict[str, np.ndarray]]:
    """Amounts of each cohort day by day, its stays together; weight and spread where it has fish."""
    layout = build_layout(build(tables))
    course = simulate(layout)
    there = course.count[0] + course.deaths[0] > 0.0
    told = {}
    for name in dict.fromkeys(layout.cohorts):
        inside = [at for at, cohort in enumerate(layout.cohorts) if cohort == name]
        told[name] = {key: getattr(course, key)[0][:, inside].sum(axis=1) for key in BY_COHORT}
        for key in ("weight_g", "size_spread"):
            told[name][key] = np.where(there, getattr(course, key)[0], 0.0)[:, inside].sum(axis=1)
    return told


def lognormal(mean: float, cv: float):
    spread = np.sqrt(np.log1p(cv**2))
    return lognorm(spread, scale=mean * np.exp(-0.5 * spread**2))


def partial(mean: float, cv: float, low: float, high: float) -> tuple[float, float, float]:
    """Share of the number, mean and cv between two weights, by integration."""
    weights = lognormal(mean, cv)
    share = weights.cdf(high) - weights.cdf(low)
    moments = [weights.expect(lambda w, k=k: w**k, lb=low, ub=high) / share for k in (1, 2)]
    return share, moments[0], np.sqrt(moments[1] - moments[0] ** 2) / moments[0]


# --- by size


def test_grading_by_weight_parts_the_lognormal():
    season = run_season(build(with_events(event("grade", 3, into="big", tank="two", above="110 g"))))
    course = season.course
    before, mean, spread = course.count[0, 2, 0], course.weight_g[0, 2, 0], course.size_spread[0, 2, 0]
    assert spread == 0.3
    for column, (low, high) in ((0, (0.0, 110.0)), (1, (110.0, np.inf))):
        share, part_mean, part_spread = partial(mean, spread, low, high)
        there = course.count[0, 3, column] + course.deaths[0, 3, column]
        grown = course.gain_g[0, 3, column] / there
        assert there == pytest.approx(before * share, rel=1e-7)
        assert course.weight_g[0, 3, column] - grown == pytest.approx(part_mean, rel=1e-7)
        assert course.size_spread[0, 3, column] == pytest.approx(part_spread, rel=1e-6)
    frame = season.cohorts
    assert list(frame[frame["cohort"] == "big"]["tank"].unique()) == ["two"]
    assert frame[frame["cohort"] == "big"]["date"].min().date() == on(3)


@pytest.mark.parametrize("which", ["largest", "smallest", "any"])
@pytest.mark.parametrize("amount", [{"count": 10}, {"share": 0.25}, {"weight": "1 kg"}])
def test_taking_by_size_leaves_the_rest(which, amount):
    course = course_of(with_events(event("thin", 3, which=which, **amount)))
    (transfer,) = course.transfers
    had, mean = course.count[0, 2, 0], course.weight_g[0, 2, 0]
    taken, grams = transfer.fish[0], transfer.mass_g[0]
    left = had - taken
    if "weight" in amount:
        assert grams == pytest.approx(1000.0, rel=1e-9)
    else:
        assert taken == pytest.approx(amount.get("count", 0.25 * had), rel=1e-12)
    share = left / had
    cut = lognormal(mean, 0.3).ppf(share if which == "largest" else 1.0 - share)
    sides = {"largest": (0.0, cut), "smallest": (cut, np.inf), "any": (0.0, np.inf)}
    _, expected, spread = partial(mean, 0.3, *sides[which])
    assert (had * mean - grams) / left == pytest.approx(expected, rel=1e-7)
    assert course.size_spread[0, 3, 0] == pytest.approx(spread, rel=1e-6)


def test_harvest_takes_the_largest_and_the_others_any():
    harvested = course_of(with_events(event("harvest", 3, share=0.3))).weight_g[0, 3, 0]
    for kind in ("thin", "sell", "give"):
        assert course_of(with_events(event(kind, 3, share=0.3))).weight_g[0, 3, 0] > harvested
    plain = course_of(with_events()).weight_g[0, 3, 0]
    assert course_of(with_events(event("thin", 3, share=0.3))).weight_g[0, 3, 0] == plain


def test_harvest_of_all_above_a_weight():
    course = course_of(with_events(event("harvest", 3, above="120 g")))
    had, mean = course.count[0, 2, 0], course.weight_g[0, 2, 0]
    share, part, _ = partial(mean, 0.3, 120.0, np.inf)
    assert course.transfers[0].fish[0] == pytest.approx(had * share, rel=1e-7)
    assert course.transfers[0].mass_g[0] == pytest.approx(had * share * part, rel=1e-7)


def test_fish_all_alike_are_taken_by_number():
    course = course_of(with_events(event("harvest", 3, share=0.3), event("thin", 4, count=3), spread=0.0))
    plain = course_of(with_events(spread=0.0))
    np.testing.assert_allclose(course.weight_g, plain.weight_g, rtol=1e-12)
    none = course_of(with_events(event("harvest", 3, above="120 g"), spread=0.0))
    assert none.transfers[0].fish[0] == 0.0
    whole = course_of(with_events(event("harvest", 3, above="50 g"), spread=0.0))
    assert whole.count[0, 3, 0] == 0.0


# --- coming


def test_more_fish_join_with_their_mean_and_both_groups_spread():
    course = course_of(with_events(event("stock", 3, count=20, mean_weight="40 g"), event("thin", 4, count=1)))
    had, mean = course.count[0, 2, 0], course.weight_g[0, 2, 0]
    both = (had * mean + 20 * 40.0) / (had + 20)
    # a mixture: squares of both groups, each with the cohort's cv
    square = (had * mean**2 + 20 * 40.0**2) / (had + 20) * (1.0 + 0.3**2)
    there = course.count[0, 3, 0] + course.deaths[0, 3, 0]
    assert there == pytest.approx(had + 20, rel=1e-12)
    assert course.weight_g[0, 3, 0] - course.gain_g[0, 3, 0] / there == pytest.approx(both, rel=1e-12)
    assert course.size_spread[0, 3, 0] == pytest.approx(np.sqrt(square / both**2 - 1.0), rel=1e-12)


def test_fish_put_to_an_emptied_cohort_vary_as_those_before():
    emptied = event("harvest", 2, all=True)
    course = course_of(with_events(emptied, event("stock", 4, count=30, mean_weight="20 g")))
    assert (course.count[0, 2:4, 0] == 0.0).all()
    there = course.count[0, 4, 0] + course.deaths[0, 4, 0]
    assert there == 30.0
    assert course.weight_g[0, 4, 0] - course.gain_g[0, 4, 0] / 30.0 == pytest.approx(20.0)
    assert course.size_spread[0, 4, 0] == pytest.approx(0.3)


# --- moving


def test_a_move_takes_weight_numbers_and_condition_along():
    tables = with_events(event("move", 30, tank="two"), days=60, temperature_c=20.0)
    moved, stayed = course_of(tables), course_of(tables | {"events": []})
    # the same water in both tanks but for what the fish do to it; starving fish are as thin as they were
    assert moved.count[0, 30:, 0].max() == 0.0
    assert moved.count[0, :30, 1].max() == 0.0
    np.testing.assert_allclose(moved.weight_g[0, 30:, 1], stayed.weight_g[0, 30:, 0], rtol=1e-9)
    np.testing.assert_allclose(moved.count[0, 30:, 1], stayed.count[0, 30:, 0], rtol=1e-6)
    assert moved.weight_g[0, -1, 1] < 95.0


def test_moved_fish_load_their_new_tank_only():
    season = run_season(build(with_events(event("move", 4, tank="two"))))
    tanks = season.tanks.set_index(["tank", "date"])["biomass_kg"]
    one, two = (tanks[name].to_numpy() for name in ("one", "two"))
    assert (one[:4] > 0.0).all()
    assert (one[4:] == 0.0).all()
    assert (two[:4] == 0.0).all()
    assert (two[4:] > 0.0).all()


def test_a_move_to_another_loop_changes_water():
    tables = two_loops()
    tables["events"] = [event("move", 10, "trout", tank="spare")]
    season = run_season(build(tables))
    rows = season.cohorts[season.cohorts["cohort"] == "trout"]
    assert (rows["temperature_c"].to_numpy()[10:] == 27.0).all()
    assert (rows["temperature_c"].to_numpy()[:10] < 20.0).all()
    assert list(rows["tank"]) == ["north"] * 10 + ["spare"] * 35


def test_feed_and_rule_change_from_their_day_on():
    tables = one_tank(days=12)
    ration = {"kind": "appetite", "fraction": 0.4}
    tables["events"] = [event("ration", 5, ration=ration), event("feed", 8, feed="trout_44")]
    told, plain = by_cohort(tables)["fish"], by_cohort(one_tank(days=12))["fish"]
    np.testing.assert_array_equal(told["fed_g"][:5], plain["fed_g"][:5])
    np.testing.assert_allclose(told["fed_g"][5] / plain["fed_g"][5], 0.4 / 0.85, rtol=0.01)
    layout = build_layout(build(tables))
    assert layout.feed_nitrogen[2] / layout.feed_nitrogen[1] == pytest.approx(44.0 / 34.0, rel=0.05)


@pytest.mark.parametrize("day", [0, 7])
def test_events_on_the_first_and_the_last_day_count(day):
    course = course_of(with_events(event("harvest", day, count=10)))
    there = course.count[0, day, 0] + course.deaths[0, day, 0]
    before = 40.0 if day == 0 else course.count[0, day - 1, 0]
    assert there == pytest.approx(before - 10.0, rel=1e-12)


# --- together


@settings(max_examples=examples(30))
@given(any_eventful_site())
def test_events_of_other_cohorts_may_stand_in_any_order(tables):
    roots = {name: name for name in tables["cohorts"]}
    for one in tables["events"]:
        if one["kind"] == "grade":
            roots[one["into"]] = roots[one["cohort"]]
    # each family's events keep their order, families change theirs
    turned = sorted(tables["events"], key=lambda one: roots[one["cohort"]], reverse=True)
    there, back = by_cohort(tables), by_cohort(tables | {"events": turned})
    assert set(there) == set(back)
    for name, arrays in there.items():
        for key, values in arrays.items():
            # a tank at the brink of suffocation carries roundings on: as bounded as for the order of tables
            scale = np.abs(values).max(initial=0.0) + np.abs(arrays["eaten_g"]).max(initial=0.0) + 1e-9
            assert np.abs(back[name][key] - values).max(initial=0.0) <= AGREED * scale, (name, key)


def test_events_of_one_date_for_other_cohorts_may_change_places():
    tables = one_tank(days=10, count=20)
    for name in ("b", "c"):
        tables["cohorts"][name] = dict(tables["cohorts"]["fish"], mean_weight="60 g")
    events = [
        event("harvest", 4, share=0.2), event("grade", 4, "b", into="d", tank="one", above="60 g"),
        event("stock", 4, "c", count=3, mean_weight="10 g"), event("ration", 4, "c", ration={"kind": "unfed"}),
    ]  # fmt: skip
    there = by_cohort(tables | {"events": events})
    back = by_cohort(tables | {"events": [events[2], events[3], events[1], events[0]]})
    for name, arrays in there.items():
        for key, values in arrays.items():
            np.testing.assert_allclose(back[name][key], values, rtol=SAME, atol=1e-12, err_msg=f"{name} {key}")


def test_an_event_changes_nothing_before_it():
    plain, changed = one_tank(days=20), one_tank(days=20)
    changed["events"] = [event("harvest", 9, share=0.5), event("move", 12, tank="one")]
    before, after = by_cohort(plain)["fish"], by_cohort(changed)["fish"]
    for key, values in before.items():
        np.testing.assert_array_equal(after[key][:9], values[:9])


@pytest.mark.parametrize("tables", [busy_season(), with_events(event("harvest", 3, count=30), days=10)])
def test_two_scenarios_with_events_are_the_two_alone(tables):
    layout = build_layout(build(tables))
    counts = layout.count * np.array([[1.0], [0.4]])
    many = simulate(replace(layout, count=counts))
    for row in range(2):
        alone = simulate(replace(layout, count=counts[row : row + 1]))
        for field in fields(Course):
            if field.name in ("rounds", "apart", "transfers"):
                continue
            ours, other = getattr(many, field.name), getattr(alone, field.name)[0]
            ours = ours[min(row, ours.shape[0] - 1)]
            scale = np.abs(other).max(initial=0.0)
            if field.name == "gain_g":
                scale += np.abs(alone.eaten_g).max(initial=0.0)
            assert np.nanmax(np.abs(ours - other), initial=0.0) <= SAME * scale + 1e-12, field.name
        for ours, other in zip(many.transfers, alone.transfers, strict=True):
            for name in ("fish", "mass_g", "had"):
                assert getattr(ours, name)[row] == pytest.approx(getattr(other, name)[0], rel=SAME, abs=1e-12)
