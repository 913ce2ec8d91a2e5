"""Dates of harvest that a plan chooses: nothing is sold that could be harvested later, judged by real seasons."""

from __future__ import annotations

import datetime as dt
import itertools
from types import SimpleNamespace

import numpy as np
import pytest
from small_sites import START, build, one_tank

from stocksim.answers.stock import milp
from stocksim.answers.stock.answer import stock_answer
from stocksim.answers.stock.dates import harvests_to_try, with_harvests
from stocksim.answers.stock.decide import plan_stocking
from stocksim.answers.stock.problem import build_problem
from stocksim.answers.stock.program import Stocking, broken, score
from stocksim.answers.stock.seasons import build_program, first_courses, season_margins
from stocksim.changes import change
from stocksim.engine.running import run_season


def crowded(days: int = 100, count: int = 60) -> dict:
    """One tank of tilapia that all fit at first and outgrow it."""
    tables = one_tank(
        days=days, count=count, mean_weight_g=120.0, bed_m2=30.0, power_w=150.0, volume_l=700.0,
        biofilter_start="mature", alkalinity_target="100 mg/L",
    )  # fmt: skip
    tables["stocking"] = {"goal": "edible", "feed_band_weight": 0}
    return tables


@pytest.fixture(scope="module")
def plan():
    return plan_stocking(build(crowded()), refused=False)


def test_fish_that_outgrow_their_tank_are_harvested_by_date_and_not_sold_at_the_start(plan):
    left = 60 - sum(p.fish for p in plan.cohorts)
    assert left < 5  # what is left is no school, which would be a date of its own
    dates = {plan.problem.candidates[p.candidate].leaves for p in plan.cohorts}
    assert len(dates) > 1
    assert len(stock_answer(plan).data["leaving"]) == (left > 0)
    events = {event["cohort"]: event["date"] for event in plan.tables["events"]}
    planned = {p.cohort: plan.problem.candidates[p.candidate].leaves for p in plan.cohorts}
    assert events == {cohort: day for cohort, day in planned.items() if day is not None}
    assert not any(finding.is_broken for finding in plan.season.findings)


def test_a_machine_on_which_all_takes_long_gives_the_same_plan(plan, monkeypatch):
    """A clock by which every look at it takes a second, and nothing kept from before: work is counted, not timed."""
    monkeypatch.setattr(milp, "time", SimpleNamespace(monotonic=itertools.count(0.0, 1.0).__next__))
    for memo in (change._seasons, change._trials):
        memo._kept.clear()
    again = plan_stocking(build(crowded()), refused=False)
    assert again.is_finished
    assert again.tables == plan.tables
    assert (again.plan.score, again.plan.bound) == (plan.plan.score, plan.plan.bound)


def test_no_plan_of_all_that_there_are_is_better_by_real_seasons():
    """Every number of fish in steps of four, on every date of harvest, run as seasons: the plan is within its steps."""
    site = build(crowded(days=64, count=40))
    plan = plan_stocking(site, refused=False)
    problem = build_problem(site)
    dated = with_harvests(problem, harvests_to_try(problem))
    program = build_program(dated, plan.wishes, first_courses(problem))
    numbers = [n for n in itertools.product(range(0, 41, 4), repeat=len(dated.candidates)) if sum(n) <= 40]
    several = [Stocking(np.array(n)[:, None], np.zeros(1, int)) for n in numbers]
    # the margin that a plan keeps in hand is the program's; what seasons say is the engine's
    sound = [s for s in several if {item.what for item in broken(program, s)} <= {"biofilter", "batch"}]
    margins = season_margins(dated, sound)
    least = {name: 5.0 if name == "biofilter" else 0.0 for name in margins}  # kept in hand, as the wish has it
    holds = np.all([margins[name] >= least[name] for name in margins], axis=0)
    held = [s for s, ok in zip(sound, holds, strict=True) if ok]
    best = max(score(program, "edible", s) for s in held)
    assert len(held) > 20
    assert plan.plan.score >= 0.99 * best
    assert plan.plan.bound >= best


def test_the_same_fish_on_another_date_are_counted_once():
    problem = build_problem(build(crowded()))
    dated = with_harvests(problem, harvests_to_try(problem))
    program = build_program(dated, problem.site.file.stocking, first_courses(problem))
    number = len(dated.candidates)
    assert number > 2
    assert (dated.stock == 0).all()
    assert [dated.is_own(c) for c in range(number)] == [True] * number
    fish = np.zeros((number, 1), int)
    fish[:2, 0] = 31
    assert {item.what for item in broken(program, Stocking(fish, np.zeros(1, int)))} >= {"number"}
    # kilos grow with the date, and 60 sold at the start are 60 of the start's weight
    assert (np.diff(program.edible_kg[0, 1:]) > 0.0).all()
    empty = Stocking(np.zeros((number, 1), int), np.zeros(1, int))
    share = dated.entries[0].number("fillet_yield", 0.0)
    assert score(program, "edible", empty) == pytest.approx(60 * 0.12 * share)


def test_a_planned_harvest_is_run_on_its_morning(plan):
    season = run_season(plan.season.site)
    for p in plan.cohorts:
        leaves = plan.problem.candidates[p.candidate].leaves
        if leaves is None:
            continue
        column = season.layout.cohorts.index(p.cohort)
        day = (leaves - START) // dt.timedelta(days=1)
        assert season.course.count[0, day - 1, column] > 0.0
        assert season.course.count[0, day, column] == 0.0
