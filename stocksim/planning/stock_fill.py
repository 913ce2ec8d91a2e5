"""Stockings filled tank by tank without a solver: what the planner falls back on when time is short."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from stocksim.planning.program import Program, Stocking, score

FloatArray = NDArray[np.float64]


class Filling:
    """A stocking being filled, with what each limit has left."""

    def __init__(self, program: Program, choice: NDArray[np.int64]):
        self.program, self.choice = program, choice
        self.fish = np.zeros((len(program.candidates), len(program.tanks)), int)
        self.spent = float(program.option_cost[choice].sum())
        weeks = program.weeks
        self.use = [
            np.zeros((len(program.loops) if limit.is_of_loop else len(program.tanks), weeks))
            for limit in program.limits
        ]
        self.bears = [np.full_like(use, np.inf) for use in self.use]

    def room(self, c: int, t: int) -> int:
        """Most fish of a candidate that a tank still takes by the program's own limits."""
        program = self.program
        loop = int(program.tank_loop[t])
        o = int(self.choice[loop])
        left = float(program.most[c] - self.fish[c].sum())
        there = np.flatnonzero(self.fish[:, t])
        if not program.allowed[o, c, t] or program.apart_in_tank[c, there].any():
            return 0
        if program.price[c] > 0.0:
            left = min(left, (program.budget - self.spent) / program.price[c])
        for limit, use, bears in zip(program.limits, self.use, self.bears, strict=True):
            load = limit.load[o, c]
            if limit.is_of_loop:
                bear = np.minimum(bears[loop], limit.capacity[o, c, 0])
                left = min(left, _most(bear - use[loop], load))
                continue
            for other in np.flatnonzero(program.tank_loop == loop):
                bear = np.minimum(bears[other], limit.capacity[o, c, t]) if other == t else bears[other]
                pull = (1.0 if other == t else 0.0) if limit.influence is None else limit.influence[o, other, t]
                left = min(left, _most(bear - use[other], load * pull))
        return max(int(np.floor(left + 1e-9)), 0)

    def add(self, c: int, t: int, number: int) -> None:
        """Put fish into a tank."""
        program = self.program
        loop = int(program.tank_loop[t])
        o = int(self.choice[loop])
        self.fish[c, t] += number
        self.spent += number * float(program.price[c])
        for limit, use, bears in zip(program.limits, self.use, self.bears, strict=True):
            load = number * limit.load[o, c]
            if limit.is_of_loop:
                use[loop] += load
                bears[loop] = np.minimum(bears[loop], limit.capacity[o, c, 0])
                continue
            bears[t] = np.minimum(bears[t], limit.capacity[o, c, t])
            for other in np.flatnonzero(program.tank_loop == loop):
                pull = (1.0 if other == t else 0.0) if limit.influence is None else limit.influence[o, other, t]
                use[other] += load * pull


def _most(left: FloatArray, load: FloatArray) -> float:
    if (left < -1e-9).any():
        return 0.0
    asks = load > 0.0
    return float((left[asks] / load[asks]).min()) if asks.any() else np.inf


def greedy_stocking(program: Program, goal: str) -> Stocking:
    """A keeper's fill: what must be placed, then what gains most for its share of the tightest limit, and so on.

    Parameters
    ----------
    program : Program
        The problem.
    goal : str
        ``edible``, ``steady`` or ``cost``.

    Returns
    -------
    Stocking
        Each loop in its first option. It keeps every limit, but perhaps not the wishes: check it by `broken`.
    """
    choice = np.array([program.options_of(loop)[0] for loop in range(len(program.loops))], int)
    filling = Filling(program, choice)
    for c in np.flatnonzero(program.least):
        for t in np.flatnonzero(program.allowed[choice[program.tank_loop], c, np.arange(len(program.tanks))]):
            wanted = int(program.least[c] - filling.fish[c].sum())
            number = min(max(wanted, int(program.minimum_batch[c])), filling.room(int(c), int(t)))
            if wanted > 0 and number >= program.minimum_batch[c]:
                filling.add(int(c), int(t), number)
    while True:
        base = score(program, goal, Stocking(filling.fish, choice))
        best, gain = None, 0.0
        for c, t in np.argwhere(program.allowed.any(axis=0)):
            room = filling.room(int(c), int(t))
            if room < program.minimum_batch[c]:
                continue
            fish = filling.fish.copy()
            fish[c, t] += room
            more = score(program, goal, Stocking(fish, choice)) - base
            worth = more / _tightest(filling, int(c), int(t), room)
            if more > 1e-9 and worth > gain:
                best, gain = (int(c), int(t), room), worth
        if best is None:
            return Stocking(filling.fish, choice)
        filling.add(*best)


def _tightest(filling: Filling, c: int, t: int, room: int) -> float:
    """Greatest share of any limit of its own place that so many fish of a candidate take."""
    program = filling.program
    loop = int(program.tank_loop[t])
    o = int(filling.choice[loop])
    shares = [1e-6]
    for limit in program.limits:
        place = 0 if limit.is_of_loop else t
        pull = 1.0 if limit.influence is None else limit.influence[o, t, t]
        capacity = limit.capacity[o, c, place]
        asks = np.isfinite(capacity) & (capacity > 0.0)
        shares.append(float((room * (limit.load[o, c] * pull)[asks] / capacity[asks]).max(initial=0.0)))
    return max(shares)
