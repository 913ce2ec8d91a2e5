"""Moist air: saturation, humidity, enthalpy, and what a cubic meter of leaked air takes with it."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stocksim.compiled import exp, jitable
from stocksim.validity import Range, valid

FloatArray = NDArray[np.float64]

DRY_AIR_J_KG_K = 1006.0  # heat of dry air and of vapour, 0 degC reference (from memory of ASHRAE Fundamentals)
VAPOUR_J_KG_K = 1860.0
VAPOURIZING_J_KG = 2.501e6
VAPOUR_OVER_AIR = 0.621945  # ratio of molar masses
_GAS_CONSTANT_DRY = 287.042  # J/kg/K


@valid(
    "vapour pressure over water",
    Range("temperature_c", "degC", -60.0, 60.0, "this project's choice for FAO-56 eq. 11"),
    is_called_compiled=True,
)
@jitable
def over_water_kpa(temperature_c: Any) -> Any:
    r"""Saturation vapour pressure over water, supercooled below 0 degC.

    Parameters
    ----------
    temperature_c : float or ndarray, shape (...)
        Temperature. [degC] Valid -60 to 60.

    Returns
    -------
    float or ndarray, shape (...)
        Pressure. [kPa]

    Notes
    -----
    :math:`0.6108 \exp(17.27 T / (T + 237.3))`, FAO-56 (Allen et al. 1998) eq. 11.

    Examples
    --------
    >>> round(over_water_kpa(20.0), 4)
    2.3383
    """
    return 0.6108 * exp(17.27 * temperature_c / (temperature_c + 237.3))


@valid(
    "vapour pressure of air",
    Range("temperature_c", "degC", -40.0, 50.0, "from memory of Alduchov & Eskridge 1996"),
)
def saturation_pressure_kpa(temperature_c: ArrayLike) -> FloatArray:
    """Saturation vapour pressure, over water from 0 degC up and over ice below.

    Parameters
    ----------
    temperature_c : array_like, shape (...)
        Temperature. [degC] Valid -40 to 50.

    Returns
    -------
    ndarray, shape (...)
        Pressure. [kPa]

    Notes
    -----
    Water: `over_water_kpa`. Ice: the Magnus form with 22.452 and 272.55, scaled to meet at 0 degC (from memory of
    Alduchov & Eskridge 1996 and WMO).

    Examples
    --------
    >>> saturation_pressure_kpa([-20.0, 0.0, 20.0]).round(4)
    array([0.1032, 0.6108, 2.3383])
    """
    t = np.asarray(temperature_c, float)
    ice = 0.6108 * np.exp(22.452 * t / (t + 272.55))
    return np.asarray(np.where(t >= 0.0, over_water_kpa(t), ice), dtype=float)


def humidity_ratio(vapour_kpa: ArrayLike, pressure_kpa: ArrayLike = 101.325) -> FloatArray:
    """Water vapour in a kilogram of dry air.

    Parameters
    ----------
    vapour_kpa : array_like, shape (...)
        Vapour pressure. [kPa]
    pressure_kpa : array_like, shape (...)
        Pressure of the air. [kPa]

    Returns
    -------
    ndarray, shape (...)
        Humidity ratio. [kg/kg]

    Examples
    --------
    >>> float(humidity_ratio(2.3388).round(6))
    0.014695
    """
    vapour = np.asarray(vapour_kpa, float)
    return np.asarray(VAPOUR_OVER_AIR * vapour / (np.asarray(pressure_kpa, float) - vapour), dtype=float)


def enthalpy_j_kg(temperature_c: ArrayLike, ratio_kg_kg: ArrayLike) -> FloatArray:
    """Heat in moist air above dry air and liquid water at 0 degC, for each kilogram of dry air.

    Parameters
    ----------
    temperature_c : array_like, shape (...)
        Temperature. [degC]
    ratio_kg_kg : array_like, shape (...)
        Humidity ratio. [kg/kg]

    Returns
    -------
    ndarray, shape (...)
        Enthalpy. [J/kg]

    Examples
    --------
    >>> float(enthalpy_j_kg(20.0, 0.014695).round(-1))
    57420.0
    """
    t, ratio = np.asarray(temperature_c, float), np.asarray(ratio_kg_kg, float)
    return np.asarray(DRY_AIR_J_KG_K * t + ratio * (VAPOURIZING_J_KG + VAPOUR_J_KG_K * t), dtype=float)


@valid(
    "air pressure by elevation, of rooms",
    Range("elevation_m", "m", -430.0, 3000.0, "this project's choice, as that of the water"),
)
def pressure_at_kpa(elevation_m: ArrayLike) -> FloatArray:
    """Air pressure at a height in the standard atmosphere.

    Parameters
    ----------
    elevation_m : array_like, shape (...)
        Height above the sea. [m] Valid -430 to 3000.

    Returns
    -------
    ndarray, shape (...)
        Pressure. [kPa]

    Examples
    --------
    >>> float(pressure_at_kpa(1500.0).round(2))
    84.56
    """
    return np.asarray(101.325 * (1.0 - 2.25577e-5 * np.asarray(elevation_m, float)) ** 5.2559, dtype=float)


def air_heat_j_m3_k(temperature_c: ArrayLike, pressure_kpa: ArrayLike = 101.325) -> FloatArray:
    """Heat to warm a cubic meter of dry air by a degree.

    Parameters
    ----------
    temperature_c, pressure_kpa : array_like, shape (...)
        Temperature [degC] and pressure [kPa] at which the volume is counted.

    Returns
    -------
    ndarray, shape (...)
        Volumetric heat. [J/m3/K]

    Examples
    --------
    >>> (air_heat_j_m3_k([15.0, 0.0]) / 3600.0).round(3)
    array([0.342, 0.361])
    """
    kelvin = np.asarray(temperature_c, float) + 273.15
    return np.asarray(DRY_AIR_J_KG_K * 1000.0 * np.asarray(pressure_kpa, float) / (_GAS_CONSTANT_DRY * kelvin), float)


def leaked_air_w(
    flow_m3_h: ArrayLike,
    inside_c: ArrayLike,
    inside_humidity: ArrayLike,
    outside_c: ArrayLike,
    outside_humidity: ArrayLike,
    pressure_kpa: ArrayLike = 101.325,
) -> tuple[FloatArray, FloatArray]:
    """Heat that leaves with air that is replaced by outside air: what a thermometer feels, and the vapour's.

    Parameters
    ----------
    flow_m3_h : array_like, shape (...)
        Inside air that leaves. [m3/h]
    inside_c, outside_c : array_like, shape (...)
        Temperatures. [degC]
    inside_humidity, outside_humidity : array_like, shape (...)
        Relative humidities. [-] 0 to 1.
    pressure_kpa : array_like, shape (...)
        Air pressure. [kPa]

    Returns
    -------
    sensible_w, latent_w : ndarray, shape (...)
        Losses. [W]

    Examples
    --------
    >>> [float(part.round(1)) for part in leaked_air_w(1.0, 15.0, 0.8, -10.0, 0.8)]
    [8.4, 6.1]
    """
    t_in, t_out = np.asarray(inside_c, float), np.asarray(outside_c, float)
    vapour_in = np.asarray(inside_humidity, float) * saturation_pressure_kpa(t_in)
    vapour_out = np.asarray(outside_humidity, float) * saturation_pressure_kpa(t_out)
    pressure = np.asarray(pressure_kpa, float)
    dry_kg_m3 = 1000.0 * (pressure - vapour_in) / (_GAS_CONSTANT_DRY * (t_in + 273.15))
    dry_kg_s = np.asarray(flow_m3_h, float) / 3600.0 * dry_kg_m3
    lost_ratio = humidity_ratio(vapour_in, pressure) - humidity_ratio(vapour_out, pressure)
    return dry_kg_s * DRY_AIR_J_KG_K * (t_in - t_out), dry_kg_s * lost_ratio * VAPOURIZING_J_KG
