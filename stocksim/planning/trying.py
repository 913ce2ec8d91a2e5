"""A lever, and the tools that all of them are sought with: many values tried in one run."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.course import Course
from stocksim.engine.deaths import deaths_of_water_or_hunger
from stocksim.engine.extremes import tank_extremes
from stocksim.engine.findings import Finding, limit_series, worst_margin
from stocksim.engine.layout import Layout
from stocksim.engine.results import Season
from stocksim.engine.season import simulate

# shares of what is there now, tried from all to none
SHARES = np.linspace(1.0, 0.0, 41)
# Deaths that a lever may add, share of each cohort's fish: those that it keeps from one death die of another, 2.6 % a
# year, later in the season (assumed; a third of a fish of sixty).
MORE_DEATHS_SHARE = 0.005


@dataclass(frozen=True)
class Lever:
    """A change of the site file that mends a limit.

    Parameters
    ----------
    words : str
        What to do, with quantities.
    changes : dict
        Dotted fields to new values, as `Site.with_changes` takes them.
    cuts_feed : bool
        Whether fish go hungry for it: then none may die of hunger or of the water.
    past : tuple of date
        Days that it cannot mend, because a test measured the limit broken on their mornings; its words say so.
    """

    words: str
    changes: dict[str, Any]
    cuts_feed: bool = False
    past: tuple[dt.date, ...] = ()


def passes(season: Season, finding: Finding, layout: Layout, cuts_feed: bool = False) -> NDArray[np.bool_]:
    """Which scenarios of a layout keep the finding's limit, and the fish alive; shape (scenario,)."""
    course = simulate(layout)
    for series in limit_series(layout, course, tank_extremes(layout, course)):
        if series.limit == finding.limit:
            column = list(dict.fromkeys(series.entities)).index(finding.where.split(".")[1])
            good: NDArray[np.bool_] = worst_margin(series)[:, column] >= 0.0
            return good & spares_fish(season, layout, course, cuts_feed)
    raise KeyError(finding.limit)


def spares_fish(season: Season, layout: Layout, course: Course, cuts_feed: bool = False) -> NDArray[np.bool_]:
    """Which scenarios of a changed site cost no more fish their lives than the season does.

    Parameters
    ----------
    season : Season
        The season before the change.
    layout, course : Layout, Course
        Arrays of the changed site.
    cuts_feed : bool
        Whether the change is less feed. Then hardly any of the fish that are fed may die of hunger or of the water,
        however many died before.

    Returns
    -------
    ndarray of bool, shape (scenario,)
        Cohort by cohort, as the file has them: a change that saves some fish must not kill others.

    Notes
    -----
    Dead fish make no ammonia and breathe no oxygen, so without this a change that kills them holds every limit.
    """
    good = np.ones(course.deaths.shape[0], bool)
    roots, old_roots = np.array(layout.roots), np.array(season.layout.roots)
    of_water = deaths_of_water_or_hunger(layout, course)
    for root in dict.fromkeys(layout.roots):
        old, new = old_roots == root, roots == root
        there = season.course.count[0] + season.course.deaths[0]
        borne = MORE_DEATHS_SHARE * there[:, old].sum(axis=-1).max(initial=0.0)
        died = season.course.deaths[0][:, old].sum()
        good &= course.deaths[..., new].sum(axis=(-2, -1)) <= died + borne
        if cuts_feed and season.course.fed_g[0][:, old].any():
            good &= of_water[..., new].sum(axis=(-2, -1)) <= borne
    return good


def inside_tanks(season: Season, tanks: list[str]) -> NDArray[np.bool_]:
    """Which columns of fish live in some tanks, shape (cohort,)."""
    return np.array([stay.table.tank in tanks for stay in season.layout.stays], bool)


def stocked_for(season: Season, inside: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Columns of the file's cohorts whose fish are, or come to be, in some columns; shape (cohort,)."""
    roots = np.array(season.layout.roots)
    return (season.layout.count > 0.0) & np.isin(roots, roots[inside])


def loop_of(season: Season, finding: Finding) -> str:
    """Loop that a finding about a tank or a loop concerns."""
    table, name = finding.where.split(".")
    return name if table == "loops" else season.site.file.tanks[name].loop
