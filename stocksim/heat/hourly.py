"""Hourly temperatures of rooms and water of a site: its heat plan run through its weather."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from stocksim.climate.network import DAILY, run_network
from stocksim.climate.nodes import HeatRun
from stocksim.climate.weather import HOURS, Weather
from stocksim.errors import Fault, InputError
from stocksim.heat.plan import HeatPlan, build_heat_plan
from stocksim.memo import Memo, content_key
from stocksim.site.climate_tables import ComputedTemperature
from stocksim.site.model import SiteFile
from stocksim.site.plausible import COLDEST_WATER_C, HOTTEST_WATER_C
from stocksim.site.rooms import ROOMS
from stocksim.site.weather import SiteWeather, site_weather
from stocksim.units import format_quantity

FloatArray = NDArray[np.float64]

# What the balance may give for the air of a room, as a day's mean [degC]: outdoor air lies between -70 and 55, and a
# closed house in the sun stays below 80 (our choice).
ROOM_C = (-80.0, 80.0)
SPIN_UP_DAYS = 30  # the first days' weather before the season, so that water and floor start where it leaves them


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
        """Heat of a heater day by day, of years (day, year); zeros where there is none. [kWh]"""
        if control not in self.plan.controls:
            return np.zeros(self.run.mean_c.shape[:-1])
        return self.run.heat_kwh[..., self.plan.controls.index(control)]


def tank_mean_c(plan: HeatPlan, daily_c: FloatArray, loop: str) -> FloatArray:
    """Mean over a loop's tanks by volume of temperatures (..., node)."""
    nodes = plan.tanks_of(loop)
    weight = plan.volume_m3[nodes]
    return daily_c[..., nodes] @ (weight / weight.sum())


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
    return run_kept(file, *plan_and_weather(file, folder, held_c))


def plan_and_weather(file: SiteFile, folder: Path, held_c: Mapping[str, FloatArray]) -> tuple[HeatPlan, SiteWeather]:
    """All that the heat of a site's season follows from; arguments and errors as in `site_warmth`."""
    weather = site_weather(file, folder)
    return build_heat_plan(file, held_c, weather.wind_m_s), weather


def run_kept(file: SiteFile, plan: HeatPlan, weather: SiteWeather) -> Warmth:
    """Heat of a plan in its weather, from memory where it was run before; ``file`` tells a fault in its own words."""
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
