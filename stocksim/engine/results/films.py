"""What tests of the water said of the films of a season's loops."""

from __future__ import annotations

import datetime as dt
from typing import NamedTuple

import numpy as np

from stocksim.engine.arrays.layout import Layout
from stocksim.engine.results.course import Course

# What each of a loop's two films is told by
MEASURED = {"ammonia": "tan", "nitrite": "nitrite_n"}
# A film that a test moves by less [-] is not told of: a kit tells no such difference.
_LEAST_TOLD = 0.01


class FilmCorrection(NamedTuple):
    """A film that a test made weaker or stronger.

    ``oxidizer`` is ammonia or nitrite, ``tested_mg_l`` its food as tested; ``before`` and ``after`` are shares of what
    the loop's surfaces can hold. ``bound`` is -1 or 1 where the test asked for a weaker or stronger film than one test
    makes it, else 0.
    """

    loop: str
    date: dt.date
    oxidizer: str
    tested_mg_l: float
    before: float
    after: float
    bound: int


def film_corrections(layout: Layout, course: Course, scenario: int = 0) -> list[FilmCorrection]:
    """Films that tests corrected, in the order of dates.

    Parameters
    ----------
    layout : Layout
        Arrays of the site.
    course : Course
        Its season.
    scenario : int
        Which of its scenarios.

    Returns
    -------
    list of FilmCorrection
        Those that a test moved by a hundredth at least, or that asked for more than a test may do.
    """
    found = []
    for day, loop, levels in layout.water.tests:
        for oxidizer, key in MEASURED.items():
            if key not in levels:
                continue
            before, after, bound = (
                float(getattr(course, f"{oxidizer}_film_{part}")[scenario, day, loop])
                for part in ("from", "to", "bound")
            )
            if before > 0.0 and (bound != 0.0 or not np.isclose(after, before, rtol=_LEAST_TOLD, atol=0.0)):
                date = layout.start + dt.timedelta(days=day)
                found.append(FilmCorrection(layout.loops[loop], date, oxidizer, levels[key], before, after, int(bound)))
    return found
