"""Program of a stocking problem under the keeper's wishes."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.course import Course
from stocksim.engine.layout import build_layout
from stocksim.engine.season import simulate
from stocksim.planning.place_limits import place_limits
from stocksim.planning.planned_site import placed, planned_site
from stocksim.planning.program import Program, Wish
from stocksim.planning.stock_problem import Problem
from stocksim.planning.stock_rounds import Corrections, corrected
from stocksim.planning.unit_loads import mean_of_weeks
from stocksim.site.stocking_tables import HarvestWish, StockingTable

FloatArray = NDArray[np.float64]

# Share of every limit kept in hand where the keeper names none: no outlook tells yet how sure the model is (assumed).
USUAL_MARGIN = 0.05
# Kilos of edible fish that a kilo of feed outside the beds' band counts for, where the keeper names none (assumed).
USUAL_BAND_WEIGHT = 0.05
# Share of the density limit at which tanks without fish are filled for a first look at their water (assumed).
_FIRST_LOOK = 0.3


def margin_of(wishes: StockingTable) -> float:
    """Share of every limit to keep in hand. [-]"""
    return USUAL_MARGIN if wishes.margin is None else wishes.margin


def first_courses(problem: Problem) -> list[Course]:
    """A season for each option to take pH, exchange and films from before any plan has been run.

    The keeper's own fish where they are; loops without any get a light stocking, for water without fish has another pH.
    """
    loops = len(problem.site.file.loops)
    turns = max(int((problem.option_loop == loop).sum()) for loop in range(loops))
    courses: list[Course | None] = [None] * len(problem.options)
    for turn in range(turns):
        chosen = [np.flatnonzero(problem.option_loop == loop) for loop in range(loops)]
        choice = np.array([options[min(turn, len(options) - 1)] for options in chosen], int)
        fish = _seed(problem, choice)
        course = simulate(build_layout(planned_site(problem, placed(problem, fish), choice)))
        for o in choice:
            courses[o] = courses[o] or course
    return [course for course in courses if course is not None]


def _seed(problem: Problem, choice: NDArray[np.int64]) -> NDArray[np.int64]:
    fish = np.zeros((len(problem.candidates), len(problem.tanks)), int)
    homes = [problem.tanks.index(table.tank) for table in problem.site.file.cohorts.values()]
    for c, tank in enumerate(homes):
        fish[c, tank] = problem.owned[c]
    for loop, o in enumerate(choice):
        inside = np.flatnonzero(problem.tank_loop == loop)
        if fish[:, inside].any():
            continue
        layout = problem.layouts[int(o)]
        for t in inside:
            fitting = np.flatnonzero(problem.allowed[o, :, t])
            if fitting.size:
                c = int(fitting[t % fitting.size])
                heaviest = problem.loads.biomass_g[o, c].max() / 1000.0
                bears = layout.density_limit[c] * layout.volume_m3[t]
                fish[c, t] = int(_FIRST_LOOK * bears / heaviest) if heaviest > 0.0 else 0
    return fish


def edible_per_fish(problem: Problem) -> FloatArray:
    """Fillet of one fish stocked, at the season's end or the day before it leaves, shape (option, candidate). [kg]"""
    last = _last_day(problem, problem.site.days)
    o = np.arange(len(problem.options))[:, None]
    c = np.arange(len(problem.candidates))[None]
    weight, alive = problem.loads.weight_g[o, c, last], problem.loads.alive[o, c, last]
    return weight * alive / 1000.0 * fillet_share(problem)


def fillet_share(problem: Problem) -> FloatArray:
    """Fillet over live weight, 0 for species without a known yield, shape (candidate,). [-]"""
    return np.array([entry.number("fillet_yield", 0.0) for entry in problem.entries])


def _last_day(problem: Problem, before: int) -> NDArray[np.int64]:
    """Last day that each candidate is there, no later than the day before ``before``, shape (candidate,)."""
    start = problem.site.file.season.start
    leaves = [(c.leaves - start).days if c.leaves else problem.site.days for c in problem.candidates]
    return np.maximum(np.minimum(np.array(leaves), before) - 1, 0)


def build_program(
    problem: Problem,
    wishes: StockingTable,
    first: Sequence[Course],
    courses: Sequence[Course | None] | None = None,
    corrections: Corrections | None = None,
    keep_all: bool = False,
) -> Program:
    """Program of a problem.

    Parameters
    ----------
    problem : Problem
        From `build_problem`.
    wishes : StockingTable
        The keeper's, or changed ones: budget, margin, species, harvests, weight of the feed band.
    first : sequence of Course
        Of `first_courses`.
    courses : sequence of Course or None, optional
        Last season run of each option.
    corrections : dict, optional
        Of `stocksim.planning.stock_rounds`.
    keep_all : bool
        Whether all own fish must be placed.

    Returns
    -------
    Program
        With density, oxygen and biofilter as limits.
    """
    courses = courses or [None] * len(first)
    latest = [later or earlier for later, earlier in zip(courses, first, strict=True)]
    unseen = [course is None for course in courses]
    limits = place_limits(problem.layouts, latest, problem.loads, unseen, margin_of(wishes))
    number = len(problem.candidates)
    apart = np.zeros((number, number), bool)
    for pair in problem.apart:
        apart[pair.one, pair.other] = apart[pair.other, pair.one] = True
    loads, start_g = problem.loads, np.array([c.mean_weight_g for c in problem.candidates])
    feed_kg = loads.feed_g.sum(axis=2) / 1000.0
    band = USUAL_BAND_WEIGHT if wishes.feed_band_weight is None else wishes.feed_band_weight
    return Program(
        candidates=tuple(c.name for c in problem.candidates),
        species=tuple(c.species for c in problem.candidates),
        tanks=problem.tanks,
        loops=tuple(problem.site.file.loops),
        options=tuple(option.name for option in problem.options),
        tank_loop=problem.tank_loop,
        option_loop=problem.option_loop,
        weeks=problem.weeks,
        allowed=problem.allowed,
        limits=corrected(limits, corrections or {}, problem.option_loop),
        edible_kg=edible_per_fish(problem),
        cost=problem.price[None] + (wishes.feed_price or 0.0) * feed_kg,
        least=np.maximum(problem.least, problem.owned) if keep_all else problem.least,
        most=problem.most,
        owned=problem.owned,
        minimum_batch=problem.minimum_batch,
        thinned_kg=start_g / 1000.0 * fillet_share(problem) * (problem.owned > 0),
        price=problem.price,
        budget=float("inf") if wishes.budget is None else wishes.budget,
        option_cost=problem.option_cost,
        apart_in_tank=apart,
        apart_in_loop=np.zeros_like(apart),
        feed_g_day=mean_of_weeks(loads.feed_g),
        feed_low=problem.feed_low,
        feed_high=problem.feed_high,
        band_price={"edible": band} if band > 0.0 else {},
        wishes=_wishes(problem, wishes.harvest_wishes),
        species_least=wishes.species_at_least,
        species_most=wishes.species_at_most or 10**6,
    )


def live_per_fish(problem: Problem, wish: HarvestWish) -> FloatArray:
    """Live weight of one fish stocked on the day of a wish, 0 for other species, shape (option, candidate). [kg]"""
    day = (wish.by - problem.site.file.season.start).days
    last = _last_day(problem, day + 1)
    o = np.arange(len(problem.options))[:, None]
    c = np.arange(len(problem.candidates))[None]
    kg = problem.loads.weight_g[o, c, last] * problem.loads.alive[o, c, last] / 1000.0
    return kg * np.array([candidate.species == wish.species for candidate in problem.candidates])


def _wishes(problem: Problem, wished: Sequence[HarvestWish]) -> tuple[Wish, ...]:
    """Rows of the harvests wished; a later wish for the same species needs other fish than an earlier one.

    What an earlier wish takes is counted at what those fish would weigh by the later date, at their fastest growth.
    """
    found = []
    for number, wish in enumerate(wished):
        here = live_per_fish(problem, wish)
        kg = wish.weight / 1000.0
        for other_number, other in enumerate(wished):
            is_before = (other.by, other_number) < (wish.by, number)
            if other is not wish and other.species == wish.species and is_before:
                then = live_per_fish(problem, other)
                grown = np.divide(here, then, out=np.ones_like(here), where=then > 0.0)
                kg += other.weight / 1000.0 * max(float(grown.max()), 1.0)
        found.append(Wish(f"{number + 1}", kg, here))
    return tuple(found)
