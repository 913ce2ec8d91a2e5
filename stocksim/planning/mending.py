"""Whether a season that was run with a lever has mended a limit, and at whose cost."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

import numpy as np

from stocksim.engine.findings import Finding
from stocksim.engine.results import Season
from stocksim.planning.trying import Lever, spares_fish


def mends(season: Season, after: Season, finding: Finding, lever: Lever) -> bool:
    """Whether a limit holds in a season that was run with a lever, no tank is emptied and no more fish die.

    Parameters
    ----------
    season, after : Season
        Without and with the lever.
    finding : Finding
        The limit that is broken without it.
    lever : Lever
        What was changed.

    Returns
    -------
    bool
        False too where the place has no fish left that the limit could be judged for.
    """
    return (
        _holds(after, finding, lever.past)
        and spares_fish(season, after, lever.cuts_feed)
        and _tanks_with_fish(season) <= _tanks_with_fish(after)
    )


def _holds(after: Season, finding: Finding, past: Sequence[dt.date]) -> bool:
    """Whether the limit is judged at the finding's place, and holds on every day but those past."""
    (series,) = [one for one in after.water_limits if one.limit == finding.limit] or [
        one for one in after.limits if one.limit == finding.limit
    ]
    columns = [at for at, name in enumerate(series.entities) if name == finding.where.split(".")[1]]
    shape = np.broadcast_shapes(series.margin_percent.shape, series.value.shape)
    margin = np.broadcast_to(series.margin_percent, shape)[0][:, columns]
    is_judged = bool((margin < np.inf).any())
    days_past = [(day - after.layout.start).days for day in past]
    return is_judged and not bool((np.delete(margin, days_past, axis=0) < 0.0).any())


def _tanks_with_fish(season: Season) -> set[str]:
    """Tanks that hold a fish on some evening; of one fish, somewhat less than one is expected to live."""
    most = (season.course.count[0] @ season.layout.cohort_tank).max(axis=0)
    return {tank for tank, fish in zip(season.layout.tanks, most, strict=True) if fish >= 0.5}
