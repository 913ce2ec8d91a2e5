"""Fish that die one by one: the binomial law, the day of a loss that agrees with the number, and small batches."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import binom, binomtest
from small_sites import build, one_tank

from stocksim.drawn.one_by_one import dead_of, die
from stocksim.drawn.outlook import outlook

SEASONS = 4096


def test_the_number_that_dies_follows_the_binomial_law():
    luck = np.random.default_rng(1).random(SEASONS)
    found = dead_of(20, 0.1, luck)
    for dead in range(6):
        hits = int((found == dead).sum())
        assert binomtest(hits, SEASONS, binom.pmf(dead, 20, 0.1)).pvalue > 1e-4


@pytest.mark.parametrize(("chance", "dead"), [(0.0, 0.0), (1.0, 20.0)])
def test_what_is_sure_needs_no_luck(chance, dead):
    assert (dead_of(20, chance, np.array([1e-9, 0.3, 1.0 - 1e-9])) == dead).all()


@pytest.mark.parametrize("fish", [1, 3, 10, 46, 5000])
def test_the_day_of_a_loss_and_the_number_at_the_end_agree(fish):
    random = np.random.default_rng(fish)
    share = np.cumsum(random.uniform(0.0, 0.006, (500, 40, 1)), axis=1)
    found = die(share, np.full((500, 1), float(fish)), random.random((500, 1)), 0.1)
    np.testing.assert_array_equal(found.day >= 0, found.fish >= math.ceil(0.1 * fish))
    assert ((found.day >= 0).mean() > 0.2) == (fish > 1)


def test_where_no_fish_came_none_are_lost():
    found = die(np.zeros((2, 5, 1)), np.zeros((2, 1)), np.full((2, 1), 0.5), 0.1)
    assert (found.day < 0).all()
    assert (found.fish == 0.0).all()


def test_a_small_batch_loses_a_tenth_far_more_often_than_a_large_one():
    """One fish of ten: by hand 1 - (1 - q)^10 of a season's own chance q, of which the large batch is the measure."""
    roomy = one_tank(count=1000, days=40, volume_l=1e5, flow_l_h=1e5, bed_m2=1000.0, power_w=6000.0)
    small, large = (outlook(build(tables), 256, indices=False) for tables in (one_tank(count=10, days=40), roomy))
    assert large.losses[0].share == 0.0
    chance = 1.0 - (1.0 - large.values["deaths"].mean() / 1000.0) ** 10
    assert small.losses[0].share == pytest.approx(chance, abs=0.05)
    assert small.losses[0].share > 0.01
    assert set(np.unique(small.values["deaths"].round(6) % 1.0).round(3)) <= {0.0, 1.0}
