"""Which fish of a tank could eat which, day by day. Apart from `findings` for its length."""

from __future__ import annotations

import itertools

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
    there = course.there_in_morning
    worst = np.full((*course.count.shape[:2], len(layout.tanks)), np.nan)
    pairs: list[tuple[int, NDArray[np.bool_], NDArray[np.int64] | slice]] = []
    sizes: list[list[FloatArray]] = []
    for tank in range(len(layout.tanks)):
        inside = np.flatnonzero(layout.cohort_tank[:, tank] > 0.0)
        for predator, prey in itertools.product(inside, inside):
            deep, slender = (species[f"prey_share_{body}"][..., predator] for body in ("deep", "slender"))
            share = longest_prey_share(deep, slender, species["body_depth"][..., prey])
            if layout.stays[predator].table.species == layout.stays[prey].table.species:
                share = longest_sibling_share(share, length[..., predator], species["eats_own"][..., predator])
            both = there[..., predator] & there[..., prey]
            if not np.any(share):  # it takes no such fish, however small
                worst[both, tank] = np.fmax(worst[both, tank], 0.0)
                continue
            size = (length[..., predator], spread[..., predator], length[..., prey], spread[..., prey], share)
            met = [np.broadcast_to(part, both.shape)[both] for part in size]
            of_day: NDArray[np.int64] | slice = slice(None)
            if predator == prey:  # among themselves only the spread counts, which seldom changes
                moves = np.ones(met[1].shape, bool)
                moves[1:] = (np.diff(met[1]) != 0.0) | (np.diff(met[4]) != 0.0)
                one, of_day = np.ones(int(moves.sum())), np.cumsum(moves) - 1
                met = [one, met[1][moves], one, met[1][moves], met[4][moves]]
            pairs.append((tank, both, of_day))
            sizes.append(met)
    if pairs:
        # all at once, for few of them are many numbers
        chances = fits_mouth_probability(*(np.concatenate(part) for part in zip(*sizes, strict=True)))
        ends = np.cumsum([met[0].size for met in sizes])[:-1]
        for (tank, both, of_day), chance in zip(pairs, np.split(chances, ends), strict=True):
            worst[both, tank] = np.fmax(worst[both, tank], chance[of_day])
    return worst
