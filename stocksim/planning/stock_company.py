"""Which candidates of a stocking may not share a tank, by their sizes over the weeks that both are there."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.fish.body import total_length_mm
from stocksim.fish.company import VERDICTS, Mate, judge_pair, length_spread, predation_grade
from stocksim.library.sources import Entry
from stocksim.library.species import never_with
from stocksim.planning.unit_loads import Candidate, UnitLoads

FloatArray = NDArray[np.float64]


class Apart(NamedTuple):
    """Two candidates that may not share a tank: the gravest key of `judge_pair`, and who eats whom, -1 if nobody.

    ``day`` is the first day of the season on which it shows, -1 where it holds whatever the day.
    """

    one: int
    other: int
    key: str
    eater: int
    day: int


class Cannibal(NamedTuple):
    """A candidate whose larger fish eat its smaller ones, from this day of the season on."""

    day: int


def _mate(entry: Entry, weight_g: FloatArray, size_spread: FloatArray) -> Mate:
    slope = entry["length_weight_slope"]
    length = total_length_mm(weight_g, entry["length_weight_intercept"], slope, entry["farmed_condition"])
    return Mate(
        length, length_spread(size_spread, slope), entry["prey_share_deep"], entry["prey_share_slender"],
        entry.facts["body_form"], entry.facts["temper"], entry["growth_temperature_low"],
        entry["growth_temperature_high"], entry["temperature_low_limit"], entry["temperature_high_stress"],
        entry["oxygen_recommended"],
    )  # fmt: skip


def _first_meal(predator: Mate, prey: Mate) -> int:
    """First place in the arrays at which prey fits a predator's mouth, -1 for never."""
    share = predator.prey_share_deep if prey.body_form == "deep" else predator.prey_share_slender
    grade = predation_grade(predator.length_mm, predator.length_cv, prey.length_mm, prey.length_cv, share)
    hits = np.flatnonzero(np.atleast_1d(grade) == 2)
    return int(hits[0]) if hits.size else -1


def cannibals(candidates: Sequence[Candidate], entries: Sequence[Entry], loads: UnitLoads) -> dict[int, Cannibal]:
    """Candidates that cannot be kept as one batch, by their number.

    Parameters
    ----------
    candidates, entries : sequence
        The fish and their species.
    loads : UnitLoads
        Weights and spreads, (option, candidate, day).

    Returns
    -------
    dict of int to Cannibal
        Those that eat each other under any option.
    """
    found: dict[int, Cannibal] = {}
    for c in range(len(candidates)):
        for o in range(loads.weight_g.shape[0]):
            days = np.flatnonzero(loads.weight_g[o, c] > 0.0)
            if not days.size:
                continue
            mate = _mate(entries[c], loads.weight_g[o, c, days], loads.size_spread[o, c, days])
            meal = _first_meal(mate, mate)
            if meal >= 0 and (c not in found or days[meal] < found[c].day):
                found[c] = Cannibal(int(days[meal]))
    return found


def apart_in_tank(
    candidates: Sequence[Candidate],
    entries: Sequence[Entry],
    loads: UnitLoads,
    allowed: NDArray[np.bool_],
    temperatures_c: Sequence[FloatArray],
) -> tuple[Apart, ...]:
    """Pairs of candidates that may not share a tank under any option that both may live in.

    Parameters
    ----------
    candidates, entries : sequence
        The fish and their species.
    loads : UnitLoads
        Weights and spreads, (option, candidate, day).
    allowed : ndarray of bool, shape (option, candidate, tank)
        Where each may live.
    temperatures_c : sequence of ndarray, shape (day,)
        Water of each option. [degC]

    Returns
    -------
    tuple of Apart
        Judged on the days both are there; a pair that must be kept apart under one option is kept apart under all.
    """
    found = []
    for a in range(len(candidates)):
        for b in range(a + 1, len(candidates)):
            for o in range(loads.weight_g.shape[0]):
                if not (allowed[o, a] & allowed[o, b]).any():
                    continue
                judged = _judge(entries, loads, o, a, b, temperatures_c[o])
                if judged is not None:
                    found.append(judged)
                    break
    return tuple(found)


def _judge(entries: Sequence[Entry], loads: UnitLoads, o: int, a: int, b: int, water: FloatArray) -> Apart | None:
    days = np.flatnonzero((loads.weight_g[o, a] > 0.0) & (loads.weight_g[o, b] > 0.0))
    if not days.size:
        return None
    one, other = (_mate(entries[c], loads.weight_g[o, c, days], loads.size_spread[o, c, days]) for c in (a, b))
    names = [entries[c].name for c in (a, b)]
    is_kin = names[0] == names[1]
    never = not is_kin and (names[1] in never_with(entries[a]) or names[0] in never_with(entries[b]))
    company = judge_pair(one, other, is_kin, never, water[days])
    if company.verdict != VERDICTS[2]:
        return None
    key = company.reasons[0].key
    for eater, meal in ((a, _first_meal(one, other)), (b, _first_meal(other, one))):
        if key == "fits_mouth" and meal >= 0:
            return Apart(a, b, key, eater, int(days[meal]))
    return Apart(a, b, key, -1, -1)
