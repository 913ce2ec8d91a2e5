"""Coldest nights of drawn years of weather, and how often a night so cold comes."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.climate.weather import synthetic_days, weather_of_days
from stocksim.site.weather import SiteWeather

FloatArray = NDArray[np.float64]

NIGHT_YEARS = 1000  # of days alone, which are quick; the chance of one in a hundred then has an error of a third
_SEED = 1


class Nights(NamedTuple):
    """The coldest night of each drawn year, arrays (year,): its low [degC], and the day of the season that it ends."""

    low_c: FloatArray
    day: NDArray[np.int64]

    def share_at(self, low_c: float) -> float:
        """Share of the years with a night as cold as a low, or colder. [-]"""
        return float((self.low_c <= low_c).mean())

    def year_of(self, share: float) -> int:
        """The year whose coldest night so many of all years have as cold, or colder."""
        order = np.argsort(self.low_c, kind="stable")
        return int(order[max(round(share * len(order)) - 1, 0)])


def coldest_nights(weather: SiteWeather) -> Nights:
    """Coldest night of each of many drawn years, of the season's own days.

    Parameters
    ----------
    weather : SiteWeather
        About whose normals they are drawn.
    """
    low, _, _ = _days(weather)
    return Nights(low.min(axis=1), low.argmin(axis=1))


def weather_of_year(weather: SiteWeather, year: int) -> SiteWeather:
    """The weather of one of the years of `coldest_nights`, by the hour."""
    low, high, share = (values[year] for values in _days(weather))
    return replace(weather, hours=weather_of_days(low, high, share, weather.clear_w_m2))


def _days(weather: SiteWeather) -> tuple[FloatArray, FloatArray, FloatArray]:
    normals = weather.normal_low_c, weather.normal_high_c, weather.normal_sun_share
    return synthetic_days(*normals, weather.spread_c, NIGHT_YEARS, _SEED)
