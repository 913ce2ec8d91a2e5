"""A stocking back as a site: for the engine at once, and as the tables of a file."""

from __future__ import annotations

import copy
from collections.abc import Sequence
from dataclasses import replace
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.course import Course
from stocksim.engine.extremes import tank_extremes
from stocksim.engine.findings import limit_series, worst_margin
from stocksim.engine.layout import Layout, build_layout
from stocksim.engine.season import simulate
from stocksim.library.feeds import load_feed
from stocksim.planning.program import IntArray, Stocking
from stocksim.planning.stock_problem import INSTEAD_OF_AMOUNTS, Problem
from stocksim.site.fish_tables import RemovalEvent
from stocksim.site.reading import Site

# seasons run at once: enough to keep numpy busy, few enough to stay small in memory
SEASONS_AT_ONCE = 50
# every hard limit of the engine (a test compares): a stocking without fish has a margin on each of them, too
HARD_LIMITS = (
    "biofilter", "density", "oxygen", "unionized_ammonia", "nitrite", "predation", "temperature_low",
    "temperature_high", "temperature_change",
)  # fmt: skip
_BOUGHT_KEYS = ("species", "mean_weight", "stocked", "feed", "ration", "wild", "trained", "sex", "size_spread")


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
        temperature_c=water,
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
        source = own.get(candidate.name)
        if source is None:
            offered = wishes["candidates"][candidate.name]
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
        By limit, every one of `HARD_LIMITS`, in percent of it, below 0 broken; infinite where nothing asks.
    """
    worst = {limit: np.full(len(stockings), np.inf) for limit in HARD_LIMITS}
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
