"""A plan against the full season: solve, run, correct what the program got wrong, and solve again until both agree."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.course import Course
from stocksim.engine.extremes import tank_extremes
from stocksim.engine.findings import Finding, LimitSeries, findings, limit_series
from stocksim.engine.layout import Layout
from stocksim.planning.place_limits import oxygen_response
from stocksim.planning.program import IntArray, Limit, Program, Stocking, limit_uses
from stocksim.planning.program_solve import Plan
from stocksim.planning.unit_loads import worst_of_weeks

FloatArray = NDArray[np.float64]
Corrections = dict[str, FloatArray]

MOST_ROUNDS = 8
# A limit is corrected where the season used at least this share of it: elsewhere a difference changes no plan.
MATTERS_FROM = 0.8
# Where the season broke a limit, this much is taken off beyond the difference, so that the rounds come to an end.
_TAKEN_OFF = 0.02
_LEAST_FACTOR = 0.2
# Limits that no row of the program holds are mended through the one that they hang on.
HANGS_ON = {"nitrite": "biofilter", "unionized_ammonia": "biofilter"}


class Proven(NamedTuple):
    """The best plan that held in the full season, with that season; None where none held.

    ``disagreement`` is by how much program and season differ in the use of each limit, as a share of what a place
    bears, at the worst place and week. ``broken`` are the hard limits that the last season broke, empty when a plan
    held. ``is_settled`` tells whether the rounds ended because the corrected program promised nothing better; where
    they ran out instead, a better plan may be left.
    """

    program: Program | None
    plan: Plan | None
    layout: Layout | None
    course: Course | None
    rounds: int
    disagreement: dict[str, float]
    broken: tuple[Finding, ...]
    is_settled: bool = False


def prove_plan(
    program_of: Callable[[Sequence[Course | None], Corrections], Program],
    solve_it: Callable[[Program], Plan],
    run: Callable[[Stocking], tuple[Layout, Course]],
    options: int,
    gap: float = 0.01,
    rounds: int = MOST_ROUNDS,
    progress: Callable[[int, int], None] | None = None,
) -> Proven:
    """Best plan that a full season proves.

    Parameters
    ----------
    program_of : callable
        Program by the last season of each option (None where it was not run yet) and the corrections so far, which it
        must put on its limits by `corrected`.
    solve_it : callable
        Plan of a program.
    run : callable
        Full season of a stocking.
    options : int
        Number of options.
    gap : float
        A plan that promises no more than this share above one that held ends the rounds. [-]
    rounds : int
        Most solves.
    progress : callable, optional
        Called with (rounds done, most rounds).

    Returns
    -------
    Proven
        Never a plan that breaks a hard limit in its season.
    """
    courses: list[Course | None] = [None] * options
    corrections: Corrections = {}
    best = Proven(None, None, None, None, 0, {}, ())
    for number in range(1, rounds + 1):
        program = program_of(courses, corrections)
        plan = solve_it(program)
        if progress is not None:
            progress(number, rounds)
        if plan.stocking is None:
            # nothing more to try; without any plan that held, the program and its empty plan tell why
            known = best._replace(rounds=number, is_settled=plan.status == "infeasible")
            return known if best.plan is not None else known._replace(program=program, plan=plan)
        if best.plan is not None and plan.score <= best.plan.score + gap * abs(best.plan.score):
            return best._replace(rounds=number, is_settled=True)
        layout, course = run(plan.stocking)
        series = limit_series(layout, course, tank_extremes(layout, course))
        broken = tuple(item for item in findings(layout, series) if item.is_broken)
        disagreement = correct(corrections, program, plan.stocking, layout, course, series)
        if not broken:
            best = Proven(program, plan, layout, course, number, disagreement, ())
        elif best.plan is None:
            best = Proven(None, None, None, None, number, disagreement, broken)
        for option in plan.stocking.choice:
            courses[option] = course
    return best._replace(rounds=rounds)


def corrected(limits: Sequence[Limit], corrections: Corrections, option_loop: IntArray) -> tuple[Limit, ...]:
    """Limits with what earlier seasons took off them.

    Parameters
    ----------
    limits : sequence of Limit
        As computed.
    corrections : dict of str to ndarray, shape (place, week)
        Factors by limit.
    option_loop : ndarray of int, shape (option,)
        Loop of each option.

    Returns
    -------
    tuple of Limit
        Capacities times their factors.
    """
    found = []
    for limit in limits:
        factor = corrections.get(limit.name)
        if factor is not None:
            by_option = factor[option_loop][:, None, None] if limit.is_of_loop else factor[None, None]
            limit = limit._replace(capacity=limit.capacity * by_option)
        found.append(limit)
    return tuple(found)


def correct(
    corrections: Corrections,
    program: Program,
    stocking: Stocking,
    layout: Layout,
    course: Course,
    series: Sequence[LimitSeries],
) -> dict[str, float]:
    """Tighten the corrections by a season, in place; by how much program and season differ, by limit."""
    apart = {}
    seasons = {item.limit: _used_share(item, layout, course) for item in series}
    by_loop = layout.leaf_loop[: len(layout.tanks)]
    for used in limit_uses(program, stocking):
        season = seasons.get(used.limit)
        if season is None:
            continue
        asks = np.isfinite(used.capacity) & np.isfinite(season)
        promised = np.where(asks, used.use / np.where(asks, used.capacity, 1.0), 0.0)
        season = np.where(asks, season, 0.0)
        apart[used.limit] = float(np.abs(season - promised).max(initial=0.0))
        factor = np.where(
            (season > promised) & (season > MATTERS_FROM), promised / np.maximum(season, 1e-12), 1.0
        ) * np.where(season > 1.0, 1.0 - _TAKEN_OFF, 1.0)
        for other, bearer in HANGS_ON.items():
            if bearer == used.limit and other in seasons:
                worst = np.nan_to_num(seasons[other])
                at_place = np.array([worst[by_loop[:, loop] > 0.0].max(axis=0) for loop in range(by_loop.shape[1])])
                # what a loop's water holds comes of all that was fed before
                ahead = np.maximum.accumulate(at_place[:, ::-1], axis=1)[:, ::-1]
                factor *= np.where(ahead > 1.0, (1.0 - _TAKEN_OFF) / np.sqrt(np.maximum(ahead, 1.0)), 1.0)
        known = corrections.get(used.limit, np.ones_like(factor))
        corrections[used.limit] = np.maximum(known * factor, _LEAST_FACTOR)
    return apart


def calibrated(
    program: Program, stocking: Stocking, layout: Layout, course: Course, margin: float = 0.0
) -> Corrections:
    """Corrections by which a program uses its limits at one stocking just as that stocking's season does.

    Parameters
    ----------
    program : Program
        Of that season, without corrections.
    stocking : Stocking
        One that held.
    layout, course
        Its season.
    margin : float
        Share of every limit that the program keeps in hand. [-]

    Returns
    -------
    dict of str to ndarray, shape (place, week)
        Factors, above 1 too. Nitrite and un-ionized ammonia speak through the biofilter, in the weeks before as well.
    """
    series = limit_series(layout, course, tank_extremes(layout, course))
    shares = {item.limit: _used_share(item, layout, course) for item in series}
    by_loop = layout.leaf_loop[: len(layout.tanks)]
    found = {}
    for used in limit_uses(program, stocking):
        season = np.nan_to_num(shares[used.limit]) / (1.0 - margin)
        for other, bearer in HANGS_ON.items():
            if bearer == used.limit:
                worst = np.nan_to_num(shares[other])
                at_place = np.array([worst[by_loop[:, loop] > 0.0].max(axis=0) for loop in range(by_loop.shape[1])])
                season = np.maximum(season, np.maximum.accumulate(at_place[:, ::-1], axis=1)[:, ::-1])
        asks = np.isfinite(used.capacity) & (used.use > 0.0)
        promised = np.where(asks, used.use / np.where(asks, used.capacity, 1.0), 0.0)
        found[used.limit] = np.where(asks, promised / np.clip(season, 1e-3, 1.0), 1.0)
    return found


def _used_share(series: LimitSeries, layout: Layout, course: Course) -> FloatArray:
    """Share of a limit that a season used, shape (place, week), its worst day; NaN where nothing asked."""
    value, threshold = np.broadcast_arrays(series.value, series.threshold)
    value, threshold = value[0], threshold[0]
    with np.errstate(invalid="ignore", divide="ignore"):
        if series.limit == "oxygen":
            full = oxygen_response(layout, course).without_fish
            share = (full - value) / (full - threshold)
        else:
            share = value / threshold
    share = np.where(np.isfinite(share), share, -np.inf)
    weekly = worst_of_weeks(share.T)
    return np.where(np.isfinite(weekly), weekly, np.nan)
