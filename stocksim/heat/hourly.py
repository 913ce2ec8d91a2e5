"""Hourly temperatures of rooms and water of a site, from its weather, rooms and heaters."""

from __future__ import annotations

import datetime as dt
from calendar import monthrange
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from functools import cached_property
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from stocksim.climate.network import DAILY, run_network
from stocksim.climate.nodes import HeatRun
from stocksim.climate.sun import sun_by_temperature_range
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
from stocksim.heat.plan import HeatPlan, build_heat_plan
from stocksim.memo import Memo, content_key
from stocksim.opening import beside
from stocksim.site.climate_tables import ComputedTemperature, FileWeather, WeatherTable
from stocksim.site.logs import Record, read_weather_file, sun_questions, weather_questions
from stocksim.site.model import SiteFile
from stocksim.site.quantities import MONTHS
from stocksim.site.rooms import ROOMS
from stocksim.site.weather import SMOOTH_DAYS, days_of_normals, monthly_means, smoothed
from stocksim.units import format_quantity

FloatArray = NDArray[np.float64]

COLDEST_WATER_C = -0.5  # our choice: what is meant as water at freezing may come out so far below 0
HOTTEST_WATER_C = 40.0  # as far as the formulas of gas exchange and of oxygen saturation hold
# What the balance may give for the air of a room, as a day's mean [degC]: outdoor air lies between -70 and 55, and a
# closed house in the sun stays below 80 (our choice).
ROOM_C = (-80.0, 80.0)
SPIN_UP_DAYS = 30  # the first days' weather before the season, so that water and floor start where it leaves them
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


@dataclass(frozen=True)
class Warmth:
    """A season of heat: plan, weather and what happened.

    Parameters
    ----------
    plan : HeatPlan
        Nodes and controls.
    weather : SiteWeather
        Outdoors.
    run : HeatRun
        Temperatures and heat, one scenario.
    """

    plan: HeatPlan
    weather: SiteWeather
    run: HeatRun

    def loop_mean_c(self, loop: str) -> FloatArray:
        """Daily mean of the water in a loop's tanks, by volume, shape (days,). [degC]"""
        return tank_mean_c(self.plan, self.run.mean_c, loop)

    def heat_kwh(self, control: str) -> FloatArray:
        """Heat of a heater day by day; zeros where there is none. [kWh]"""
        if control not in self.plan.controls:
            return np.zeros(len(self.run.mean_c))
        return self.run.heat_kwh[..., self.plan.controls.index(control)]


def tank_mean_c(plan: HeatPlan, daily_c: FloatArray, loop: str) -> FloatArray:
    """Mean over a loop's tanks by volume of temperatures (..., node)."""
    nodes = plan.tanks_of(loop)
    weight = plan.volume_m3[nodes]
    return daily_c[..., nodes] @ (weight / weight.sum())


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
        low, high, share = days_of_normals(table, start, days)
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
        months = monthly_means(table)
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


def run_plan(
    plan: HeatPlan,
    weather: SiteWeather,
    hours: Weather | None = None,
    is_hourly: bool = True,
    spin_up_days: int = SPIN_UP_DAYS,
    keep: Sequence[str] = DAILY,
    step_h: int = 1,
) -> HeatRun:
    """Season of a plan, after some days of its first weather.

    Parameters
    ----------
    plan : HeatPlan
        Network, with any leading scenario axes.
    weather : SiteWeather
        The season's.
    hours : Weather, optional
        Other hourly weather for the same days, as synthetic years (..., hours).
    is_hourly : bool
        Whether to keep every hour.
    spin_up_days : int
        Days of the first day's weather before the season.
    keep : sequence of str
        Daily tables to keep.
    step_h : int
        Length of the step. [h]

    Returns
    -------
    HeatRun
        Of the season's days.
    """
    outdoors = weather.hours if hours is None else hours
    first = np.concatenate([outdoors.air_c[..., :HOURS]] * spin_up_days, axis=-1)
    sun = np.concatenate([outdoors.sun_w_m2[..., :HOURS]] * spin_up_days, axis=-1)
    dew = np.concatenate([outdoors.dew_c[..., :1]] * spin_up_days, axis=-1)
    sets = plan.network.set_c
    start_set = sets if sets.shape[-2] == HOURS else sets[..., :HOURS, :]
    begin = np.full(plan.network.capacity_j_k.shape, max(float(outdoors.air_c[..., :HOURS].mean()), 4.0))
    finite = np.where(np.isfinite(start_set[..., 0, :]), start_set[..., 0, :], begin[..., plan.network.control])
    begin[..., plan.network.control] = np.maximum(begin[..., plan.network.control], finite)
    before = run_network(
        plan.network._replace(set_c=start_set), Weather(first, sun, dew),
        np.tile(weather.night[:HOURS], spin_up_days), begin, weather.ground_c, keep=("mean",),
        step_h=step_h,
    )  # fmt: skip
    start = before.mean_c[-1]
    return run_network(plan.network, outdoors, weather.night, start, weather.ground_c, is_hourly, keep, step_h)


_weathers: Memo[SiteWeather] = Memo(8)
_kept: Memo[Warmth] = Memo(8)  # some 4 MB each


def site_warmth(file: SiteFile, folder: Path, held_c: Mapping[str, FloatArray]) -> Warmth:
    """Heat of a site's season; a site with the same plan and weather is answered from memory.

    Parameters
    ----------
    file : SiteFile
        With tables ``weather`` and a room.
    folder : Path
        Where a weather file is looked up.
    held_c : mapping of str to ndarray, shape (days,)
        Typed or logged temperatures of the loops that are not computed.

    Returns
    -------
    Warmth
        With every hour.

    Raises
    ------
    InputError
        If weather is missing or the numbers of the site give water or air that cannot be.
    """
    weather = site_weather(file, folder)
    plan = build_heat_plan(file, held_c, weather.wind_m_s)
    return _kept.of(content_key(plan, weather), lambda: _sound(file, plan, weather))


def _sound(file: SiteFile, plan: HeatPlan, weather: SiteWeather) -> Warmth:
    """Heat balance of a plan; refused where it gives water or air that cannot be."""
    with np.errstate(over="ignore", invalid="ignore"):  # told below
        found = Warmth(plan, weather, run_plan(plan, weather))
    faults = _absurd(file, found)
    if faults:
        raise InputError(faults)
    return found


def _absurd(file: SiteFile, warmth: Warmth) -> list[Fault]:
    """Fault of the first room, else of the first computed loop, whose days cannot be."""
    courses = [
        (name, "", "air", warmth.run.mean_c[:, warmth.plan.nodes.index(name)], ROOM_C)
        for name in ROOMS
        if name in warmth.plan.nodes
    ]
    courses += [
        (f"loops.{key}", "water_temperature", "water", warmth.loop_mean_c(key), (COLDEST_WATER_C, HOTTEST_WATER_C))
        for key, loop in file.loops.items()
        if isinstance(loop.water_temperature, ComputedTemperature)
    ]
    for table, field, what, course, (low, high) in courses:
        is_absurd = ~((course >= low) & (course <= high))
        if is_absurd.any():
            day = int(is_absurd.argmax())
            met, least, most = (
                format_quantity(float(value), "temperature", file.site.units) if np.isfinite(value) else "no number"
                for value in (course[day], low, high)
            )
            message = (
                f"the heat balance gives {what} of {met} on {warmth.weather.start + dt.timedelta(days=day)}, outside "
                f"{least} to {most}; a number of the site's rooms, beds, tanks, pumps, heaters or weather is wrong."
            )
            return [Fault(table, field, message)]
    return []


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
