"""Which fish of a tank could eat which, day by day. Apart from `findings` for its length."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.arrays.layout import Layout
from stocksim.engine.results.course import Course
from stocksim.fish.body import total_length_mm
from stocksim.fish.company import (
    fits_mouth_probability,
    length_spread,
    longest_prey_share,
    longest_sibling_share,
)

FloatArray = NDArray[np.float64]


def predation_by_tank(layout: Layout, course: Course) -> FloatArray:
    """Chance that a tankmate drawn at random fits the mouth of another, for the worst pair of cohorts of a tank.

    Parameters
    ----------
    layout, course : Layout, Course
        A season's arrays.

    Returns
    -------
    ndarray, shape (scenario, day, tank)
        Chance [-], fish of one cohort among themselves included; NaN where there is no fish.
    """
    species = {key: values[..., None, :] for key, values in layout.species.items()}
    slope = species["length_weight_slope"]
    length = total_length_mm(course.weight_g, species["length_weight_intercept"], slope, species["farmed_condition"])
    spread = length_spread(course.size_spread, slope)
    # all pairs of a tank, each cohort with itself too
    predator, prey = np.nonzero(layout.cohort_tank @ layout.cohort_tank.T > 0.0)
    kin = np.array([stay.table.species for stay in layout.stays])
    deep, slender = species["prey_share_deep"][..., predator], species["prey_share_slender"][..., predator]
    share = longest_prey_share(deep, slender, species["body_depth"][..., prey])
    of_kin = longest_sibling_share(share, length[..., predator], species["eats_own"][..., predator])
    share = np.where(kin[predator] == kin[prey], of_kin, share)
    there = course.there_in_morning
    both = there[..., predator] & there[..., prey]
    chance = np.where(both, 0.0, np.nan)
    pairs: list[tuple[int, NDArray[np.bool_], NDArray[np.int64] | slice]] = []
    sizes: list[list[FloatArray]] = []
    for pair in np.flatnonzero(share.any(axis=(0, 1))).tolist():  # the others take no such fish, however small
        one, other, met = predator[pair], prey[pair], both[..., pair]
        met_sizes = [
            part[..., at][met] for part, at in ((length, one), (spread, one), (length, other), (spread, other))
        ]
        met_sizes.append(np.broadcast_to(share[..., pair], met.shape)[met])
        of_day: NDArray[np.int64] | slice = slice(None)
        if one == other:  # among themselves only the spread counts, which seldom changes
            moves = np.ones(met_sizes[1].shape, bool)
            moves[1:] = (np.diff(met_sizes[1]) != 0.0) | (np.diff(met_sizes[4]) != 0.0)
            alike, of_day = np.ones(int(moves.sum())), np.cumsum(moves) - 1
            met_sizes = [alike, met_sizes[1][moves], alike, met_sizes[1][moves], met_sizes[4][moves]]
        pairs.append((pair, met, of_day))
        sizes.append(met_sizes)
    if pairs:
        # all at once, for few of them are many numbers
        chances = fits_mouth_probability(*(np.concatenate(part) for part in zip(*sizes, strict=True)))
        ends = np.cumsum([met_sizes[0].size for met_sizes in sizes])[:-1]
        for (pair, met, of_day), found in zip(pairs, np.split(chances, ends), strict=True):
            chance[met, pair] = found[of_day]
    tank_of = layout.tank_of[predator]
    worst = np.full((*course.count.shape[:2], len(layout.tanks)), np.nan)
    for tank in map(int, set(tank_of.tolist())):
        worst[..., tank] = np.fmax.reduce(chance[..., tank_of == tank], axis=-1)
    return worst
