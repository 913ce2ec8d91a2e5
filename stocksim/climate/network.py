"""Hourly heat balance of rooms, floors and water: one implicit step an hour for all scenarios at once.

Nodes are the air and floor of each room and every sump, tank and bed. Heat moves between nodes through conductances, of
which pumped water is one; to outdoors and deep ground; by sun, machines and evaporation. The step is linear, so its
matrix is inverted once for day and once for night, and heaters and vents are found inside the step.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from stocksim.climate.nodes import Evaporation, HeatRun, Network, step_matrix
from stocksim.climate.weather import HOURS, Weather

FloatArray = NDArray[np.float64]
Progress = Callable[[int, int], None]

_ROUNDS = 8
_SETTLED_C = 1e-6  # heaters and vents that move their nodes by less have settled
DAILY = ("mean", "low", "high", "ice")  # tables of a day


def _times(matrix: FloatArray, vector: FloatArray) -> FloatArray:
    """Product along the last axis; where scenarios share a matrix it is one plain product for all of them."""
    if matrix.ndim == 2:
        return np.asarray(vector @ matrix.T, dtype=float)
    if matrix.shape[-3] == 1:  # (option, 1, node, node) and (option, year, node)
        return np.matmul(vector, np.swapaxes(matrix[..., 0, :, :], -1, -2))
    return np.matmul(matrix, vector[..., None])[..., 0]


def run_network(
    network: Network,
    weather: Weather,
    night: NDArray[np.bool_],
    start_c: FloatArray,
    ground_c: float,
    is_hourly: bool = False,
    keep: Sequence[str] = DAILY,
    step_h: int = 1,
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
    step_h : int
        Length of the step: 1, or a divisor of 24 where only the water's course is wanted. [h]
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
    step_s = 3600.0 * step_h
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
        others = among * (1.0 - np.eye(controls))  # what the other heaters of the house do to a node
        own.append((others, diagonal, 1.0 / diagonal))
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
    has_water, is_icy = bool(freezes.any()), False
    vapour = Evaporation(network)
    steady = network.gain_w + (network.ground_w_k * ground_c)[..., None, :]
    uppers = np.where(network.cool_w > 0.0, -np.inf, network.vent_c)
    air, sun = (_by_step(series, step_h) for series in (weather.air_c, weather.sun_w_m2))
    middle = step_h // 2
    for hour in range(0, days * HOURS, step_h):
        is_night = int(night[hour + middle])
        matrix, answer, (others, diagonal, inverse) = matrices[is_night], answers[is_night], own[is_night]
        outdoor = air[..., hour // step_h, None]
        to_outdoor = network.outdoor_night_w_k if is_night else network.outdoor_day_w_k
        evaporation = vapour.heat(state, weather.dew_c[..., hour // HOURS], bool(is_night))
        added = store * state + to_outdoor * outdoor
        added += steady[..., (hour + middle) % HOURS, :]
        added -= evaporation
        if not is_night:
            added += network.sun_m2 * sun[..., hour // step_h, None]
        new = _times(matrix, added)
        if controls:
            wanted = network.set_c[..., (hour + middle) % sets, :]
            carried = network.vent_w_k * np.maximum(network.vent_c - outdoor, 0.0) + network.cool_w
            upper = np.maximum(uppers, wanted)
            free = new[..., control]
            for _ in range(_ROUNDS):
                reached = free + _matvec(heating, others)
                before = heating
                heating = np.minimum(np.maximum((wanted - reached) * inverse, 0.0), network.power_w)
                heating = heating + np.maximum(np.minimum((upper - reached) * inverse, 0.0), -carried)
                if np.maximum.reduce(np.abs(heating - before) * diagonal, axis=None) < _SETTLED_C:
                    break
            new = new + _matvec(heating, answer)
            warm = np.maximum(heating, 0.0)
            np.maximum(peak, warm, out=peak)
            short += step_h * ((new[..., control] < wanted - 0.05) & (wanted > -np.inf))
            heat_kwh[hour // HOURS] += step_h * warm / 1000.0
        if has_water and (is_icy or np.minimum.reduce(new, axis=None) < 0.0):
            new, ice = _freeze(new, ice, network.capacity_j_k, freezes)
            is_icy = bool(ice.any())
        state = new
        day = hour // HOURS
        is_first = hour % HOURS == 0
        if "mean" in keep:
            tables["mean"][day] += state * (step_h / HOURS)
        for key, pick in (("low", np.minimum), ("high", np.maximum)):
            if key in keep:
                tables[key][day] = state if is_first else pick(tables[key][day], state)
        if hour % HOURS == HOURS - step_h:
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


def _by_step(series: FloatArray, step_h: int) -> FloatArray:
    """Means of hourly values (..., hours) over the steps."""
    return series if step_h == 1 else series.reshape(*series.shape[:-1], -1, step_h).mean(axis=-1)


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
