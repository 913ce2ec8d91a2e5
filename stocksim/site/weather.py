"""Weather of a site's season: monthly numbers as days, recorded days, what is assumed of them, and their hours."""

from __future__ import annotations

import datetime as dt
from calendar import monthrange
from collections.abc import Mapping
from dataclasses import dataclass, fields
from functools import cached_property
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from stocksim.climate.sun import clear_share_of_cloud, sun_by_temperature_range
from stocksim.climate.temperature import monthly_temperature
from stocksim.climate.weather import (
    HOURS,
    LEAST_SUN_SHARE,
    MOST_SUN_SHARE,
    WINTER_SPREAD_C,
    Weather,
    clear_sky_hours,
    design_cold,
    seasonal_spread,
    weather_of_days,
)
from stocksim.errors import Fault, InputError
from stocksim.memo import Memo, content_key
from stocksim.opening import beside
from stocksim.site.climate_tables import FileWeather, NormalsWeather, WeatherTable
from stocksim.site.epw import is_epw, read_epw
from stocksim.site.logs import Record, read_weather_file, sun_questions, weather_questions
from stocksim.site.model import SiteFile
from stocksim.site.quantities import MONTHS
from stocksim.units import format_quantity

FloatArray = NDArray[np.float64]

SMOOTH_DAYS = 61  # recorded days are averaged over so many to stand for normals (our choice)
_SUMMER_SHARE = 3.0 / 5.5  # of the winter's day-to-day spread, as the defaults have it


@dataclass(frozen=True)
class SiteWeather:
    """Weather of a season by the day, and by the hour.

    Parameters
    ----------
    start : date
        First day.
    low_c, high_c, sun_share, spread_c : ndarray, shape (days,)
        Lows, highs [degC], share of clear-sky sun [-], day-to-day standard deviation. [degC difference]
    clear_w_m2 : ndarray, shape (days, 24)
        Clear-sky sun. [W/m2]
    hours : Weather
        By the hour.
    night : ndarray of bool, shape (hours,)
        Hours without sun.
    ground_c, design_cold_c : float
        Deep ground, low of the design night. [degC]
    wind_m_s : float or None
        Mean wind of the season, where typed. [m/s]
    notes : tuple of str
        What was assumed.
    normal_low_c, normal_high_c, normal_sun_share : ndarray, shape (days,)
        About which synthetic years vary: the normals, or recorded days smoothed. [degC], [degC], [-]
    """

    start: dt.date
    low_c: FloatArray
    high_c: FloatArray
    sun_share: FloatArray
    spread_c: FloatArray
    clear_w_m2: FloatArray
    hours: Weather
    night: NDArray[np.bool_]
    ground_c: float
    design_cold_c: float
    wind_m_s: float | None
    notes: tuple[str, ...]
    normal_low_c: FloatArray
    normal_high_c: FloatArray
    normal_sun_share: FloatArray

    @cached_property
    def content(self) -> bytes:
        """Digest of all fields, for `content_key`."""
        return content_key(*(getattr(self, field.name) for field in fields(self)))

    @property
    def mean_c(self) -> FloatArray:
        """Mean of each day, shape (days,). [degC]"""
        return self.hours.air_c.reshape(-1, HOURS).mean(axis=-1)


_weathers: Memo[SiteWeather] = Memo(8)


def site_weather(file: SiteFile, folder: Path) -> SiteWeather:
    """Weather of a site's season.

    Parameters
    ----------
    file : SiteFile
        With a table ``weather`` and a latitude.
    folder : Path
        Where a weather file is looked up.

    Returns
    -------
    SiteWeather
        Day by day and hour by hour.

    Raises
    ------
    InputError
        If months or days of the season are missing, or the file cannot be read.
    """
    table, start = file.weather, file.season.start
    days = (file.season.end - start).days + 1
    assert table is not None
    if file.site.latitude is None:
        raise InputError([Fault("site", "latitude", "is missing; the sun of [weather] needs it, as 45.0.")])
    record, said = _recorded(table, folder, file, days) if isinstance(table, FileWeather) else (None, ())
    given = (table, record, said, file.site.latitude, file.site.units, start, days)
    return _weathers.of(content_key(*given), lambda: _weather_of(*given))


def _weather_of(
    table: WeatherTable,
    record: Record | None,
    said: tuple[str, ...],
    latitude: float,
    units: str,
    start: dt.date,
    days: int,
) -> SiteWeather:
    first = start.timetuple().tm_yday
    clear = clear_sky_hours(latitude, first, days)
    notes: list[str] = []
    hourly: Weather | None = None
    if record is not None:
        low, high, share, notes = record.low_c, record.high_c, None, [*said]
        if record.sun_kwh_m2 is not None:
            share = 1000.0 * record.sun_kwh_m2 / np.maximum(clear.sum(axis=-1), 1.0)
    else:
        assert not isinstance(table, FileWeather)
        low, high, share = _days_of_normals(table, start, days)
    if share is None:
        number = (first - 1 + np.arange(days)) % 365 + 1
        guess = sun_by_temperature_range(high - low, latitude, number)
        share = 1000.0 * guess / np.maximum(clear.sum(axis=-1), 1.0)
        notes.append("weather has neither sun nor cloud: sunlight is guessed from the day's temperature range.")
    share = np.clip(share, LEAST_SUN_SHARE, MOST_SUN_SHARE)
    hourly = weather_of_days(low, high, share, clear)
    if record is not None and record.hourly_c is not None:
        hourly = hourly._replace(air_c=record.hourly_c)
    winter = WINTER_SPREAD_C if table.day_to_day is None else table.day_to_day
    normal = (low, high, share) if record is None else (smoothed(low), smoothed(high), smoothed(share))
    spread = seasonal_spread(0.5 * (normal[0] + normal[1]), winter, _SUMMER_SHARE * winter)
    ground = table.ground
    if ground is None:
        months = _monthly_means(table)
        ground = float(np.mean(months if len(months) else 0.5 * (low + high)))
        if len(months) < len(MONTHS):
            notes.append(
                "weather.ground is not given: deep ground is taken at the mean of the weather given, which is too cold "
                "where the warm months are left out."
            )
    cold = _design_low(table, low, spread, notes, units)
    wind = None
    if table.wind:
        seen = {(start + dt.timedelta(days=day)).month for day in range(days)}
        of_season = [value for month, value in table.wind.items() if MONTHS.index(month) + 1 in seen]
        wind = float(np.mean(of_season or list(table.wind.values())))
    night = np.repeat(clear.reshape(-1) <= 0.0, 1)
    return SiteWeather(
        start, low, high, share, spread, clear, hourly, night, ground, cold, wind, tuple(notes), *normal
    )  # fmt: skip


def _recorded(table: FileWeather, folder: Path, file: SiteFile, days: int) -> tuple[Record, tuple[str, ...]]:
    """Weather of a file, with the notes on it and the questions that it raises."""
    start, latitude = file.season.start, file.site.latitude
    assert latitude is not None
    try:
        path = beside(folder, table.file)
    except InputError as error:
        raise InputError(
            [Fault("weather", "file", f"{fault.file} {fault.message}") for fault in error.faults]
        ) from None
    if is_epw(path):
        record = read_epw(path, start, days, latitude)
    else:
        record = read_weather_file(path, start, days, file.site.utc_offset)
    asked, faults = weather_questions(latitude, start, record.low_c, record.high_c, record.unit)
    if faults:
        raise InputError([Fault("weather", "file", f"{path.name} {fault}") for fault in faults])
    if record.sun_kwh_m2 is not None:
        clear = clear_sky_hours(latitude, start.timetuple().tm_yday, days)
        asked += sun_questions(record.sun_kwh_m2, clear.sum(axis=-1) / 1000.0)
    return record, (*record.notes, *(f"weather.file: {path.name} {question}" for question in asked))


def _design_low(table: WeatherTable, low_c: FloatArray, spread_c: FloatArray, notes: list[str], units: str) -> float:
    """Low of the design night: typed, the coldest of recorded days, or below the normals; said in ``notes``."""
    coldest = float(low_c.min())
    if isinstance(table, FileWeather):
        notes.append(
            f"Synthetic years vary about the file's days smoothed over {SMOOTH_DAYS} days, which keeps something of "
            "how cold that one year was."
        )
    if table.design_cold is not None:
        if isinstance(table, FileWeather) and table.design_cold > coldest:
            words = [format_quantity(value, "temperature", units) for value in (table.design_cold, coldest)]
            message = f"{words[0]} is above the coldest low of the file, {words[1]}; give the low of a rare cold night."
            raise InputError([Fault("weather", "design_cold", message)])
        return table.design_cold
    cold = coldest if isinstance(table, FileWeather) else design_cold(low_c, spread_c)
    rule = (
        "the coldest low of the file's days in the season; colder nights will come, so type one from a longer record"
        if isinstance(table, FileWeather)
        else "the coldest normal low less 2.5 standard deviations of a day"
    )
    notes.append(f"weather.design_cold is not given: {format_quantity(cold, 'temperature', units)} is taken, {rule}.")
    return cold


# --- normals by the day


def smoothed(days: FloatArray) -> FloatArray:
    """Recorded days as normals: the mean of 61 days about each, of those there are at the season's ends."""
    window = np.ones(min(SMOOTH_DAYS, 2 * len(days) - 1))
    reach = (len(window) - 1) // 2
    total, count = np.convolve(days, window), np.convolve(np.ones(len(days)), window)
    return (total / count)[reach : reach + len(days)]


def _numbers(values: Mapping[str, float]) -> dict[int, float]:
    return {MONTHS.index(month) + 1: value for month, value in values.items()}


def _monthly_means(table: WeatherTable) -> FloatArray:
    """Mean of each month that normals give, lows and highs alike; none of a file."""
    if isinstance(table, FileWeather):
        return np.zeros(0)
    return np.array([0.5 * (table.low[m] + table.high[m]) for m in MONTHS if m in table.low and m in table.high])


def _days_of_normals(
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


def days_of_month(start: dt.date, days: int) -> list[tuple[str, NDArray[np.int64]]]:
    """Label and days of each calendar month of a season."""
    found: list[tuple[str, NDArray[np.int64]]] = []
    day = 0
    while day < days:
        date = start + dt.timedelta(days=day)
        last = min(day + monthrange(date.year, date.month)[1] - date.day, days - 1)
        found.append((date.strftime("%b %Y"), np.arange(day, last + 1)))
        day = last + 1
    return found
