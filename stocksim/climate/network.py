"""Hourly heat balance of rooms, floors and water: one implicit step an hour for all scenarios at once.

Nodes are the air and floor of each room and every sump, tank and bed. Heat moves between nodes through conductances, of
which pumped water is one; to outdoors and deep ground; by sun, machines and evaporation. The step is linear, so its
matrix is inverted once for day and once for night, and heaters and vents are found inside the step.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.climate.tank_heat import _CARRIER_W_M2_KPA, UNDISTURBED_SHARE
from stocksim.climate.weather import HOURS, Weather

FloatArray = NDArray[np.float64]
Progress = Callable[[int, int], None]

OUTDOORS = -1  # in air_of: the air over this node is the outdoor air
_ROUNDS = 8
DAILY = ("mean", "low", "high", "ice")  # tables of a day


class Network(NamedTuple):
    """A site as a network of heat; leading axes are scenarios, the last the node.

    Parameters
    ----------
    capacity_j_k : ndarray, shape (..., node)
        Heat to warm the node by a degree. [J/K]
    between_day_w_k, between_night_w_k : ndarray, shape (..., node, node)
        Conductance between nodes, symmetric, with sun and without. [W/K]
    outdoor_day_w_k, outdoor_night_w_k, ground_w_k : ndarray, shape (..., node)
        Conductance to outdoor air and to deep ground. [W/K]
    sun_m2 : ndarray, shape (..., node)
        Heat of the node over sunlight outdoors. [m2]
    gain_w : ndarray, shape (..., 24, node)
        Pumps and lamps by hour. [W]
    wet_m2, wet_night_m2 : ndarray, shape (..., node)
        Water that evaporates. [m2]
    air_of : ndarray of int, shape (node,)
        Node of the air over the water; -1 outdoors.
    humidity : ndarray, shape (node,)
        Relative humidity of that air, indoors. [-]
    can_freeze : ndarray of bool, shape (node,)
        Whether the node is water.
    control : ndarray of int, shape (control,)
        Nodes with a heater or vents.
    set_c : ndarray, shape (..., 24 or hours, control)
        Temperature that the heater keeps up; -inf without. [degC]
    power_w : ndarray, shape (..., control)
        Greatest heat of the heater. [W]
    vent_c, vent_w_k : ndarray, shape (..., control)
        Temperature from which vents open [degC], and what they carry off per degree above outdoors. [W/K]
    cool_w : ndarray, shape (..., control)
        Further cooling at the same temperature, as of a loop held at typed temperatures. [W]
    """

    capacity_j_k: FloatArray
    between_day_w_k: FloatArray
    between_night_w_k: FloatArray
    outdoor_day_w_k: FloatArray
    outdoor_night_w_k: FloatArray
    ground_w_k: FloatArray
    sun_m2: FloatArray
    gain_w: FloatArray
    wet_m2: FloatArray
    wet_night_m2: FloatArray
    air_of: NDArray[np.int64]
    humidity: FloatArray
    can_freeze: NDArray[np.bool_]
    control: NDArray[np.int64]
    set_c: FloatArray
    power_w: FloatArray
    vent_c: FloatArray
    vent_w_k: FloatArray
    cool_w: FloatArray


class HeatRun(NamedTuple):
    """What happened, time first, then scenarios.

    Parameters
    ----------
    mean_c, low_c, high_c : ndarray, shape (day, ..., node)
        Mean, lowest and highest of the day. [degC]
    heat_kwh : ndarray, shape (day, ..., control)
        Heat of each heater. [kWh]
    peak_w : ndarray, shape (..., control)
        Greatest hour of each heater. [W]
    short_hours : ndarray, shape (..., control)
        Hours in which a heater at full power did not keep its set point. [h]
    ice_kwh : ndarray, shape (day, ..., node)
        Heat that ice still asks for to melt, at the end of the day. [kWh]
    hourly_c, hourly_heat_w, hourly_vent_w, hourly_evaporation_w, hourly_ice_kwh : ndarray or None
        By the hour, (hour, ..., node or control), where asked for. [degC], [W], [kWh]
    """

    mean_c: FloatArray
    low_c: FloatArray
    high_c: FloatArray
    heat_kwh: FloatArray
    peak_w: FloatArray
    short_hours: FloatArray
    ice_kwh: FloatArray
    hourly_c: FloatArray | None
    hourly_heat_w: FloatArray | None
    hourly_vent_w: FloatArray | None
    hourly_evaporation_w: FloatArray | None
    hourly_ice_kwh: FloatArray | None


def step_matrix(network: Network, is_night: bool, step_s: float = 3600.0) -> FloatArray:
    """Inverse of the implicit step: temperatures from stored and added heat.

    Parameters
    ----------
    network : Network
        The site.
    is_night : bool
        Whether curtains are closed and night flows run.
    step_s : float
        Length of the step. [s]

    Returns
    -------
    ndarray, shape (..., node, node)
        Degrees of each node for a watt at each node. [K/W]
    """
    between = network.between_night_w_k if is_night else network.between_day_w_k
    outdoor = network.outdoor_night_w_k if is_night else network.outdoor_day_w_k
    own = network.capacity_j_k / step_s + between.sum(axis=-1) + outdoor + network.ground_w_k
    return np.linalg.inv(own[..., None] * np.eye(own.shape[-1]) - between)


def _times(matrix: FloatArray, vector: FloatArray) -> FloatArray:
    """Product along the last axis; where scenarios share a matrix it is one plain product for all of them."""
    if matrix.ndim == 2:
        return np.asarray(vector @ matrix.T, dtype=float)
    if matrix.shape[-3] == 1:  # (option, 1, node, node) and (option, year, node)
        return np.matmul(vector, np.swapaxes(matrix[..., 0, :, :], -1, -2))
    return np.matmul(matrix, vector[..., None])[..., 0]


def evaporation_of(
    network: Network, state_c: FloatArray, outdoor_c: FloatArray, dew_c: FloatArray, is_night: bool
) -> FloatArray:
    """Heat that evaporation takes from every node.

    Parameters
    ----------
    network : Network
        The site.
    state_c : ndarray, shape (..., node)
        Temperatures. [degC]
    outdoor_c, dew_c : ndarray, shape (...)
        Outdoor air and its dew point. [degC]
    is_night : bool
        Whether night flows run.

    Returns
    -------
    ndarray, shape (..., node)
        Heat. [W] Undisturbed water, 0.74 of Carrier's equation.
    """
    wet_area = network.wet_night_m2 if is_night else network.wet_m2
    wet = np.flatnonzero(network.can_freeze)
    air = network.air_of[wet]
    water = _over_water_kpa(state_c[..., wet])
    rooms, which = np.unique(air, return_inverse=True)
    over = _over_water_kpa(state_c[..., rooms])
    over[..., rooms == OUTDOORS] = _over_water_kpa(dew_c)[..., None]
    vapour = over[..., which] * network.humidity[wet]
    heat = np.zeros(np.broadcast_shapes(state_c.shape, wet_area.shape))
    heat[..., wet] = UNDISTURBED_SHARE * _CARRIER_W_M2_KPA * wet_area[..., wet] * (water - vapour)
    return heat


def _over_water_kpa(temperature_c: FloatArray) -> FloatArray:
    """Saturation pressure over (supercooled) water, as in `saturation_pressure_kpa` from 0 degC up. [kPa]"""
    t = np.maximum(temperature_c, -60.0)
    return 0.6108 * np.exp(17.27 * t / (t + 237.3))


def run_network(
    network: Network,
    weather: Weather,
    night: NDArray[np.bool_],
    start_c: FloatArray,
    ground_c: float,
    is_hourly: bool = False,
    keep: Sequence[str] = DAILY,
    progress: Progress | None = None,
) -> HeatRun:
    r"""Temperatures and heat of a season.

    Parameters
    ----------
    network : Network
        The site, with any leading scenario axes.
    weather : Weather
        Hourly, its leading axes broadcasting with those of the network.
    night : ndarray of bool, shape (hours,)
        Hours with closed curtains and night flows.
    start_c : ndarray, shape (..., node)
        Temperatures at the start. [degC]
    ground_c : float
        Deep ground. [degC]
    is_hourly : bool
        Whether to keep every hour.
    keep : sequence of str
        Daily tables to keep of ``mean``, ``low``, ``high`` and ``ice``; the others come out empty.
    progress : callable, optional
        Called with (days done, days in all).

    Returns
    -------
    HeatRun
        Whole days only.

    Notes
    -----
    Backward Euler over the hour, :math:`C (T - T') / \Delta t = \sum G (T_j - T) + q`, so any step is stable and the
    heat balance closes to rounding. Evaporation is taken at the hour's first temperatures. Each heater and vent is set
    so that its node ends the hour on its set point, or at full power. Water that would fall below 0 degC makes ice
    instead and stays at 0 until it has melted.
    """
    step_s = 3600.0
    store = network.capacity_j_k / step_s
    matrices = [step_matrix(network, is_night, step_s) for is_night in (False, True)]
    control, controls = network.control, len(network.control)
    answers = [np.swapaxes(m[..., :, control], -1, -2) for m in matrices]  # (..., control, node)
    shape = np.broadcast_shapes(network.capacity_j_k.shape, (*weather.air_c.shape[:-1], 1), start_c.shape)
    state = np.broadcast_to(start_c, shape).astype(float)
    own = []
    for answer in answers:
        among = answer[..., :, control]
        diagonal = np.diagonal(among, axis1=-2, axis2=-1)
        own.append((among, diagonal))
    hours = weather.air_c.shape[-1]
    days = hours // HOURS
    lead = shape[:-1]
    heating, ice = np.zeros((*lead, controls)), np.zeros(shape)
    tables = {key: np.zeros((days if key in keep else 0, *shape)) for key in DAILY}
    heat_kwh = np.zeros((days, *lead, controls))
    peak, short = np.zeros((*lead, controls)), np.zeros((*lead, controls))
    kept: dict[str, FloatArray] = {}
    if is_hourly:
        kept = {key: np.zeros((hours, *shape)) for key in ("c", "evaporation", "ice")}
        kept |= {key: np.zeros((hours, *lead, controls)) for key in ("heat", "vent")}
    sets = network.set_c.shape[-2]
    freezes = network.can_freeze
    for hour in range(days * HOURS):
        is_night = int(night[hour])
        matrix, answer, (among, diagonal) = matrices[is_night], answers[is_night], own[is_night]
        outdoor = weather.air_c[..., hour]
        to_outdoor = network.outdoor_night_w_k if is_night else network.outdoor_day_w_k
        evaporation = evaporation_of(network, state, outdoor, weather.dew_c[..., hour // HOURS], bool(is_night))
        added = store * state + to_outdoor * outdoor[..., None] + network.ground_w_k * ground_c - evaporation
        added = added + network.gain_w[..., hour % HOURS, :]
        if not is_night:
            added = added + network.sun_m2 * weather.sun_w_m2[..., hour, None]
        new = _times(matrix, added)
        if controls:
            wanted = network.set_c[..., hour % sets, :]
            carried = network.vent_w_k * np.maximum(network.vent_c - outdoor[..., None], 0.0) + network.cool_w
            free = new[..., control]
            upper = np.where(network.cool_w > 0.0, wanted, network.vent_c)
            for _ in range(_ROUNDS):
                reached = free + _matvec(heating, among) - heating * diagonal
                before = heating
                heating = np.minimum(np.maximum((wanted - reached) / diagonal, 0.0), network.power_w)
                heating = heating + np.maximum(np.minimum((upper - reached) / diagonal, 0.0), -carried)
                if np.max(np.abs(heating - before) * diagonal, initial=0.0) < 1e-6:
                    break
            new = new + _matvec(heating, answer)
            warm = np.maximum(heating, 0.0)
            peak = np.maximum(peak, warm)
            short += (new[..., control] < wanted - 0.05) & np.isfinite(wanted)
            heat_kwh[hour // HOURS] += warm / 1000.0
        if freezes.any() and (new[..., freezes].min() < 0.0 or ice.any()):
            new, ice = _freeze(new, ice, network.capacity_j_k, freezes)
        state = new
        day = hour // HOURS
        is_first = hour % HOURS == 0
        if "mean" in keep:
            tables["mean"][day] += state / HOURS
        for key, pick in (("low", np.minimum), ("high", np.maximum)):
            if key in keep:
                tables[key][day] = state if is_first else pick(tables[key][day], state)
        if hour % HOURS == HOURS - 1:
            if "ice" in keep:
                tables["ice"][day] = ice / 3.6e6
            if progress is not None:
                progress(day + 1, days)
        if is_hourly:
            kept["c"][hour], kept["evaporation"][hour] = state, evaporation
            kept["ice"][hour] = ice / 3.6e6
            kept["heat"][hour] = np.maximum(heating, 0.0)
            kept["vent"][hour] = np.maximum(-heating, 0.0)
    return HeatRun(
        tables["mean"], tables["low"], tables["high"], heat_kwh, peak, short, tables["ice"],
        kept.get("c"), kept.get("heat"), kept.get("vent"), kept.get("evaporation"), kept.get("ice"),
    )  # fmt: skip


def _matvec(power: FloatArray, answer: FloatArray) -> FloatArray:
    """Degrees that powers (..., control) give through an answer (..., control, n)."""
    return _times(np.swapaxes(answer, -1, -2), power)


def _freeze(
    state_c: FloatArray, ice_j: FloatArray, capacity_j_k: FloatArray, freezes: NDArray[np.bool_]
) -> tuple[FloatArray, FloatArray]:
    """Water below 0 degC turns its shortfall of heat to ice; ice melts before the water warms."""
    made = np.where(freezes, capacity_j_k * np.maximum(-state_c, 0.0), 0.0)
    melted = np.where(freezes, np.minimum(ice_j, capacity_j_k * np.maximum(state_c, 0.0)), 0.0)
    left = ice_j + made - melted
    return np.where(freezes & (left > 0.0), 0.0, state_c - melted / capacity_j_k), left


def steady_state(
    network: Network, outdoor_c: float, sun_w_m2: float, power_w: FloatArray, ground_c: float
) -> FloatArray:
    """Temperatures that never change under constant weather and powers, evaporation left out.

    Parameters
    ----------
    network : Network
        The site; its day conductances and its gains of hour 0 are taken.
    outdoor_c, sun_w_m2, ground_c : float
        Weather and deep ground. [degC], [W/m2], [degC]
    power_w : ndarray, shape (..., control)
        Heat of each heater. [W]

    Returns
    -------
    ndarray, shape (..., node)
        Temperatures. [degC]
    """
    own = network.between_day_w_k.sum(axis=-1) + network.outdoor_day_w_k + network.ground_w_k
    matrix = own[..., None] * np.eye(own.shape[-1]) - network.between_day_w_k
    heat = network.outdoor_day_w_k * outdoor_c + network.ground_w_k * ground_c + network.sun_m2 * sun_w_m2
    heat = heat + network.gain_w[..., 0, :]
    heat[..., network.control] += power_w
    return np.linalg.solve(matrix, heat[..., None])[..., 0]
