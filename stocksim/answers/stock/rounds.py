"""Limits of each place in a week, and the rounds that tighten them until the season agrees."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.answers.stock.loads import UnitLoads, least_of_weeks, worst_of_weeks
from stocksim.answers.stock.program import IntArray, Limit, Program, Stocking, limit_uses
from stocksim.answers.stock.solve import Plan
from stocksim.engine.arrays.layout import Layout
from stocksim.engine.results.course import Course
from stocksim.engine.results.findings import (
    Finding,
    LimitSeries,
    findings,
    limit_series,
    tank_extremes,
)
from stocksim.engine.results.hours import fall_by_tank
from stocksim.site.kinds import limits_left_by_film
from stocksim.water.ammonia import unionized_fraction
from stocksim.water.nitrification import HALF_SATURATION_TAN_MG_L, OXYGEN_PER_NITROGEN

FloatArray = NDArray[np.float64]


class OxygenResponse(NamedTuple):
    """How oxygen at its daily lowest answers to use, one scenario.

    ``without_fish`` (day, tank) [mg/L]; ``by_tank`` (tank, tank, day): fall in the first by 1 g/day of fish's use in
    the second, its daily swing included; ``by_loop`` (tank, day): fall by 1 g/day used in the sump. [mg/L per g/day]
    """

    without_fish: FloatArray
    by_tank: FloatArray
    by_loop: FloatArray


def oxygen_response(layout: Layout, course: Course, scenario: int = 0) -> OxygenResponse:
    """Oxygen of each tank as a linear function of what fish use.

    Parameters
    ----------
    layout, course
        A season's arrays.
    scenario : int
        Which one.

    Returns
    -------
    OxygenResponse
        Of all tanks; 0 between tanks of different loops.

    Notes
    -----
    The loop's own balance without storage, so as if each day lasted: leaves (flow + exchange) C = exchange C_air +
    flow C_sump - use, the sump likewise. It is linear while nothing runs dry. The swing is that of the
    usual meals of well-fed fish in each tank; swings of several tanks are added as if their lowest came together.
    """
    tanks, members = len(layout.tanks), layout.leaf_loop
    flow = layout.flow_m3_day
    exchange, exchange_load = course.leaf_exchange_m3_day[scenario], course.leaf_exchange_load_g[scenario]
    sump_exchange = course.sump_exchange_m3_day[scenario]
    gain = flow + exchange
    passed = np.divide(flow, gain, out=np.zeros_like(gain), where=gain > 0.0)
    still = np.divide(exchange_load, gain, out=np.zeros_like(gain), where=gain > 0.0)
    sump_gain = flow @ members + sump_exchange - (flow * passed) @ members
    sump = (course.sump_exchange_load_g[scenario] + (flow * still) @ members) / sump_gain
    without_fish = (still + passed * (sump @ members.T))[:, :tanks]
    by_loop = (passed / (sump_gain @ members.T))[:, :tanks]
    same = members[:tanks] @ members[:tanks].T
    by_tank = same * by_loop[:, :, None] * passed[:, None, :tanks] + np.eye(tanks) / gain[:, :tanks, None]
    by_tank = by_tank + fall_by_tank(layout, course, scenario).transpose(1, 2, 0)
    return OxygenResponse(without_fish, by_tank.transpose(1, 2, 0), by_loop.T)


def place_limits(
    layouts: Sequence[Layout],
    courses: Sequence[Course],
    loads: UnitLoads,
    is_film_mature: bool | Sequence[bool] = False,
    margin: float = 0.0,
    lives: NDArray[np.bool_] | None = None,
) -> tuple[Limit, ...]:
    """Density, oxygen and biofilter for the candidates, then densities above which one species alone grows less.

    Parameters
    ----------
    layouts : sequence of Layout
        One an option, by `candidate_layout`: its species columns are the candidates.
    courses : sequence of Course
        One an option, of a run on the same tanks and loops at the option's temperature, whose first scenario gives pH,
        exchange with air, and the film.
    loads : UnitLoads
        Of the same options and candidates.
    is_film_mature : bool or sequence of bool
        Take films as mature at each day's temperature, where no run has fed them yet; for all options or for each.
    margin : float
        Share of every capacity kept in hand for what the model does not know. [-]
    lives : ndarray of bool, shape (option, candidate), optional
        Who may live under an option at all; what others give off there counts for nothing.

    Returns
    -------
    tuple of Limit
        By week, each at its worst day. The last are named density too: a tank is as full as the fuller of its rows.

    Notes
    -----
    TAN is not in proportion to load. So the load may be no more than what the film removes at the level of the
    candidate's un-ionized limit, at the pH of the tank of its loop where ammonia is most toxic. What films and sump use
    of oxygen is set in proportion to the fish's own, at the greatest ratio of the week.
    """
    there = worst_of_weeks(loads.biomass_g) > 0.0
    load_by_week = worst_of_weeks(loads.oxygen_g)
    rest = loads.sump_oxygen_g + OXYGEN_PER_NITROGEN * loads.tan_g
    density, oxygen, biofilter, influence = [], [], [], []
    mature = np.broadcast_to(np.asarray(is_film_mature), len(layouts))
    for option, (layout, course) in enumerate(zip(layouts, courses, strict=True)):
        tanks = len(layout.tanks)
        loop = int(np.argmax(layout.cohort_loop[0]))
        weeks = there.shape[-1]
        bears = layout.density_limit[:, None] * layout.volume_m3[:tanks]
        density.append(np.repeat(bears[:, :, None], weeks, axis=2))
        response = oxygen_response(layout, course)
        floor = layout.species["oxygen_recommended"]
        oxygen.append(least_of_weeks(response.without_fish.T)[None] - floor[:, None, None])
        own = load_by_week[option]
        counts = own > 0.0 if lives is None else (own > 0.0) & lives[option][:, None]
        ratio = np.divide(worst_of_weeks(rest[option]), own, out=np.zeros_like(own), where=counts).max(axis=0)
        by_loop = worst_of_weeks(response.by_loop) * ratio
        influence.append(worst_of_weeks(response.by_tank) + by_loop[:, None])
        in_loop = layout.leaf_loop[:, loop] > 0.0
        toxic = unionized_fraction(course.ph[0], layout.temperature_c[:, [loop]])[:, in_loop[:tanks]].max(axis=1)
        film = course.capacity_g[0][:, tanks:] if mature[option] else course.film_capacity_g[0]
        level = layout.species["unionized_ammonia_design"][:, None] / toxic
        removed = film[:, in_loop[tanks:]].sum(axis=1) * level / (HALF_SATURATION_TAN_MG_L + level)
        biofilter.append(least_of_weeks(removed)[:, None])
    present = there[:, :, None]

    def where_there(capacity: list[FloatArray]) -> FloatArray:
        return np.where(present, (1.0 - margin) * np.stack(capacity), np.inf)

    return (
        Limit("density", "kg", worst_of_weeks(loads.biomass_g) / 1000.0, where_there(density)),
        Limit("oxygen", "mg/L", load_by_week, where_there(oxygen), influence=np.stack(influence)),
        Limit("biofilter", "g/day", worst_of_weeks(loads.tan_g), where_there(biofilter), is_of_loop=True),
        *_growth_densities(layouts, loads, there, 1.0 - margin),
    )


def _growth_densities(
    layouts: Sequence[Layout], loads: UnitLoads, there: NDArray[np.bool_], share: float
) -> Iterator[Limit]:  # fmt: skip
    """A row for each species whose own growth has a density: its fish alone fill it, and are alone held to it."""
    names = [stay.table.species for stay in layouts[0].stays]
    for name in dict.fromkeys(names):
        kin = np.array([other == name for other in names])
        bears = np.stack([layout.growth_density for layout in layouts])
        if not np.isfinite(bears[:, kin]).any():
            continue
        volume = np.stack([layout.volume_m3[: len(layout.tanks)] for layout in layouts])
        most = share * bears[:, :, None] * volume[:, None]
        is_held = (there & kin[:, None])[:, :, None]
        capacity = np.where(is_held, np.where(np.isfinite(most), most, np.inf)[..., None], np.inf)
        own = worst_of_weeks(loads.biomass_g) / 1000.0 * kin[:, None]
        yield Limit("density", "kg", own, capacity)


# --- a plan against the full season: solve, run, correct what the program got wrong, and solve again until both agree

Corrections = dict[str, FloatArray]

MOST_ROUNDS = 8
# A limit is corrected where the season used at least this share of it: elsewhere a difference changes no plan.
MATTERS_FROM = 0.8
# Where the season broke a limit, this much is taken off beyond the difference, so that the rounds come to an end.
_TAKEN_OFF = 0.02
_LEAST_FACTOR = 0.2
# Limits of what the film leaves have no row of the program: they are mended through the one that they hang on.
FILM_ROW = "biofilter"


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


def _behind(row: str) -> list[str]:
    """Limits that hang on a row of the program."""
    return sorted(limits_left_by_film()) if row == FILM_ROW else []


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
    for limit, promised in _promised(program, stocking).items():
        season = seasons.get(limit)
        if season is None:
            continue
        season = np.where(np.isfinite(promised) & np.isfinite(season), season, 0.0)
        promised = np.where(np.isfinite(promised) & np.isfinite(seasons[limit]), promised, 0.0)
        apart[limit] = float(np.abs(season - promised).max(initial=0.0))
        factor = np.where(
            (season > promised) & (season > MATTERS_FROM), promised / np.maximum(season, 1e-12), 1.0
        ) * np.where(season > 1.0, 1.0 - _TAKEN_OFF, 1.0)
        for other in _behind(limit):
            if other in seasons:
                worst = np.nan_to_num(seasons[other])
                at_place = np.array([worst[by_loop[:, loop] > 0.0].max(axis=0) for loop in range(by_loop.shape[1])])
                # what a loop's water holds comes of all that was fed before
                ahead = np.maximum.accumulate(at_place[:, ::-1], axis=1)[:, ::-1]
                factor *= np.where(ahead > 1.0, (1.0 - _TAKEN_OFF) / np.sqrt(np.maximum(ahead, 1.0)), 1.0)
        known = corrections.get(limit, np.ones_like(factor))
        corrections[limit] = np.maximum(known * factor, _LEAST_FACTOR)
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
    for limit, promised in _promised(program, stocking).items():
        season = np.nan_to_num(shares[limit]) / (1.0 - margin)
        for other in _behind(limit):
            worst = np.nan_to_num(shares[other])
            at_place = np.array([worst[by_loop[:, loop] > 0.0].max(axis=0) for loop in range(by_loop.shape[1])])
            season = np.maximum(season, np.maximum.accumulate(at_place[:, ::-1], axis=1)[:, ::-1])
        found[limit] = np.where(promised > 0.0, promised / np.clip(season, 1e-3, 1.0), 1.0)
    return found


def _promised(program: Program, stocking: Stocking) -> dict[str, FloatArray]:
    """Share of each limit that a program uses, of rows of one name the fuller; NaN where nothing asks."""
    shares: dict[str, FloatArray] = {}
    for used in limit_uses(program, stocking):
        asks = np.isfinite(used.capacity)
        share = np.where(asks, used.use / np.where(asks, used.capacity, 1.0), np.nan)
        shares[used.limit] = np.fmax(shares[used.limit], share) if used.limit in shares else share
    return shares


# levels without fish of the limits that fish draw down to their floor
_FULL_LEVELS: dict[str, Callable[[Layout, Course], FloatArray]] = {
    "oxygen": lambda layout, course: oxygen_response(layout, course).without_fish
}


def _used_share(series: LimitSeries, layout: Layout, course: Course) -> FloatArray:
    """Share of a limit that a season used, shape (place, week), its worst day; NaN where nothing asked."""
    value, threshold = np.broadcast_arrays(series.value, series.threshold)
    value, threshold = value[0], threshold[0]
    with np.errstate(invalid="ignore", divide="ignore"):
        if series.limit in _FULL_LEVELS:
            full = _FULL_LEVELS[series.limit](layout, course)
            share = (full - value) / (full - threshold)
        else:
            share = value / threshold
    share = np.where(np.isfinite(share), share, -np.inf)
    weekly = worst_of_weeks(share.T)
    return np.where(np.isfinite(weekly), weekly, np.nan)
