"""Plans without a solver: a plain fill, steps near a plan in full seasons, and a program that agrees with a season."""

from __future__ import annotations

import numpy as np
import pytest
from random_sites import random_stockings, random_tables
from small_sites import build, one_tank

from stocksim.answers.stock.decide import plan_stocking
from stocksim.answers.stock.milp import Work
from stocksim.answers.stock.nearby import polished
from stocksim.answers.stock.planner import Filling, greedy_stocking
from stocksim.answers.stock.problem import build_problem
from stocksim.answers.stock.program import Stocking, broken, limit_uses, score
from stocksim.answers.stock.rounds import calibrated
from stocksim.answers.stock.seasons import (
    build_program,
    first_courses,
    run_stocking,
    season_margins,
    worst_margins,
)
from stocksim.engine.results.findings import limit_series, tank_extremes
from stocksim.site.kinds import hard_limits


@pytest.fixture(scope="module")
def house():
    """Problem, wishes, first courses and program of a random site of one season of 40 days."""
    site = build(random_tables(2, days=40))
    problem = build_problem(site)
    first = first_courses(problem)
    return problem, site.file.stocking, first, build_program(problem, site.file.stocking, first)


def test_a_fill_keeps_every_condition_and_leaves_no_room(house):
    _, _, _, program = house
    stocking = greedy_stocking(program, "edible")
    assert stocking.fish.sum() > 0
    assert broken(program, stocking) == []
    filling = Filling(program, stocking.choice)
    for c, t in np.argwhere(stocking.fish):
        filling.add(int(c), int(t), int(stocking.fish[c, t]))
    for c, t in np.argwhere(program.allowed.any(axis=0)):
        room = filling.room(int(c), int(t))
        if room >= max(program.minimum_batch[c], 1):
            more = stocking.fish.copy()
            more[c, t] += room
            assert (
                score(program, "edible", Stocking(more, stocking.choice)) <= score(program, "edible", stocking) + 1e-9
            )


def test_room_is_what_the_program_itself_allows(house):
    """One fish more than the room breaks the program, checked by `broken`, which shares no code with the fill."""
    _, _, _, program = house
    for stocking in random_stockings(program, 8, seed=5):
        filling = Filling(program, stocking.choice)
        for c, t in np.argwhere(stocking.fish):
            filling.add(int(c), int(t), int(stocking.fish[c, t]))
        for c, t in np.argwhere(program.allowed.any(axis=0)):
            room, batch = filling.room(int(c), int(t)), int(program.minimum_batch[c])
            for number, is_sound in ((room, True), (room + 1, False)):
                fish = stocking.fish.copy()
                fish[c, t] += number
                if fish[c, t] >= batch or not is_sound:
                    over = [item for item in broken(program, Stocking(fish, stocking.choice)) if item.what != "batch"]
                    assert (over == []) == is_sound or number == 0


def test_polish_makes_a_thin_plan_better_and_it_holds(house):
    problem, _, _, program = house
    full = greedy_stocking(program, "edible")
    thin = Stocking(np.where(full.fish // 2 < program.minimum_batch[:, None], 0, full.fish // 2), full.choice)
    assert worst_margins(problem, [thin])[0] >= 0.0
    better = polished(problem, program, "edible", thin, [full], 0.05)
    assert score(program, "edible", better) > score(program, "edible", thin) + 0.1
    assert worst_margins(problem, [better])[0] >= 0.0
    rows = {item.what for item in broken(program, better)}
    assert rows <= {"biofilter"}
    same = polished(problem, program, "edible", thin, [full], 0.05, Work(brake_s=0.0))
    assert (same.fish == thin.fish).all()


def test_a_calibrated_program_uses_its_limits_as_the_season_does(house):
    problem, wishes, first, program = house
    stocking = greedy_stocking(program, "edible")
    stocking = stocking._replace(fish=np.where(stocking.fish // 2 < 5, 0, stocking.fish // 2))
    layout, course = run_stocking(problem, stocking)
    courses = [course if o in stocking.choice else None for o in range(len(problem.options))]
    plain = build_program(problem, wishes, first, courses)
    agreeing = build_program(problem, wishes, first, courses, calibrated(plain, stocking, layout, course, 0.05))
    density = next(use for use in limit_uses(agreeing, stocking) if use.limit == "density")
    biomass = (course.weight_g * (course.count + course.deaths))[0] @ layout.cohort_tank / 1000.0
    for tank in np.flatnonzero(stocking.fish.sum(axis=0)):
        strictest = min(layout.density_limit[layout.cohort_tank[:, tank] > 0.0])
        share = biomass[:, tank].max() / (strictest * layout.volume_m3[tank]) / 0.95
        assert (density.use[tank] / density.capacity[tank]).max() == pytest.approx(share, rel=1e-6)
    assert broken(agreeing, stocking) == []


def test_every_limit_of_a_season_has_a_margin_with_and_without_fish(house):
    problem, _, _, program = house
    full = greedy_stocking(program, "edible")
    empty = full._replace(fish=np.zeros_like(full.fish))
    margins = season_margins(problem, [full, empty])
    layout, course = run_stocking(problem, full)
    assert (
        set(margins)
        == set(hard_limits())
        == {s.limit for s in limit_series(layout, course, tank_extremes(layout, course))}
    )
    assert all(np.isinf(each[1]) for each in margins.values())


def test_one_tank_on_a_new_film_is_answered_with_an_empty_plan():
    """A new film carries no fish from the first day, so the plan without fish is what the seasons are polished from."""
    tables = one_tank("yellow_perch", "perch_45", 18.0, days=60, count=60, mean_weight_g=50.0, ph=None)
    tables["loops"]["main"]["biofilter_start"] = "new"
    bought = {"species": "yellow_perch", "mean_weight": "50 g", "price": 1.0, "feed": "perch_45", "at_most": 60}
    tables["stocking"] = {"goal": "edible", "candidates": {"perch": bought}}
    plan = plan_stocking(build(tables))
    assert plan.plan is not None
    assert plan.plan.stocking.fish.sum() == 0
