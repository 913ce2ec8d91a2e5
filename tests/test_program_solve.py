"""Goals against each other, time limits and large programs of the stocking solver. All invented."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
from small_programs import TIGHT, small

from stocksim.answers.stock import milp as program_milp
from stocksim.answers.stock.milp import Work
from stocksim.answers.stock.program import Limit, Program, Stocking, broken, goal_value, score
from stocksim.answers.stock.rows import without_specks
from stocksim.answers.stock.solve import solve, solve_in_order, trade_off


def two_goals() -> Program:
    """Fish with more kilos cost more, and the beds like steady feed: the goals pull apart."""
    rng = np.random.default_rng(4)
    load = rng.uniform(0.5, 1.5, (1, 4, 3))
    return small(
        4, 2, 3, most=np.full(4, 12), edible_kg=np.array([[0.4, 0.7, 1.1, 1.6]]),
        cost=np.array([[1.0, 2.2, 4.1, 7.3]]), feed_g_day=load * 3.0, feed_low=np.full((1, 3), 20.0),
        feed_high=np.full((1, 3), 40.0),
        limits=(Limit("density", "kg", load, np.full((1, 4, 2, 3), 9.0)),),
    )  # fmt: skip


@pytest.mark.parametrize(("first", "second"), [("edible", "cost"), ("edible", "steady"), ("steady", "cost")])
def test_no_plan_of_a_trade_off_is_beaten(first, second):
    program = two_goals()
    points = trade_off(program, first, second, plans=5, gap=TIGHT)
    assert len(points) >= 5
    scores = [(score(program, first, p.stocking), score(program, second, p.stocking)) for p in points]
    for a, b in itertools.permutations(scores, 2):
        assert a[0] > b[0] or a[1] > b[1]
    assert scores[0][0] == pytest.approx(solve(program, first, TIGHT).score, rel=1e-5, abs=1e-5)
    assert scores[-1][1] == pytest.approx(solve(program, second, TIGHT).score, rel=1e-5, abs=1e-5)
    assert all(not broken(program, p.stocking) for p in points)


def test_goals_in_order():
    program = two_goals()
    alone = solve(program, "edible", TIGHT)
    plans = solve_in_order(program, ["edible", "cost"], TIGHT, given_up=0.05)
    last = plans[-1].stocking
    assert goal_value(program, "edible", last) >= 0.95 * alone.value - 1e-5
    assert goal_value(program, "cost", last) <= goal_value(program, "cost", alone.stocking)
    # the other order gives the cheapest first: no fish at all
    assert solve_in_order(program, ["cost", "edible"], TIGHT)[-1].stocking.fish.sum() == 0


def middling() -> Program:
    """Five kinds, three tanks, thirty weeks: enough rows that some are left out at first."""
    rng = np.random.default_rng(11)
    shape = (1, 5, 3, 30)
    load = rng.uniform(0.2, 1.0, (1, 5, 30))
    apart = np.triu(rng.random((5, 5)) < 0.3, 1)
    limits = tuple(
        Limit(name, "kg", load * rng.uniform(0.5, 1.5, (1, 5, 30)), rng.uniform(8.0, 14.0, shape), influence=influence)
        for name, influence in (
            ("density", None),
            ("oxygen", np.eye(3)[None, :, :, None] + rng.uniform(0.0, 0.2, (1, 3, 3, 30))),
        )
    )
    return small(
        5, 3, 30, most=np.full(5, 40), minimum_batch=np.full(5, 3), edible_kg=rng.uniform(0.3, 1.0, (1, 5)),
        limits=limits, apart_in_tank=apart | apart.T,
    )  # fmt: skip


def filled(program: Program, order) -> Stocking:
    """Fish put in cell after cell, as many as hold."""
    stocking = Stocking(np.zeros((len(program.candidates), len(program.tanks)), int), np.zeros(1, int))
    for candidate, tank in order:
        for count in range(int(program.most[candidate]), 0, -1):
            stocking.fish[candidate, tank] = count
            if not broken(program, stocking):
                break
            stocking.fish[candidate, tank] = 0
    return stocking


def test_a_plan_beats_greedy_filling_and_random_stockings():
    program = middling()
    plan = solve(program, gap=0.005)
    cells = list(itertools.product(range(5), range(3)))
    heaviest = program.limits[0].load[0].max(axis=1)
    greedy = filled(program, sorted(cells, key=lambda cell: -program.edible_kg[0, cell[0]] / heaviest[cell[0]]))
    rng = np.random.default_rng(0)
    drawn = [filled(program, rng.permutation(cells)) for _ in range(10)]
    assert plan.score > score(program, "edible", greedy)
    assert plan.score > max(score(program, "edible", stocking) for stocking in drawn)


def test_rows_left_out_at_first_change_nothing(monkeypatch):
    program = middling()
    plan = solve(program, gap=0.005)
    monkeypatch.setattr(program_milp, "MANY_ROWS", 10**9)
    other = solve(program, gap=0.005)
    assert max(plan.score, other.score) <= min(plan.bound, other.bound) + TIGHT
    assert plan.score == pytest.approx(other.score, rel=0.005)
    assert plan.status == "optimal"


def test_a_pulled_brake_is_told():
    work = Work(brake_s=0.0)
    plan = solve(middling(), work=work)
    assert (plan.status, plan.stocking, plan.gap) == ("unfinished", None, np.inf)
    assert np.isnan(plan.value)
    assert work.is_pulled


def test_nodes_that_end_are_counted_and_the_same_again():
    """With a single node some gap stays open; it is told, and it is the same whenever it is asked."""
    plans = [solve(middling(), gap=1e-6, work=Work(nodes=1)) for _ in range(2)]
    assert plans[0].status == "counted"
    assert plans[0].gap > 1e-6
    assert plans[0].bound >= solve(middling(), gap=0.005).score - TIGHT
    assert (plans[0].stocking.fish == plans[1].stocking.fish).all()


def test_nodes_that_end_over_a_broken_row_still_give_a_plan_that_holds(monkeypatch):
    """The first whole solution is made to break a row left out, and no node is left: fewer fish in its tanks hold."""
    program, highs, calls = middling(), program_milp._highs, []

    def ended(table, free, at, gap, work, is_plain=False, keeping=None):
        if is_plain:
            return highs(table, free, at, gap, work, is_plain)
        calls.append(keeping)
        few = table._replace(taken=np.array(table.matrix.family) < 0) if len(calls) == 1 else table
        found = highs(few, free, at, gap, work, is_plain, keeping)
        if len(calls) == 2:
            found.x, found.status = None, 1
        return found

    monkeypatch.setattr(program_milp, "_highs", ended)
    monkeypatch.setattr(program_milp, "_take_in", lambda *arguments: len(calls) == 1)
    plan = solve(program)
    assert len(calls) == 3
    assert plan.status == "counted"
    assert plan.stocking is not None
    assert not broken(program, plan.stocking)
    assert plan.gap == pytest.approx((plan.bound - plan.score) / plan.score)
    monkeypatch.undo()
    assert plan.bound >= solve(program, gap=0.005).score - TIGHT


def test_infeasible_is_believed_only_without_presolve(monkeypatch):
    import scipy.optimize

    honest, asked = scipy.optimize.milp, []

    def hasty(*given, options, **named):
        asked.append(options["presolve"])
        found = honest(*given, options=options, **named)
        if options["presolve"]:
            found.x, found.status = None, 2
        return found

    monkeypatch.setattr(scipy.optimize, "milp", hasty)
    assert solve(small(2, 1), "edible", TIGHT).value == pytest.approx(6.0)
    assert asked == [True, False]
    assert solve(small(2, 1, least=np.array([9, 0])), "edible", TIGHT).status == "infeasible"


def test_specks_leave_a_row_on_the_safe_side():
    row, most = np.array([0.1, 3e-15, 1e-11, 1e-6]), np.array([20.0, 40.0, 50.0, 30.0])
    kept, right = without_specks(row, most)
    assert kept.tolist() == [0.1, 0.0, 0.0, 1e-6]
    # what the row without specks lets pass, the whole row does
    assert right + (row - kept) @ most <= 1.0 + 1e-15
    assert 1.0 - 1e-8 < right < 1.0


def test_fish_of_one_stock_are_a_school_on_whatever_dates_they_are_harvested():
    """Six fish, five of them a school: three for each date are one school, two and four in two tanks are none."""
    program = small(2, 2, most=np.array([6, 6]), minimum_batch=np.array([5, 1]), stock=np.array([0, 0]))
    plan = solve(program, gap=TIGHT)
    assert (plan.status, plan.value) == ("optimal", pytest.approx(6.0))
    assert broken(program, plan.stocking) == []
    halves = replace(program, allowed=np.array([[[True, False], [False, True]]]), most=np.array([6, 6]))
    plan = solve(halves, gap=TIGHT)  # each date has a tank of its own, so all are of one date
    assert sorted(plan.stocking.fish.sum(axis=1).tolist()) == [0, 6]
