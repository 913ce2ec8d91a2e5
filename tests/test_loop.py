"""The balance of a loop: conservation, a dense solver and directions."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pytest
import stars as of_rows
from hunting import examples
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import root

from stocksim.water.nitrification import HALF_SATURATION_TAN_MG_L

K = HALF_SATURATION_TAN_MG_L
# Mass closes to 1e-9 relative: the sump is iterated to 1e-13, the rest is rounding.
CLOSED = 1e-9


class Water(NamedTuple):
    """A day's star: what a leaf and a sump hold and pass, and what they held and get."""

    leaf_gain: np.ndarray
    leaf_load: np.ndarray
    flow: np.ndarray
    sump_gain: np.ndarray
    sump_load: np.ndarray
    members: np.ndarray


def random_star(seed: int, loops: int, leaves: int, scenarios: int = 1) -> tuple[Water, np.ndarray, np.ndarray]:
    """A random star with capacities of removal and demands, quantities spread over several powers of ten."""
    rng = np.random.default_rng(seed)

    def spread(low: float, high: float, columns: int) -> np.ndarray:
        return 10.0 ** rng.uniform(low, high, (scenarios, columns))

    members = np.eye(loops)[rng.integers(0, loops, leaves)]
    flow = spread(-1.0, 2.5, leaves)
    flow[:, rng.random(leaves) < 0.1] = 0.0
    load = spread(-3.0, 3.0, leaves) * (rng.random(leaves) < 0.8)
    water = Water(
        flow + spread(-2.0, 1.5, leaves), load, flow, flow @ members + spread(-2.0, 1.5, loops),
        spread(-3.0, 2.0, loops), members,
    )  # fmt: skip
    capacity = spread(-2.0, 3.0, leaves) * (rng.random(leaves) < 0.5)
    demand = spread(-2.0, 3.0, leaves) * (rng.random(leaves) < 0.7)
    return water, capacity, demand


SEEDS, LOOPS, LEAVES = st.integers(0, 2**32 - 1), st.integers(1, 3), st.integers(1, 9)
stars = given(SEEDS, LOOPS, LEAVES)


def removal(water: Water, capacity: np.ndarray):
    return of_rows.removal(*water, capacity, K)


def need(water: Water, demand: np.ndarray, sump_demand: np.ndarray):
    return of_rows.need(*water, demand, sump_demand)


def nothing(water: Water) -> np.ndarray:
    return np.zeros_like(water.sump_gain)


def assert_closed(water: Water, leaf: np.ndarray, sump: np.ndarray, leaf_used: np.ndarray, sump_used) -> None:
    """Load equals what is held and passed on plus what was used, leaf by leaf, sump by sump and over the loop."""
    at_leaf = sump @ water.members.T
    gross = water.leaf_load + water.flow * at_leaf
    assert (np.abs(gross - water.leaf_gain * leaf - leaf_used) <= CLOSED * (gross + leaf_used)).all()
    back = (water.flow * leaf) @ water.members
    sump_gross = water.sump_load + back
    assert (np.abs(sump_gross - water.sump_gain * sump - sump_used) <= CLOSED * (sump_gross + sump_used)).all()
    # the loop as a whole: flows cancel
    kept = ((water.leaf_gain - water.flow) * leaf) @ water.members + (
        water.sump_gain - water.flow @ water.members
    ) * sump
    load = water.leaf_load @ water.members + water.sump_load
    used = leaf_used @ water.members + sump_used
    assert (np.abs(load - kept - used) <= CLOSED * (load + back + used)).all()


def dense(water: Water) -> tuple[np.ndarray, np.ndarray]:
    """Matrix and load of the linear star, leaves first, of the first scenario."""
    leaves, loops = water.members.shape
    matrix = np.zeros((leaves + loops, leaves + loops))
    matrix[:leaves, :leaves] = np.diag(water.leaf_gain[0])
    matrix[leaves:, leaves:] = np.diag(water.sump_gain[0])
    matrix[:leaves, leaves:] = -water.flow[0][:, None] * water.members
    matrix[leaves:, :leaves] = -(water.flow[0][:, None] * water.members).T
    return matrix, np.concatenate([water.leaf_load[0], water.sump_load[0]])


@stars
def test_removal_closes_and_is_positive(seed, loops, leaves):
    water, capacity, _ = random_star(seed, loops, leaves, scenarios=3)
    star = removal(water, capacity)
    assert (star.leaf_mg_l >= 0.0).all()
    assert (star.sump_mg_l >= 0.0).all()
    assert (star.removed_g >= 0.0).all()
    assert (star.removed_g <= capacity).all()
    assert_closed(water, star.leaf_mg_l, star.sump_mg_l, star.removed_g, 0.0)


@stars
def test_removal_without_capacity_is_the_linear_solve(seed, loops, leaves):
    water, capacity, _ = random_star(seed, loops, leaves)
    star = removal(water, 0.0 * capacity)
    expected = np.linalg.solve(*dense(water))
    ours = np.concatenate([star.leaf_mg_l[0], star.sump_mg_l[0]])
    # both to rounding, amplified by the matrix's condition
    np.testing.assert_allclose(ours, expected, rtol=1e-9, atol=1e-9 * np.abs(expected).max())


@settings(max_examples=examples(50))
@stars
def test_removal_equals_a_dense_nonlinear_solve(seed, loops, leaves):
    water, capacity, _ = random_star(seed, loops, leaves)
    matrix, load = dense(water)
    taken = np.concatenate([capacity[0], np.zeros(loops)])
    scale = np.diag(matrix) + taken / K  # the steepest slope of each line: residuals are then in mg/L

    def residual(level: np.ndarray) -> np.ndarray:
        return (matrix @ level + taken * level / (K + np.abs(level)) - load) / scale

    def slopes(level: np.ndarray) -> np.ndarray:
        return (matrix + np.diag(taken * K / (K + np.abs(level)) ** 2)) / scale[:, None]

    found = root(residual, np.linalg.solve(matrix, load), jac=slopes, tol=1e-13)
    star = removal(water, capacity)
    ours = np.concatenate([star.leaf_mg_l[0], star.sump_mg_l[0]])
    # the dense solver stops at its own tolerance: 1e-7 of the largest level, and ours must not be worse in its residual
    np.testing.assert_allclose(ours, found.x, rtol=1e-7, atol=1e-7 * np.abs(ours).max())
    assert np.abs(residual(ours)).max() <= 1e-11 * (1.0 + np.abs(ours).max())


@stars
def test_more_load_never_lowers_and_more_removal_never_raises(seed, loops, leaves):
    water, capacity, _ = random_star(seed, loops, leaves)
    star = removal(water, capacity)
    slack = 1e-10 * (1.0 + star.leaf_mg_l.max())
    richer = water._replace(leaf_load=water.leaf_load + np.eye(leaves)[seed % leaves] * 5.0)
    assert (removal(richer, capacity).leaf_mg_l >= star.leaf_mg_l - slack).all()
    assert (removal(richer, capacity).sump_mg_l >= star.sump_mg_l - slack).all()
    cleaner = removal(water, capacity + np.eye(leaves)[seed % leaves] * 5.0)
    assert (cleaner.leaf_mg_l <= star.leaf_mg_l + slack).all()
    assert (cleaner.sump_mg_l <= star.sump_mg_l + slack).all()


@stars
def test_order_of_leaves_does_not_matter(seed, loops, leaves):
    water, capacity, demand = random_star(seed, loops, leaves)
    turn = np.random.default_rng(seed).permutation(leaves)
    turned = Water(
        water.leaf_gain[:, turn], water.leaf_load[:, turn], water.flow[:, turn], water.sump_gain, water.sump_load,
        water.members[turn],
    )  # fmt: skip
    for ours, other in (
        (removal(water, capacity), removal(turned, capacity[:, turn])),
        (need(water, demand, nothing(water))[0], need(turned, demand[:, turn], nothing(water))[0]),
    ):
        # sums in another order: rounding
        np.testing.assert_allclose(other.leaf_mg_l, ours.leaf_mg_l[:, turn], rtol=1e-10, atol=1e-10)
        np.testing.assert_allclose(other.removed_g, ours.removed_g[:, turn], rtol=1e-10, atol=1e-10)


@stars
def test_demand_closes_and_never_goes_below_nothing(seed, loops, leaves):
    water, _, demand = random_star(seed, loops, leaves, scenarios=3)
    sump_demand = 10.0 ** np.random.default_rng(seed).uniform(-2.0, 3.0, water.sump_gain.shape)
    star, sump_used = need(water, demand, sump_demand)
    assert (star.leaf_mg_l >= 0.0).all()
    assert (star.sump_mg_l >= 0.0).all()
    assert (star.removed_g >= 0.0).all()
    assert (star.removed_g <= demand).all()
    assert (sump_used <= sump_demand).all()
    # all of the demand is met wherever something is left
    assert (star.removed_g == demand)[star.leaf_mg_l > 0.0].all()
    assert (sump_used == sump_demand)[star.sump_mg_l > 0.0].all()
    assert_closed(water, star.leaf_mg_l, star.sump_mg_l, star.removed_g, sump_used)


@stars
def test_demand_equals_the_linear_solve_of_what_is_not_empty(seed, loops, leaves):
    water, _, demand = random_star(seed, loops, leaves)
    star, _ = need(water, demand, nothing(water))
    ours = np.concatenate([star.leaf_mg_l[0], star.sump_mg_l[0]])
    matrix, load = dense(water)
    load[:leaves] -= demand[0]
    left = ours > 0.0
    expected = np.linalg.solve(matrix[np.ix_(left, left)], load[left])
    np.testing.assert_allclose(ours[left], expected, rtol=1e-8, atol=1e-8 * ours.max())
    # an empty leaf could not have met its demand
    assert ((matrix @ ours - load)[~left] >= -1e-9 * np.abs(load).max()).all()


@stars
def test_more_demand_never_raises_oxygen(seed, loops, leaves):
    water, _, demand = random_star(seed, loops, leaves)
    star, _ = need(water, demand, nothing(water))
    more, _ = need(water, demand + np.eye(leaves)[seed % leaves] * 3.0, nothing(water))
    slack = 1e-10 * (1.0 + star.leaf_mg_l.max())
    assert (more.leaf_mg_l <= star.leaf_mg_l + slack).all()


def test_demand_beyond_supply_empties_the_tank():
    # one tank and a sump; the tank can get at most its own 2 g and what the flow brings
    one = np.ones((1, 1))
    water = Water(3.0 * one, 2.0 * one, 2.0 * one, 7.0 * one, 40.0 * one, one)
    star, _ = need(water, 50.0 * one, 0.0 * one)
    assert star.leaf_mg_l[0, 0] == 0.0
    assert star.sump_mg_l[0, 0] == pytest.approx(40.0 / 7.0, rel=1e-12)
    assert star.removed_g[0, 0] == pytest.approx(2.0 + 2.0 * 40.0 / 7.0, rel=1e-12)
    assert star.removed_g[0, 0] < 50.0
    assert_closed(water, star.leaf_mg_l, star.sump_mg_l, star.removed_g, 0.0)


@stars
def test_linear_equals_a_dense_solve(seed, loops, leaves):
    water, returned = random_linear(seed, loops, leaves)
    leaf, sump = of_rows.linear(*water[:3], returned, *water[3:])
    matrix, load = dense(water)
    matrix[leaves:, :leaves] = -(returned[0][:, None] * water.members).T
    expected = np.linalg.solve(matrix, load)
    # both to rounding, amplified by the matrix's condition
    np.testing.assert_allclose(
        np.concatenate([leaf[0], sump[0]]), expected, rtol=1e-9, atol=1e-9 * np.abs(expected).max()
    )


@stars
def test_linear_closes_with_what_a_settler_keeps(seed, loops, leaves):
    water, returned = random_linear(seed, loops, leaves, scenarios=3)
    leaf, sump = of_rows.linear(*water[:3], returned, *water[3:])
    assert (leaf >= 0.0).all()
    assert (sump >= 0.0).all()
    kept_back = (water.flow - returned) * leaf
    held = (water.leaf_gain - water.flow) * leaf
    left = (water.sump_gain - water.flow @ water.members) * sump
    load = water.leaf_load @ water.members + water.sump_load
    gross = load + (water.flow * leaf) @ water.members
    assert (np.abs(load - (kept_back + held) @ water.members - left) <= CLOSED * gross).all()
    # a settler that keeps some lowers every level
    whole_leaf, whole_sump = of_rows.linear(*water[:3], water.flow, *water[3:])
    assert (leaf <= whole_leaf * (1.0 + 1e-12) + 1e-300).all()
    assert (sump <= whole_sump * (1.0 + 1e-12) + 1e-300).all()


def random_linear(seed: int, loops: int, leaves: int, scenarios: int = 1) -> tuple[Water, np.ndarray]:
    """A random star and the part of each flow whose load comes back; some leaves give all back."""
    water, _, _ = random_star(seed, loops, leaves, scenarios)
    rng = np.random.default_rng(seed + 1)
    share = np.where(rng.random(water.flow.shape) < 0.3, 1.0, rng.random(water.flow.shape))
    return water, share * water.flow
