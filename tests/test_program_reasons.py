"""Why a plan is as it is: what binds, what more is worth, who is left out, what must give way."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hunting import examples
from hypothesis import given, settings
from small_programs import TIGHT, crowded, programs

from stocksim.answers.stock.program import Wish, broken, limit_uses
from stocksim.answers.stock.reasons import (
    binding_limits,
    contradiction,
    keep_all,
    refusals,
    smallest_relaxation,
    worth_of_more,
)
from stocksim.answers.stock.solve import solve


def test_what_binds_and_what_more_of_it_is_worth():
    program = crowded()
    plan = solve(program, gap=TIGHT)
    assert plan.stocking.fish[:, 0].tolist() == [0, 5, 0]
    (binding,) = binding_limits(program, plan.stocking)
    assert (binding.limit, binding.where, binding.use, binding.capacity) == ("density", "cedar", 10.0, 10.0)
    # 20 % more: one more bass; 10 %: one perch beside the five bass
    (worth,) = worth_of_more(program, plan, [binding], step=0.2, gap=TIGHT)
    assert (worth.more, worth.gain) == (pytest.approx(2.0), pytest.approx(1.4))
    (worth,) = worth_of_more(program, plan, [binding], step=0.1, gap=TIGHT)
    assert (worth.more, worth.gain) == (pytest.approx(1.0), pytest.approx(0.5))
    assert worth.gain_low <= worth.gain <= worth.gain_high


def test_a_budget_that_binds():
    program = crowded(budget=6.5)
    plan = solve(program, gap=TIGHT)
    assert plan.stocking.fish[:, 0].tolist() == [6, 0, 0]  # 3 kg for 6; two bass would give 2.8
    (binding,) = binding_limits(program, plan.stocking)
    assert (binding.limit, binding.use, binding.capacity) == ("budget", 6.0, 6.5)
    (worth,) = worth_of_more(program, plan, [binding], step=0.5 / 6.5, gap=TIGHT)
    assert worth.gain == pytest.approx(0.5)


def test_why_each_is_left_out():
    program = crowded()
    plan = solve(program, gap=TIGHT)
    perch, trout = refusals(program, plan, gap=TIGHT)
    assert (perch.candidate, perch.kind) == ("perch", "worse")
    # one perch costs a bass and brings one perch more: 5 bass 7.0 -> 4 bass and 2 perch 6.6
    assert perch.lost == pytest.approx(0.4)
    assert perch.lost_low - 1e-5 <= perch.lost <= perch.lost_high + 1e-5
    assert (trout.candidate, trout.kind) == ("trout", "no_place")


def test_one_left_out_costs_no_less_than_the_best_arrangement_would():
    """Its most is honest whatever was tried: what is lost lies between what must be lost and that most."""
    program = crowded(minimum_batch=np.array([4, 2, 1]))
    plan = solve(program, gap=TIGHT)
    perch, _ = refusals(program, plan, gap=TIGHT)
    best = solve(replace(program, least=np.array([4, 0, 0])), gap=TIGHT)
    must = plan.score - best.score
    assert must > 0.0
    assert perch.lost_low - 1e-5 <= must <= perch.lost + 1e-5
    assert perch.lost <= perch.lost_high + 1e-5


def test_who_is_left_out_for_want_of_room():
    """Eight perch that must stay leave 2 kg: a batch of two bass would need 2 kg more."""
    program = crowded(least=np.array([8, 0, 0]), minimum_batch=np.array([1, 2, 1]))
    plan = solve(program, gap=TIGHT)
    assert plan.stocking.fish[:, 0].tolist() == [10, 0, 0]
    bass, _ = refusals(program, plan, gap=TIGHT)
    assert (bass.candidate, bass.kind) == ("bass", "no_room")
    (gives,) = bass.gives
    assert (gives.what, gives.where, gives.value, gives.bound) == ("density", "cedar", 12.0, 10.0)


@pytest.mark.parametrize(
    ("changes", "giving", "what", "share"),
    [
        # 14 perch that must stay, in room for 10: 40 % more room, or 4 of 14 given up
        ({"least": np.array([14, 0, 0])}, ("limits",), ("density", "cedar", 14.0, 10.0), 0.4),
        ({"least": np.array([14, 0, 0])}, ("keep",), ("number", "perch", 10.0, 14.0), 4.0 / 14.0),
        # 9 kg wanted of room for 7: 5 bass give 7.0; of the wish 2/9 must go
        (
            {"wishes": (Wish("supper", 9.0, np.array([[0.5, 1.4, 0.9]])),)}, ("wishes",),
            ("wish", "supper", 7.0, 9.0), 2.0 / 9.0,
        ),
        # 2.8 kg cost 6, as two bass or six perch
        (
            {"wishes": (Wish("supper", 2.8, np.array([[0.5, 1.4, 0.9]])),), "budget": 4.0}, ("budget",),
            ("budget", "", 6.0, 4.0), 2.0 / 4.0,
        ),
        ({"species_least": 3}, ("species",), ("species", "", 2.0, 3.0), 1.0),
    ],
)  # fmt: skip
def test_the_smallest_giving_way(changes, giving, what, share):
    program = crowded(**changes)
    assert solve(program).status == "infeasible"
    relaxed = smallest_relaxation(program, giving, gap=TIGHT)
    (gives,) = [item for item in relaxed.gives if item.what != "batch"]
    assert (gives.what, gives.where) == what[:2]
    assert (gives.value, gives.bound) == pytest.approx(what[2:])
    assert relaxed.total == pytest.approx(share, abs=1e-5)


def test_nothing_gives_where_nothing_must():
    relaxed = smallest_relaxation(crowded())
    assert relaxed.gives == ()
    assert relaxed.total == pytest.approx(0.0, abs=1e-6)


@settings(max_examples=examples(60))
@given(programs())
def test_a_program_gives_way_just_where_it_is_infeasible(program):
    is_feasible = solve(program, gap=TIGHT).stocking is not None
    relaxed = smallest_relaxation(program, gap=TIGHT)
    if relaxed.stocking is None:  # company and places alone may rule out what must be placed, but fish may give way
        assert relaxed.status == "infeasible"
        return
    assert (relaxed.total < 1e-5) == is_feasible
    # what it tells as given way is all that the arrays say is broken
    assert bool(relaxed.gives) == bool(broken(program, relaxed.stocking))
    assert bool(contradiction(program)) == (not is_feasible)


def test_keeping_all_tells_what_must_change():
    """Twelve perch of the keeper in room for ten: thinned by two, or a fifth more room."""
    program = crowded(owned=np.array([12, 0, 0]), most=np.array([12, 50, 50]))
    assert solve(program, gap=TIGHT).status == "optimal"  # thinning is allowed
    kept = keep_all(program, gap=TIGHT)
    (gives,) = kept.gives
    assert (gives.what, gives.where, gives.value, gives.bound) == ("density", "cedar", 12.0, 10.0)
    assert kept.stocking.fish[0].sum() == 12


@pytest.mark.parametrize(
    ("changes", "named"),
    [
        ({"least": np.array([14, 0, 0])}, {"density", "keep perch"}),
        ({"budget": 0.0, "wishes": (Wish("supper", 1.0, np.ones((1, 3))),)}, {"budget", "wish supper"}),
        ({"least": np.array([0, 0, 1])}, {"keep trout"}),  # no tank may hold it
        (
            {"least": np.array([1, 1, 0]), "apart_in_tank": ~np.eye(3, dtype=bool)},
            {"company", "keep perch", "keep bass"},
        ),
        ({"species_least": 3}, {"species"}),
    ],
)
def test_contradictions_are_named(changes, named):
    program = crowded(**changes)
    assert set(contradiction(program)) == named


def test_nothing_contradicts_in_a_program_that_holds():
    assert contradiction(crowded()) == ()


def test_a_delicate_fish_tightens_the_limit_for_all():
    """Bass bear 10 kg, perch 4: beside perch the bass are held to 4 as well, unless influence leaves them out."""
    limit = crowded().limits[0]
    capacity = limit.capacity.copy()
    capacity[:, 0] = 4.0
    program = replace(crowded(least=np.array([1, 0, 0])), limits=(limit._replace(capacity=capacity),))
    plan = solve(program, gap=TIGHT)
    assert plan.stocking.fish[:, 0].tolist() == [2, 1, 0]
    (used,) = limit_uses(program, plan.stocking)
    assert used.use[0, 0] == used.capacity[0, 0] == 4.0
