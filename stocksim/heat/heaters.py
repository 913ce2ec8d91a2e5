"""What the design night asks of each heater, and whether the heater is large enough: all that judge one ask here."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from stocksim.climate.network import run_network
from stocksim.climate.nodes import Network
from stocksim.climate.weather import HOURS, Weather, weather_of_days
from stocksim.heat.plan import UNBOUNDED_W, HeatPlan, build_heat_plan
from stocksim.memo import Memo, content_key
from stocksim.site.climate_faults import has_climate, heaters
from stocksim.site.climate_tables import ComputedTemperature
from stocksim.site.model import LoggedTemperature, SiteFile
from stocksim.site.reading import Site
from stocksim.site.rooms import set_points
from stocksim.site.weather import SiteWeather, site_weather

FloatArray = NDArray[np.float64]

# Heat is known to a quarter until it is fitted to a log (docs/heat.md), and hardly better on a design night that no
# log has seen: a heater is sized by that much more than the balance asks.
HEATER_MARGIN = 0.25
COLD_BEFORE_DAYS, NORMAL_BEFORE_DAYS = 2, 14
_PICK_UP_H = 3  # a thermostat that steps up may take so long to warm its room (our choice)


class HeaterSize(StrEnum):
    """How a heater compares with what the design night asks of it."""

    ENOUGH = "enough"  # gives that and the margin
    UNSURE = "unsure"  # gives that, but not the margin
    TOO_SMALL = "too_small"


SIZE_WORDS = {
    HeaterSize.ENOUGH: "large enough",
    HeaterSize.UNSURE: "too small to be sure of",
    HeaterSize.TOO_SMALL: "too small",
}


@dataclass(frozen=True)
class JudgedHeater:
    """A heater beside what the design night asks of it.

    Parameters
    ----------
    place : str
        As ``greenhouse`` or ``loops.main``.
    power_kw, needed_kw : float
        What it gives, and what keeps its set point through the design night. [kW]
    set_point_c, design_cold_c : float
        Its greatest set point, and the air outdoors of that night. [degC]
    """

    place: str
    power_kw: float
    needed_kw: float
    set_point_c: float
    design_cold_c: float

    @property
    def size(self) -> HeaterSize:
        """Whether it is large enough."""
        return heater_size(self.needed_kw, self.power_kw)


def heater_size(needed_kw: float, power_kw: float) -> HeaterSize:
    """Whether a heater is large enough for the design night.

    Parameters
    ----------
    needed_kw, power_kw : float
        What the balance asks, and what the heater gives. [kW]

    Returns
    -------
    HeaterSize
        Enough only with the margin of a quarter, for the balance is known no better.

    Examples
    --------
    >>> [heater_size(26.9, power).value for power in (25.0, 30.0, 34.0)]
    ['too_small', 'unsure', 'enough']
    """
    if power_kw < needed_kw:
        return HeaterSize.TOO_SMALL
    return HeaterSize.UNSURE if power_kw < size_to_have(needed_kw) else HeaterSize.ENOUGH


def size_to_have(needed_kw: float) -> float:
    """Power to have for what the design night asks, with the margin. [kW]"""
    return (1.0 + HEATER_MARGIN) * needed_kw


def judged_heaters(site: Site) -> tuple[JudgedHeater, ...]:
    """Every heater of a site beside what the design night asks of it.

    Parameters
    ----------
    site : Site
        A checked site.

    Returns
    -------
    tuple of JudgedHeater
        Rooms first; none where the site has no weather, room or latitude. Loops are computed as `loops_set_aside` says.

    Raises
    ------
    InputError
        If the weather cannot be read.
    """
    tables = dict(heaters(site.file))
    if not tables or not has_climate(site.file):
        return ()
    weather = site_weather(site.file, site.folder)
    apart = loops_set_aside(site.file)
    held = {
        key: site.held_c[key]
        for key, loop in site.file.loops.items()
        if key not in apart and not isinstance(loop.water_temperature, ComputedTemperature)
    }
    plan = build_heat_plan(_with_computed(site.file, apart), held, weather.wind_m_s)
    watts = _kept.of(content_key(plan, weather), lambda: design_power_w(plan, weather))
    needed = dict(zip(plan.controls, (watts / 1000.0).tolist(), strict=True))
    return tuple(
        JudgedHeater(
            place,
            table.power / 1000.0,
            needed[place],
            float(set_points(table).max()),
            weather.design_cold_c,
        )
        for place, table in tables.items()
        if place.removeprefix("loops.") not in held
    )


_kept: Memo[FloatArray] = Memo(256)


def loops_set_aside(file: SiteFile) -> list[str]:
    """Loops whose typed temperatures are set aside for water that weather and heaters make.

    Parameters
    ----------
    file : SiteFile
        The tables.

    Returns
    -------
    list of str
        All that are typed, but those that are typed constant and have no heater; none that is logged.
    """
    apart = []
    for key, loop in file.loops.items():
        water = loop.water_temperature
        has_heater = loop.heat is not None and loop.heat.heater is not None
        is_held = isinstance(water, LoggedTemperature) or (water.kind == "constant" and not has_heater)
        if not is_held and not isinstance(water, ComputedTemperature):
            apart.append(key)
    return apart


def _with_computed(file: SiteFile, apart: list[str]) -> SiteFile:
    """The tables with the water of some loops computed."""
    if not apart:
        return file
    computed = {"water_temperature": ComputedTemperature(kind="computed")}
    loops: Mapping[str, object] = {
        key: loop.model_copy(update=computed) if key in apart else loop for key, loop in file.loops.items()
    }
    return file.model_copy(update={"loops": loops})


# --- the design night


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
        Its network may have a leading axis of choices.
    weather : SiteWeather
        Its season.

    Returns
    -------
    ndarray, shape (..., control)
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
