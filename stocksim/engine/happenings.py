"""Stocking, moving, grading and taking fish: what goes from one column to another on a morning."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.stays import Happening
from stocksim.fish.spread import Parts, share_holding_mass, split, split_share

FloatArray = NDArray[np.float64]


@dataclass
class FishState:
    """Fish of every column, arrays (scenario, column): number, mean weight and greatest mean weight [g], spread. [-]"""

    alive: FloatArray
    weight: FloatArray
    greatest: FloatArray
    spread: FloatArray


class Transfer(NamedTuple):
    """What really went from column ``source`` to column ``target`` (-1: from or to outside), shape (scenario,).

    ``wanted`` is the amount the event asked for and ``had`` what there was of it, fish, or g where it asked for a
    weight; ``wanted`` is NaN where it asked for no amount.
    """

    happening: Happening
    fish: FloatArray
    mass_g: FloatArray
    wanted: float
    had: FloatArray


def happen(happening: Happening, fish: FishState) -> Transfer:
    """Let one thing happen to the fish.

    Parameters
    ----------
    happening : Happening
        What, and to which columns.
    fish : FishState
        Changed in place.

    Returns
    -------
    Transfer
        Number and mass that went. Number and mass are conserved exactly; a part taken by size leaves the rest with its
        own mean and spread.
    """
    return _ACTS[happening.kind](happening, fish)


def _carry(happening: Happening, fish: FishState) -> Transfer:
    """All fish of a column go on in another."""
    source, target = happening.source, happening.target
    moved = fish.alive[:, source].copy()
    mass = moved * fish.weight[:, source]
    for array in (fish.alive, fish.weight, fish.greatest, fish.spread):
        array[:, target] = array[:, source]
    fish.alive[:, source] = 0.0
    return Transfer(happening, moved, mass, np.nan, moved)


def _grade(happening: Happening, fish: FishState) -> Transfer:
    """The larger fish of a column become another."""
    source, target = happening.source, happening.target
    there = fish.alive[:, source].copy()
    parts = _by_size(fish, source, happening)
    _set(fish, target, there * parts.share_above, parts.mean_above_g, parts.cv_above, source)
    _set(fish, source, there * parts.share_below, parts.mean_below_g, parts.cv_below, source)
    moved = fish.alive[:, target]
    return Transfer(happening, moved.copy(), moved * fish.weight[:, target], np.nan, there)


def _take(happening: Happening, fish: FishState) -> Transfer:
    """Fish leave for good."""
    column = happening.source
    there, weight = fish.alive[:, column].copy(), fish.weight[:, column].copy()
    if not np.isnan(happening.above_g):
        parts = _by_size(fish, column, happening)
        taken, mean = there * parts.share_above, parts.mean_above_g
        _set(fish, column, there * parts.share_below, parts.mean_below_g, parts.cv_below, column)
        return Transfer(happening, taken, taken * mean, np.nan, there)
    had, wanted, which = there, happening.fish, happening.which
    if not np.isnan(happening.weight_g):
        had, wanted = there * weight, happening.weight_g
    share = _share_of(had, wanted) if np.isnan(happening.share) else np.full(there.shape, happening.share)
    if not np.isnan(happening.weight_g):
        share = _number_share(share, fish.spread[:, column], which)
    taken, mass = there * share, there * share * weight
    left = there - taken
    if which == "any":
        fish.alive[:, column] = left
        return Transfer(happening, taken, mass, wanted, had)
    parts = split_share(weight, fish.spread[:, column], share if which == "largest" else 1.0 - share)
    mean, spread = (parts.mean_below_g, parts.cv_below) if which == "largest" else (parts.mean_above_g, parts.cv_above)
    _set(fish, column, left, np.where(left > 0.0, mean, weight), spread, column)
    # what is taken is what the rest lacks, so that mass is conserved to rounding
    return Transfer(happening, taken, there * weight - left * fish.weight[:, column], wanted, had)


def _add(happening: Happening, fish: FishState) -> Transfer:
    """More fish come to a column; their spread is the column's."""
    column, count, weight = happening.target, happening.fish, happening.weight_g
    there, mean, spread = (array[:, column] for array in (fish.alive, fish.weight, fish.spread))
    number = there + count
    new_mean = (there * mean + count * weight) / number
    squares = (there * mean**2 + count * weight**2) / number * (1.0 + spread**2)
    fish.greatest[:, column] = (there * fish.greatest[:, column] + count * weight) / number
    fish.spread[:, column] = np.sqrt(np.maximum(squares / new_mean**2 - 1.0, 0.0))
    fish.weight[:, column], fish.alive[:, column] = new_mean, number
    came = np.full(number.shape, count)
    return Transfer(happening, came, came * weight, np.nan, came)


def _by_size(fish: FishState, column: int, happening: Happening) -> Parts:
    weight, spread = fish.weight[:, column], fish.spread[:, column]
    if np.isnan(happening.above_g):
        return split_share(weight, spread, happening.share)
    return split(weight, spread, happening.above_g)


def _share_of(had: FloatArray, wanted: float) -> FloatArray:
    """Share that an amount is of what there is; all where there is less."""
    return np.minimum(np.divide(wanted, had, out=np.ones(had.shape), where=had > 0.0), 1.0)


def _number_share(mass_share: FloatArray, spread: FloatArray, which: str) -> FloatArray:
    """Share of the number that holds a share of the mass."""
    if which == "largest":
        return share_holding_mass(spread, mass_share)
    if which == "smallest":
        return 1.0 - share_holding_mass(spread, 1.0 - mass_share)
    return mass_share


def _set(fish: FishState, column: int, number: FloatArray, mean: FloatArray, spread: FloatArray, like: int) -> None:
    """Give a column its fish, in the condition of the fish of column ``like``; one left empty keeps its spread."""
    condition = fish.greatest[:, like] / fish.weight[:, like]
    fish.spread[:, column] = np.where(number > 0.0, spread, fish.spread[:, column])
    fish.alive[:, column], fish.weight[:, column] = number, mean
    fish.greatest[:, column] = condition * mean


_ACTS: dict[str, Callable[[Happening, FishState], Transfer]] = {
    "move": _carry, "feed": _carry, "ration": _carry, "grade": _grade, "harvest": _take, "thin": _take,
    "sell": _take, "give": _take, "stock": _add,
}  # fmt: skip
