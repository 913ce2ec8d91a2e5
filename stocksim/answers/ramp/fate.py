"""Whether the fish of a loop live through a run, and whether pH, not the film, is what their ammonia breaks on."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np

from stocksim.engine.arrays.layout import Layout
from stocksim.engine.results.course import Course
from stocksim.engine.results.deaths import DEATHS_TOLD, deaths_of_water_or_hunger
from stocksim.engine.results.findings import LimitSeries
from stocksim.water.ammonia import unionized_fraction

# A schedule that loses 1 in 20, twice a good year's loss, promises nothing (assumed).
_KEPT_SHARE = 0.05
# Above this pH ammonia of a well-run loop may turn toxic; TAN that is called modest; pH to compare with (all three
# common practice, no source).
HIGH_PH, MODEST_TAN_MG_L, EASY_PH = 8.0, 1.0, 7.5


@dataclass(frozen=True)
class LoopFate:
    """Fish of a loop over some days of a run.

    Parameters
    ----------
    fish : float
        In the loop on the first of the days, or put there later.
    dying : float
        Of these, those that die of the water's chemistry or of hunger.
    first_date : date or None
        From when, None where hardly any do.
    """

    fish: float
    dying: float
    first_date: dt.date | None

    @property
    def is_told(self) -> bool:
        """Whether the deaths are worth a word."""
        return self.dying >= DEATHS_TOLD

    @property
    def keeps_fish(self) -> bool:
        """Whether few die: less than 1 in 20, or than half a fish."""
        return self.dying < max(DEATHS_TOLD, _KEPT_SHARE * self.fish)

    @property
    def loses_all(self) -> bool:
        """Whether next to none live."""
        return self.is_told and self.dying > self.fish - 1.0


def loop_fate(
    layout: Layout, course: Course, column: int, first_day: int, last_day: int, scenario: int = 0
) -> LoopFate:
    """Fate of a loop's fish from a day of the season to before another.

    Parameters
    ----------
    layout, course
        A season's arrays.
    column : int
        Number of the loop.
    first_day, last_day : int
        Days of the season, the last not counted.
    scenario : int
        Which of the course's scenarios.

    Returns
    -------
    LoopFate
        Moves within the loop count no fish twice.
    """
    days = slice(first_day, last_day)
    members = layout.cohort_loop[:, column]
    dying = (deaths_of_water_or_hunger(layout, course)[scenario] @ members)[days]
    evening = course.count[scenario] @ members
    before = np.concatenate([[0.0], evening[:-1]])
    arrived = np.maximum(evening + course.deaths[scenario] @ members - before, 0.0)[days]
    arrived[:1] += before[days][:1]
    told = np.flatnonzero(dying.cumsum() >= DEATHS_TOLD)
    first = layout.start + dt.timedelta(days=first_day + int(told[0])) if told.size else None
    return LoopFate(float(arrived.sum()), float(dying.sum()), first)


@dataclass(frozen=True)
class PhBinding:
    """The day and tank nearest to the un-ionized ammonia limit, where pH and not much ammonia brings it there.

    Parameters
    ----------
    tank : str
        Name of the tank.
    date : date
        The day.
    unionized_mg_l, limit_mg_l, tan_mg_l : float
        Daily worst of un-ionized ammonia, its limit, and total ammonia nitrogen. [mg/L]
    ph : float
        pH of the tank that day. [-]
    alkalinity_mg_l : float
        Alkalinity of the loop as CaCO3. [mg/L]
    at_easy_ph_mg_l : float
        Un-ionized ammonia of the same total at `EASY_PH`. [mg/L]
    """

    tank: str
    date: dt.date
    unionized_mg_l: float
    limit_mg_l: float
    tan_mg_l: float
    ph: float
    alkalinity_mg_l: float
    at_easy_ph_mg_l: float


def ph_binding(
    layout: Layout, course: Course, unionized: LimitSeries, column: int, first_day: int, last_day: int,
    reserve_percent: float,
) -> PhBinding | None:  # fmt: skip
    """Why un-ionized ammonia comes so near its limit in a loop, if pH is the reason.

    Parameters
    ----------
    layout, course
        A season's arrays.
    unionized : LimitSeries
        Un-ionized ammonia of that season.
    column : int
        Number of the loop.
    first_day, last_day : int
        Days of the season to look at, the last not counted.
    reserve_percent : float
        Distance from the limit to keep. [%]

    Returns
    -------
    PhBinding or None
        None where pH is 8 or less, where total ammonia nitrogen is above 1 mg/L, or where it would be too much at pH
        7.5 as well.
    """
    tanks = np.flatnonzero(layout.leaf_loop[: len(layout.tanks), column] > 0.0)
    margin = np.broadcast_to(unionized.margin_percent, unionized.value.shape)[0, first_day:last_day][:, tanks]
    if not margin.size or np.isnan(margin).all():
        return None
    place = np.unravel_index(np.nanargmin(margin), margin.shape)
    day, tank = first_day + int(place[0]), int(tanks[place[1]])
    value = float(unionized.value[0, day, tank])
    limit = float(np.broadcast_to(unionized.threshold, unionized.value.shape)[0, day, tank])
    ph, tan = float(course.ph[0, day, tank]), float(course.tan_mg_l[0, day, tank])
    warmth = layout.temperature_c[day, column]
    easy = value * float(unionized_fraction(EASY_PH, warmth) / unionized_fraction(ph, warmth))
    if ph <= HIGH_PH or tan > MODEST_TAN_MG_L or easy > (1.0 - reserve_percent / 100.0) * limit:
        return None
    alkalinity = float(course.alkalinity_mg_l[0, day, column])
    date = layout.start + dt.timedelta(days=day)
    return PhBinding(layout.tanks[tank], date, value, limit, tan, ph, alkalinity, easy)
