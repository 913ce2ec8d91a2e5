"""A cut in the coldest night of a winter as it comes in 5 of 10, in 1 of 10 and in 1 of 30: how long the fish bear it.

Apart from `decide`, which follows one night of the season's own weather.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection
from typing import NamedTuple

import numpy as np

from stocksim.answers.powercut.decide import PowerCut, Reserve, power_cut
from stocksim.answers.powercut.standing import phases, standing
from stocksim.drawn.nights import coldest_nights, weather_of_year
from stocksim.engine.results.frames import Season
from stocksim.heat.hourly import Warmth, run_plan
from stocksim.heat.outage import cooling, hours_to
from stocksim.heat.temperatures import warmth_of_site

SHARES = (0.5, 0.1, 1.0 / 30.0)  # of the winters that have such a night, or a colder one
DUSK = 18.0  # hour at which the power fails, with the whole night ahead (assumed)


class Winter(NamedTuple):
    """A cut at dusk before the coldest night of a drawn winter.

    Parameters
    ----------
    share : float
        Of the winters that have a night as cold, or colder. [-]
    low_c : float
        Outdoors in that night. [degC]
    date : date
        Evening of the cut.
    first : Reserve or None
        The cohort that meets its cold limit first, as the season has it that evening; None without fish.
    cold_hours : float
        Until it does, in that winter's weather; infinite where it does not in five days. [h]
    oxygen_minutes : float
        Until the first tank's oxygen kills, with what lives or is carried, on that evening of the season. [minutes]
    """

    share: float
    low_c: float
    date: dt.date
    first: Reserve | None
    cold_hours: float
    oxygen_minutes: float


def cold_winters(season: Season, fails: Collection[str] | None = None) -> tuple[Winter, ...]:
    """Cuts in the coldest nights of drawn winters.

    Parameters
    ----------
    season : Season
        A season that was run.
    fails : collection of str, optional
        Circuits that fail; all of the file's by default.

    Returns
    -------
    tuple of Winter
        By `SHARES`; empty where the site tells no weather, room or latitude.
    """
    warmth = warmth_of_site(season.site)
    if warmth is None:
        return ()
    nights = coldest_nights(warmth.weather)
    found = standing(season.site.file, fails)
    winters = []
    for share in SHARES:
        year = nights.year_of(share)
        weather = weather_of_year(warmth.weather, year)
        own = Warmth(warmth.plan, weather, run_plan(warmth.plan, weather))
        day = max(int(nights.day[year]) - 1, 0)
        water = cooling(season.site, own, phases(found), DUSK, [day]).tank_c
        cut = power_cut(season, season.dates[day], DUSK, fails=fails)
        times = [hours_to(water[one.tank][0], one.cold_limit_c) for one in cut.reserves]
        first = int(np.argmin(times)) if times else -1
        winters.append(
            Winter(share, float(nights.low_c[year]), season.dates[day], cut.reserves[first] if times else None,
                   times[first] if times else float("inf"), _oxygen(cut))
        )  # fmt: skip
    return tuple(winters)


def _oxygen(cut: PowerCut) -> float:
    return min((one.as_built.to_lethal for one in cut.reserves), default=float("inf"))
