"""What each heating option costs and gives, and what a heater that fails does."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from stocksim.answers.cold.choice import RUNS_KWH, FuelUse, Option
from stocksim.answers.cold.crops import crops_of_choices
from stocksim.answers.cold.options import Choice, bought_heater, flow_factor, stacked_plan
from stocksim.changes.change import reserve_percent
from stocksim.climate.greenhouse import fuel_units
from stocksim.climate.network import run_network
from stocksim.climate.nodes import INNER_AXES, SHARED, HeatRun, Network
from stocksim.climate.weather import HOURS, Weather, synthetic_days, weather_of_days
from stocksim.engine.arrays.fish import build_stays, by_water
from stocksim.engine.arrays.layout import build_layout
from stocksim.engine.results.findings import Finding, findings, tank_extremes
from stocksim.engine.results.findings import limit_series as limits_of
from stocksim.engine.season import simulate
from stocksim.heat.heaters import (
    COLD_BEFORE_DAYS,
    NORMAL_BEFORE_DAYS,
    design_days,
    design_power_w,
    of_one_day,
    warm_start,
)
from stocksim.heat.hourly import Warmth, run_plan, tank_mean_c
from stocksim.heat.needed import sold_by
from stocksim.heat.outage import hours_to
from stocksim.heat.plan import HeatPlan
from stocksim.site.climate_faults import heaters
from stocksim.site.climate_tables import HeaterTable
from stocksim.site.model import SiteFile
from stocksim.site.reading import Site
from stocksim.site.weather import SiteWeather, days_of_month

FloatArray = NDArray[np.float64]


def one_of(plan: HeatPlan, row: int) -> HeatPlan:
    """One choice of a plan with a leading axis of choices."""
    arrays = {
        name: getattr(plan.network, name) if name in SHARED else getattr(plan.network, name)[row]
        for name in Network._fields
    }
    return replace(plan, network=Network(**arrays))


# --- how often synthetic years cross a fish's cold limit, and how long the fish have when heaters fail


_YEARS_AT_ONCE = 40
RISK_STEP_H = 3  # water follows in many hours; hourly steps give lows within 0.2 degC of it (a test)
SPIN_UP_DAYS = 10
# Normals above this share of the season's range are not run for the risk: no cold limit is met in its warmer days.
COLD_RANGE_SHARE = 0.6
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


# --- what each choice comes to: heat, fuel, power, fish, crops and cold years


def is_held(file: SiteFile, key: str) -> bool:
    return file.loops[key].water_temperature.kind != "computed"


def _read_c(site: Site, loop: str, mean_c: FloatArray) -> FloatArray:
    """Computed water of every choice with what readings add, shape (day, choice). [degC]"""
    return np.stack([site.begun.water(loop, mean_c[:, choice]) for choice in range(mean_c.shape[1])], axis=-1)


def tallied(
    site: Site,
    tried: list[Choice],
    weather: SiteWeather,
    years: int,
    seed: int,
    tell: Callable[[float], None],
    owned: Collection[str] | None = None,
) -> list[Option]:
    """Every choice of one site: heat, fish, and synthetic years.

    Parameters
    ----------
    site : Site
        Its computed form.
    tried : list of Choice
        What is tried.
    weather : SiteWeather
        Normals of the season.
    years, seed : int
        Synthetic years and the seed of their random numbers.
    tell : callable
        Called with the share done.
    owned : collection of str, optional
        Places whose heater the keeper has; all that the site names where not given.

    Returns
    -------
    list of Option
        In the order of the choices.
    """
    plan = stacked_plan(site, tried, weather.wind_m_s)
    run = run_plan(plan, weather, is_hourly=False)
    tell(0.15)
    layout = build_layout(site)
    daily = np.stack([_read_c(site, key, tank_mean_c(plan, run.mean_c, key)) if not is_held(site.file, key)
                      else np.broadcast_to(site.held_c[key][:, None], run.mean_c.shape[:2])
                      for key in layout.loops], axis=-1)  # fmt: skip
    temperature = np.moveaxis(daily, 0, 1)  # (choice, day, loop)
    at_fish = temperature @ layout.cohort_loop.T
    many = replace(
        layout, temperature_c=temperature, flow_m3_day=layout.flow_m3_day * flow_factor(layout, tried, weather.night),
        **by_water(site, layout.stays, layout.happenings, layout.rations, at_fish),
    )  # fmt: skip
    course = simulate(many, lambda done, total: tell(0.15 + 0.35 * done / total))
    crops = crops_of_choices(site, layout, course, temperature, plan, run)
    extremes = tank_extremes(many, course)
    series = limits_of(many, course, extremes)
    present = course.there_in_morning
    shares = cold_years(site, plan, weather, present, years, seed, lambda part: tell(0.5 + 0.5 * part))
    has_fish = (present @ layout.cohort_tank) > 0.0
    tables = dict(heaters(site.file))
    owned = tables if owned is None else owned
    design_kw = design_power_w(plan, weather) / 1000.0
    heads = {key: [n for n, name in enumerate(layout.cohorts) if name == key] for key in layout.cohorts}
    found = []
    for row, choice in enumerate(tried):
        broken, near = _broken_and_near(site, findings(many, series, row))
        fuel = tuple(_fuel(site.file, tables, plan, run, weather, row))
        found.append(
            Option(
                choice.change, choice.place, choice.set_point_c, fuel, sum(use.heat_kwh for use in fuel),
                _cost(fuel),
                _by_month(weather, run, row), _peaks(plan, run, row),
                {key: table.power / 1000.0 for key, table in tables.items() if key in owned},
                float(run.short_hours[row].max(initial=0.0)),
                float(course.gain_g[row].sum()) / 1000.0, float(course.fed_g[row].sum()) / 1000.0,
                float(course.deaths[row].sum()),
                {key: _span(plan, run, key, row) for key in layout.loops},
                broken,
                float(np.where(has_fish[row], extremes.oxygen_min_mg_l[row], np.inf).min()),
                float(np.where(has_fish[row], course.tan_mg_l[row, :, : len(layout.tanks)], 0.0).max()),
                {key: float(shares[row, columns].max()) for key, columns in heads.items()},
                crops[row].harvest_kg,
                near=near,
                chilled=crops[row].nights,
                dead_kg=float(course.dead_g[row].sum()) / 1000.0,
                died={key: float(course.deaths[row][:, columns].sum()) for key, columns in heads.items()},
                stocked={
                    key: float((course.count + course.deaths)[row][:, columns].sum(axis=-1).max())
                    for key, columns in heads.items()
                },
                design_kw=_needed(site.file, plan, design_kw[row]),
                to_buy=tuple(key for key in _needed(site.file, plan, design_kw[row]) if key not in owned),
            )
        )  # fmt: skip
    tell(1.0)
    return found


def _broken_and_near(site: Site, every: Sequence[Finding]) -> tuple[tuple[tuple[str, str], ...], ...]:
    """Limits and places that are broken, and those that hold with less than the reserve."""
    broken = [f for f in every if f.is_broken]
    near = [
        f
        for f in every
        if not f.is_broken and f.margin_percent is not None and f.margin_percent < reserve_percent(site, f.limit)
    ]
    return tuple(tuple((f.limit, f.where) for f in some) for some in (broken, near))


def _cost(fuel: Sequence[FuelUse]) -> float | None:
    """Cost of all heat; None where a heater that runs has no price. [money]"""
    priced = [use.cost for use in fuel if use.heat_kwh > RUNS_KWH]
    return None if any(cost is None for cost in priced) else float(sum(cost or 0.0 for cost in priced))


def _peaks(plan: HeatPlan, run: HeatRun, row: int) -> dict[str, float]:
    peaks = run.peak_w[row] / 1000.0
    return {key: float(peaks[column]) for column, key in enumerate(plan.controls) if peaks[column] > 0.0}


def _needed(file: SiteFile, plan: HeatPlan, kw: FloatArray) -> dict[str, float]:
    """Power of the design night by place, without loops that are held at typed temperatures. [kW]"""
    held = {f"loops.{key}" for key in file.loops if is_held(file, key)}
    return {key: float(kw[n]) for n, key in enumerate(plan.controls) if kw[n] > 0.0 and key not in held}


def _span(plan: HeatPlan, run: HeatRun, loop: str, row: int) -> tuple[float, float, float]:
    nodes = plan.tanks_of(loop)
    mean = float(tank_mean_c(plan, run.mean_c[:, row], loop).mean())
    return float(run.low_c[:, row, nodes].min()), mean, float(run.high_c[:, row, nodes].max())


def month_water(warmth: Warmth) -> list[dict[str, Any]]:
    """Air and water of each month as the file says; keys carry units."""
    rows = []
    plan, run = warmth.plan, warmth.run
    loops = list(dict.fromkeys(plan.loop_of.values()))
    for label, days in days_of_month(warmth.weather.start, len(run.mean_c)):
        row: dict[str, Any] = {"month": label, "outdoor_mean_c": round(float(warmth.weather.mean_c[days].mean()), 2)}
        for room in ("greenhouse", "fish_room"):
            if room in plan.nodes:
                node = plan.nodes.index(room)
                row[f"{room}_mean_c"] = round(float(run.mean_c[days, node].mean()), 2)
                row[f"{room}_low_c"] = round(float(run.low_c[days, node].min()), 2)
        for loop in loops:
            nodes = plan.tanks_of(loop)
            row[f"{loop}_water_mean_c"] = round(float(warmth.loop_mean_c(loop)[days].mean()), 2)
            row[f"{loop}_water_low_c"] = round(float(run.low_c[days][:, nodes].min()), 2)
        row["heat_kwh"] = round(float(run.heat_kwh[days].sum()), 1)
        rows.append(row)
    return rows


def _by_month(weather: SiteWeather, run: HeatRun, row: int) -> dict[str, float]:
    total = run.heat_kwh[:, row].sum(axis=-1)
    return {label: float(total[days].sum()) for label, days in days_of_month(weather.start, len(total))}


def _fuel(
    file: SiteFile, tables: Mapping[str, HeaterTable], plan: HeatPlan, run: HeatRun, weather: SiteWeather, row: int
) -> list[FuelUse]:
    """Fuel of every heater; water warmed without a heater of its own is warmed by an electric one."""
    spare = bought_heater(file)
    months = days_of_month(weather.start, len(run.heat_kwh))
    found = []
    for column, place in enumerate(plan.controls):
        daily = run.heat_kwh[:, row, column]
        heat, by_month = float(daily.sum()), {label: float(daily[days].sum()) for label, days in months}
        heater = tables.get(place)
        if heater is None and place.startswith("loops.") and not is_held(file, place.removeprefix("loops.")):
            heater = spare
        if heater is None:
            if heat > 0.0:
                found.append(FuelUse(place, "unknown", "kWh", heat, heat, None, by_month))
            continue
        unit = sold_by(heater)
        amount = float(fuel_units(heat, heater.fuel, unit, heater.efficiency))
        found.append(
            FuelUse(
                place,
                heater.fuel,
                unit,
                heat,
                amount,
                None if heater.price is None else amount * heater.price,
                by_month,
            )
        )
    return found
