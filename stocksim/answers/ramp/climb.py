"""Shares of the ration, week by week, that ammonia and nitrite allow: the search behind the feeding ramp."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.arrays.layout import Layout, first_days
from stocksim.engine.results.course import Course
from stocksim.engine.results.findings import LimitSeries, tank_extremes, water_limit_series
from stocksim.engine.season import simulate
from stocksim.site.kinds import limits_left_by_film

FloatArray = NDArray[np.float64]
Progress = Callable[[int, int], None]

STEPS = 40  # shares are tried in fortieths of the ration
# Rise of a week at most, share of the full ration: 10-20 % a week is common practice, no source; the upper end is
# taken because the film's own growth is computed besides.
MOST_RISE_SHARE = 0.2
# Distance from a limit that the ramp keeps, percent of the limit: engineering judgement of this project.
RESERVE_PERCENT = 10.0
# Days beyond the week that a share must be safe in as well. Nitrite may follow ammonia by weeks on a cold film, so
# that the shortest lookahead can lead into a dead end; then the next one is taken (lengths chosen in this project).
LOOKAHEADS_DAYS = (10, 28, 56)
MOST_WEEKS = 20  # a film that is not made in so many weeks is too small (assumed)
WEEK_DAYS = 7
_TOLERANCE_PERCENT = 1e-9
_AS_GOOD_PERCENT = 0.5


class Climb(NamedTuple):
    """A loop's shares by week from its first week on."""

    first_week: int
    shares: list[float]
    bound_by: list[str]
    lookahead_days: int
    is_stuck: bool


def schedule(layout: Layout, day: int, first_week: dict[int, int], progress: Progress | None) -> dict[int, Climb]:
    """Shares of all loops that need a ramp; loops do not touch each other, so one run tries a share in each of them."""
    done: dict[int, Climb] = {}
    pending = dict(first_week)
    for number, lookahead in enumerate(LOOKAHEADS_DAYS):
        if not pending:
            break
        is_last = number == len(LOOKAHEADS_DAYS) - 1
        climbs = _climb(layout, day, pending, lookahead, is_last, progress)
        done |= {column: climb for column, climb in climbs.items() if is_last or not climb.is_stuck}
        pending = {column: week for column, week in pending.items() if column not in done}
    return done


def _climb(
    layout: Layout, day: int, first_week: dict[int, int], lookahead: int, may_fall: bool, progress: Progress | None
) -> dict[int, Climb]:
    """Climb week by week; a loop is stuck where no share that is not lower than last week's is safe."""
    shares: FloatArray = layout.ration_by_day.copy()
    taken: dict[int, list[float]] = {column: [] for column in first_week}
    bound: dict[int, list[str]] = {column: [] for column in first_week}
    stuck: set[int] = set()
    emptied: set[int] = set()  # loops whose fish are all gone, with none to come: nobody is left to feed
    # no rise in the season's last days: there a share would pass for want of days to judge it by
    last = max((layout.days - day - LOOKAHEADS_DAYS[0]) // WEEK_DAYS, 1 + max(first_week.values()))
    most = min(MOST_WEEKS + max(first_week.values()), last)
    for week in range(most):
        begin = day + WEEK_DAYS * week
        end = min(begin + WEEK_DAYS + lookahead, layout.days)
        active = [c for c, first in first_week.items() if week >= first and c not in stuck | emptied]
        active = [c for c in active if not taken[c] or taken[c][-1] < 1.0]
        if week >= max(first_week.values()) and not active:
            break
        if not active:
            continue
        tried = {c: _candidates(layout, shares, c, begin, taken[c], may_fall) for c in active}
        scenarios = max(len(some) for some in tried.values())
        trial = np.repeat(shares[None], scenarios, axis=0)
        for c, some in tried.items():
            padded = np.pad(some, (0, scenarios - some.size), mode="edge")
            trial[:, begin:, c] = padded[:, None]
        part = first_days(replace(layout, ration_by_day=trial), end)
        course = simulate(part)
        margins = margins_of(part, judged(part, course))[:, :, begin:]
        safe = is_safe(margins)
        for c, some in tried.items():
            good = np.flatnonzero(safe[: some.size, c])
            if not good.size and not may_fall:
                stuck.add(c)
                continue
            pick = int(good[-1]) if good.size else _least_bad(margins[:, : some.size, :, c])
            taken[c].append(float(some[pick]))
            bound[c].append(_binding(margins[:, :, :, c], some, pick))
            shares[begin:, c] = some[pick]
            if not _has_fish(part, course, c, min(begin + WEEK_DAYS, part.days) - 1, pick):
                emptied.add(c)
        if progress is not None:
            progress(week + 1, most)
    # a full ration that a longer look would not have allowed is a dead end, too
    ends = {c: day + WEEK_DAYS * (first_week[c] + len(taken[c])) + LOOKAHEADS_DAYS[-1] for c in first_week}
    held = first_days(replace(layout, ration_by_day=shares), max(ends.values()))
    margins = margins_of(held, judged(held, simulate(held)))
    for c, end in ends.items():
        if not is_safe(margins[:, :, day:end])[0, c]:
            stuck.add(c)
    return {c: Climb(first_week[c], taken[c], bound[c], lookahead, c in stuck) for c in first_week}


def _has_fish(layout: Layout, course: Course, column: int, day: int, scenario: int) -> bool:
    """Whether fish of a loop live in a day's evening, or are stocked later."""
    inside = layout.cohort_loop[:, column] > 0.0
    return bool(course.left_in_evening[scenario, day, inside].any() or (layout.stocked_day[inside] > day).any())


def _candidates(
    layout: Layout, shares: FloatArray, column: int, begin: int, taken: list[float], may_fall: bool
) -> FloatArray:
    """Shares to try in a week, ascending: no lower than before unless it may fall, and no more than the usual rise."""
    before = taken[-1] if taken else 0.0
    inside = layout.cohort_loop[:, column] > 0.0
    known = bool(taken)
    if not taken and begin > 0 and (layout.stocked_day[inside] < begin).any():
        before, known = float(shares[begin - 1, column]), True
    highest = min(before + MOST_RISE_SHARE, 1.0) if known else 1.0
    fine = np.arange(round(before * STEPS) if taken else 0, round(highest * STEPS) + 1) / STEPS
    # downwards tenths will do, for time's sake
    coarse = np.arange(0.0, before - 1e-9, 0.1).round(1) if taken and may_fall else np.zeros(0)
    return np.concatenate([coarse, fine])


def _least_bad(margins: FloatArray) -> int:
    """Where no share is safe: the largest one that is as good as the best; margins (limit, scenario, day)."""
    worst = margins.min(axis=(0, 2))
    return int(np.flatnonzero(worst >= worst.max() - _AS_GOOD_PERCENT)[-1])


def _binding(margins: FloatArray, tried: FloatArray, pick: int) -> str:
    """What kept the share from being one step higher; margins (limit, scenario, day)."""
    if pick + 1 >= tried.size:
        return "ration" if tried[pick] >= 1.0 else "rise"
    return limits_left_by_film()[int(np.argmin(margins[:, pick + 1].min(axis=-1)))]


def judged_limits(series: list[LimitSeries]) -> list[LimitSeries]:
    return [one for limit in limits_left_by_film() for one in series if one.limit == limit]


def judged(layout: Layout, course: Course) -> list[LimitSeries]:
    """Ammonia and nitrite of the fish of a season."""
    return judged_limits(water_limit_series(layout, course, tank_extremes(layout, course)))


def margins_of(layout: Layout, series: list[LimitSeries]) -> FloatArray:
    """Smallest margin in each loop, shape (limit, scenario, day, loop); infinite without fish. [%]"""
    of_loop = layout.leaf_loop[: len(layout.tanks)] > 0.0
    by_limit = []
    for one in series:
        margin = np.where(np.isnan(one.margin_percent), np.inf, one.margin_percent)
        by_limit.append(
            np.stack(
                [margin[..., of_loop[:, c]].min(axis=-1, initial=np.inf) for c in range(len(layout.loops))], axis=-1
            )
        )
    return np.stack(by_limit)


def from_day(series: LimitSeries, day: int) -> LimitSeries:
    """The series without what lies before the day."""
    margin = np.array(series.margin_percent)
    margin[..., :day, :] = np.nan
    return series._replace(margin_percent=margin)


def is_safe(margins: FloatArray) -> NDArray[np.bool_]:
    """Whether all days keep the reserve, from (limit, scenario, day, loop) to (scenario, loop)."""
    return np.asarray(margins.min(axis=(0, 2)) >= RESERVE_PERCENT - _TOLERANCE_PERCENT)


def nearest(series: LimitSeries, days: slice, tanks: NDArray[np.bool_]) -> tuple[float, float]:
    """Value and threshold on the day and in the tank nearest to the limit; NaN where there are no fish."""
    margin = np.broadcast_to(series.margin_percent, series.value.shape)[0, days][:, tanks]
    if np.isnan(margin).all():
        return np.nan, np.nan
    place = np.unravel_index(np.nanargmin(margin), margin.shape)
    value = np.broadcast_to(series.value, series.value.shape)[0, days][:, tanks]
    threshold = np.broadcast_to(series.threshold, series.value.shape)[0, days][:, tanks]
    return float(value[place]), float(threshold[place])
