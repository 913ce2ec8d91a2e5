"""Nitrate against what a loop's fish bear, and the water to change that holds it down."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.results.frames import Season
from stocksim.water.tolerance import NITRATE_CAUTION_MG_L, exchange_share, weekly_share

Days = NDArray[np.bool_]


def nitrate_cautions(season: Season, loop: str) -> list[tuple[str, float, Days]]:
    """Level of nitrate nitrogen to be cautious at, of every cohort that lives in a loop.

    Parameters
    ----------
    season : Season
        A season that was run.
    loop : str
        Name of the loop.

    Returns
    -------
    list of (str, float, ndarray)
        Cohort, its level [mg/L], and whether it is there, day by day; the lowest level first.
    """
    layout, column = season.layout, season.layout.loops.index(loop)
    there: dict[str, Days] = {}
    species: dict[str, str] = {}
    for number, cohort in enumerate(layout.cohorts):
        if layout.cohort_loop[number, column] > 0.0:
            days = season.course.count[0, :, number] > 0.0
            species[cohort] = layout.stays[number].table.species  # cohorts of events stand in no table of the file
            there[cohort] = there.get(cohort, np.zeros_like(days)) | days
    found = []
    for cohort, days in there.items():
        own = season.site.species[species[cohort]].values.get("nitrate_caution")
        found.append((cohort, NITRATE_CAUTION_MG_L if own is None else own.value, days))
    return sorted((one for one in found if one[2].any()), key=lambda one: one[1])


@dataclass(frozen=True)
class NitratePassed:
    """Nitrate above what fish of a loop are told to bear, and the water that would hold it at the strictest level.

    Parameters
    ----------
    loop : str
        Its name.
    cohorts : dict of float to tuple of str
        Levels that are passed [mg/L] and whose they are, the lowest first.
    first_day, worst_day : int
        Days of the season on which nitrate first passes any of them, and stands highest.
    worst_mg_l, goal_mg_l, source_mg_l : float
        Nitrate nitrogen then, the lowest level passed, and that of the source water. [mg/L]
    from_day, by_day : int
        First day above the goal, and day of the highest level while fish of the goal are there.
    once_m3, weekly_m3 : float or None
        Water to change at once on the last of them, or every week from the first on, drained and then refilled. None
        where the source itself passes the goal; no weekly one where changing once takes no more.
    """

    loop: str
    cohorts: dict[float, tuple[str, ...]]
    first_day: int
    worst_day: int
    worst_mg_l: float
    goal_mg_l: float
    source_mg_l: float
    from_day: int
    by_day: int
    once_m3: float | None
    weekly_m3: float | None


def nitrate_passed(season: Season, loop: str) -> NitratePassed | None:
    """Where nitrate of a loop passes the caution level of fish that are there; None where it does not.

    Parameters
    ----------
    season : Season
        A season that was run.
    loop : str
        Name of the loop.

    Returns
    -------
    NitratePassed or None
        One set of levels and liters for all answers.
    """
    layout, column = season.layout, season.layout.loops.index(loop)
    nitrate = season.course.nitrate_mg_l[0, :, column]
    passed: dict[float, tuple[str, ...]] = {}
    days, strictest = np.zeros(len(nitrate), bool), np.zeros(len(nitrate), bool)
    for cohort, level, there in nitrate_cautions(season, loop):
        above = there & (nitrate > level)
        if not above.any():
            continue
        passed[level] = (*passed.get(level, ()), cohort)
        days |= above
        if len(passed) == 1:
            strictest |= above
    if not passed:
        return None
    goal, source = min(passed), float(layout.water.source_nitrate[..., column].ravel()[0])
    first, worst = int(np.flatnonzero(days)[0]), int(np.argmax(np.where(days, nitrate, -np.inf)))
    since, until = int(np.flatnonzero(strictest)[0]), int(np.argmax(np.where(strictest, nitrate, -np.inf)))
    once = weekly = None
    if source < goal:
        share = float(exchange_share(nitrate[until], goal, source))
        each = weekly_share((nitrate[until] - goal) * 7.0 / (until - since + 1), goal, source)
        water = float(layout.loop_water_m3[column])
        once = share * water
        weekly = each * water if until - since >= 7 and each < share else None
    return NitratePassed(loop, passed, first, worst, float(nitrate[worst]), goal, source, since, until, once, weekly)
