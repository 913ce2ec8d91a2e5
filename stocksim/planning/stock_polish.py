"""A plan that holds made better by trying others near it in full seasons, many at once."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from stocksim.planning.planned_site import SEASONS_AT_ONCE, season_margins
from stocksim.planning.program import IntArray, Program, Stocking, broken, score
from stocksim.planning.stock_problem import Problem

# Steps from the plan that holds towards better ones that did not, and shares of a cohort added or moved.
_STEPS = (0.9, 0.8, 0.7, 0.6, 0.5, 0.4, 0.3, 0.2, 0.1, 0.05)
_SHARES = (0.25, 0.1, 0.04)
_THINNER = (0.98, 0.96, 0.94, 0.92, 0.9, 0.87)
_LEAST_GAIN = 1e-3  # of the score: less is not worth another season
# limits that the program keeps a margin on by rows of its own, close to the engine's
_BY_ROWS = ("density", "oxygen")


def polished(
    problem: Problem,
    program: Program,
    goal: str,
    start: Stocking,
    better: Sequence[Stocking],
    margin: float,
    ends: float,
) -> Stocking:
    """A stocking at least as good as one that holds, found by full seasons.

    Parameters
    ----------
    problem : Problem
        The problem.
    program : Program
        Before seasons corrected it: its rows for density and oxygen are kept, that for the biofilter is left to the
        seasons.
    goal : str
        What to make better.
    start : Stocking
        One that holds in its season.
    better : sequence of Stocking
        Plans that promised more and did not hold: steps towards them are tried.
    margin : float
        Share of the biofilter to keep in hand, or as much as the start does. [-]
    ends : float
        Time on the monotonic clock at which to stop. [s]

    Returns
    -------
    Stocking
        Holds every hard limit in its season.
    """
    loose = replace(program, limits=tuple(limit for limit in program.limits if limit.name in _BY_ROWS))
    # seasons may have pressed the margin that the program keeps on the biofilter
    floor = {"biofilter": min(100.0 * margin, float(season_margins(problem, [start])["biofilter"][0]))}
    best, reached = start, score(program, goal, start)
    while time.monotonic() < ends:
        several = _near(program, best, better)
        scored = [(score(program, goal, s), n) for n, s in enumerate(several) if not broken(loose, s)]
        hopeful = sorted((item for item in scored if item[0] > reached + _LEAST_GAIN * abs(reached)), reverse=True)
        if not hopeful:
            break
        # the best, and an even choice of the rest
        spread = np.unique(np.linspace(0, len(hopeful) - 1, SEASONS_AT_ONCE).astype(int))
        tried = [hopeful[n] for n in spread]
        margins = season_margins(problem, [several[n] for _, n in tried])
        holds = np.all([margins[name] >= floor.get(name, 0.0) - 1e-9 for name in margins], axis=0)
        held = [item for item, ok in zip(tried, holds, strict=True) if ok]
        if not held:
            break
        reached, number = held[0]
        best = several[number]
    return best


def _near(program: Program, here: Stocking, better: Sequence[Stocking]) -> list[Stocking]:
    """Stockings near one: steps towards others, more fish of one kind, and one kind's place given to another."""
    found: list[IntArray] = []
    found += [
        np.floor(share * s.fish).astype(int) for s in better for share in _THINNER if (s.choice == here.choice).all()
    ]
    for other in better:
        if (other.choice == here.choice).all():
            apart = other.fish - here.fish
            found += [here.fish + np.round(step * apart).astype(int) for step in _STEPS]
            # and one candidate at a time
            for c in np.flatnonzero(np.abs(apart).sum(axis=1)):
                for step in (1.0, 0.5, 0.2):
                    fish = here.fish.copy()
                    fish[c] += np.round(step * apart[c]).astype(int)
                    found.append(fish)
    inside = program.allowed[here.choice[program.tank_loop], :, np.arange(len(program.tanks))].T
    for c, t in np.argwhere(inside):
        own = int(here.fish[c, t])
        steps = (
            {1, *(int(np.ceil(share * max(own, 1))) for share in _SHARES)} if own else {int(program.minimum_batch[c])}
        )
        for step in steps:
            fish = here.fish.copy()
            fish[c, t] += max(step, 1)
            found.append(fish)
            for other, at in np.argwhere(here.fish > 0):
                if other == c and at == t:
                    continue
                swapped = fish.copy()
                swapped[other, at] = max(swapped[other, at] - max(step, 1), 0)
                found.append(swapped)
    return [Stocking(_whole(program, fish), here.choice) for fish in found]


def _whole(program: Program, fish: IntArray) -> NDArray[np.int64]:
    """No less than nothing, no batch too small, no more than there are."""
    fish = np.maximum(fish, 0)
    fish = np.where(fish < program.minimum_batch[:, None], 0, fish)
    over = fish.sum(axis=1) - program.most
    for c in np.flatnonzero(over > 0):
        fish[c, int(np.argmax(fish[c]))] -= over[c]
    return np.maximum(fish, 0)
