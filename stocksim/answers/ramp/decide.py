"""How fast feeding may rise on a young biofilter, or on one that a hungry winter shrank, week by week and proved."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from stocksim.answers.ramp.advice import FullRation, advise_full_ration, full_ration
from stocksim.answers.ramp.climb import (
    LOOKAHEADS_DAYS,
    RESERVE_PERCENT,
    WEEK_DAYS,
    Climb,
    Progress,
    from_day,
    is_safe,
    judged,
    margins_of,
    nearest,
    schedule,
)
from stocksim.answers.ramp.fate import LoopFate, PhBinding, loop_fate, ph_binding
from stocksim.changes.change import prove
from stocksim.engine.arrays.layout import Layout, build_layout
from stocksim.engine.results.deaths import DEATHS_TOLD
from stocksim.engine.results.findings import Finding, LimitSeries, findings
from stocksim.engine.results.frames import Season
from stocksim.engine.season import simulate
from stocksim.errors import InputError
from stocksim.site.kinds import LIMITS
from stocksim.site.reading import Site


@dataclass(frozen=True)
class RampWeek:
    """A week of the schedule, as the proving run gives it.

    Parameters
    ----------
    start : date
        First day.
    share : float
        Share of the file's ration, the same for every cohort of the loop. [-]
    appetite_fraction : float
        Feed of the week as share of what the fed cohorts would eat in good water. [-]
    feed_g_day : float
        Feed offered, mean of the week's days. [g/day]
    unionized_max_mg_l, unionized_limit_mg_l, nitrite_max_mg_l, nitrite_limit_mg_l : float
        Daily worst in the tank and on the day nearest to its limit. [mg/L] NaN on days without fish.
    ammonia_maturity, nitrite_maturity : float
        Of the loop's film on the week's last day. [-] NaN where the loop has no film.
    bound_by : str
        What kept the share from being higher: ``unionized_ammonia``, ``nitrite``, ``rise`` or ``ration``.
    """

    start: dt.date
    share: float
    appetite_fraction: float
    feed_g_day: float
    unionized_max_mg_l: float
    unionized_limit_mg_l: float
    nitrite_max_mg_l: float
    nitrite_limit_mg_l: float
    ammonia_maturity: float
    nitrite_maturity: float
    bound_by: str


@dataclass(frozen=True)
class LoopRamp:
    """The schedule of a loop.

    Parameters
    ----------
    loop : str
        Name of the loop.
    weeks : tuple of RampWeek
        Up to the week of the full ration; empty where the full ration is safe from the first day.
    full_from : date or None
        From when the file's full ration is safe; None if it was not reached, or if the proving run loses fish in the
        nine weeks after it.
    lookahead_days : int
        Days beyond each week that its share was tried for.
    as_fed : tuple of Finding
        Un-ionized ammonia and nitrite of the loop's tanks if today's fish are fed as the file says.
    still_broken : tuple of Finding
        The same limits where the proving run breaks them all the same.
    has_fish : bool
        Whether there are fish to feed from the first day on.
    fate, fate_as_fed : LoopFate
        Of the loop's fish from the first day on, in the proving run and if fed as the file says.
    ph_binding : PhBinding or None
        Where pH, not much ammonia, brings un-ionized ammonia to its limit while the share rises.
    full_ration : FullRation or None
        What the season advises for the full ration, where the schedule does not bring the loop there unharmed.
    """

    loop: str
    weeks: tuple[RampWeek, ...]
    full_from: dt.date | None
    lookahead_days: int
    as_fed: tuple[Finding, ...]
    still_broken: tuple[Finding, ...]
    has_fish: bool
    fate: LoopFate
    fate_as_fed: LoopFate
    ph_binding: PhBinding | None
    full_ration: FullRation | None

    @property
    def needs_ramp(self) -> bool:
        """Whether the full ration is too much on the first day."""
        return bool(self.weeks)

    @property
    def needs_advice(self) -> bool:
        """Whether fish are fed here, and the schedule does not bring them to the full ration with every limit kept."""
        return self.has_fish and (self.full_from is None or bool(self.still_broken))

    @property
    def is_offered(self) -> bool:
        """Whether the schedule is worth writing down: it keeps the fish, or more than feeding as the file says."""
        return self.fate.keeps_fish or self.fate.dying <= self.fate_as_fed.dying - DEATHS_TOLD


@dataclass(frozen=True)
class Ramp:
    """Schedules of all loops, the changes that write them into a site file, the season that proves them, the site."""

    start: dt.date
    loops: tuple[LoopRamp, ...]
    changes: Mapping[str, Any]
    proof: Season
    site: Site

    @property
    def offered(self) -> Mapping[str, Any]:
        """The changes of the loops whose schedule is worth writing down."""
        left_out = {f"loops.{loop.loop}.feeding_ramp" for loop in self.loops if not loop.is_offered}
        return {dotted: steps for dotted, steps in self.changes.items() if dotted not in left_out}


def feeding_ramp(site: Site, start: dt.date | None = None, progress: Progress | None = None) -> Ramp:
    """Fastest feeding schedule that keeps un-ionized ammonia and nitrite under every cohort's limit.

    Parameters
    ----------
    site : Site
        A checked site.
    start : date, optional
        First day of the schedule; before it the fish are fed as the file says. By default the season's first day.
    progress : callable, optional
        Called with (weeks tried, weeks at most).

    Returns
    -------
    Ramp
        A schedule for each loop, proved by a run of the season with it.

    Raises
    ------
    InputError
        If the date lies outside the season.

    Notes
    -----
    Week by week the largest share of the ration, in fortieths, whose daily worst stays 10 % under both limits in
    that week and, held, in the 10 days after it. A share rises by at most 0.2 a week, and never falls; where that
    leads into a dead end (the share cannot even be held) the days looked ahead become 28, then 56. Only if 56 do not
    help may a share fall. The first week is free of the 0.2 where no fish were there before it. Film growth is known
    to a factor of 2, so a test kit, not this schedule, decides each rise.
    """
    season = site.file.season
    start = start or season.start
    if not season.start <= start <= season.end:
        raise InputError(f"{start} is outside the season {season.start} to {season.end}; give a day in it.")
    layout = build_layout(site)
    day = (start - season.start).days
    full = layout.ration_by_day.copy()
    full[day:] = 1.0
    both = replace(layout, ration_by_day=np.stack([layout.ration_by_day, full]))
    course = simulate(both)
    series = judged(both, course)
    margins = margins_of(both, series)
    as_fed = findings(both, [from_day(one, day) for one in series])
    soon = min(day + WEEK_DAYS + LOOKAHEADS_DAYS[-1], layout.days)
    safe = is_safe(margins[:, 1:, day:soon])[0]
    fed = _fed_weeks(layout, day)
    pending = [c for c in range(len(layout.loops)) if fed[c] is not None and not safe[c]]
    climbs = schedule(replace(layout, ration_by_day=full), day, {c: fed[c] or 0 for c in pending}, progress)
    changes = _changes(site, start, climbs)
    proof = prove(site, changes)
    proved = judged(proof.layout, proof.course)
    broken = [f for f in findings(proof.layout, [from_day(one, day) for one in proved]) if f.is_broken]
    loops = []
    for column, name in enumerate(layout.loops):
        tanks = {f"tanks.{key}" for key, tank in site.file.tanks.items() if tank.loop == name}
        still: list[Finding] = [f for f in broken if f.where in tanks]
        climb = climbs.get(column)
        fate = loop_fate(proof.layout, proof.course, column, day, layout.days)
        weeks = _weeks(proof, proved, column, day, climb) if climb else ()
        full_from = weeks[-1].start if weeks and weeks[-1].share >= 1.0 else None if climb else start
        if full_from and not _keeps_fish(proof, column, day, full_from):
            full_from = None
        binding = None
        if climb and _is_bound_by_ammonia(climb, still):
            end = day + WEEK_DAYS * (climb.first_week + len(weeks))
            binding = ph_binding(proof.layout, proof.course, proved[0], column, day, end, RESERVE_PERCENT)
        fed_so = tuple(f for f in as_fed if f.where in tanks)
        loops.append(
            LoopRamp(
                name, weeks, full_from, climb.lookahead_days if climb else LOOKAHEADS_DAYS[-1],
                fed_so, tuple(still), fed[column] is not None, fate,
                loop_fate(layout, course, column, day, layout.days), binding, None,
            )
        )  # fmt: skip
    return Ramp(start, tuple(_with_advice(site, start, day, loops)), changes, proof, site)


def _with_advice(site: Site, start: dt.date, day: int, loops: list[LoopRamp]) -> list[LoopRamp]:
    """The loops, those that no schedule brings to the full ration unharmed with what the season advises for it."""
    if not any(loop.needs_advice for loop in loops):
        return loops
    season, advice = advise_full_ration(site, _changes(site, start, {}), start)
    return [
        replace(loop, full_ration=full_ration(season, advice, loop.loop, day)) if loop.needs_advice else loop
        for loop in loops
    ]


def _is_bound_by_ammonia(climb: Climb, still: list[Finding]) -> bool:
    """Whether un-ionized ammonia, more than nitrite, keeps a schedule down, or is broken all the same."""
    bound = [LIMITS[name] for name in climb.bound_by if name in LIMITS]
    weeks = sum(1 if kind.goes_by_ph else -1 for kind in bound)
    return weeks > 0 or any(LIMITS[finding.limit].goes_by_ph for finding in still)


def _keeps_fish(proof: Season, column: int, day: int, full_from: dt.date) -> bool:
    """Whether fish eat the full ration, and next to none die up to nine weeks after it or after the last came."""
    layout = proof.layout
    inside = layout.cohort_loop[:, column] > 0.0
    if not inside.any():
        return True
    came = layout.stocked_day[inside]
    last = max((full_from - layout.start).days, int(came[came < layout.days].max(initial=day)))
    end = min(last + WEEK_DAYS + LOOKAHEADS_DAYS[-1], layout.days)
    there = proof.course.count[0, (full_from - layout.start).days : end][:, inside].sum(axis=1)
    return bool(there.max() >= DEATHS_TOLD) and loop_fate(layout, proof.course, column, day, end).keeps_fish


def _fed_weeks(layout: Layout, day: int) -> list[int | None]:
    """First week after the day in which a loop has fish that are fed, None without such."""
    fed = (layout.count > 0.0) & (layout.ration_fraction > 0.0)
    weeks: list[int | None] = []
    for column in range(len(layout.loops)):
        inside = fed & (layout.cohort_loop[:, column] > 0.0)
        first = layout.stocked_day[inside].min() if inside.any() else None
        weeks.append(None if first is None else max(int(first) - day, 0) // WEEK_DAYS)
    return weeks


def _changes(site: Site, start: dt.date, climbs: dict[int, Climb]) -> dict[str, Any]:
    """The schedules as `feeding_ramp` of the site file, equal weeks put together; what the file says before stays."""
    changes = {}
    for column, (name, loop) in enumerate(site.file.loops.items()):
        kept = [{"from": step.start, "share": step.share} for step in loop.feeding_ramp if step.start < start]
        climb = climbs.get(column)
        steps = list(kept)
        if climb:
            for number, share in enumerate(climb.shares):
                if number == 0 or share != climb.shares[number - 1]:
                    begin = start + dt.timedelta(days=WEEK_DAYS * (climb.first_week + number))
                    steps.append({"from": begin, "share": share})
        elif kept:
            steps.append({"from": start, "share": 1.0})
        if steps != [{"from": step.start, "share": step.share} for step in loop.feeding_ramp]:
            changes[f"loops.{name}.feeding_ramp"] = steps
    return changes


def _weeks(proof: Season, proved: list[LimitSeries], column: int, day: int, climb: Climb) -> tuple[RampWeek, ...]:
    """The table of a loop from the proving run."""
    layout, course = proof.layout, proof.course
    members = layout.cohort_loop[:, column]
    tanks = layout.leaf_loop[: len(layout.tanks), column] > 0.0
    fed, eaten = course.fed_g[0] @ members, course.eaten_g[0]
    by_day = layout.ration_fraction * layout.ration_by_day[:, [column]] * course.appetite_share[0]
    wanted = np.divide(eaten, by_day, out=np.zeros_like(eaten), where=by_day > 0.0) @ members
    units = layout.leaf_loop[len(layout.tanks) :, column]
    weight = course.capacity_g[0, :, len(layout.tanks) :] * units
    whole = weight.sum(axis=-1)
    ammonia, nitrite = (
        np.divide((of[0] * weight).sum(axis=-1), whole, out=np.full(whole.shape, np.nan), where=whole > 0.0)
        for of in (course.ammonia_maturity, course.nitrite_maturity)
    )
    unionized_series, nitrite_series = proved
    present = (course.count[0] @ members) > 0.0
    weeks = []
    for number, (share, bound_by) in enumerate(zip(climb.shares, climb.bound_by, strict=True)):
        begin = day + WEEK_DAYS * (climb.first_week + number)
        days = slice(begin, min(begin + WEEK_DAYS, layout.days))
        fish_days = int(present[days].sum())
        unionized_worst, unionized_limit = nearest(unionized_series, days, tanks)
        nitrite_worst, nitrite_limit = nearest(nitrite_series, days, tanks)
        whole_appetite = wanted[days].sum()
        weeks.append(
            RampWeek(
                start=layout.start + dt.timedelta(days=begin),
                share=share,
                appetite_fraction=float((eaten @ members)[days].sum() / whole_appetite)
                if whole_appetite > 0.0
                else 0.0,
                feed_g_day=float(fed[days].sum() / fish_days) if fish_days else 0.0,
                unionized_max_mg_l=unionized_worst,
                unionized_limit_mg_l=unionized_limit,
                nitrite_max_mg_l=nitrite_worst,
                nitrite_limit_mg_l=nitrite_limit,
                ammonia_maturity=float(ammonia[days][-1]),
                nitrite_maturity=float(nitrite[days][-1]),
                bound_by=bound_by,
            )
        )
    return tuple(weeks)
