"""Normals of a site's days: monthly numbers as days, and recorded days smoothed."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from stocksim.climate.sun import clear_share_of_cloud
from stocksim.climate.temperature import monthly_temperature
from stocksim.errors import Fault, InputError
from stocksim.site.climate_tables import FileWeather, NormalsWeather
from stocksim.site.quantities import MONTHS

FloatArray = NDArray[np.float64]

SMOOTH_DAYS = 61  # recorded days are averaged over so many to stand for normals (our choice)


def smoothed(days: FloatArray) -> FloatArray:
    """Recorded days as normals: the mean of 61 days about each, of those there are at the season's ends."""
    window = np.ones(min(SMOOTH_DAYS, 2 * len(days) - 1))
    reach = (len(window) - 1) // 2
    total, count = np.convolve(days, window), np.convolve(np.ones(len(days)), window)
    return (total / count)[reach : reach + len(days)]


def _numbers(values: Mapping[str, float]) -> dict[int, float]:
    return {MONTHS.index(month) + 1: value for month, value in values.items()}


def monthly_means(table: NormalsWeather | FileWeather) -> FloatArray:
    if isinstance(table, FileWeather):
        return np.zeros(0)
    return np.array([0.5 * (table.low[m] + table.high[m]) for m in MONTHS if m in table.low and m in table.high])


def days_of_normals(
    table: NormalsWeather, start: dt.date, days: int
) -> tuple[FloatArray, FloatArray, FloatArray | None]:
    """Daily lows, highs and shares of sun; typed means move low and high alike."""
    faults: list[Fault] = []

    def by_day(values: Mapping[str, float], field: str) -> FloatArray:
        try:
            return monthly_temperature(start, days, _numbers(values))
        except InputError as error:
            for fault in error.faults:
                said = fault.message.replace(
                    "the monthly temperatures leave out; give a mean", "are left out; give one"
                )
                faults.append(Fault("weather", field, said))
            return np.zeros(days)

    low, high = by_day(table.low, "low"), by_day(table.high, "high")
    if table.mean:
        shift = by_day(table.mean, "mean") - 0.5 * (low + high)
        low, high = low + shift, high + shift
    share = by_day(table.sun, "sun") if table.sun else None
    if share is None and table.cloud:
        share = clear_share_of_cloud(np.clip(by_day(table.cloud, "cloud"), 0.0, 1.0))
    if faults:
        raise InputError(faults)
    return low, high, share
