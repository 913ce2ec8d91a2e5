"""When to feed each cohort by its season's water: phases of daily, little and no feed, beside what its rule gives.

Apart from the words that tell it, for it decides and knows no face.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.arrays.tables import with_scenarios
from stocksim.engine.results.frames import Season
from stocksim.fish.wintering import DAILY_FEED, LITTLE_FEED, NO_FEED, FeedingBand, feeding_band, feeding_phases

FloatArray = NDArray[np.float64]
# A heater's set point or a thermometer is no nearer than this: water so little below the start is fed daily.
_READ_TO_C = 0.25
KINDS = {NO_FEED: "none", LITTLE_FEED: "little", DAILY_FEED: "daily"}


@dataclass(frozen=True)
class FeedingPhase:
    """Days in a row on which the water asks for the same feeding, both ends counted.

    ``kind`` is none, little or daily; ``lowest_c`` and ``highest_c`` are the water's. [degC]
    """

    kind: str
    first: dt.date
    last: dt.date
    lowest_c: float
    highest_c: float


@dataclass(frozen=True)
class FeedingPlan:
    """When to feed a cohort, as husbandry and not as the model's appetite has it.

    Parameters
    ----------
    cohort, species : str
        Its name, and its species' key.
    band : FeedingBand
        What the species asks for.
    phases : tuple of FeedingPhase
        From its first day to its last.
    fed_below : tuple of date
        Days on which its rule gives feed though the water asks for none.
    unfed : tuple of date
        The longest run of days without feed in water in which such fish eat.
    """

    cohort: str
    species: str
    band: FeedingBand
    phases: tuple[FeedingPhase, ...]
    fed_below: tuple[dt.date, ...]
    unfed: tuple[dt.date, ...]

    @property
    def is_of_winter(self) -> bool:
        """Whether there are days on which it is not fed every day."""
        return any(phase.kind != KINDS[DAILY_FEED] for phase in self.phases)


def feeding_plans(season: Season) -> list[FeedingPlan]:
    """When to feed each cohort of a season.

    Parameters
    ----------
    season : Season
        A season that was run.

    Returns
    -------
    list of FeedingPlan
        In the order of the site file; none of a cohort without fish. Where a cohort is in two tanks, by the water of
        most of its fish.
    """
    layout, course = season.layout, season.course
    temperature = with_scenarios(layout).temperature_c[0] @ layout.cohort_loop.T
    plans = []
    for cohort in dict.fromkeys(layout.cohorts):
        columns = np.array([at for at, name in enumerate(layout.cohorts) if name == cohort])
        fish = course.count[0][:, columns] + course.deaths[0][:, columns]
        days = np.flatnonzero(course.there_in_morning[0][:, columns].any(axis=1))
        if not days.size:
            continue
        # before they come and after they are gone, the water they come to and went from
        where = np.maximum.accumulate(np.where(fish.any(axis=1), np.arange(len(fish)), days[0]))
        water = temperature[np.arange(len(fish)), columns[fish[where].argmax(axis=1)]]
        fed = course.fed_g[0][:, columns].sum(axis=1) > 0.0
        table = layout.stays[columns[0]].table
        band = feeding_band(season.site.species[table.species].number)
        restart = getattr(table.ration, "restart_after_days", 3)
        phases = feeding_phases(water, band.stop_c, max(band.start_c - _READ_TO_C, band.stop_c), restart)
        below = days[(phases[days] == NO_FEED) & fed[days]]
        unfed = _longest(days[(phases[days] != NO_FEED) & ~fed[days]])
        plans.append(
            FeedingPlan(
                cohort,
                table.species,
                band,
                _runs(season, phases, water, days),
                tuple(season.dates[day] for day in below),
                tuple(season.dates[day] for day in unfed),
            )
        )
    return plans


def _runs(
    season: Season, phases: NDArray[np.int64], water_c: FloatArray, days: NDArray[np.intp]
) -> tuple[FeedingPhase, ...]:
    """Phases of the days with fish, as runs; a gap without fish ends one."""
    ends = np.flatnonzero((np.diff(phases[days]) != 0) | (np.diff(days) > 1)) + 1
    return tuple(
        FeedingPhase(
            KINDS[int(phases[run[0]])],
            season.dates[run[0]],
            season.dates[run[-1]],
            float(water_c[run].min()),
            float(water_c[run].max()),
        )
        for run in np.split(days, ends)
    )


def _longest(days: NDArray[np.intp]) -> NDArray[np.intp]:
    """The longest run of days in a row, empty where there is none."""
    return max(np.split(days, np.flatnonzero(np.diff(days) > 1) + 1), key=len)
