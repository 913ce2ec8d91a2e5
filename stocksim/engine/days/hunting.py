"""Fish that their tankmates swallow: who, and what it leaves of the cohort.

Apart from `fish`, which tells one column's day: here columns of a tank meet.
"""

from __future__ import annotations

import math

from stocksim.compiled import jitable
from stocksim.engine.days.rows import *
from stocksim.fish.body import total_length_mm
from stocksim.fish.company import longest_prey_share, longest_sibling_share
from stocksim.fish.hunting import (
    hunters_want,
    hunting_hazard,
    prey_in_reach,
    sibling_hazard,
    smaller_half,
)
from stocksim.fish.spread import log_spread


@jitable
def be_swallowed(now: Now) -> None:
    """Take from each column what its tankmates swallow; the rest keeps its own mean and spread.

    Columns that can hunt nobody in their tank are known from the start, and cost nothing.
    """
    fish, tank_of = now.fish, now.tank_of
    for c in range(tank_of.size):
        fish[SWALLOWED, c], fish[SWALLOWED_G, c], fish[IN_REACH_KJ, c] = 0.0, 0.0, 0.0
        if fish[MEETS_HUNTERS, c] > 0.0 and fish[HERE, c] > 0.0:
            _measure(fish, c)
    for h in range(tank_of.size):
        if fish[HUNTS, h] > 0.0 and fish[HERE, h] > 0.0:
            for p in range(tank_of.size):
                if tank_of[p] == tank_of[h] and fish[HERE, p] > 0.0:
                    reach = _reach(fish, h, p)
                    meat = fish[HERE, p] * fish[WEIGHT, p] * reach.mass_share * fish[BODY_ENERGY, p]
                    fish[IN_REACH_KJ, h] += reach.chance * meat
    for p in range(tank_of.size):
        if fish[MEETS_HUNTERS, p] > 0.0 and fish[HERE, p] > 0.0:
            _meet(now, p)
    # all meet as the morning found them; then the swallowed are gone
    for p in range(tank_of.size):
        if fish[SWALLOWED, p] > 0.0:
            _leave_rest(fish, p)


@jitable
def _measure(fish: FloatArray, c: int) -> None:
    """Length of a column's fish, its spread, and what they still want. [mm], [-], [kJ/day]"""
    fish[LENGTH, c] = total_length_mm(
        fish[WEIGHT, c], fish[LENGTH_INTERCEPT, c], fish[LENGTH_SLOPE, c], fish[CONDITION, c]
    )
    fish[LENGTH_SPREAD, c] = log_spread(fish[SPREAD, c]) / fish[LENGTH_SLOPE, c]
    appetite = fish[HERE, c] * fish[HUNGER, c] * fish[SHARE, c] * fish[NITRITE_SHARE, c] * fish[FEED_ENERGY, c]
    fish[APPETITE_KJ, c] = appetite
    fish[WANT_KJ, c] = hunters_want(appetite, fish[EATEN, c] * fish[FEED_ENERGY, c])


@jitable
def _reach(fish: FloatArray, h: int, p: int):  # type: ignore[no-untyped-def]
    """What column h could swallow of column p."""
    share = longest_prey_share(fish[PREY_DEEP, h], fish[PREY_SLENDER, h], fish[BODY_DEPTH, p])
    if fish[SPECIES, h] == fish[SPECIES, p]:
        share = longest_sibling_share(share, fish[LENGTH, h], fish[EATS_OWN, h])
    return prey_in_reach(
        fish[LENGTH, h], fish[LENGTH_SPREAD, h], fish[LENGTH, p], fish[LENGTH_SPREAD, p], share, fish[LENGTH_SLOPE, p]
    )


@jitable
def _meet(now: Now, p: int) -> None:
    """Fish of a column that all hunters of its tank swallow today, their mass, and the square of it."""
    fish, tank_of = now.fish, now.tank_of
    hazard, mass, square, widest = 0.0, 0.0, 0.0, 0.0
    for h in range(tank_of.size):
        if tank_of[h] == tank_of[p] and fish[IN_REACH_KJ, h] > 0.0:
            reach = _reach(fish, h, p)
            part = hunting_hazard(reach.chance, fish[WANT_KJ, h], fish[IN_REACH_KJ, h])
            hazard += part
            mass += part * reach.mass_share
            square += part * reach.square_share
            if part > 0.0:
                widest = max(widest, reach.chance)
    # however many hunt, no more goes in a day than fits the widest mouth
    if 0.0 < widest < 1.0 and hazard > -math.log1p(-widest):
        held = -math.log1p(-widest) / hazard
        hazard, mass, square = held * hazard, held * mass, held * square
    fed = fish[EATEN, p] * fish[FEED_ENERGY, p] / fish[APPETITE_KJ, p] if fish[APPETITE_KJ, p] > 0.0 else 0.0
    part = sibling_hazard(
        fish[LENGTH, p], fish[SPREAD, p], fish[USUAL_SPREAD, p], fish[SIBLING_LOSS, p], fish[SIBLING_LENGTH, p], fed
    )
    if part > 0.0:
        half_mass, half_square = smaller_half(fish[SPREAD, p])
        # no more than they would eat of anything
        each_kj = half_mass * fish[WEIGHT, p] * fish[BODY_ENERGY, p]
        part = min(part, fish[APPETITE_KJ, p] / (fish[HERE, p] * each_kj))
        hazard += part
        mass += part * half_mass
        square += part * half_square
    if hazard > 0.0:
        fish[SWALLOWED, p] = -math.expm1(-hazard) * fish[HERE, p]
        fish[SWALLOWED_G, p] = fish[SWALLOWED, p] * fish[WEIGHT, p] * mass / hazard
        fish[SWALLOWED_SQUARE, p] = square / hazard


@jitable
def _leave_rest(fish: FloatArray, p: int) -> None:
    """Mean, spread and condition of what is left: exact in number, mass and square."""
    here, weight, spread = fish[HERE, p], fish[WEIGHT, p], fish[SPREAD, p]
    left = here - fish[SWALLOWED, p]
    if not left > 0.0:
        return
    mean = (here * weight - fish[SWALLOWED_G, p]) / left
    squares = weight * weight * (1.0 + spread * spread) * (here - fish[SWALLOWED, p] * fish[SWALLOWED_SQUARE, p]) / left
    if spread > 0.0:  # fish all alike stay so, which a root of rounding would spoil
        fish[SPREAD, p] = math.sqrt(max(squares / (mean * mean) - 1.0, 0.0))
    fish[GREATEST, p] *= mean / weight
    fish[SPARED, p] *= mean / weight
    fish[WEIGHT, p] = mean
