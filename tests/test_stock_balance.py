"""Feed of a plan against its planted area, both ways, week by week."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from small_sites import START, build, one_tank

from stocksim import run_season
from stocksim.answers.stock.answer import keep_answer
from stocksim.answers.stock.balance import feed_balance
from stocksim.answers.stock.keep import keep_plan
from stocksim.answers.stock.problem import build_problem
from stocksim.faces.answer import MOST_ACTIONS, Table
from stocksim.faces.text import answer_text


@pytest.fixture(scope="module")
def site():
    """Sixty days, of which all but the first fourteen have lettuce on half of the gravel."""
    tables = one_tank(days=60, count=15)
    tables["beds"]["gravel"]["plantings"] = [
        {"crop": "lettuce", "from": START + dt.timedelta(days=14), "to": START + dt.timedelta(days=59), "area": "5 m2"}
    ]
    return build(tables)


@pytest.fixture(scope="module")
def season(site):
    return run_season(site)


def test_weeks_ask_for_the_same_feed_that_the_program_is_given(site, season):
    (weeks,) = feed_balance(season).values()
    problem = build_problem(site)
    assert [week.asked_low_g for week in weeks] == pytest.approx(problem.feed_low[0].tolist())
    asked = [week.asked_high_g or np.inf for week in weeks]  # the program has no ceiling where nothing asks
    assert asked == pytest.approx(problem.feed_high[0].tolist())
    assert weeks[0].asked_high_g == 0.0
    assert weeks[-1].planted_m2 == pytest.approx(5.0)


def test_both_ways_meet_where_feed_is_what_beds_ask_for(season):
    """Area that feed supports over area planted is feed over what is asked, and fish go by the same share."""
    week = feed_balance(season)["main"][-1]
    assert week.feed_g / week.asked_high_g == pytest.approx(week.fed_low_m2 / week.planted_m2)
    assert week.feed_g / week.asked_low_g == pytest.approx(week.fed_high_m2 / week.planted_m2)
    assert [fish / week.fish_kg for fish in week.asked_fish_kg] == pytest.approx(
        [week.asked_low_g / week.feed_g, week.asked_high_g / week.feed_g]
    )


def test_few_stretches_hold_all_weeks(season):
    (weeks,), (few,) = feed_balance(season).values(), feed_balance(season, MOST_ACTIONS).values()
    assert len(few) <= MOST_ACTIONS < len(weeks)
    assert sum(one.days for one in few) == sum(one.days for one in weeks) == 60
    kept = sum(one.feed_g * one.days for one in weeks)
    assert sum(one.feed_g * one.days for one in few) == pytest.approx(kept)


def test_the_plan_tells_it_behind_plants_and_as_data(site, monkeypatch):
    monkeypatch.setenv("COLUMNS", "100")
    answer = keep_answer(keep_plan(site))
    rows = [part.rows for part in answer.section("balance").parts if isinstance(part, Table)]
    assert [len(one) <= MOST_ACTIONS for one in rows] == [True]
    assert rows[0][0]["from"] in answer_text(answer, ["plants"])
    assert max(map(len, answer_text(answer, ["plants"]).splitlines())) <= 100
    weeks = answer.data["feed_and_area"]["main"]
    assert len(weeks) == 9
    assert weeks[-1]["beds_ask_g_day"][0] < weeks[-1]["beds_ask_g_day"][1]
