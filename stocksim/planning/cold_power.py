"""Heat that each heater must give on the design night."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from stocksim.climate.network import run_network
from stocksim.climate.nodes import SHARED, Network
from stocksim.climate.weather import HOURS, Weather, weather_of_days
from stocksim.site.warm_plan import UNBOUNDED_W, HeatPlan
from stocksim.site.warmth import SiteWeather

FloatArray = NDArray[np.float64]

COLD_BEFORE_DAYS, NORMAL_BEFORE_DAYS = 2, 14
_PICK_UP_H = 3  # a thermostat that steps up may take so long to warm its room (our choice)


def design_days(weather: SiteWeather, cold_days: int) -> tuple[int, Weather, NDArray[np.bool_]]:
    """Two weeks of the coldest normal day, then days of the design cold without sun.

    Returns
    -------
    tuple of int, Weather, ndarray of bool
        That day of the season; the hours; which of them are dark.
    """
    day = int(np.argmin(weather.normal_low_c))
    span = float(weather.normal_high_c[day] - weather.normal_low_c[day])
    days = NORMAL_BEFORE_DAYS + cold_days
    low = np.full(days, weather.design_cold_c)
    low[:NORMAL_BEFORE_DAYS] = weather.normal_low_c[day]
    share = np.zeros(days)
    share[:NORMAL_BEFORE_DAYS] = weather.normal_sun_share[day]
    clear = np.repeat(weather.clear_w_m2[day : day + 1], days, axis=0)
    return day, weather_of_days(low, low + span, share, clear), clear.reshape(-1) <= 0.0


def of_one_day(network: Network, day: int) -> Network:
    """The network with the set points of one day of the season, which are typed by the hour for held loops."""
    sets = network.set_c
    return network if sets.shape[-2] == HOURS else network._replace(
        set_c=sets[..., day * HOURS : (day + 1) * HOURS, :]
    )  # fmt: skip


def warm_start(network: Network) -> FloatArray:
    """Every node at the greatest set point of midnight, 5 degC at least, shape (..., node). [degC]"""
    sets = network.set_c[..., 0, :]
    warmest = np.where(np.isfinite(sets), sets, 5.0).max(axis=-1, initial=5.0)
    return np.repeat(warmest[..., None], network.capacity_j_k.shape[-1], axis=-1)


def design_power_w(plan: HeatPlan, weather: SiteWeather) -> FloatArray:
    """Heat that every heater must give to keep its set point through the design night.

    Parameters
    ----------
    plan : HeatPlan
        With a leading axis of choices.
    weather : SiteWeather
        Its season.

    Returns
    -------
    ndarray, shape (choice, control)
        Greatest hour of the third day of the design cold, without sun, heaters unbounded; where the set point changes
        within the day the greatest mean of three hours. [W]
    """
    day, hours, night = design_days(weather, COLD_BEFORE_DAYS + 1)
    net = of_one_day(plan.network, day)
    net = net._replace(power_w=np.where(np.isfinite(net.set_c).any(axis=-2), UNBOUNDED_W, 0.0))
    run = run_network(net, hours, night, warm_start(net), weather.ground_c, is_hourly=True)
    assert run.hourly_heat_w is not None
    last = run.hourly_heat_w[-HOURS - _PICK_UP_H + 1 :]
    means = np.stack([last[n : n + HOURS] for n in range(_PICK_UP_H)]).mean(axis=0)
    is_steady = (net.set_c == net.set_c[..., :1, :]).all(axis=-2)
    return np.where(is_steady, last[-HOURS:].max(axis=0), means.max(axis=0))


def one_of(plan: HeatPlan, row: int) -> HeatPlan:
    """One choice of a plan with a leading axis of choices."""
    arrays = {
        name: getattr(plan.network, name) if name in SHARED else getattr(plan.network, name)[row]
        for name in Network._fields
    }
    return replace(plan, network=Network(**arrays))
