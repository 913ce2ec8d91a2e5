"""Heat of open water: what tanks, sumps and beds lose through walls and surface, and by evaporation."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stocksim.climate.greenhouse import FOAM_W_M_K
from stocksim.climate.psychrometrics import saturation_pressure_kpa

FloatArray = NDArray[np.float64]

# Bare thin wall and floor as for a power cut: 8.3 is the still-air film of building practice (from memory of ASHRAE
# Fundamentals); through the bottom into a floor 2 (assumed).
WALL_W_M2_K, FLOOR_W_M2_K = 8.0, 2.0
# Open surface without evaporation: 3 by still air (the Bowen ratio of the evaporation below at 25 over 20 degC) and 5
# by radiation between grey surfaces near 15 degC.
SURFACE_W_M2_K = 8.0
COVERED_W_M2_K = 4.0  # two still-air films in a row (assumed)
COVERED_WET_SHARE = 0.05  # a cover stops nearly all evaporation (common practice)
# Carrier's equation as ASHRAE prints it (ASHRAE Transactions 1998, abstract read): W/m2 for each kPa.
CARRIER_W_M2_KPA, _CARRIER_WIND_W_M2_KPA = 89.0, 78.2
UNDISTURBED_SHARE = 0.74  # measured over Carrier's on an undisturbed pool (same abstract, read)
SUN_INTO_WATER = 0.9  # of sunlight on open water, what stays (from memory: albedo 0.05-0.1)


def evaporation_w_m2(
    water_c: ArrayLike, air_c: ArrayLike, humidity: ArrayLike, wind_m_s: ArrayLike = 0.0
) -> FloatArray:
    r"""Heat that evaporation takes from open water, by Carrier's equation as printed, for a pool in use.

    Parameters
    ----------
    water_c, air_c : array_like, shape (...)
        Temperatures. [degC]
    humidity : array_like, shape (...)
        Relative humidity of the air. [-] 0 to 1.
    wind_m_s : array_like, shape (...)
        Air speed over the water. [m/s]

    Returns
    -------
    ndarray, shape (...)
        Heat, below 0 where vapour condenses on the water. [W/m2] Times 0.74 for undisturbed water (measured).

    Notes
    -----
    :math:`q = (p_w - p_a)(89.0 + 78.2 v)` in W/m2, kPa and m/s. Shah 2014 gives two thirds of it in still air.
    Known to about a third.

    Examples
    --------
    >>> float(evaporation_w_m2(25.0, 20.0, 0.6).round(1))
    157.0
    """
    gap = saturation_pressure_kpa(water_c) - np.asarray(humidity, float) * saturation_pressure_kpa(air_c)
    return gap * (CARRIER_W_M2_KPA + _CARRIER_WIND_W_M2_KPA * np.asarray(wind_m_s, float))


def wall_w_m2_k(foam_m: ArrayLike, bare_w_m2_k: float = WALL_W_M2_K) -> FloatArray:
    """Loss of a tank's wall or floor with foam around it.

    Parameters
    ----------
    foam_m : array_like, shape (...)
        Thickness of foam. [m]
    bare_w_m2_k : float
        Loss without it. [W/m2/K]

    Returns
    -------
    ndarray, shape (...)
        Loss. [W/m2/K]

    Examples
    --------
    >>> wall_w_m2_k([0.0, 0.05]).round(2)
    array([8.  , 0.64])
    """
    return np.asarray(1.0 / (1.0 / bare_w_m2_k + np.asarray(foam_m, float) / FOAM_W_M_K), dtype=float)


def tank_w_k(
    volume_m3: ArrayLike, depth_m: ArrayLike, foam_m: ArrayLike, covered: ArrayLike
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Losses per degree and open water of an upright round tank.

    Parameters
    ----------
    volume_m3, depth_m : array_like, shape (...)
        Water [m3] and its depth. [m]
    foam_m : array_like, shape (...)
        Foam around walls and floor. [m]
    covered : array_like of bool, shape (...)
        Whether a cover lies over the surface.

    Returns
    -------
    to_air, to_floor : ndarray, shape (...)
        Through walls and surface to the air, through the bottom to the floor. [W/K]
    wet_m2 : ndarray, shape (...)
        Surface that evaporates. [m2]

    Examples
    --------
    >>> [float(part.round(1)) for part in tank_w_k(1.0, 0.8, 0.0, False)]
    [35.4, 2.5, 1.2]
    """
    area = np.asarray(volume_m3, float) / np.asarray(depth_m, float)
    wall = 2.0 * np.sqrt(np.pi * area) * np.asarray(depth_m, float)
    is_covered = np.asarray(covered, bool)
    surface = np.where(is_covered, COVERED_W_M2_K, SURFACE_W_M2_K)
    wet = np.where(is_covered, COVERED_WET_SHARE, 1.0) * area
    return wall_w_m2_k(foam_m) * wall + surface * area, wall_w_m2_k(foam_m, FLOOR_W_M2_K) * area, np.asarray(wet, float)
