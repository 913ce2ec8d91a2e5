"""Outdoor weather by the hour: from monthly normals or a record, and in synthetic years about them."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stocksim.climate.sun import clear_sky_w_m2

FloatArray = NDArray[np.float64]

HOURS = 24
LOWEST_HOUR, HIGHEST_HOUR = 6.0, 15.0  # solar time; assumed, the usual dawn low and mid-afternoon high
# From one day to the next this share of a temperature anomaly stays: 0.6-0.8 inland (from memory of weather generators
# after Richardson 1981).
PERSISTENCE = 0.7
# Standard deviation of a day's mean about its normal, in the coldest and the warmest season [degC]: continental
# middle latitudes (from memory; coasts have half of it).
WINTER_SPREAD_C, SUMMER_SPREAD_C = 5.5, 3.0
SUN_SPREAD = 0.22  # standard deviation of a day's share of clear-sky sun (assumed)
LEAST_SUN_SHARE, MOST_SUN_SHARE = 0.08, 1.0
# Without a typed design cold: the low of the coldest normal day less so many standard deviations (our rule, no source);
# of some 90 winter days with a lasting anomaly the coldest lies 2 to 2.5 below.
DESIGN_SPREADS = 2.5


class Weather(NamedTuple):
    """Hourly weather, hour 0 of the first day first; leading axes are years.

    Parameters
    ----------
    air_c : ndarray, shape (..., hours)
        Outdoor air, mean of the hour. [degC]
    sun_w_m2 : ndarray, shape (..., hours)
        Global radiation on level ground. [W/m2]
    dew_c : ndarray, shape (..., days)
        Dew point of the day. [degC]
    """

    air_c: FloatArray
    sun_w_m2: FloatArray
    dew_c: FloatArray


def daily_wave(solar_hour: ArrayLike) -> FloatArray:
    """Shape of a day's temperature: 0 at the low before dawn, 1 at the high in mid afternoon.

    Parameters
    ----------
    solar_hour : array_like, shape (...)
        Hour of the day, noon at 12. [h]

    Returns
    -------
    ndarray, shape (...)
        Position between low and high. [-]

    Notes
    -----
    Half a cosine wave up from 6 to 15 h, half a longer one down until 6 h. Lows and highs are met exactly; the mean of
    the wave is a half.

    Examples
    --------
    >>> daily_wave([6.0, 10.5, 15.0, 22.5]).round(2)
    array([0. , 0.5, 1. , 0.5])
    """
    since = (np.asarray(solar_hour, float) - LOWEST_HOUR) % HOURS
    rise = HIGHEST_HOUR - LOWEST_HOUR
    up = 0.5 - 0.5 * np.cos(np.pi * since / rise)
    down = 0.5 + 0.5 * np.cos(np.pi * (since - rise) / (HOURS - rise))
    return np.asarray(np.where(since <= rise, up, down), dtype=float)


def hourly_air(low_c: ArrayLike, high_c: ArrayLike) -> FloatArray:
    """Air temperature of every hour from the low and high of every day.

    Parameters
    ----------
    low_c, high_c : array_like, shape (..., days)
        Lowest and highest temperature of each day. [degC]

    Returns
    -------
    ndarray, shape (..., 24 * days)
        At the middle of each hour. [degC] The evening falls to the next day's low.

    Examples
    --------
    >>> hourly_air([0.0, 2.0], [10.0, 8.0])[[6, 14, 30, 38]].round(1)
    array([0.1, 9.9, 2. , 8. ])
    """
    low, high = np.asarray(low_c, float), np.asarray(high_c, float)
    hour = np.arange(HOURS) + 0.5
    wave = daily_wave(hour)
    # until the dawn low the air comes down from the day before's high; from the afternoon on it falls to the next low
    before = np.concatenate([high[..., :1], high[..., :-1]], axis=-1)
    after = np.concatenate([low[..., 1:], low[..., -1:]], axis=-1)
    bottom = np.where(hour < HIGHEST_HOUR, low[..., None], after[..., None])
    top = np.where(hour < LOWEST_HOUR, before[..., None], high[..., None])
    course = bottom + wave * (top - bottom)
    return course.reshape(*low.shape[:-1], -1)


def clear_sky_hours(latitude: float, first_day_of_year: int, days: int) -> FloatArray:
    """Clear-sky sunlight of every hour.

    Parameters
    ----------
    latitude : float
        North positive. [degrees]
    first_day_of_year : int
        Of the first day. [day]
    days : int
        Number of days. [day]

    Returns
    -------
    ndarray, shape (days, 24)
        Mean of each hour. [W/m2] Four instants an hour.
    """
    number = (first_day_of_year - 1 + np.arange(days)) % 365 + 1
    quarter = (np.arange(4 * HOURS) + 0.5) / 4.0
    sky = clear_sky_w_m2(latitude, number[:, None], quarter)
    return sky.reshape(days, HOURS, 4).mean(axis=-1)


def weather_of_days(low_c: FloatArray, high_c: FloatArray, sun_share: FloatArray, clear_w_m2: FloatArray) -> Weather:
    """Hourly weather from daily lows, highs and shares of clear-sky sun.

    Parameters
    ----------
    low_c, high_c, sun_share : ndarray, shape (..., days)
        Low and high [degC], sunlight over that of a clear sky. [-]
    clear_w_m2 : ndarray, shape (days, 24)
        Clear-sky sunlight. [W/m2]

    Returns
    -------
    Weather
        The dew point is the day's low, the rule of FAO-56 (Allen et al. 1998, eq. 48) where humidity is unknown.
    """
    sun = np.asarray(sun_share)[..., None] * clear_w_m2
    return Weather(hourly_air(low_c, high_c), sun.reshape(*sun.shape[:-2], -1), np.asarray(low_c, float))


def seasonal_spread(
    mean_c: ArrayLike, winter_c: float = WINTER_SPREAD_C, summer_c: float = SUMMER_SPREAD_C
) -> FloatArray:
    """Standard deviation of daily means, larger the colder the time of year.

    Parameters
    ----------
    mean_c : array_like, shape (days,)
        Normal mean temperature of each day. [degC]
    winter_c, summer_c : float
        Standard deviation at the coldest and at the warmest normal of the days given. [degC difference]

    Returns
    -------
    ndarray, shape (days,)
        Standard deviation. [degC difference]

    Examples
    --------
    >>> seasonal_spread([-10.0, 5.0, 20.0]).round(2)
    array([5.5 , 4.25, 3.  ])
    """
    mean = np.asarray(mean_c, float)
    low, span = mean.min(), np.ptp(mean)
    warmth = (mean - low) / span if span > 0.0 else np.zeros_like(mean)
    return winter_c + (summer_c - winter_c) * warmth


def synthetic_days(
    low_c: FloatArray, high_c: FloatArray, sun_share: FloatArray, spread_c: FloatArray, years: int, seed: int
) -> tuple[FloatArray, FloatArray, FloatArray]:
    r"""Lows, highs and shares of sun of synthetic years about the normals.

    Parameters
    ----------
    low_c, high_c, sun_share : ndarray, shape (days,)
        Normals of each day. [degC], [-]
    spread_c : ndarray, shape (days,)
        Standard deviation of the day's mean. [degC difference]
    years : int
        How many.
    seed : int
        Of the random numbers; the same seed gives the same years.

    Returns
    -------
    low_c, high_c, sun_share : ndarray, shape (years, days)
        [degC], [degC], [-]

    Notes
    -----
    The anomaly of the daily mean is :math:`\sigma_d z_d` with :math:`z_d = 0.7 z_{d-1} + \sqrt{1 - 0.49}\, e_d`, e
    standard normal, started in its stationary law. Low and high move together. The share of sun has anomalies of its
    own (no link with temperature is assumed), persistence 0.3, kept between 0.08 and 1.
    """
    random = np.random.default_rng(seed)
    days = len(low_c)
    warmth = _autoregressive(random.standard_normal((years, days)), PERSISTENCE) * spread_c
    cloud = _autoregressive(random.standard_normal((years, days)), 0.3) * SUN_SPREAD
    share = np.clip(sun_share + cloud, LEAST_SUN_SHARE, MOST_SUN_SHARE)
    return low_c + warmth, high_c + warmth, share


def _autoregressive(noise: FloatArray, persistence: float) -> FloatArray:
    """Standard normal series with a given correlation from day to day, shape of the noise (..., days)."""
    series = noise * np.sqrt(1.0 - persistence**2)
    series[..., 0] = noise[..., 0]
    for day in range(1, series.shape[-1]):
        series[..., day] += persistence * series[..., day - 1]
    return series


def design_cold(low_c: ArrayLike, spread_c: ArrayLike) -> float:
    """Design low where the keeper types none: the coldest normal low less 2.5 standard deviations.

    Parameters
    ----------
    low_c, spread_c : array_like, shape (days,)
        Normal low [degC] and standard deviation [degC difference] of each day.

    Returns
    -------
    float
        Temperature. [degC]

    Examples
    --------
    >>> design_cold([-12.0, -5.0], [5.5, 5.0])
    -25.75
    """
    return float((np.asarray(low_c, float) - DESIGN_SPREADS * np.asarray(spread_c, float)).min())
