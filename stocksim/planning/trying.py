"""A lever, and the tools that all of them are sought with: many values tried in one run."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.extremes import tank_extremes
from stocksim.engine.findings import Finding, limit_series, worst_margin
from stocksim.engine.layout import Layout
from stocksim.engine.results import Season
from stocksim.engine.season import simulate

# shares of what is there now, tried from all to none
SHARES = np.linspace(1.0, 0.0, 41)


@dataclass(frozen=True)
class Lever:
    """A change of the site file that mends a limit.

    Parameters
    ----------
    words : str
        What to do, with quantities.
    changes : dict
        Dotted fields to new values, as `Site.with_changes` takes them.
    """

    words: str
    changes: dict[str, Any]


def passes(season: Season, finding: Finding, layout: Layout) -> NDArray[np.bool_]:
    """Which scenarios of a layout keep the finding's limit, shape (scenario,)."""
    course = simulate(layout)
    for series in limit_series(layout, course, tank_extremes(layout, course)):
        if series.limit == finding.limit:
            column = list(dict.fromkeys(series.entities)).index(finding.where.split(".")[1])
            return worst_margin(series)[:, column] >= 0.0
    raise KeyError(finding.limit)


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
