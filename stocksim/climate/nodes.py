"""The nodes of a site's heat: what they hold, how they are linked, what evaporates from them."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.climate.tank_heat import CARRIER_W_M2_KPA, UNDISTURBED_SHARE

FloatArray = NDArray[np.float64]

OUTDOORS = -1  # in air_of: the air over this node is the outdoor air


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


def evaporation_of(network: Network, state_c: FloatArray, dew_c: FloatArray, is_night: bool) -> FloatArray:
    """Heat that evaporation takes from every node.

    Parameters
    ----------
    network : Network
        The site.
    state_c : ndarray, shape (..., node)
        Temperatures. [degC]
    dew_c : ndarray, shape (...)
        Dew point of the outdoor air. [degC]
    is_night : bool
        Whether night flows run.

    Returns
    -------
    ndarray, shape (..., node)
        Heat. [W] Undisturbed water, 0.74 of Carrier's equation.
    """
    return Evaporation(network).heat(state_c, dew_c, is_night)


class Evaporation:
    """What evaporation needs of a network, gathered once."""

    def __init__(self, network: Network):
        self.wet = np.flatnonzero(network.can_freeze)
        self.rooms, self.which = np.unique(network.air_of[self.wet], return_inverse=True)
        self.is_outdoors = self.rooms == OUTDOORS
        self.humidity = network.humidity[self.wet]
        per_kpa = UNDISTURBED_SHARE * CARRIER_W_M2_KPA
        self.per_kpa = [per_kpa * area[..., self.wet] for area in (network.wet_m2, network.wet_night_m2)]

    def heat(self, state_c: FloatArray, dew_c: FloatArray, is_night: bool) -> FloatArray:
        """Heat of every node; see `evaporation_of`. [W]"""
        over = _over_water_kpa(state_c[..., self.rooms])
        if self.is_outdoors.any():
            over[..., self.is_outdoors] = _over_water_kpa(dew_c)[..., None]
        gap = _over_water_kpa(state_c[..., self.wet]) - over[..., self.which] * self.humidity
        lost = self.per_kpa[is_night] * gap
        heat = np.zeros((*lost.shape[:-1], state_c.shape[-1]))
        heat[..., self.wet] = lost
        return heat


def _over_water_kpa(temperature_c: FloatArray) -> FloatArray:
    """Saturation pressure over (supercooled) water, as in `saturation_pressure_kpa` from 0 degC up. [kPa]"""
    t = np.maximum(temperature_c, -60.0)
    return 0.6108 * np.exp(17.27 * t / (t + 237.3))


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
