"""Questions to recorded temperatures that can be read and hardly be right: unit, season, jumps, a stuck sensor."""

from __future__ import annotations

import datetime as dt

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

# All bounds here are our choice: wide enough that no sound record we know of is asked about.
WARM_WATER_C = 33.0  # few keep any fish warmer on average
WATER_JUMP_C = 5.0  # between the means of two days that follow each other
WATER_SPREAD_C = 10.0  # between the readings of one day
STUCK_DAYS, STUCK_DAYS_BY_HAND = 7, 45  # the same mean for so long, of several readings a day or of fewer
STUCK_AIR_DAYS = 4  # the same low and high
AIR_JUMP_C = 22.0
CLEAR_SKY_SHARE = 1.25  # of a clear sky's sun, on average
FAR_BEYOND_C = 8.0
_SEVERAL = 4
_LEAST_DAYS = 10  # of a month, for its mean to be judged


def water_questions(
    ordinal: IntArray, mean_c: FloatArray, spread_c: FloatArray, count: IntArray, unit: str
) -> list[str]:
    """Questions to a log of water.

    Parameters
    ----------
    ordinal : ndarray of int, shape (days,)
        Days with a reading, in order, as `datetime.date.toordinal` counts.
    mean_c, spread_c : ndarray, shape (days,)
        Mean of each day's readings, and highest less lowest. [degC]
    count : ndarray of int, shape (days,)
        Readings of each day.
    unit : str
        Unit in which it was written.

    Returns
    -------
    list of str
        A sentence each.
    """
    asked = []
    overall = float(mean_c.mean())
    if unit == "degC" and overall > WARM_WATER_C:
        asked.append(f"water is {overall:.1f} degC on average, warmer than nearly all fish are kept; is it degF?")
    if overall < 0.0:
        other = " in degC" if unit == "degF" else ""
        asked.append(f"water is {overall:.1f} degC on average, below freezing; was it logged{other} outdoors?")
    step = np.abs(np.diff(mean_c))
    jumps = np.flatnonzero((np.diff(ordinal) == 1) & (step > WATER_JUMP_C))
    if len(jumps):
        worst = jumps[step[jumps].argmax()]
        asked.append(
            f"water moves by {step[worst]:.1f} degC from {_day(ordinal[worst])} to {_day(ordinal[worst + 1])}"
            f"{_besides(len(jumps))}; was the sensor out of the water?"
        )
    wide = np.flatnonzero(spread_c > WATER_SPREAD_C)
    if len(wide):
        worst = wide[spread_c[wide].argmax()]
        asked.append(
            f"readings of {_day(ordinal[worst])} are {spread_c[worst]:.1f} degC apart{_besides(len(wide))}; "
            "is one of them a slip?"
        )
    often = float(np.median(count)) >= _SEVERAL
    first, length = longest_run(mean_c)
    if length >= (STUCK_DAYS if often else STUCK_DAYS_BY_HAND):
        asked.append(
            f"water is the same, {mean_c[first]:.2f} degC, for {length} days from {_day(ordinal[first])}; "
            "is the sensor stuck?"
        )
    return asked


def air_bounds(latitude: float, month: IntArray | int) -> tuple[FloatArray, FloatArray]:
    """Coldest and warmest mean of a month outdoors that is taken without a question. [degC]

    Parameters
    ----------
    latitude : float
        North positive. [degree]
    month : int or ndarray of int, shape (...)
        1 to 12.

    Returns
    -------
    tuple of ndarray, shape (...)
        Low and high. [degC]

    Notes
    -----
    Our choice, drawn wide about what is known of the earth's climates: in midwinter from 5 - 0.8 x latitude to
    33 - 0.4 x latitude, in midsummer from 0 (of high mountains) to 40, less 0.4 for each degree beyond 35; a cosine
    between. At 45 degrees that is -31 to 15 in January and 0 to 36 in July.
    """
    away = abs(latitude)
    shift = 7 if latitude >= 0.0 else 1
    summer = 0.5 + 0.5 * np.cos(2.0 * np.pi * (np.asarray(month) - shift) / 12.0)
    low_winter, high_winter = min(5.0 - 0.8 * away, 0.0), 33.0 - 0.4 * away
    low_summer, high_summer = (0.0 if away < 60.0 else -0.8 * (away - 60.0)), 40.0 - 0.4 * max(away - 35.0, 0.0)
    low = low_winter + (low_summer - low_winter) * summer
    high = high_winter + (high_summer - high_winter) * summer
    return np.asarray(low), np.asarray(high)


def weather_questions(
    latitude: float, start: dt.date, low_c: FloatArray, high_c: FloatArray, unit: str
) -> tuple[list[str], list[str]]:
    """Questions to recorded weather, and what is refused.

    Parameters
    ----------
    latitude : float
        North positive. [degree]
    start : date
        First day.
    low_c, high_c : ndarray, shape (days,)
        Lows and highs. [degC]
    unit : str
        Unit in which they were written, degC or degF.

    Returns
    -------
    questions, faults : list of str
        Sentences that go on from the file's name. A fault only where half of the months or more lie far beyond what the
        latitude can have and the other unit would fit.
    """
    days = np.datetime64(start, "D") + np.arange(len(low_c))
    months, which = np.unique(days.astype("datetime64[M]"), return_inverse=True)
    number = months.astype(np.int64) % 12 + 1
    count = np.bincount(which)
    mean = np.bincount(which, weights=0.5 * (low_c + high_c)) / count
    bounds = air_bounds(latitude, number)
    beyond = np.maximum(mean - bounds[1], bounds[0] - mean)
    beyond[count < _LEAST_DAYS] = 0.0
    asked: list[str] = []
    if (beyond > 0.0).any():
        worst = int(beyond.argmax())
        other, as_read = ("degF", (mean - 32.0) / 1.8) if unit == "degC" else ("degC", mean * 1.8 + 32.0)
        fits = bool(((as_read >= bounds[0]) & (as_read <= bounds[1])).all())
        told = (
            f"gives {_month(months[worst])} a mean of {mean[worst]:.0f} degC, which latitude {latitude:g} hardly has "
            f"({bounds[0][worst]:.0f} to {bounds[1][worst]:.0f})"
        )
        if fits and (beyond > FAR_BEYOND_C).sum() >= 0.5 * (count >= _LEAST_DAYS).sum():
            return [], [f"{told}; its header says {unit}, so if it is {other} name the columns _{other[-1].lower()}."]
        asked.append(f"{told}; is it {other}, or another place?" if fits else f"{told}; is it another place?")
    mid = 0.5 * (low_c + high_c)
    step = np.abs(np.diff(mid))
    if len(step) and step.max() > AIR_JUMP_C:
        worst = int(step.argmax())
        asked.append(
            f"moves by {step[worst]:.0f} degC from {days[worst]} to {days[worst + 1]}"
            f"{_besides(int((step > AIR_JUMP_C).sum()))}; is one of them a slip?"
        )
    first, length = longest_run(low_c + 1000.0 * high_c)
    if length >= STUCK_AIR_DAYS:
        asked.append(f"has the same low and high for {length} days from {days[first]}; was something not recorded?")
    return asked, []


def sun_questions(sun_kwh_m2: FloatArray, clear_kwh_m2: FloatArray) -> list[str]:
    """Questions to recorded sun, shape (days,), against that of a clear sky. [kWh/m2]"""
    share = float(sun_kwh_m2.sum() / max(float(clear_kwh_m2.sum()), 1e-9))
    if share > CLEAR_SKY_SHARE:
        return [f"has {share:.1f} times the sun of a clear sky; is it in MJ (one kWh is 3.6 MJ) or another unit?"]
    return []


def longest_run(values: FloatArray) -> tuple[int, int]:
    """First index and length of the longest run of equal values."""
    edges = np.flatnonzero(np.concatenate([[True], np.abs(np.diff(values)) > 1e-9, [True]]))
    lengths = np.diff(edges)
    longest = int(lengths.argmax())
    return int(edges[longest]), int(lengths[longest])


def _besides(count: int) -> str:
    return f" (and {count - 1} time{'s' * (count > 2)} more)" if count > 1 else ""


def _day(ordinal: int) -> str:
    return dt.date.fromordinal(int(ordinal)).isoformat()


def _month(month: np.datetime64) -> str:
    return month.astype(dt.date).strftime("%b %Y")
