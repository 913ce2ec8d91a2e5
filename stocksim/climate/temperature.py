"""Daily water temperature of a season, from monthly means or from a log the keeper wrote."""

from __future__ import annotations

import datetime as dt
import math
from calendar import monthrange
from collections.abc import Mapping, Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stocksim.errors import Fault, InputError

FloatArray = NDArray[np.float64]

MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
LONGEST_GAP_DAYS = 3  # bridged by a straight line; our choice, no source
_FAULTS_LISTED = 5


def month_smooth(month_days: ArrayLike, monthly_mean_c: ArrayLike) -> FloatArray:
    r"""Daily mean temperature of consecutive whole months, smooth and with exactly the monthly means given.

    Parameters
    ----------
    month_days : array_like of int, shape (months,)
        Days in each calendar month, in order. [day]
    monthly_mean_c : array_like, shape (..., months)
        Mean temperature of each month. [degC]

    Returns
    -------
    ndarray, shape (..., days)
        Mean temperature of every day, days being the sum of month_days. [degC]

    Notes
    -----
    A natural cubic spline S goes through the degree-days summed up to each month's boundary; a day's mean is
    the rise of S over that day:

    .. math:: T_d = S(d + 1) - S(d), \quad S(b_m) = \sum_{i < m} n_i T_i

    The days of a month add up to its degree-days whatever the spline does in between, and the temperature S'
    and its slope run on without a step. Straight lines between mid-months, the rival, lose part of each peak.
    The curve is level at both ends and may go a little beyond the warmest or coldest mean: clipping would
    break the means. A mean-preserving spline over sums is common practice, no source.

    Examples
    --------
    >>> daily = month_smooth([31, 30, 31], [17.0, 14.0, 13.0])
    >>> daily[[0, 30, 31, 91]].round(2)
    array([17.74, 15.58, 15.44, 12.93])
    >>> float(daily[31:61].mean())
    14.0
    """
    from scipy.interpolate import CubicSpline  # 0.3 s of start-up that only a season needs

    lengths = np.asarray(month_days, dtype=int)
    means = np.asarray(monthly_mean_c, dtype=float)
    boundary = np.concatenate([[0], np.cumsum(lengths)])
    # about the overall mean: keeps the sums small, and constant months exactly constant
    level = (means * lengths).sum(axis=-1, keepdims=True) / lengths.sum()
    summed = np.cumsum((means - level) * lengths, axis=-1)
    summed = np.concatenate([np.zeros_like(summed[..., :1]), summed], axis=-1)
    spline = CubicSpline(boundary, summed, axis=-1, bc_type="natural")
    return np.asarray(np.diff(spline(np.arange(boundary[-1] + 1)), axis=-1) + level, dtype=float)


def monthly_temperature(start: dt.date, days: int, monthly_mean_c: Mapping[int, float]) -> FloatArray:
    """Daily mean temperature of a season from monthly means.

    Parameters
    ----------
    start : datetime.date
        First day of the season.
    days : int
        Days in the season, 1 or more. [day]
    monthly_mean_c : mapping of int to float
        Mean temperature by month number, 1 to 12; a month met twice is the same in both years. [degC]

    Returns
    -------
    ndarray, shape (days,)
        Mean temperature of every day of the season. [degC] The mean of every whole calendar month is the one
        given.

    Raises
    ------
    InputError
        If a month that the season touches is missing or not a finite number.

    Notes
    -----
    `month_smooth` over the whole calendar months that the season touches, then cut to the season: a season
    from 10 October uses the whole of October.

    Examples
    --------
    >>> monthly_temperature(dt.date(2026, 10, 30), 4, {10: 17.0, 11: 14.0}).round(2)
    array([15.69, 15.55, 15.4 , 15.26])
    """
    if days < 1:
        raise InputError(f"a season of {days} days has no temperature; a season must have at least 1 day.")
    end = start + dt.timedelta(days=days - 1)
    first, last = start.year * 12 + start.month - 1, end.year * 12 + end.month - 1
    touched = [(month // 12, month % 12 + 1) for month in range(first, last + 1)]
    needed = list(dict.fromkeys(month for _, month in touched))
    faults = []
    missing = [MONTHS[month - 1] for month in needed if month not in monthly_mean_c]
    if missing:
        faults.append(
            f"the season {start} to {end} needs {', '.join(missing)}, which the monthly temperatures "
            "leave out; give a mean for each."
        )
    faults += [
        f"{MONTHS[month - 1]} is {monthly_mean_c[month]}; a monthly temperature must be a finite number."
        for month in needed
        if month in monthly_mean_c and not math.isfinite(monthly_mean_c[month])
    ]
    if faults:
        raise InputError([Fault("", "", fault) for fault in faults])
    lengths = [monthrange(year, month)[1] for year, month in touched]
    daily = month_smooth(lengths, [monthly_mean_c[month] for _, month in touched])
    return daily[start.day - 1 : start.day - 1 + days]


def logged_temperature(
    start: dt.date, days: int, log_dates: Sequence[dt.date], log_c: Sequence[float] | FloatArray
) -> tuple[FloatArray, list[str]]:
    """Daily mean temperature of a season from logged readings, short gaps bridged.

    Parameters
    ----------
    start : datetime.date
        First day of the season.
    days : int
        Days in the season, 1 or more. [day]
    log_dates : sequence of datetime.date, shape (readings,)
        Day of each reading, in any order; readings of one day are averaged.
    log_c : sequence of float, shape (readings,)
        Temperature read. [degC]

    Returns
    -------
    daily_c : ndarray, shape (days,)
        Mean temperature of every day. [degC]
    notes : list of str
        One sentence for each gap that was bridged.

    Raises
    ------
    InputError
        If the log does not reach the season's first and last day, has more than 3 days in a row without a
        reading, holds a temperature that is not a finite number, or is empty.

    Notes
    -----
    A gap of up to 3 days takes the straight line between the days on both sides, which may lie outside the
    season. Readings of one day are averaged as they are: a log read only at noon gives noon temperatures.

    Examples
    --------
    >>> days = [dt.date(2026, 10, 1), dt.date(2026, 10, 3)]
    >>> logged_temperature(dt.date(2026, 10, 1), 3, days, [17.0, 16.0])
    (array([17. , 16.5, 16. ]), ['2026-10-02: 1 day without a reading, taken from the days on both sides.'])
    """
    if days < 1:
        raise InputError(f"a season of {days} days has no temperature; a season must have at least 1 day.")
    if len(log_dates) != len(log_c):
        raise InputError(f"the log holds {len(log_dates)} dates but {len(log_c)} temperatures; give one each.")
    if not len(log_dates):
        raise InputError("the temperature log holds no reading; give at least one a day.")
    first, last = start.toordinal(), start.toordinal() + days - 1
    ordinal = np.array([day.toordinal() for day in log_dates])
    celsius = np.asarray(log_c, dtype=float)
    if not np.isfinite(celsius).all():
        bad = [_iso(day) for day in np.unique(ordinal[~np.isfinite(celsius)])]
        raise InputError(
            f"the temperature log holds no number on {', '.join(bad[:_FAULTS_LISTED])}"
            f"{_and_more(len(bad), 'day')}; leave the line out or correct it."
        )
    known, which = np.unique(ordinal, return_inverse=True)
    mean = np.bincount(which, weights=celsius) / np.bincount(which)
    faults, notes = [], []
    if known[0] > first:
        faults.append(
            f"the temperature log begins on {_iso(known[0])} but the season on {start}; "
            f"log {_span(first, min(known[0] - 1, last))} or start later."
        )
    if known[-1] < last:
        faults.append(
            f"the temperature log ends on {_iso(known[-1])} but the season on {_iso(last)}; "
            f"log {_span(max(known[-1] + 1, first), last)} or end earlier."
        )
    for before, after in pairwise(known):
        gap = int(after - before) - 1
        if not gap or after <= first or before >= last:
            continue
        span, counted = _span(before + 1, after - 1), f"{gap} day{'s' * (gap > 1)}"
        if gap > LONGEST_GAP_DAYS:
            faults.append(
                f"the temperature log has no reading on {span} ({counted}); gaps of at most "
                f"{LONGEST_GAP_DAYS} days are bridged, so add readings there."
            )
        else:
            notes.append(f"{span}: {counted} without a reading, taken from the days on both sides.")
    if faults:
        raise InputError([Fault("", "", fault) for fault in faults])
    return np.interp(np.arange(first, last + 1), known, mean), notes


def _and_more(count: int, noun: str) -> str:
    more = count - _FAULTS_LISTED
    return f" and {more} more {noun}{'s' * (more > 1)}" if more > 0 else ""


def _iso(ordinal: int) -> str:
    return dt.date.fromordinal(int(ordinal)).isoformat()


def _span(first: int, last: int) -> str:
    return _iso(first) if first == last else f"{_iso(first)} to {_iso(last)}"
