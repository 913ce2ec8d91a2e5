"""Growth of a crop's stand by light and temperature, exactly integrated.

Apart from the engine, for it is science: pure functions of numbers with their sources.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

# Weight of the root zone in the temperature that growth answers to; the rest is the air's. Assumed: in air of
# 13.7 degC, warming the solution from 13.2 to 18.8 degC raised lettuce dry weight (excerpt read, no slope).
ROOT_ZONE_WEIGHT = 0.5


def temperature_response(
    temperature_c: ArrayLike, base_c: ArrayLike, optimum_c: ArrayLike, max_c: ArrayLike
) -> FloatArray:
    """Share of the growth at the optimum that a temperature leaves.

    Parameters
    ----------
    temperature_c : array_like, shape (...)
        Daily mean that growth answers to. [degC]
    base_c, optimum_c, max_c : array_like, shape (...)
        No growth below, fastest, no growth above. [degC]

    Returns
    -------
    ndarray, shape (...)
        Share. [-] 0 to 1.

    References
    ----------
    .. [1] W. Yan and L. A. Hunt, 1999. An equation for modelling the temperature response of plants using only the
       cardinal temperatures. Annals of Botany 84, 607-614 (from memory), with a base temperature.

    Examples
    --------
    >>> temperature_response([4.0, 13.0, 22.0, 32.0], 4.0, 22.0, 32.0).round(2)
    array([0.  , 0.55, 1.  , 0.  ])
    """
    t, low, best, high = np.broadcast_arrays(
        *(np.asarray(part, float) for part in (temperature_c, base_c, optimum_c, max_c))
    )
    inside = np.clip(t, low, high)
    power = (best - low) / (high - best)
    return (high - inside) / (high - best) * ((inside - low) / (best - low)) ** power


def closed_cover_growth(
    light_mol_m2_day: ArrayLike, temperature_share: ArrayLike, light_use_g_mol: ArrayLike, half_mol_m2_day: ArrayLike
) -> FloatArray:
    """Growth of a stand that catches all light.

    Parameters
    ----------
    light_mol_m2_day : array_like, shape (...)
        Daily light integral on the bed. [mol/m2/day]
    temperature_share : array_like, shape (...)
        Of `temperature_response`. [-]
    light_use_g_mol : array_like, shape (...)
        Dry matter a mol of dim light. [g/mol]
    half_mol_m2_day : array_like, shape (...)
        Light at which a mol gives half as much. [mol/m2/day]

    Returns
    -------
    ndarray, shape (...)
        Whole-plant dry matter. [g/m2/day]

    Examples
    --------
    >>> closed_cover_growth([0.0, 5.0, 17.0], 1.0, 1.0, 30.0).round(1)
    array([ 0. ,  4.3, 10.8])
    """
    light = np.asarray(light_mol_m2_day, float)
    caught = light / (1.0 + light / np.asarray(half_mol_m2_day, float))
    return np.asarray(light_use_g_mol, float) * np.asarray(temperature_share, float) * caught


def stand_mass(start_g_m2: ArrayLike, growth_sum_g_m2: ArrayLike, cover_m2_g: ArrayLike) -> FloatArray:
    r"""Dry mass of a stand that closes its cover as it grows.

    Parameters
    ----------
    start_g_m2 : array_like, shape (...)
        Dry mass at planting. [g/m2] Above 0.
    growth_sum_g_m2 : array_like, shape (...)
        Growth that a closed cover would have had since. [g/m2]
    cover_m2_g : array_like, shape (...)
        Ground cover a gram: light caught is 1 - exp(-cover x mass). [m2/g]

    Returns
    -------
    ndarray, shape (...)
        Dry mass. [g/m2]

    Notes
    -----
    .. math:: dW/dt = g(t)\,(1 - e^{-kW}), \quad W = \ln\left(1 + (e^{kW_0} - 1)\,e^{k\int g}\right) / k

    Exact for any course of light and temperature: exponential while small, linear once closed. Losses of old leaves
    and of breath in the dark are part of the light use, so a stand without light stays as it is.

    References
    ----------
    .. [1] J. Goudriaan and J. L. Monteith, 1990. A mathematical function for crop growth based on light interception
       and leaf area expansion. Annals of Botany 66, 695-701 (from memory).

    Examples
    --------
    >>> stand_mass(4.5, [0.0, 100.0, 417.0], 0.025).round(0)
    array([  4.,  36., 332.])
    """
    k = np.asarray(cover_m2_g, float)
    cover = k * np.asarray(start_g_m2, float)
    open_part = cover + np.log1p(-np.exp(-cover))  # log(exp(cover) - 1), which overflows for seedlings sown dense
    return np.logaddexp(0.0, open_part + k * np.asarray(growth_sum_g_m2, float)) / k


def growth_sum_needed(start_g_m2: ArrayLike, goal_g_m2: ArrayLike, cover_m2_g: ArrayLike) -> FloatArray:
    """Growth of a closed cover that brings a stand from one mass to another: `stand_mass` turned round.

    Parameters
    ----------
    start_g_m2, goal_g_m2 : array_like, shape (...)
        Dry mass at planting and wanted. [g/m2] Above 0.
    cover_m2_g : array_like, shape (...)
        Ground cover a gram. [m2/g]

    Returns
    -------
    ndarray, shape (...)
        Growth sum. [g/m2]

    Examples
    --------
    >>> growth_sum_needed(4.5, 331.0, 0.025).round(0)
    np.float64(416.0)
    """
    k = np.asarray(cover_m2_g, float)
    start, goal = np.asarray(start_g_m2, float), np.asarray(goal_g_m2, float)
    return goal - start + (np.log1p(-np.exp(-k * goal)) - np.log1p(-np.exp(-k * start))) / k


def staggered_cover(start_g_m2: ArrayLike, goal_g_m2: ArrayLike, cover_m2_g: ArrayLike) -> FloatArray:
    """Share of the light that a bed of all ages catches, from seedling to harvest.

    Parameters
    ----------
    start_g_m2, goal_g_m2 : array_like, shape (...)
        Dry mass at planting and at harvest. [g/m2] Above 0.
    cover_m2_g : array_like, shape (...)
        Ground cover a gram. [m2/g]

    Returns
    -------
    ndarray, shape (...)
        Mean share over the life of a stand in even weather. [-]

    Examples
    --------
    >>> staggered_cover(4.5, 331.0, 0.025).round(2)
    np.float64(0.78)
    """
    gained = np.asarray(goal_g_m2, float) - np.asarray(start_g_m2, float)
    return gained / growth_sum_needed(start_g_m2, goal_g_m2, cover_m2_g)


def thermal_days(temperature_c: ArrayLike, base_c: ArrayLike, optimum_c: ArrayLike) -> FloatArray:
    """Thermal time that a day adds.

    Parameters
    ----------
    temperature_c : array_like, shape (...)
        Daily mean that growth answers to. [degC]
    base_c, optimum_c : array_like, shape (...)
        It counts above the base, and no further than the optimum. [degC]

    Returns
    -------
    ndarray, shape (...)
        Thermal time. [degC day]

    Examples
    --------
    >>> thermal_days([2.0, 13.0, 30.0], 4.0, 22.0)
    array([ 0.,  9., 18.])
    """
    low = np.asarray(base_c, float)
    return np.maximum(np.minimum(np.asarray(temperature_c, float), np.asarray(optimum_c, float)) - low, 0.0)
