"""The program of a site, and the season of a plan."""

from __future__ import annotations

import copy
from collections.abc import Sequence
from dataclasses import replace
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.answers.stock.loads import mean_of_weeks
from stocksim.answers.stock.problem import INSTEAD_OF_AMOUNTS, Problem
from stocksim.answers.stock.program import IntArray, Program, Stocking, Wish
from stocksim.answers.stock.rounds import Corrections, corrected, place_limits
from stocksim.engine.arrays.layout import Layout, build_layout
from stocksim.engine.results.course import Course
from stocksim.engine.results.findings import limit_series, tank_extremes, worst_margin
from stocksim.engine.season import simulate
from stocksim.library.feeds import load_feed
from stocksim.site.fish_tables import RemovalEvent
from stocksim.site.kinds import hard_limits
from stocksim.site.reading import Site
from stocksim.site.stocking_tables import HarvestWish, StockingTable

# seasons run at once: enough to keep numpy busy, few enough to stay small in memory
SEASONS_AT_ONCE = 50
_BOUGHT_KEYS = (
    "species", "mean_weight", "stocked", "feed", "ration", "wild", "trained", "sex", "size_spread", "strain",
)  # fmt: skip


class Placed(NamedTuple):
    """Fish of a candidate in a tank, and the name of that cohort in the planned file."""

    cohort: str
    candidate: int
    tank: int
    fish: int


def placed(problem: Problem, fish: IntArray) -> list[Placed]:
    """Cohorts of a stocking: a candidate's first tank (its own, where it stays) keeps its name."""
    found, taken = [], {candidate.name for candidate in problem.candidates}
    homes = [table.tank for table in problem.site.file.cohorts.values()]
    for c, candidate in enumerate(problem.candidates):
        tanks = [int(t) for t in np.flatnonzero(fish[c])]
        if c < len(homes):
            tanks.sort(key=lambda t: problem.tanks[t] != homes[c])
        for number, t in enumerate(tanks):
            name = candidate.name if number == 0 else f"{candidate.name}_{problem.tanks[t]}"
            while number and name in taken:
                name += "_2"
            taken.add(name)
            found.append(Placed(name, c, t, int(fish[c, t])))
    return found


def planned_site(problem: Problem, cohorts: Sequence[Placed], choice: IntArray) -> Site:
    """Site with a stocking, without going through a file.

    Parameters
    ----------
    problem : Problem
        The problem.
    cohorts : sequence of Placed
        Its fish.
    choice : ndarray of int, shape (loop,)
        Option of each loop.

    Returns
    -------
    Site
        Ready for `build_layout`; its ``raw`` is still that of the problem's site.
    """
    site = problem.site
    tables = {p.cohort: problem.candidates[p.candidate].table(problem.tanks[p.tank], float(p.fish)) for p in cohorts}
    leaving = [
        RemovalEvent.model_validate({"kind": "harvest", "date": day, "cohort": p.cohort, "all": True})
        for p in cohorts
        if (day := problem.candidates[p.candidate].leaves) is not None
    ]
    used = {p.candidate for p in cohorts}
    feeds = {problem.candidates[c].feed for c in used}
    water = {loop: problem.options[int(o)].temperature_c for loop, o in zip(site.file.loops, choice, strict=True)}
    return replace(
        site,
        file=site.file.model_copy(update={"cohorts": tables, "events": leaving, "stocking": None}),
        species={problem.entries[c].name: problem.entries[c] for c in sorted(used)},
        feeds={feed: site.feeds.get(feed) or load_feed(feed, site.folder) for feed in sorted(feeds)},
        held_c=water,
    )


def planned_tables(problem: Problem, cohorts: Sequence[Placed], choice: IntArray) -> dict[str, Any]:
    """Tables of a site file with a stocking filled in; whatever the plan does not touch stays as the keeper wrote it.

    Parameters
    ----------
    problem, cohorts, choice
        As in `planned_site`.

    Returns
    -------
    dict
        For `site_from_tables`. The stocking table is left out: what it offered has been chosen from.
    """
    raw = copy.deepcopy(dict(problem.site.raw))
    wishes = raw.pop("stocking", {})
    own = raw.pop("cohorts", {})
    raw.pop("events", None)
    raw["cohorts"] = {}
    for p in cohorts:
        candidate = problem.candidates[p.candidate]
        name = problem.candidates[problem.stock[p.candidate]].name
        source = own.get(name)
        if source is None:
            offered = wishes["candidates"][name]
            table = {key: offered[key] for key in _BOUGHT_KEYS if key in offered}
        else:
            table = dict(source)
        table |= {"tank": problem.tanks[p.tank], "count": p.fish}
        if candidate.ration is INSTEAD_OF_AMOUNTS:
            table["ration"] = {"kind": "appetite", "fraction": INSTEAD_OF_AMOUNTS.fraction}
        raw["cohorts"][p.cohort] = table
    events = [
        {"kind": "harvest", "date": day, "cohort": p.cohort, "all": True}
        for p in cohorts
        if (day := problem.candidates[p.candidate].leaves) is not None
    ]
    if events:
        raw["events"] = events
    for o in choice:
        option = problem.options[int(o)]
        if option.name != option.loop:
            set_point = {k: v for k, v in wishes["options"][option.name].items() if k in ("at_least", "at_most")}
            raw["loops"][option.loop]["water_temperature"] |= set_point
    return raw


def run_stocking(problem: Problem, stocking: Stocking) -> tuple[Layout, Course]:
    """Full season of a stocking."""
    layout = build_layout(planned_site(problem, placed(problem, stocking.fish), stocking.choice))
    return layout, simulate(layout)


def worst_margins(problem: Problem, stockings: Sequence[Stocking]) -> NDArray[np.float64]:
    """Smallest margin of any hard limit in the full season of each stocking, as `season_margins`."""
    return np.min(list(season_margins(problem, stockings).values()), axis=0)


def season_margins(problem: Problem, stockings: Sequence[Stocking]) -> dict[str, NDArray[np.float64]]:
    """Smallest margin of each hard limit in the full season of each stocking.

    Parameters
    ----------
    problem : Problem
        The problem.
    stockings : sequence of Stocking
        Whole fish by candidate and tank. Those of one choice of options are run together, numbers of fish being a
        scenario axis.

    Returns
    -------
    dict of str to ndarray, shape (stocking,)
        By limit, every hard one, in percent of it, below 0 broken; infinite where nothing asks, as without fish.
    """
    worst = {limit: np.full(len(stockings), np.inf) for limit in hard_limits()}
    for choice in sorted({tuple(int(o) for o in s.choice) for s in stockings}):
        group = [n for n, s in enumerate(stockings) if tuple(int(o) for o in s.choice) == choice]
        for start in range(0, len(group), SEASONS_AT_ONCE):
            part = group[start : start + SEASONS_AT_ONCE]
            together = np.stack([stockings[n].fish for n in part])
            cohorts = placed(problem, together.max(axis=0))
            if not cohorts:
                continue
            layout = build_layout(planned_site(problem, cohorts, np.array(choice)))
            count = np.stack([together[:, p.candidate, p.tank] for p in cohorts], axis=-1).astype(float)
            layout = replace(layout, count=count)
            course = simulate(layout)
            for series in limit_series(layout, course, tank_extremes(layout, course)):
                margin = worst_margin(series)
                each = np.broadcast_to(margin, (len(part), margin.shape[-1])).min(axis=1)
                worst[series.limit][part] = np.minimum(worst[series.limit][part], each)
    return worst


# --- program of a stocking problem under the keeper's wishes

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
        for number, t in enumerate(inside):
            fitting = np.flatnonzero(problem.allowed[o, :, t])
            if fitting.size:
                c = int(fitting[number % fitting.size])
                heaviest = problem.loads.biomass_g[o, c].max() / 1000.0
                bears = min(layout.density_limit[c], layout.growth_density[c]) * layout.volume_m3[t]
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
        Of `stocksim.answers.stock.rounds`.
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
    lives = np.array(problem.allowed.any(axis=2), bool)
    limits = place_limits(problem.layouts, latest, problem.loads, unseen, margin_of(wishes), lives)
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
        thinned_kg=start_g / 1000.0 * fillet_share(problem) * (problem.owned[problem.stock] > 0),
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
        stock=problem.stock,
    )


def live_per_fish(problem: Problem, wish: HarvestWish) -> FloatArray:
    """Live weight of one fish stocked on the day of a wish, shape (option, candidate). [kg]

    0 for other species, and for fish that are smaller than the wish asks.
    """
    day = (wish.by - problem.site.file.season.start).days
    alive = problem.loads.alive[*_on_last_day(problem, day + 1)]
    weight = weight_on(problem, wish)
    return np.where(weight >= (wish.each_at_least or 0.0), weight, 0.0) * alive / 1000.0


def weight_on(problem: Problem, wish: HarvestWish) -> FloatArray:
    """Weight of a fish on the day of a wish, 0 for other species and those gone by then, (option, candidate). [g]"""
    day = (wish.by - problem.site.file.season.start).days
    first = problem.stock == np.arange(len(problem.candidates))
    stays = [own or candidate.leaves is None or candidate.leaves > wish.by
             for own, candidate in zip(first, problem.candidates, strict=True)]  # fmt: skip
    counts = stays & np.array([candidate.species == wish.species for candidate in problem.candidates])
    return problem.loads.weight_g[*_on_last_day(problem, day + 1)] * counts


def _on_last_day(problem: Problem, before: int) -> tuple[NDArray[np.int64], ...]:
    """Places in the loads of each option and candidate on its last day before a day."""
    options, candidates = np.arange(len(problem.options))[:, None], np.arange(len(problem.candidates))[None]
    return options, candidates, np.broadcast_to(_last_day(problem, before), (1, len(problem.candidates)))


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
