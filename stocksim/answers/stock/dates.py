"""The same fish harvested on another date: candidates for the search by seasons, a month apart.

Apart from `planner`, for it makes problems and plans nothing.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from itertools import product

import numpy as np

from stocksim.answers.stock.loads import Apart, UnitLoads, candidate_layout
from stocksim.answers.stock.problem import Problem
from stocksim.answers.stock.program import IntArray

_EVERY_DAYS = 28  # dates of harvest that are tried; a keeper may shift one by days
_MOST_CELLS = 360  # candidates in tanks, dates among them: a large site has fewer dates to choose from

Harvests = tuple[tuple[int, int], ...]  # candidate, and day of the season on whose morning its fish go


def harvests_to_try(problem: Problem) -> Harvests:
    """Candidates and earlier days of harvest to choose from, those of all candidates together not too many."""
    start, cells = problem.site.file.season.start, max(int(problem.allowed.any(axis=0).sum()), 1)
    days = list(range(_EVERY_DAYS, problem.site.days, _EVERY_DAYS))
    most = max(_MOST_CELLS // cells - 1, 0)
    if len(days) > most:  # an even choice of them
        days = [days[n] for n in np.unique(np.linspace(0, len(days) - 1, most).astype(int))] if most else []
    found = []
    for c, candidate in enumerate(problem.candidates):
        comes = 0 if candidate.stocked is None else (candidate.stocked - start).days
        leaves = problem.site.days if candidate.leaves is None else (candidate.leaves - start).days
        found += [(c, day) for day in days if comes + _EVERY_DAYS <= day < leaves]
    return tuple(found)


def with_harvests(problem: Problem, harvests: Harvests) -> Problem:
    """A problem with some candidates a second time, harvested earlier.

    Parameters
    ----------
    problem : Problem
        Of `build_problem`.
    harvests : tuple of (int, int)
        Candidate and day.

    Returns
    -------
    Problem
        Its own candidates first. The same fish in number; all else is of the candidate until its day. A few that go
        another day than the rest are no stray ones.
    """
    if not harvests:
        return problem
    start, old = problem.site.file.season.start, len(problem.candidates)
    origin = np.array([*range(old), *(c for c, _ in harvests)])
    until = np.array([problem.site.days] * old + [day for _, day in harvests])
    there = (np.arange(problem.site.days) < until[:, None])[None]
    dates = [start + dt.timedelta(days=day) for _, day in harvests]
    candidates = tuple(
        problem.candidates[c]
        if n < old
        else problem.candidates[c]._replace(
            name=f"{problem.candidates[c].name}_to_{dates[n - old]:%Y_%m_%d}", leaves=dates[n - old]
        )
        for n, c in enumerate(origin.tolist())
    )
    only_first = np.arange(len(origin)) < old
    return replace(
        problem,
        candidates=candidates,
        entries=tuple(problem.entries[c] for c in origin),
        owned=np.where(only_first, problem.owned[origin], 0),
        least=np.where(only_first, problem.least[origin], 0),
        most=problem.most[origin],
        minimum_batch=np.where(only_first, problem.minimum_batch[origin], 1),
        price=problem.price[origin],
        loads=UnitLoads(*(part[:, origin] * there for part in problem.loads)),
        layouts=tuple(candidate_layout(problem.site, candidates, option) for option in problem.options),
        allowed=problem.allowed[:, origin],
        apart=_apart(problem, origin, until),
        stock=problem.stock[origin],
    )


def _apart(problem: Problem, origin: IntArray, until: IntArray) -> tuple[Apart, ...]:
    """Pairs that may not share a tank; who is gone before the other would eat it may."""
    several: dict[int, list[int]] = {}
    for n, c in enumerate(origin.tolist()):
        several.setdefault(c, []).append(n)
    found = []
    for pair in problem.apart:
        for one, other in product(several[pair.one], several[pair.other]):
            if pair.day < 0 or pair.day < min(until[one], until[other]):
                eater = {pair.one: one, pair.other: other}.get(pair.eater, -1)
                found.append(pair._replace(one=min(one, other), other=max(one, other), eater=eater))
    return tuple(found)


def widened(fish: IntArray, candidates: int) -> IntArray:
    """Fish by candidate and tank with room for more candidates."""
    return np.vstack([fish, np.zeros((candidates - len(fish), fish.shape[1]), int)])
