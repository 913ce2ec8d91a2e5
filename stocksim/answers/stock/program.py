"""What a stocking must hold and what it is worth, as plain arrays; and a check of a stocking that needs no solver.

The program knows no fish and no water: loads per fish and capacities of places come in as arrays, made by others.
Axes, always in this order: option, candidate, tank, week. An option is one loop in one state (as "main at 18 degC"); a
loop takes exactly one of its options, so an option tells its loop.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

GOALS = ("edible", "steady", "cost")
# A use this share above its capacity still holds: the solver's own tolerance on rows that are scaled to 1.
HOLDS_WITHIN = 1e-6


class Limit(NamedTuple):
    """What places bear: the fish of a place may use no more than the most delicate candidate in it bears.

    ``load`` (option, candidate, week) is a fish's use; ``capacity`` (option, candidate, tank, week) is what the tank
    bears while the candidate is in it, infinite in weeks in which the candidate is not there. A limit of the loop has
    one place in the third axis. ``influence`` (option, tank, tank, week) gives the use of the first tank by one unit of
    load in the second, where tanks share water; without it a tank feels its own fish alone. With it, a tank that holds
    no fish is held to the loosest capacity of all that may live there.
    """

    name: str
    unit: str
    load: FloatArray
    capacity: FloatArray
    is_of_loop: bool = False
    influence: FloatArray | None = None


class Wish(NamedTuple):
    """Kilos wanted at least, and the kilos that a fish gives to it, shape (option, candidate)."""

    name: str
    kg: float
    kg_per_fish: FloatArray


@dataclass(frozen=True)
class Program:
    """A stocking problem.

    Parameters
    ----------
    candidates, species : tuple of str
        Name and species of each candidate.
    tanks, loops, options : tuple of str
        Names.
    tank_loop, option_loop : ndarray of int, shape (tank,), (option,)
        Index of the loop. Every loop has at least one option.
    weeks : int
        Number of weeks.
    allowed : ndarray of bool, shape (option, candidate, tank)
        Where a candidate may live at all (temperature, gear); only tanks of the option's loop count.
    limits : tuple of Limit
        Density, oxygen, biofilter, in any number.
    edible_kg, cost : ndarray, shape (option, candidate)
        Edible kilos that a fish gives by the season's end, and money that it takes. [kg], [money]
    least, most, owned, minimum_batch : ndarray of int, shape (candidate,)
        Fish that must and may be placed, fish that the keeper has, fewest fish of it in a tank that holds it. The
        keeper's own fish that are not placed are thinned (sold or eaten).
    thinned_kg : ndarray, shape (candidate,)
        Edible kilos of an own fish that is thinned at the start. [kg]
    price : ndarray, shape (candidate,)
        What a fish costs to buy, counted against the budget. [money]
    budget : float
        Most money for fish and options. [money]
    option_cost : ndarray, shape (option,)
        Money that an option takes, as for heat. [money]
    apart_in_tank, apart_in_loop : ndarray of bool, shape (candidate, candidate)
        Pairs that may not share.
    feed_g_day : ndarray, shape (option, candidate, week)
        Feed offered to a fish. [g/day]
    feed_low, feed_high : ndarray, shape (loop, week)
        Feed that the planted beds want. [g/day] Soft.
    band_price : mapping of str to float
        What a kilogram of feed outside that band takes off a goal: kg for ``edible``, money for ``cost``.
    wishes : tuple of Wish
        Harvests wanted.
    species_least, species_most : int
        Number of species wanted.
    stock : ndarray of int, shape (candidate,), optional
        Whose number a candidate's fish are of, where some are the same fish harvested on another date: the first of
        them, which alone has ``least`` and ``owned``. Without it each stands for itself.
    """

    candidates: tuple[str, ...]
    species: tuple[str, ...]
    tanks: tuple[str, ...]
    loops: tuple[str, ...]
    options: tuple[str, ...]
    tank_loop: IntArray
    option_loop: IntArray
    weeks: int
    allowed: BoolArray
    limits: tuple[Limit, ...]
    edible_kg: FloatArray
    cost: FloatArray
    least: IntArray
    most: IntArray
    owned: IntArray
    minimum_batch: IntArray
    thinned_kg: FloatArray
    price: FloatArray
    budget: float
    option_cost: FloatArray
    apart_in_tank: BoolArray
    apart_in_loop: BoolArray
    feed_g_day: FloatArray
    feed_low: FloatArray
    feed_high: FloatArray
    band_price: Mapping[str, float] = field(default_factory=dict)
    wishes: tuple[Wish, ...] = ()
    species_least: int = 0
    species_most: int = 10**6
    stock: IntArray | None = None

    @property
    def of_stock(self) -> IntArray:
        """Whose number the fish of each candidate are of."""
        return np.arange(len(self.candidates)) if self.stock is None else self.stock

    def __post_init__(self) -> None:
        """Refuse arrays that do not fit together: a mistake of ours, not of the keeper."""
        shape = (len(self.options), len(self.candidates), self.weeks)
        for limit in self.limits:
            places = 1 if limit.is_of_loop else len(self.tanks)
            if limit.load.shape != shape or limit.capacity.shape != (*shape[:2], places, self.weeks):
                raise ValueError(f"{limit.name}: load {limit.load.shape}, capacity {limit.capacity.shape}")
            if (np.isinf(limit.capacity).any(axis=2) & (limit.load > 0.0)).any():
                raise ValueError(f"{limit.name}: a load without a capacity")
            if limit.is_of_loop and limit.influence is not None:
                raise ValueError(f"{limit.name}: a limit of the loop has no influence between tanks")
        if set(self.option_loop.tolist()) != set(range(len(self.loops))):
            raise ValueError("a loop without an option")

    def options_of(self, loop: int) -> list[int]:
        """Options of a loop."""
        return [int(o) for o in np.flatnonzero(self.option_loop == loop)]


class Stocking(NamedTuple):
    """Whole fish by candidate and tank, and the option that each loop takes."""

    fish: IntArray
    choice: IntArray


class Use(NamedTuple):
    """How far a limit is used, by place and week; ``capacity`` infinite where nothing asks."""

    limit: str
    unit: str
    places: tuple[str, ...]
    use: FloatArray
    capacity: FloatArray


class Broken(NamedTuple):
    """A condition that a stocking does not keep, and by how much."""

    what: str
    where: str
    week: int | None
    value: float
    bound: float


def placed_of(program: Program, fish: IntArray) -> IntArray:
    """Fish placed of each stock, at its first candidate, and 0 at the others."""
    return schools(program, fish).sum(axis=1)


def schools(program: Program, fish: IntArray) -> IntArray:
    """Fish of each stock by tank, at its first candidate, and 0 at the others."""
    found = np.zeros_like(fish)
    np.add.at(found, program.of_stock, fish)
    return found


def limit_uses(program: Program, stocking: Stocking) -> list[Use]:
    """Use and capacity of every limit under a stocking, shape (place, week); rebuilt from the arrays alone."""
    return [_use_of_limit(program, limit, stocking) for limit in program.limits]


def _use_of_limit(program: Program, limit: Limit, stocking: Stocking) -> Use:
    count, weeks = stocking.fish, program.weeks
    option_at = stocking.choice[program.tank_loop]
    own = np.array([limit.load[option_at[t]].T @ count[:, t] for t in range(len(program.tanks))])
    if limit.is_of_loop:
        use = np.array([own[program.tank_loop == loop].sum(axis=0) for loop in range(len(program.loops))])
        capacity = np.full((len(program.loops), weeks), np.inf)
        for loop, option in enumerate(stocking.choice):
            here = count[:, program.tank_loop == loop].sum(axis=1) > 0
            capacity[loop] = limit.capacity[option, here, 0].min(axis=0, initial=np.inf)
        return Use(limit.name, limit.unit, program.loops, use, capacity)
    use, capacity = own.copy(), np.full((len(program.tanks), weeks), np.inf)
    for tank, option in enumerate(option_at):
        if limit.influence is not None:
            same = np.flatnonzero(program.tank_loop == program.tank_loop[tank])
            use[tank] = sum(limit.influence[option, tank, other] * own[other] for other in same)
        here = count[:, tank] > 0
        if here.any():
            capacity[tank] = limit.capacity[option, here, tank].min(axis=0)
        elif limit.influence is not None:
            capacity[tank] = loosest(limit.capacity[option, program.allowed[option, :, tank], tank])
    return Use(limit.name, limit.unit, program.tanks, use, capacity)


def loosest(capacity: FloatArray) -> FloatArray:
    """Greatest capacity of each week over the candidates (candidate, week), infinite where none bears anything."""
    finite = np.where(np.isfinite(capacity) & (capacity > 0.0), capacity, -np.inf).max(axis=0, initial=-np.inf)
    return np.where(np.isfinite(finite), finite, np.inf)


def broken(program: Program, stocking: Stocking) -> list[Broken]:
    """Every condition that a stocking breaks, empty when it holds.

    Parameters
    ----------
    program : Program
        The problem.
    stocking : Stocking
        What to check.

    Returns
    -------
    list of Broken
        Limits with their place and week, counts, company, budget, wishes.
    """
    count, found = stocking.fish, []
    option_at = stocking.choice[program.tank_loop]
    for used in limit_uses(program, stocking):
        for place, week in np.argwhere(used.use > used.capacity + HOLDS_WITHIN * np.abs(used.capacity)):
            at = (int(place), int(week))
            found.append(Broken(used.limit, used.places[at[0]], at[1], float(used.use[at]), float(used.capacity[at])))
    of_stock, school = program.of_stock, schools(program, count)
    totals = school.sum(axis=1)
    for c, name in enumerate(program.candidates):
        total = int(totals[c])
        if of_stock[c] == c and not program.least[c] <= total <= program.most[c]:
            bound = program.least[c] if total < program.least[c] else program.most[c]
            found.append(Broken("number", name, None, total, float(bound)))
    together, batch = school[of_stock], program.minimum_batch[of_stock]  # on whatever date they are harvested
    is_stray = (count != 0) & ((count < 0) | ((together > 0) & (together < batch[:, None])))
    is_out = (count > 0) & ~program.allowed[option_at, :, np.arange(len(program.tanks))].T
    for c, t in np.argwhere(is_stray | is_out).tolist():
        where = f"{program.candidates[c]} in {program.tanks[t]}"
        if is_stray[c, t]:
            found.append(Broken("batch", where, None, int(together[c, t]), int(batch[c])))
        if is_out[c, t]:
            found.append(Broken("place", where, None, int(count[c, t]), 0.0))
    found += _broken_company(program, count)
    spent = spending(program, stocking)
    if spent > program.budget + HOLDS_WITHIN * max(abs(program.budget), 1.0):
        found.append(Broken("budget", "", None, spent, program.budget))
    for wish in program.wishes:
        got = wish_kg(program, wish, stocking)
        if got < wish.kg * (1.0 - HOLDS_WITHIN):
            found.append(Broken("wish", wish.name, None, got, wish.kg))
    kinds = len({program.species[c] for c in np.flatnonzero(count.sum(axis=1))})
    if not program.species_least <= kinds <= program.species_most:
        bound = program.species_least if kinds < program.species_least else program.species_most
        found.append(Broken("species", "", None, kinds, float(bound)))
    return found


def _broken_company(program: Program, count: IntArray) -> list[Broken]:
    found = []
    by_loop = np.array([count[:, program.tank_loop == loop].sum(axis=1) for loop in range(len(program.loops))]).T
    for apart, there, places in (
        (program.apart_in_tank, count, program.tanks),
        (program.apart_in_loop, by_loop, program.loops),
    ):
        here = np.flatnonzero(there.any(axis=1))
        for a, b in here[np.argwhere(np.triu(apart[np.ix_(here, here)], 1))]:
            for place in np.flatnonzero((there[a] > 0) & (there[b] > 0)):
                pair = f"{program.candidates[a]} with {program.candidates[b]} in {places[place]}"
                found.append(Broken("company", pair, None, 1.0, 0.0))
    return found


def spending(program: Program, stocking: Stocking) -> float:
    """Money for bought fish and for the options taken. [money]"""
    return float(program.price @ stocking.fish.sum(axis=1) + program.option_cost[stocking.choice].sum())


def _sum_over_fish(program: Program, per_fish: FloatArray, stocking: Stocking) -> float:
    """Sum of an amount per fish (option, candidate) over a stocking."""
    option_at = stocking.choice[program.tank_loop]
    return float(sum(per_fish[o] @ stocking.fish[:, t] for t, o in enumerate(option_at)))


def wish_kg(program: Program, wish: Wish, stocking: Stocking) -> float:
    """Kilos that a stocking gives to a wish. [kg]"""
    return _sum_over_fish(program, wish.kg_per_fish, stocking)


def loop_feed(program: Program, stocking: Stocking) -> FloatArray:
    """Feed offered by loop and week. [g/day]"""
    option_at = stocking.choice[program.tank_loop]
    feed = np.zeros((len(program.loops), program.weeks))
    for t, loop in enumerate(program.tank_loop):
        feed[loop] += program.feed_g_day[option_at[t]].T @ stocking.fish[:, t]
    return feed


def outside_band(program: Program, stocking: Stocking) -> float:
    """Feed outside the band, summed over loops and weeks. [g/day]"""
    feed = loop_feed(program, stocking)
    return float((np.maximum(program.feed_low - feed, 0.0) + np.maximum(feed - program.feed_high, 0.0)).sum())


def goal_value(program: Program, goal: str, stocking: Stocking) -> float:
    """What a stocking is worth by a goal.

    Parameters
    ----------
    program : Program
        The problem.
    goal : str
        ``edible``: edible kilos, thinned fish included. ``cost``: money. ``steady``: feed outside the band plus the
        change of feed from week to week, summed over loops and weeks [g/day]; 0 is a feed that never leaves the
        band and never changes.
    stocking : Stocking
        Fish by candidate and tank.

    Returns
    -------
    float
        The goal's own number, without the price of feed outside the band.
    """
    if goal == "edible":
        thinned = program.thinned_kg @ (program.owned - np.minimum(placed_of(program, stocking.fish), program.owned))
        return _sum_over_fish(program, program.edible_kg, stocking) + float(thinned)
    if goal == "cost":
        return _sum_over_fish(program, program.cost, stocking) + float(program.option_cost[stocking.choice].sum())
    change = np.abs(np.diff(loop_feed(program, stocking), axis=1)).sum()
    return outside_band(program, stocking) + float(change)


def score(program: Program, goal: str, stocking: Stocking) -> float:
    """What the solver makes as great as it can: the goal, signed so that more is better, less the price of the band."""
    value = goal_value(program, goal, stocking)
    penalty = program.band_price.get(goal, 0.0) * 7.0 / 1000.0 * outside_band(program, stocking)
    return (value if goal == "edible" else -value) - penalty
