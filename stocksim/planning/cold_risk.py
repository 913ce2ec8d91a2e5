"""How often synthetic years cross a fish's cold limit, and how long the fish have when heaters fail."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from stocksim.climate.network import run_network
from stocksim.climate.nodes import INNER_AXES, SHARED, Network
from stocksim.climate.weather import HOURS, Weather, synthetic_days, weather_of_days
from stocksim.engine.stays import build_stays
from stocksim.planning.cold_power import (
    COLD_BEFORE_DAYS,
    NORMAL_BEFORE_DAYS,
    design_days,
    of_one_day,
    warm_start,
)
from stocksim.site.model import SiteFile
from stocksim.site.reading import Site
from stocksim.site.warm_plan import HeatPlan
from stocksim.site.warmth import SiteWeather, run_plan

FloatArray = NDArray[np.float64]

_YEARS_AT_ONCE = 40
RISK_STEP_H = 3  # water follows in many hours; hourly steps give lows within 0.2 degC of it (a test)
SPIN_UP_DAYS = 10
# Normals above this share of the season's range are not run for the risk: no cold limit is met in its warmer days.
COLD_RANGE_SHARE = 0.6
_FREEZING_C = 0.05  # a limit of 0 degC counts as met here, where ice begins
FAIL_HOUR = 18  # dusk, with the whole night ahead
FAIL_DAYS = 5


@dataclass(frozen=True)
class CohortTime:
    """Hours until one cohort's water crosses its cold limit; infinite where it does not within five days."""

    cohort: str
    tank: str
    species: str
    start_c: float
    limit_c: float
    hours: float
    after_12_h_c: float


@dataclass(frozen=True)
class FailedHeater:
    """All heaters fail at dusk of the design night, pumps go on; the cold lasts.

    Parameters
    ----------
    outdoor_low_c : float
        Low of every night. [degC]
    times : tuple of CohortTime
        The shortest first.
    air_c : ndarray, shape (hours,)
        Air of the greenhouse, or outdoors without one, from the failure on. [degC]
    tank_c : mapping of str to ndarray, shape (hours,)
        Water of each tank. [degC]
    """

    outdoor_low_c: float
    times: tuple[CohortTime, ...]
    air_c: FloatArray
    tank_c: dict[str, FloatArray]


def cold_years(
    site: Site,
    plan: HeatPlan,
    weather: SiteWeather,
    present: NDArray[np.bool_],
    years: int,
    seed: int,
    tell: Callable[[float], None],
) -> FloatArray:
    """Share of synthetic years in which each cohort's water crosses its cold limit.

    Parameters
    ----------
    site : Site
        Its computed form.
    plan : HeatPlan
        With a leading axis of choices.
    weather : SiteWeather
        Normals of the season.
    present : ndarray of bool, shape (choice, day, cohort)
        Whether the fish are there, by column: a cohort's stay in a tank.
    years, seed : int
        How many, and the seed of the random numbers; every choice meets the same years.
    tell : callable
        Called with the share done.

    Returns
    -------
    ndarray, shape (choice, cohort)
        Share of the years. [-]
    """
    stays, _ = build_stays(site)
    limit = np.array([site.species[stay.table.species]["temperature_low_limit"] for stay in stays])
    nodes = [plan.nodes.index(f"tanks.{stay.table.tank}") for stay in stays]
    low, high, share = synthetic_days(
        weather.normal_low_c, weather.normal_high_c, weather.normal_sun_share, weather.spread_c, years, seed
    )
    days = _cold_days(weather)
    hours = slice(days.start * HOURS, days.stop * HOURS)
    dark, clear = replace(weather, night=weather.night[hours]), weather.clear_w_m2[days]
    widened = _with_year_axis(plan, hours)
    crossed = np.zeros((present.shape[0], len(stays)))
    for first in range(0, years, _YEARS_AT_ONCE):
        part = slice(first, min(first + _YEARS_AT_ONCE, years)), days
        outdoors = weather_of_days(low[part], high[part], share[part], clear)
        run = run_plan(
            widened, dark, outdoors, is_hourly=False, spin_up_days=SPIN_UP_DAYS, keep=("low",), step_h=RISK_STEP_H
        )
        water = np.moveaxis(run.low_c[..., nodes], 0, 2)  # (choice, year, day, cohort)
        is_cold = ((water < limit) | (water <= 0.0)) & present[:, None, days]
        crossed += is_cold.any(axis=2).sum(axis=1)
        tell((part[0].stop) / years)
    return crossed / years


def _cold_days(weather: SiteWeather) -> slice:
    """Days that are run for the risk: from the first to the last whose normal lies in the colder 60 % of the range."""
    mean = 0.5 * (weather.normal_low_c + weather.normal_high_c)
    cold = np.flatnonzero(mean <= mean.min() + COLD_RANGE_SHARE * np.ptp(mean))
    return slice(int(cold[0]), int(cold[-1]) + 1)


def _with_year_axis(plan: HeatPlan, hours: slice) -> HeatPlan:
    """The plan of some hours with an axis for years after that of the choices."""
    arrays = {}
    for name in Network._fields:
        array = getattr(plan.network, name)
        if name == "set_c" and array.shape[-2] != HOURS:
            array = array[..., hours, :]
        arrays[name] = array if name in SHARED else np.expand_dims(array, -1 - INNER_AXES.get(name, 1))
    return replace(plan, network=Network(**arrays))


def failed_heater(site: Site, plan: HeatPlan, weather: SiteWeather) -> FailedHeater:
    """Course after all heaters fail at dusk of the design night.

    Parameters
    ----------
    site : Site
        Its computed form.
    plan : HeatPlan
        One scenario.
    weather : SiteWeather
        Its season.

    Returns
    -------
    FailedHeater
        Two weeks of the coldest normal day, two design days without sun, then five more without heat.
    """
    file = site.file
    day, hours, night = design_days(weather, COLD_BEFORE_DAYS + FAIL_DAYS + 1)
    normal = of_one_day(plan.network, day)
    fail = (NORMAL_BEFORE_DAYS + COLD_BEFORE_DAYS) * HOURS + FAIL_HOUR
    whole = run_network(normal, hours, night, warm_start(normal), weather.ground_c, is_hourly=True)
    assert whole.hourly_c is not None
    later = slice(fail, fail + FAIL_DAYS * HOURS)
    rest = Weather(hours.air_c[later], np.zeros(FAIL_DAYS * HOURS), hours.dew_c[-FAIL_DAYS:])
    off = normal._replace(
        set_c=np.full_like(normal.set_c, -np.inf), power_w=np.zeros_like(normal.power_w),
        cool_w=np.zeros_like(normal.cool_w),
        vent_c=np.full_like(normal.vent_c, 1e6), gain_w=np.roll(normal.gain_w, -FAIL_HOUR, axis=-2),
    )  # fmt: skip
    start = whole.hourly_c[fail - 1]
    after = run_network(off, rest, night[later], start, weather.ground_c, is_hourly=True)
    assert after.hourly_c is not None
    course = np.concatenate([start[None], after.hourly_c])
    times = []
    for key, cohort in file.cohorts.items():
        node = plan.nodes.index(f"tanks.{cohort.tank}")
        limit = site.species[cohort.species]["temperature_low_limit"]
        times.append(
            CohortTime(key, cohort.tank, cohort.species, float(course[0, node]), limit,
                       hours_to(course[:, node], limit), float(course[12, node]))
        )  # fmt: skip
    times.sort(key=lambda time: (time.hours, time.start_c - time.limit_c))
    air = (
        course[:, plan.nodes.index("greenhouse")]
        if "greenhouse" in plan.nodes
        else np.append(rest.air_c[:1], rest.air_c)
    )
    tanks = {key: course[:, plan.nodes.index(f"tanks.{key}")] for key in _stocked(file)}
    return FailedHeater(weather.design_cold_c, tuple(times), air, tanks)


def _stocked(file: SiteFile) -> list[str]:
    inside = {cohort.tank for cohort in file.cohorts.values()}
    return [key for key in file.tanks if key in inside]


def hours_to(course_c: FloatArray, limit_c: float) -> float:
    """Hours until an hourly course crosses a limit, along straight lines; infinite where it never does."""
    limit = max(limit_c, _FREEZING_C)
    below = np.flatnonzero(course_c < limit)
    if not below.size:
        return float("inf")
    first = int(below[0])
    if first == 0:
        return 0.0
    before, after = float(course_c[first - 1]), float(course_c[first])
    return first - 1 + (before - limit) / (before - after)
