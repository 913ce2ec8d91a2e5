"""The integer program of stocking against brute force, textbook instances and handbook sizing."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
from hunting import examples
from hypothesis import given, settings
from hypothesis import strategies as st
from small_programs import TIGHT, every_stocking, programs, small

from stocksim.answers.stock import milp as program_milp
from stocksim.answers.stock.program import (
    GOALS,
    Limit,
    Program,
    Stocking,
    broken,
    limit_uses,
    score,
)
from stocksim.answers.stock.rows import cliques, undominated
from stocksim.answers.stock.solve import solve


def holds_in_plain_words(program: Program, stocking: Stocking) -> bool:
    """Whether a stocking holds, by loops over names that share no line with the package."""
    fish, choice = stocking.fish.tolist(), stocking.choice.tolist()
    tanks, candidates = range(len(program.tanks)), range(len(program.candidates))
    loop_of = program.tank_loop.tolist()
    for c in candidates:
        if not program.least[c] <= sum(fish[c]) <= program.most[c]:
            return False
        for t in tanks:
            if fish[c][t] and (fish[c][t] < program.minimum_batch[c] or not program.allowed[choice[loop_of[t]], c, t]):
                return False
    for a, b in itertools.permutations(candidates, 2):
        for s, t in itertools.product(tanks, tanks):
            if not (fish[a][s] and fish[b][t]):
                continue
            if program.apart_in_tank[a, b] and s == t:
                return False
            if program.apart_in_loop[a, b] and loop_of[s] == loop_of[t]:
                return False
    money = sum(program.price[c] * sum(fish[c]) for c in candidates) + sum(program.option_cost[o] for o in choice)
    if money > program.budget + 1e-9:
        return False
    kinds = {program.species[c] for c in candidates if sum(fish[c])}
    if not program.species_least <= len(kinds) <= program.species_most:
        return False
    for wish in program.wishes:
        if (
            sum(wish.kg_per_fish[choice[loop_of[t]], c] * fish[c][t] for c in candidates for t in tanks)
            < wish.kg - 1e-9
        ):
            return False
    for limit in program.limits:
        for week, t in itertools.product(range(program.weeks), tanks):
            option = choice[loop_of[t]]
            near = [s for s in tanks if loop_of[s] == loop_of[t]]
            judges = [c for c in candidates if fish[c][t]]
            if limit.is_of_loop:
                judges = [c for c in candidates if any(fish[c][s] for s in near)]
            elif limit.influence is None:
                near = [t]
            elif not judges:
                judges = [c for c in candidates if program.allowed[option, c, t]]
                loose = [limit.capacity[option, c, t, week] for c in judges]
                judges = [judges[int(np.argmax(loose))]] if loose else []
            used = sum(
                fish[c][s]
                * limit.load[option, c, week]
                * (1.0 if limit.influence is None else limit.influence[option, t, s, week])
                for c in candidates
                for s in near
            )
            for c in judges:
                if used > limit.capacity[option, c, 0 if limit.is_of_loop else t, week] + 1e-9:
                    return False
    return True


@settings(max_examples=examples(250))
@given(programs(), st.sampled_from(GOALS), st.booleans())
def test_brute_force_finds_the_same_optimum(program, goal, leaves_rows_out):
    held = [s for s in every_stocking(program) if not broken(program, s)]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(program_milp, "MANY_ROWS", 0 if leaves_rows_out else 200)
        plan = solve(program, goal, gap=TIGHT)
    if not held:
        assert (plan.status, plan.stocking) == ("infeasible", None)
        return
    best = max(score(program, goal, s) for s in held)
    assert plan.status == "optimal"
    assert plan.score == pytest.approx(best, rel=TIGHT, abs=TIGHT)
    assert plan.bound == pytest.approx(best, rel=10 * TIGHT, abs=10 * TIGHT)
    assert not broken(program, plan.stocking)
    assert holds_in_plain_words(program, plan.stocking)


@settings(max_examples=examples(120))
@given(programs(), st.sampled_from(GOALS))
def test_a_large_program_in_parts_holds_and_its_bound_is_honest(program, goal):
    """Every program here taken as a large one: solved for a cell or two at a time."""
    held = [s for s in every_stocking(program) if not broken(program, s)]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(program_milp, "MOST_CELLS", 0)
        patch.setattr(program_milp, "CELLS_AT_ONCE", 1)
        plan = solve(program, goal, gap=TIGHT)
    if not held:
        assert plan.stocking is None
        return
    best = max(score(program, goal, s) for s in held)
    assert plan.status in ("optimal", "counted")
    assert plan.stocking is not None
    assert holds_in_plain_words(program, plan.stocking)
    assert plan.score <= best + 10 * TIGHT <= plan.bound + 20 * TIGHT


@settings(max_examples=examples(100))
@given(programs(), st.permutations(GOALS))
def test_brute_force_finds_the_same_optimum_above_a_floor(program, goals):
    goal, other = goals[:2]
    held = [s for s in every_stocking(program) if not broken(program, s)]
    if not held:
        return
    reached = [score(program, other, s) for s in held]
    floor = float(np.quantile(reached, 0.7))
    best = max(score(program, goal, s) for s, r in zip(held, reached, strict=True) if r >= floor)
    plan = solve(program, goal, gap=TIGHT, floors={other: floor - TIGHT})
    assert plan.score == pytest.approx(best, rel=TIGHT, abs=TIGHT)
    assert score(program, other, plan.stocking) >= floor - 10 * TIGHT * max(1.0, abs(floor))


@settings(max_examples=examples(40))
@given(programs())
def test_the_check_without_a_solver_agrees_with_plain_loops(program):
    stockings = list(every_stocking(program))
    for stocking in stockings[:: max(1, len(stockings) // 60)]:
        assert (not broken(program, stocking)) == holds_in_plain_words(program, stocking)


# --- textbook instances


def knapsack(values: list[float], weights: list[float], capacity: float) -> Program:
    """Each candidate once at most, in one tank whose only limit is the knapsack."""
    n = len(values)
    load = np.array(weights, float)[None, :, None]
    limit = Limit("weight", "kg", load, np.full((1, n, 1, 1), float(capacity)))
    return small(n, 1, edible_kg=np.array(values, float)[None], most=np.ones(n, int), limits=(limit,))


@pytest.mark.parametrize(
    ("values", "weights", "capacity", "optimum", "taken"),
    [
        # common textbook instances, from memory; each optimum is found again below by trying all subsets
        ([60, 100, 120], [10, 20, 30], 50, 220, [1, 2]),
        ([10, 40, 30, 50], [5, 4, 6, 3], 10, 90, [1, 3]),
        ([92, 57, 49, 68, 60, 43, 67, 84, 87, 72], [23, 31, 29, 44, 53, 38, 63, 85, 89, 82], 165, 309, [0, 1, 2, 3, 5]),
        ([24, 13, 23, 15, 16], [12, 7, 11, 8, 9], 26, 51, [1, 2, 3]),
    ],
)
def test_knapsacks(values, weights, capacity, optimum, taken):
    subsets = itertools.product([0, 1], repeat=len(values))
    assert optimum == max(np.dot(s, values) for s in subsets if np.dot(s, weights) <= capacity)
    plan = solve(knapsack(values, weights, capacity), gap=TIGHT)
    assert plan.value == pytest.approx(optimum)
    assert np.flatnonzero(plan.stocking.fish[:, 0]).tolist() == taken
    assert plan.gap <= TIGHT


def test_assignment_of_one_batch_to_each_tank():
    """Three kinds that may not share, three tanks: the best of the six assignments."""
    gain = np.array([[8.0, 4.0, 7.0], [5.0, 2.0, 3.0], [9.0, 4.0, 8.0]])
    room = np.stack([gain] * 1)[..., None]  # tank t bears gain[c, t] fish of kind c at a kilo each
    apart = ~np.eye(3, dtype=bool)
    limit = Limit("density", "kg", np.ones((1, 3, 1)), room)
    plan = solve(small(3, 3, most=np.full(3, 99), limits=(limit,), apart_in_tank=apart), gap=TIGHT)
    # one kind may take all the tanks, too: brute force over which kind lives in which tank
    best = max(sum(gain[kinds[t], t] for t in range(3)) for kinds in itertools.product(range(3), repeat=3))
    assert plan.value == pytest.approx(best) == 21.0


# --- handbook sizing: planted area -> feed -> biomass -> volume, when the program is given only these


@pytest.mark.parametrize(
    ("area_m2", "ratio", "feed_g", "ration", "density", "biomass_kg", "volume_m3"),
    [
        # Rakocy 2007, Ten guidelines for aquaponic systems: 200 m2 at 100 g/m2/day take 20 kg of feed a day (read);
        # 1 % of body weight and 60 kg/m3, usual design (common practice): 2,000 kg in 33.3 m3
        (200.0, 100.0, 20000.0, 0.01, 60.0, 2000.0, 33.3),
        # Somerville et al. 2014, FAO 589 (from memory): 4 m2 of lettuce at 50 g/m2/day take 200 g; at 1-2 % of body
        # weight 10-20 kg of fish; below 20 kg/m3 0.5-1 m3
        (4.0, 50.0, 200.0, 0.01, 20.0, 20.0, 1.0),
        (4.0, 50.0, 200.0, 0.02, 20.0, 10.0, 0.5),
        # the same book's sizing table, 2,000 L: 40 kg, 400 g, 8 m2 (from memory; 1 % and 50 g/m2 inside)
        (8.0, 50.0, 400.0, 0.01, 20.0, 40.0, 2.0),
        # a designer's worked page (read): 50 fish of 500 g in 1 m3 at 1 % body weight: 25 kg, 250 g a day
        (5.0, 50.0, 250.0, 0.01, 25.0, 25.0, 1.0),
    ],
)
def test_handbook_sizing(area_m2, ratio, feed_g, ration, density, biomass_kg, volume_m3):
    """Most fish that the area's feed carries need just the handbook's volume, and no fewer fish fit in less."""
    weight_g = 500.0
    band = np.full((1, 1), area_m2 * ratio)

    def plan_in(volume: float) -> float:
        limit = Limit("density", "kg", np.full((1, 1, 1), weight_g / 1000.0), np.full((1, 1, 1, 1), volume * density))
        program = small(
            1, 1, most=np.array([10**5]), limits=(limit,), edible_kg=np.full((1, 1), weight_g / 1000.0),
            feed_g_day=np.full((1, 1, 1), weight_g * ration), feed_high=band, band_price={"edible": 1e4},
        )  # fmt: skip
        plan = solve(program, gap=TIGHT)
        fed = float(program.feed_g_day[0, 0, 0] * plan.stocking.fish.sum())
        assert fed <= feed_g + 1e-6
        return plan.value

    assert area_m2 * ratio == pytest.approx(feed_g)
    assert plan_in(10.0 * volume_m3) == pytest.approx(biomass_kg)
    one = weight_g / 1000.0  # the printed volume has three digits, so that the fish may be a few off
    assert plan_in(volume_m3) == pytest.approx(biomass_kg, abs=one + 0.0005 * volume_m3 * density * 10)
    assert plan_in(0.5 * volume_m3) == pytest.approx(0.5 * biomass_kg, abs=one + 0.0005 * volume_m3 * density * 10)


# --- parts


@given(st.integers(0, 10**6))
def test_rows_left_out_are_implied(seed):
    rng = np.random.default_rng(seed)
    rows = rng.integers(0, 4, (8, 3)) / 4.0
    kept = undominated(rows)
    assert all((kept >= row).all(axis=1).any() for row in rows)
    assert len(kept) <= len(rows)


@given(st.integers(0, 10**6))
def test_groups_cover_every_pair_and_no_other(seed):
    rng = np.random.default_rng(seed)
    upper = np.triu(rng.random((6, 6)) < 0.5, 1)
    apart = upper | upper.T
    covered = np.zeros_like(apart)
    for group in cliques(apart):
        for a, b in itertools.permutations(group, 2):
            covered[a, b] = True
    assert (covered == apart).all()


def test_arrays_that_do_not_fit_are_refused():
    limit = Limit("density", "kg", np.ones((1, 2, 1)), np.full((1, 2, 1, 1), np.inf))
    with pytest.raises(ValueError, match="load without a capacity"):
        small(2, 1, limits=(limit,))
    with pytest.raises(ValueError, match="density: load"):
        small(2, 1, limits=(limit._replace(load=np.ones((1, 1, 1))),))
    with pytest.raises(ValueError, match="without an option"):
        replace(small(1, 1), option_loop=np.array([1]))


def test_an_empty_tank_uses_nothing():
    limit = Limit("density", "kg", np.ones((1, 4, 3)), np.full((1, 4, 2, 3), 9.0))
    used = limit_uses(small(4, 2, 3, limits=(limit,)), Stocking(np.zeros((4, 2), int), np.zeros(1, int)))
    assert used[0].use.sum() == 0.0
    assert np.isinf(used[0].capacity).all()
