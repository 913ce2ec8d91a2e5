"""Which fish of a tank could eat which, day by day."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.course import Course
from stocksim.engine.layout import Layout
from stocksim.fish.body import total_length_mm
from stocksim.fish.company import fits_mouth_probability, length_spread

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
    for tank in range(len(layout.tanks)):
        inside = np.flatnonzero(layout.cohort_tank[:, tank] > 0.0)
        for predator in inside:
            for prey in inside:
                deep, slender = (species[f"prey_share_{body}"][..., predator] for body in ("deep", "slender"))
                share = np.where(species["is_deep"][..., prey] > 0.0, deep, slender)
                both = there[..., predator] & there[..., prey]
                sizes = (length[..., predator], spread[..., predator], length[..., prey], spread[..., prey], share)
                met = [np.broadcast_to(size, both.shape)[both] for size in sizes]
                if predator == prey:  # among themselves only the spread counts, which seldom changes
                    moves = np.ones(met[1].shape, bool)
                    moves[1:] = (np.diff(met[1]) != 0.0) | (np.diff(met[4]) != 0.0)
                    alike, reach = met[1][moves], met[4][moves]
                    chance = fits_mouth_probability(1.0, alike, 1.0, alike, reach)[np.cumsum(moves) - 1]
                else:
                    chance = fits_mouth_probability(*met)
                worst[both, tank] = np.fmax(worst[both, tank], chance)
    return worst
