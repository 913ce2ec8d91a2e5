"""Many seasons and what is kept of them: each scenario tells what its own season tells."""

from __future__ import annotations

import datetime as dt
from functools import cache

import numpy as np
import pandas as pd
import pytest
from small_sites import START, build, busy_season, one_tank

from stocksim import InputError, ManySeasons, Season, Site, run_season, run_seasons
from stocksim.engine import many_seasons
from stocksim.engine.arrays.layout import build_layout
from stocksim.engine.results.deaths import CAUSES, deaths_by_cause
from stocksim.engine.results.many import COLUMNS
from stocksim.engine.season import CHUNK

# of numbers, of fish that events name, of structure and of the same again
CHANGES: list[dict] = [
    {},
    {"cohorts.trout.count": 55, "tanks.west.flow": "800 L/h"},
    {"cohorts.unfed.count": 0},
    {"events": []},
    {"cohorts.trout.count": 55, "tanks.west.flow": "800 L/h"},
    {"loops.warm.biofilter_start": "new"},
]


@cache
def busy_site() -> Site:
    return build(busy_season())


@cache
def many(keep: str = "extremes") -> ManySeasons:
    return run_seasons(busy_site(), CHANGES, keep=keep)  # type: ignore[arg-type]


@cache
def alone(number: int) -> Season:
    return run_season(busy_site(), **CHANGES[number])


def limits_of(season: Season) -> set[tuple]:
    return {
        (
            f.limit,
            f.where,
            f.first_date,
            f.worst_date,
            f.worst_value,
            f.threshold,
            f.unit,
            f.margin_percent,
            f.days_broken,
        )
        for f in season.findings
        if f.margin_percent is not None
    }


@pytest.mark.parametrize("number", range(len(CHANGES)))
def test_the_extremes_are_those_of_the_season_alone(number):
    frame = many().limits
    mine = frame[frame["scenario"] == number].drop(columns="scenario").copy()
    told = set()
    for row in mine.itertuples(index=False, name=None):
        limit, where, first, worst, *rest = row
        told.add((limit, where, None if pd.isna(first) else first.date(), worst.date(), *rest))
    assert len(mine) == len(told)
    assert told == limits_of(alone(number))


@pytest.mark.parametrize("number", range(len(CHANGES)))
def test_totals_and_deaths_are_those_of_the_season_alone(number):
    row = many().totals.set_index("scenario").loc[number]
    assert {key: None if np.isnan(value) else value for key, value in row.items()} == alone(number).totals()
    season = alone(number)
    frame = many().deaths
    mine = frame[frame["scenario"] == number].set_index(["cohort", "cause"])["fish"]
    by_cause = deaths_by_cause(season.layout, season.course)
    assert set(mine.index) == {(cohort, cause) for cohort in season.layout.cohorts for cause in CAUSES}
    for cohort, cause in mine.index:
        inside = [name == cohort for name in season.layout.cohorts]
        assert mine[cohort, cause] == pytest.approx(by_cause[cause][:, inside].sum(), rel=1e-12, abs=1e-300)
    assert mine.sum() == pytest.approx(season.totals()["deaths"])


def test_frames_are_in_the_order_of_the_scenarios():
    assert many().totals["scenario"].tolist() == list(range(len(CHANGES)))
    for frame in (many().limits, many().deaths):
        assert frame["scenario"].is_monotonic_increasing
        assert set(frame["scenario"]) == set(range(len(CHANGES)))
    assert len(many()) == len(CHANGES)


def test_the_whole_course_may_be_kept():
    kept = many("course")
    pd.testing.assert_frame_equal(kept.limits, many().limits)
    for number in range(len(CHANGES)):
        for name in ("cohorts", "tanks", "loops", "ledger"):
            pd.testing.assert_frame_equal(getattr(kept.season(number), name), getattr(alone(number), name))
    with pytest.raises(InputError, match="scenario 0 is not kept"):
        many().season(0)


def test_threads_and_progress_change_no_bit():
    told: list[tuple[int, int]] = []
    changes = [{"cohorts.fish.count": 10 + n} for n in range(2 * CHUNK + 3)]
    site = build(one_tank(days=20))
    one = run_seasons(site, changes, threads=1, progress=lambda done, of: told.append((done, of)))
    three = run_seasons(site, changes, threads=3)
    for name in ("limits", "totals", "deaths"):
        pd.testing.assert_frame_equal(getattr(one, name), getattr(three, name), check_exact=True)
    assert told == [(CHUNK, len(changes)), (2 * CHUNK, len(changes)), (len(changes), len(changes))]


# --- columns


@pytest.mark.parametrize("column", COLUMNS)
def test_every_column_is_the_one_of_the_frames(column):
    kept = run_seasons(busy_site(), CHANGES[:2], keep=[column])
    table, name = column.split(".")
    for number in range(2):
        frame = getattr(alone(number), table)
        # also days and places without a value
        wide = frame.pivot_table(name, "date", table[:-1], aggfunc="last", sort=False, dropna=False)
        for at, place in enumerate(kept.places(column)):
            mine = pd.Series(kept.values(column)[number, :, at], wide.index).dropna()
            np.testing.assert_allclose(mine, wide[place].dropna(), rtol=1e-6, atol=1e-30)


def test_quantiles_are_those_of_the_values():
    site = build(one_tank(days=12))
    counts = np.random.default_rng(3).uniform(5.0, 60.0, (41, 1))
    kept = run_seasons(site, arrays={"count": counts}, keep=["cohorts.count", "tanks.oxygen_min_mg_l"])
    values = kept.values("cohorts.count")
    assert values.shape == (41, 12, 1)
    np.testing.assert_allclose(values[:, 0, 0], counts[:, 0], rtol=1e-3)
    shares = [0.0, 0.05, 0.5, 0.9, 1.0]
    found = kept.quantiles("cohorts.count", shares)
    assert list(found.columns) == ["date", "cohort", "share", "value"]
    wide = found.pivot_table(index="date", columns="share", values="value")
    expected = np.quantile(values[..., 0].astype(float), shares, axis=0).T
    np.testing.assert_allclose(wide.to_numpy(), expected, rtol=1e-12)
    assert kept.columns == ("cohorts.count", "tanks.oxygen_min_mg_l")


def test_days_without_fish_have_no_quantile():
    tables = one_tank(days=10)
    tables["cohorts"]["late"] = tables["cohorts"]["fish"] | {"stocked": START + dt.timedelta(days=4), "count": 7}
    site = build(tables)
    other = {"cohorts.late.stocked": START + dt.timedelta(days=6), "cohorts.late.count": 9}
    found = run_seasons(site, [{}, other], keep=["cohorts.count"]).quantiles("cohorts.count", [0.5])
    late = found[found["cohort"] == "late"]["value"].to_numpy()
    assert np.isnan(late[:4]).all()
    np.testing.assert_allclose(late[4:6], 7.0, rtol=1e-2)
    np.testing.assert_allclose(late[6:], 8.0, rtol=1e-2)


# --- arrays


def test_arrays_are_stacked_under_the_changed_fields():
    site = build(one_tank(days=15))
    layout = build_layout(site)
    flow = layout.flow_m3_day * np.array([[1.0], [0.5], [0.3]])
    changes = [{"cohorts.fish.count": count} for count in (20, 30, 40)]
    both = run_seasons(site, changes, arrays={"flow_m3_day": flow, "elevation_m": [0.0, 100.0, 900.0]}, keep="course")
    for number in range(3):
        course = both.season(number).course
        assert course.count[0, 0, 0] == pytest.approx(20 + 10 * number, rel=1e-3)
        fields = {"cohorts.fish.count": 20 + 10 * number, "site.elevation": f"{(0, 100, 900)[number]} m"}
        mine = run_seasons(site, [fields], arrays={"flow_m3_day": flow[[number]]})
        assert mine.totals.iloc[0, 1:].tolist() == both.totals.iloc[number, 1:].tolist()


def test_equal_scenarios_build_one_layout(monkeypatch):
    built = []
    monkeypatch.setattr(many_seasons, "build_layout", lambda site: built.append(1) or build_layout(site))
    site = build(one_tank(days=5))
    same = run_seasons(site, [{"cohorts.fish.count": 20 + n % 2} for n in range(9)])
    assert len(built) == 2
    assert same.totals["feed_kg"].nunique() == 2


# --- what is refused


@pytest.mark.parametrize(
    ("asked", "place", "words"),
    [
        ({}, "scenarios", []),
        ({"scenarios": [{}], "keep": "all"}, "keep", ['"all"']),
        ({"scenarios": [{}], "keep": ["cohorts.length"]}, "keep", ['"cohorts.length"']),
        ({"arrays": {"fish": [[1.0]]}}, "arrays", ['"fish"']),
        ({"arrays": {"cohort_tank": [[[1.0]]]}}, "arrays", ['"cohort_tank"']),
        ({"scenarios": [{}, {}], "arrays": {"count": [[1.0]]}}, "arrays", ["count", "2 scenarios"]),
        ({"arrays": {"count": [[1.0, 2.0]]}}, "arrays", ["count", "(1, 2)", "(scenarios, 1)"]),
        ({"arrays": {"elevation_m": 5.0}}, "arrays", ["elevation_m", "1 scenarios"]),
        ({"scenarios": [{}, {"cohorts.fish.count": -1}]}, "scenarios[1], cohorts.fish.count", ["-1"]),
        ({"scenarios": [{"nothing.of.the.kind": 1}]}, "scenarios[0], nothing", []),
        ({"scenarios": [{"cohorts.fish.count": object()}]}, "scenarios[0], cohorts.fish.count", []),
        (
            {"scenarios": [{}, {"season.end": START + dt.timedelta(days=3)}], "keep": ["cohorts.count"]},
            "scenarios[1], season", ["days"],
        ),
    ],
)  # fmt: skip
def test_what_cannot_be_is_one_sentence(asked, place, words):
    site = build(one_tank(days=5))
    with pytest.raises(InputError) as caught:
        run_seasons(site, **asked)
    (fault,) = caught.value.faults
    assert str(fault).removeprefix("site.toml, ").startswith(place)
    for word in words:
        assert word in fault.message


def test_an_event_that_asks_too_much_is_refused_with_its_scenario():
    tables = one_tank(days=10)
    tables["events"] = [{"kind": "harvest", "date": START + dt.timedelta(days=5), "cohort": "fish", "weight": "3 kg"}]
    with pytest.raises(InputError) as caught:
        run_seasons(build(tables), [{}, {"cohorts.fish.count": 45}, {"cohorts.fish.count": 10}])
    (fault,) = caught.value.faults
    assert "scenarios[2], events[1].weight: 3000 g " in str(fault)


def test_seasons_of_other_days_have_extremes():
    site = build(one_tank(days=12))
    short = run_seasons(site, [{}, {"season.end": START + dt.timedelta(days=4)}])
    days = short.limits.groupby("scenario")["worst_date"].max()
    assert days[1] <= pd.Timestamp(START + dt.timedelta(days=4)) < days[0]


def test_an_unkept_column_and_a_share_that_is_none_are_refused():
    kept = run_seasons(build(one_tank(days=3)), [{}], keep=["cohorts.count"])
    for ask in (lambda: kept.values("tanks.ph"), lambda: kept.quantiles("tanks.ph"), lambda: kept.places("tanks.ph")):
        with pytest.raises(InputError, match=r'"tanks.ph" .*: cohorts.count\)'):
            ask()
    with pytest.raises(InputError, match="shares: 5 is not allowed"):
        kept.quantiles("cohorts.count", [5.0])
