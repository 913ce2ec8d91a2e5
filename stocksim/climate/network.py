"""Hourly heat balance of rooms, floors and water: one implicit step an hour.

Nodes are the air and floor of each room and every sump, tank and bed. Heat moves between nodes through conductances, of
which pumped water is one; to outdoors and deep ground; by sun, machines and evaporation. The step is linear, so its
matrix is inverted once for day and once for night, and heaters and vents are found inside the step.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stocksim.climate.nodes import INNER_AXES, OUTDOORS, SHARED, HeatRun, Network, evaporated_w, step_matrix, wet_w_kpa
from stocksim.climate.weather import HOURS, Weather
from stocksim.compiled import compiled, jitable

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_ROUNDS = 8
_SETTLED_C = 1e-6  # heaters and vents that move their nodes by less have settled
_MISSED_C = 0.05  # a heater that ends an hour by more below its set point is short
_J_KWH = 3.6e6
DAILY = ("mean", "low", "high", "ice")  # tables of a day


class _Nets(NamedTuple):
    """What steps need of networks with the same nodes: first axis the network, second, where 2 wide, day and night.

    Fields as in `Network`; ``matrix_k_w`` (network, 2, node, node) gives degrees for a watt at each node, ``store_w_k``
    what a degree stored at the step's begin counts, ``steady_w`` (network, 24, node) gains and ground by the hour.
    """

    matrix_k_w: FloatArray
    store_w_k: FloatArray
    capacity_j_k: FloatArray
    outdoor_w_k: FloatArray
    sun_m2: FloatArray
    steady_w: FloatArray
    wet_w_kpa: FloatArray
    humidity: FloatArray
    set_c: FloatArray
    power_w: FloatArray
    vent_c: FloatArray
    vent_w_k: FloatArray
    cool_w: FloatArray
    air_of: IntArray
    can_freeze: NDArray[np.bool_]
    control: IntArray


class _Outdoors(NamedTuple):
    """Weather by the step, (year, step) and for the dew point (year, day); ``night`` (step,) is 1 without sun."""

    air_c: FloatArray
    sun_w_m2: FloatArray
    dew_c: FloatArray
    night: IntArray
    step_h: int


class _Tables(NamedTuple):
    """What is kept, first axis the scenario, fields as in `HeatRun`; a table not asked for has no days or hours."""

    mean_c: FloatArray
    low_c: FloatArray
    high_c: FloatArray
    heat_kwh: FloatArray
    peak_w: FloatArray
    short_hours: FloatArray
    ice_kwh: FloatArray
    hourly_c: FloatArray
    hourly_heat_w: FloatArray
    hourly_vent_w: FloatArray
    hourly_evaporation_w: FloatArray
    hourly_ice_kwh: FloatArray


class _State(NamedTuple):
    """One scenario at one hour: temperatures at its begin and end, ice, heat to each node, heaters (vents below 0)."""

    c: FloatArray
    new_c: FloatArray
    ice_j: FloatArray
    evaporation_w: FloatArray
    added_w: FloatArray
    heating_w: FloatArray
    before_w: FloatArray


@jitable
def _step_without_heaters(
    nets: _Nets, net: int, is_night: int, clock: int, air_c: float, sun_w_m2: float, dew_c: float, state: _State
) -> None:
    """Temperatures at the end of the step if no heater ran and no vent opened."""
    nodes = len(state.c)
    for node in range(nodes):
        evaporated_now_w = 0.0
        if nets.can_freeze[node]:
            above = nets.air_of[node]
            over_c = dew_c if above == OUTDOORS else state.c[above]
            per_kpa = nets.wet_w_kpa[net, is_night, node]
            evaporated_now_w = evaporated_w(per_kpa, state.c[node], over_c, nets.humidity[node])
        state.evaporation_w[node] = evaporated_now_w
        added_w = nets.store_w_k[net, node] * state.c[node] + nets.outdoor_w_k[net, is_night, node] * air_c
        added_w += nets.steady_w[net, clock, node] - evaporated_now_w
        if is_night == 0:
            added_w += nets.sun_m2[net, node] * sun_w_m2
        state.added_w[node] = added_w
    for node in range(nodes):
        reached_c = 0.0
        for other in range(nodes):
            reached_c += nets.matrix_k_w[net, is_night, node, other] * state.added_w[other]
        state.new_c[node] = reached_c


@jitable
def _settle_heaters(nets: _Nets, net: int, is_night: int, setting: int, air_c: float, state: _State) -> None:
    """Heat of heaters and vents that brings each one's node to its set point, or full power; all nodes warmed by it."""
    controls = len(nets.control)
    for _ in range(_ROUNDS):
        moved_c = 0.0
        for one in range(controls):
            state.before_w[one] = state.heating_w[one]
        for one in range(controls):
            node = nets.control[one]
            reached_c = state.new_c[node]
            for other in range(controls):
                if other != one:
                    reached_c += state.before_w[other] * nets.matrix_k_w[net, is_night, node, nets.control[other]]
            own_k_w = nets.matrix_k_w[net, is_night, node, node]
            wanted_c = nets.set_c[net, setting, one]
            heat_w = min(max((wanted_c - reached_c) / own_k_w, 0.0), nets.power_w[net, one])
            cool_w = nets.cool_w[net, one]
            # wide open they carry what the node is warmer than outdoors, also where it stays above their set point
            vent_w_k = nets.vent_w_k[net, one]
            carried_w = vent_w_k * max(reached_c - air_c, 0.0) / (1.0 + own_k_w * vent_w_k) + cool_w
            upper_c = wanted_c if cool_w > 0.0 else max(nets.vent_c[net, one], wanted_c)
            heat_w += max(min((upper_c - reached_c) / own_k_w, 0.0), -carried_w)
            moved_c = max(moved_c, abs(heat_w - state.before_w[one]) * own_k_w)
            state.heating_w[one] = heat_w
        if moved_c < _SETTLED_C:
            break
    for node in range(len(state.new_c)):
        warmed_c = 0.0
        for one in range(controls):
            warmed_c += state.heating_w[one] * nets.matrix_k_w[net, is_night, node, nets.control[one]]
        state.new_c[node] += warmed_c


@jitable
def _freeze(nets: _Nets, net: int, state: _State) -> None:
    """Water below 0 degC turns its shortfall of heat to ice; ice melts before the water warms."""
    for node in range(len(state.new_c)):
        reached_c, ice_j = state.new_c[node], state.ice_j[node]
        if nets.can_freeze[node] and (ice_j > 0.0 or reached_c < 0.0):
            capacity_j_k = nets.capacity_j_k[net, node]
            melted_j = min(ice_j, capacity_j_k * max(reached_c, 0.0))
            left_j = ice_j + capacity_j_k * max(-reached_c, 0.0) - melted_j
            state.ice_j[node] = left_j
            state.new_c[node] = 0.0 if left_j > 0.0 else reached_c - melted_j / capacity_j_k


@jitable
def _keep(tables: _Tables, at: int, hour: int, step_h: int, state: _State) -> None:
    """Write the temperatures of a step's end into the tables of a scenario."""
    day, is_first, is_last = hour // HOURS, hour % HOURS == 0, hour % HOURS == HOURS - step_h
    for node in range(len(state.c)):
        now_c = state.new_c[node]
        if tables.mean_c.shape[1] > 0:
            tables.mean_c[at, day, node] += now_c * (step_h / HOURS)
        if tables.low_c.shape[1] > 0:
            tables.low_c[at, day, node] = now_c if is_first else min(tables.low_c[at, day, node], now_c)
        if tables.high_c.shape[1] > 0:
            tables.high_c[at, day, node] = now_c if is_first else max(tables.high_c[at, day, node], now_c)
        if tables.ice_kwh.shape[1] > 0 and is_last:
            tables.ice_kwh[at, day, node] = state.ice_j[node] / _J_KWH
        if tables.hourly_c.shape[1] > 0:
            tables.hourly_c[at, hour, node] = now_c
            tables.hourly_evaporation_w[at, hour, node] = state.evaporation_w[node]
            tables.hourly_ice_kwh[at, hour, node] = state.ice_j[node] / _J_KWH


@jitable
def _keep_heat(
    tables: _Tables, at: int, hour: int, step_h: int, nets: _Nets, net: int, setting: int, state: _State
) -> None:
    """Write the heat of a step, before its water freezes, into the tables of a scenario."""
    for one in range(len(nets.control)):
        heat_w = max(state.heating_w[one], 0.0)
        tables.heat_kwh[at, hour // HOURS, one] += step_h * heat_w / 1000.0
        tables.peak_w[at, one] = max(tables.peak_w[at, one], heat_w)
        if state.new_c[nets.control[one]] < nets.set_c[net, setting, one] - _MISSED_C:
            tables.short_hours[at, one] += step_h
        if tables.hourly_heat_w.shape[1] > 0:
            tables.hourly_heat_w[at, hour, one] = heat_w
            tables.hourly_vent_w[at, hour, one] = max(-state.heating_w[one], 0.0)


@compiled
def _seasons(
    nets: _Nets,
    net_of: IntArray,
    outdoors: _Outdoors,
    year_of: IntArray,
    start_c: FloatArray,
    state: _State,
    tables: _Tables,
) -> None:
    """Season of every scenario: which network, which year's weather, (scenario, node) temperatures at the start.

    ``state`` is room to work in.
    """
    scenarios, nodes = start_c.shape
    sets, step_h = nets.set_c.shape[1], outdoors.step_h
    for at in range(scenarios):
        net, year = net_of[at], year_of[at]
        for node in range(nodes):  # numba takes seconds longer to compile a slice that is assigned to
            state.c[node] = start_c[at, node]
            state.ice_j[node] = 0.0
        for one in range(len(nets.control)):
            state.heating_w[one] = 0.0
        for step in range(len(outdoors.night)):
            hour, middle = step * step_h, step * step_h + step_h // 2
            is_night, air_c = outdoors.night[step], outdoors.air_c[year, step]
            sun_w_m2, dew_c = outdoors.sun_w_m2[year, step], outdoors.dew_c[year, hour // HOURS]
            _step_without_heaters(nets, net, is_night, middle % HOURS, air_c, sun_w_m2, dew_c, state)
            _settle_heaters(nets, net, is_night, middle % sets, air_c, state)
            _keep_heat(tables, at, hour, step_h, nets, net, middle % sets, state)
            _freeze(nets, net, state)
            _keep(tables, at, hour, step_h, state)
            for node in range(nodes):
                state.c[node] = state.new_c[node]


def run_network(
    network: Network,
    weather: Weather,
    night: NDArray[np.bool_],
    start_c: FloatArray,
    ground_c: float,
    is_hourly: bool = False,
    keep: Sequence[str] = DAILY,
    step_h: int = 1,
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
    network, net_lead = _of_one_shape(network)
    years = np.broadcast_shapes(*(series.shape[:-1] for series in weather))
    lead = np.broadcast_shapes(net_lead, years, start_c.shape[:-1])
    nodes, controls = network.capacity_j_k.shape[-1], len(network.control)
    days = weather.air_c.shape[-1] // HOURS
    scenarios = int(np.prod(lead))
    hours = days * HOURS if is_hourly else 0
    kept = {key: days if key in keep else 0 for key in DAILY}
    wide = {"mean_c": kept["mean"], "low_c": kept["low"], "high_c": kept["high"], "ice_kwh": kept["ice"]}
    tables = _Tables(
        **{key: np.zeros((scenarios, rows, nodes)) for key, rows in wide.items()},
        **{key: np.zeros((scenarios, hours, nodes)) for key in ("hourly_c", "hourly_evaporation_w", "hourly_ice_kwh")},
        **{key: np.zeros((scenarios, hours, controls)) for key in ("hourly_heat_w", "hourly_vent_w")},
        heat_kwh=np.zeros((scenarios, days, controls)),
        peak_w=np.zeros((scenarios, controls)),
        short_hours=np.zeros((scenarios, controls)),
    )
    outdoors = _outdoors(weather, night, years, days * HOURS, step_h)
    start = _own(np.broadcast_to(start_c, (*lead, nodes))).reshape(scenarios, nodes)
    nets, room = _nets(network, ground_c, step_h), _State(*np.zeros((5, nodes)), *np.zeros((2, controls)))
    _seasons(nets, _which(net_lead, lead), outdoors, _which(years, lead), start, room, tables)

    def shaped(name: str, table: FloatArray) -> FloatArray:  # scenarios as asked for, after the time
        table = table.reshape(*lead, *table.shape[1:])
        return table if name in ("peak_w", "short_hours") else np.moveaxis(table, len(lead), 0)

    found: dict[str, Any] = {name: shaped(name, table) for name, table in tables._asdict().items()}
    if not is_hourly:
        found |= {name: None for name in found if name.startswith("hourly")}
    return HeatRun(**found)


def _of_one_shape(network: Network) -> tuple[Network, tuple[int, ...]]:
    """The network with the scenario axes of any array as one axis of every array, and those axes."""
    inner = {name: INNER_AXES.get(name, 1) for name in Network._fields if name not in SHARED}
    lead = np.broadcast_shapes(*(getattr(network, name).shape[:-size] for name, size in inner.items()))
    count = int(np.prod(lead))
    arrays = {}
    for name, size in inner.items():
        array = getattr(network, name)
        own = array.shape[-size:]
        arrays[name] = np.broadcast_to(array, (*lead, *own)).reshape(count, *own)
    return network._replace(**arrays), lead


def _nets(network: Network, ground_c: float, step_h: int) -> _Nets:
    """What steps need of networks on one axis. Plain copies: another layout would be another type to compile for."""
    step_s = 3600.0 * step_h
    steady = network.gain_w + (network.ground_w_k * ground_c)[..., None, :]
    matrix = np.stack([step_matrix(network, is_night, step_s) for is_night in (False, True)], axis=1)
    outdoor = np.stack([network.outdoor_day_w_k, network.outdoor_night_w_k], axis=1)
    return _Nets(
        _own(matrix), _own(network.capacity_j_k / step_s), _own(network.capacity_j_k), _own(outdoor),
        _own(network.sun_m2), _own(steady), _own(wet_w_kpa(network)), _own(network.humidity), _own(network.set_c),
        _own(network.power_w), _own(network.vent_c), _own(network.vent_w_k), _own(network.cool_w),
        np.array(network.air_of, np.int64), np.array(network.can_freeze, bool), np.array(network.control, np.int64),
    )  # fmt: skip


def _outdoors(weather: Weather, night: NDArray[np.bool_], years: tuple[int, ...], hours: int, step_h: int) -> _Outdoors:
    """Weather and darkness by the step, all years on one axis: means over the step, darkness at its middle."""
    count = int(np.prod(years))

    def flat(series: ArrayLike, width: int) -> FloatArray:
        series = np.asarray(series, float)[..., :width]
        return _own(np.broadcast_to(series, (*years, width))).reshape(count, width)

    air, sun = (
        flat(series, hours).reshape(count, -1, step_h).mean(axis=-1) for series in (weather.air_c, weather.sun_w_m2)
    )
    dark = np.array(night[:hours][step_h // 2 :: step_h], np.int64)
    return _Outdoors(air, sun, flat(weather.dew_c, hours // HOURS), dark, step_h)


def _own(array: FloatArray) -> FloatArray:
    """A plain copy."""
    return np.array(array, dtype=np.float64, order="C")


def _which(own: tuple[int, ...], lead: tuple[int, ...]) -> IntArray:
    """Row of an array with axes ``own`` that each scenario of axes ``lead`` takes, shape (scenario,)."""
    rows = np.arange(int(np.prod(own)), dtype=np.int64).reshape(own)
    return np.array(np.broadcast_to(rows, lead), dtype=np.int64, order="C").reshape(-1)
