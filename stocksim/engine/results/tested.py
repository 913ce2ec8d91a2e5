"""Which limits the keeper's own tests of the water break: known, and not reckoned."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence

from stocksim.book.store import Record
from stocksim.engine.results.frames import Season
from stocksim.site.begun import OverLimit
from stocksim.water.ammonia import unionized_fraction
from stocksim.water.nitrite import nitrite_limit

# A test tells of the water for so many days (assumed).
TEST_HOLDS_DAYS = 7


def tests_over(season: Season, records: Sequence[Record], date: dt.date) -> tuple[OverLimit, ...]:
    """Limits that the last test of each loop and level breaks, for the cohort that bears least.

    Parameters
    ----------
    season : Season
        Run from the records on.
    records : sequence of Record
        Those that hold.
    date : date
        Tests of later days, and of seven days and more before it, are left out.

    Returns
    -------
    tuple of OverLimit
        The one furthest from its limit first.
    """
    found: list[OverLimit] = []
    for loop in season.layout.loops:
        last: dict[str, tuple[dt.date, float]] = {}
        ph: dict[dt.date, float] = {}
        for one in sorted(records, key=lambda one: (one.date, one.number)):
            is_new = dt.timedelta(0) <= date - one.date < dt.timedelta(days=TEST_HOLDS_DAYS)
            if one.kind == "test" and one.of == f"loops.{loop}" and is_new:
                for key in ("tan_mg_l", "nitrite_n_mg_l", "oxygen_mg_l"):
                    if not math.isnan(value := one.value(key)):
                        last[key] = (one.date, value)
                if not math.isnan(value := one.value("ph")):
                    ph[one.date] = value
        for key, (when, value) in last.items():
            found += _judged(season, loop, key, when, value, ph.get(when, math.nan))
    return tuple(sorted(found, key=lambda one: -abs(math.log(max(one.value_mg_l, 1e-6) / one.limit_mg_l))))


def _judged(season: Season, loop: str, key: str, when: dt.date, value: float, tested_ph: float) -> list[OverLimit]:
    """The limit that a level breaks; its un-ionized share by the pH that was tested that day, else the reckoned one."""
    layout, course = season.layout, season.course
    day, k = (when - layout.start).days, layout.loops.index(loop)
    if not 0 <= day < layout.days:
        return []
    here = [c for c in range(len(layout.cohorts)) if layout.cohort_loop[c, k] and course.count[0, day, c] > 0.0]
    worst: OverLimit | None = None
    for c in here:
        species = season.site.species[layout.stays[c].table.species]
        is_floor = False
        if key == "tan_mg_l":
            tank = int(layout.cohort_tank[c].argmax())
            ph = course.ph[0, day, tank] if math.isnan(tested_ph) else tested_ph
            share = unionized_fraction(ph, layout.temperature_c[day, k])
            name, level, limit = "unionized_ammonia", value * float(share), species["unionized_ammonia_design"]
        elif key == "nitrite_n_mg_l":
            borne = nitrite_limit(
                species["nitrite_limit"], float(course.chloride_mg_l[0, day, k]),
                float(species["chloride_protects"] > 0.0),
            )  # fmt: skip
            name, level, limit = "nitrite", value, float(borne)
        else:
            name, level, limit, is_floor = "oxygen", value, species["oxygen_recommended"], True
        if (level < limit) if is_floor else (level > limit):
            one = OverLimit(loop, when, name, level, limit, layout.cohorts[c])
            if worst is None or (one.limit_mg_l > worst.limit_mg_l) == is_floor:
                worst = one
    return [worst] if worst else []
