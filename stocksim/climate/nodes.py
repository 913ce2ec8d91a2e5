"""The nodes of a site's heat: what they hold, how they are linked, what evaporates from them."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stocksim.climate.psychrometrics import over_water_kpa
from stocksim.climate.tank_heat import CARRIER_W_M2_KPA, UNDISTURBED_SHARE
from stocksim.compiled import jitable

FloatArray = NDArray[np.float64]

OUTDOORS = -1  # in air_of: the air over this node is the outdoor air
# arrays of a network without scenario axes, and how many axes the others have behind them, where not one
SHARED = ("air_of", "humidity", "can_freeze", "control")
INNER_AXES = {"between_day_w_k": 2, "between_night_w_k": 2, "gain_w": 2, "set_c": 2}


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


@jitable
def evaporated_w(wet_w_kpa: Any, water_c: Any, over_c: Any, humidity: Any) -> Any:
    """Heat that evaporation takes from one node or many.

    Parameters
    ----------
    wet_w_kpa : float or ndarray, shape (...)
        Heat for each kilopascal between water and air. [W/kPa]
    water_c, over_c : float or ndarray, shape (...)
        Water, and the air over it or, outdoors, its dew point. [degC]
    humidity : float or ndarray, shape (...)
        Relative humidity of that air, 1 at its dew point. [-]

    Returns
    -------
    float or ndarray, shape (...)
        Heat, below 0 where vapour condenses on the water. [W]
    """
    return wet_w_kpa * (over_water_kpa(water_c) - over_water_kpa(over_c) * humidity)


def wet_w_kpa(network: Network) -> FloatArray:
    """What every node evaporates, by day and by night.

    Parameters
    ----------
    network : Network
        The site.

    Returns
    -------
    ndarray, shape (..., 2, node)
        Heat for each kilopascal between water and air: undisturbed water, 0.74 of Carrier's equation. [W/kPa]
    """
    areas = np.stack([network.wet_m2, network.wet_night_m2], axis=-2)
    return UNDISTURBED_SHARE * CARRIER_W_M2_KPA * np.where(network.can_freeze, areas, 0.0)


def evaporation_of(network: Network, state_c: FloatArray, dew_c: ArrayLike, is_night: bool) -> FloatArray:
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
        Heat. [W]
    """
    over = np.where(network.air_of == OUTDOORS, np.asarray(dew_c, float)[..., None], state_c[..., network.air_of])
    return np.asarray(evaporated_w(wet_w_kpa(network)[..., int(is_night), :], state_c, over, network.humidity))
