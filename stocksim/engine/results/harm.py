"""Whether a broken limit harms fish, by the season's own deaths and appetite, or is a caution that is passed."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.results.deaths import DEATHS_TOLD, deaths_by_cause
from stocksim.engine.results.findings import Finding
from stocksim.engine.results.frames import Season, loop_of, margin_of
from stocksim.site.kinds import LIMITS

# causes of death that the breaking of a limit is told by; of others no fish dies in the model
_CAUSES = {
    "oxygen": "oxygen", "unionized_ammonia": "ammonia", "nitrite": "nitrite", "predation": "eaten",
    "temperature_low": "cold", "temperature_high": "heat",
}  # fmt: skip
_OFF_FEED = ("oxygen", "unionized_ammonia")  # what appetite falls with
# Harm: one fish in fifty dies of it; or for a week fish eat less than half of what they would; or a level stands at
# five times its limit, oxygen at half (all assumed: above what the published systems of docs/systems.md lived with).
_DEAD_SHARE, _APPETITE_SHARE, _APPETITE_DAYS = 0.02, 0.5, 7
_FAR_ABOVE_PERCENT, _FAR_BELOW_PERCENT = -400.0, -50.0
_TESTED_BY = {"unionized_ammonia": "tan", "biofilter": "tan", "nitrite": "nitrite_n"}


def is_measured(season: Season, finding: Finding) -> bool:
    """Whether a test in the file found the limit broken: then it is known, and not only reckoned."""
    level = _TESTED_BY.get(finding.limit)
    if level is None or not finding.is_broken:
        return False
    broken = margin_of(season, finding) < 0.0
    inside = season.layout.loops.index(loop_of(season, finding))
    return any(loop == inside and level in levels and broken[day] for day, loop, levels in season.layout.water.tests)


def harms(season: Season, finding: Finding) -> bool:
    """Whether fish are harmed where a limit is broken.

    Parameters
    ----------
    season : Season
        A season that was run.
    finding : Finding
        One of its findings.

    Returns
    -------
    bool
        True where fish die of it, go off their feed, or would in a level so far beyond; and where a test measured it.
        False for a caution that is passed while every fish lives and eats: room of growth and welfare, a film that is
        more than loaded, levels that published systems ran at.
    """
    if not finding.is_broken or finding.limit not in _CAUSES:
        return False
    if is_measured(season, finding):
        return True
    kind, margin = LIMITS[finding.limit], finding.margin_percent or 0.0
    far = _FAR_BELOW_PERCENT if kind.is_floor else _FAR_ABOVE_PERCENT
    if kind.is_of_water and margin <= far:
        return True
    layout, course = season.layout, season.course
    inside = _fish_of(season, finding)
    there = (course.count[0] + course.deaths[0])[:, inside].sum(axis=1).max(initial=0.0)
    dead = deaths_by_cause(layout, course)[_CAUSES[finding.limit]][:, inside].sum()
    if dead >= max(DEATHS_TOLD, _DEAD_SHARE * there):
        return True
    return finding.limit in _OFF_FEED and _lowest_week(season, inside) < _APPETITE_SHARE


def _lowest_week(season: Season, inside: NDArray[np.bool_]) -> float:
    """Least mean share of appetite that the water left some fish over a week of feeding; 1 without such a week."""
    course = season.course
    fed = (course.fed_g[0] > 0.0) & (course.count[0] > DEATHS_TOLD)
    lowest = 1.0
    for column in np.flatnonzero(inside):
        share = course.appetite_share[0, :, column][fed[:, column]]
        if len(share) >= _APPETITE_DAYS:
            weeks = np.convolve(share, np.full(_APPETITE_DAYS, 1.0 / _APPETITE_DAYS), "valid")
            lowest = min(lowest, float(weeks.min()))
    return lowest


def _fish_of(season: Season, finding: Finding) -> NDArray[np.bool_]:
    """Columns of the fish that a finding concerns."""
    layout = season.layout
    table, name = finding.where.split(".")
    if table == "cohorts":
        return np.array([cohort == name for cohort in layout.cohorts], bool)
    return layout.cohort_tank[:, layout.tanks.index(name)] > 0.0
