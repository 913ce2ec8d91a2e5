"""What a tank has in reserve when the power is cut: oxygen, warmth, bottled oxygen.

Apart from the question, for it is science: pure functions of numbers with their sources.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stocksim.validity import Range, valid

FloatArray = NDArray[np.float64]

# Heat to warm a cubic meter of water by a degree [J/m3/K]: 4.186 kJ/kg/K, 1000 kg/m3.
WATER_HEAT_J_M3_K = 4.186e6
# Heat through a bare thin wall into still air [W/m2/K]: 8.3 is the still-air film of building practice (from memory of
# ASHRAE Fundamentals), less a little for the wall. An engineering page's table of open tanks (read) gives 9.5 for bare
# steel with water 17 degC above the air; a smaller difference gives less.
WALL_W_M2_K = 8.0
# Open surface, evaporation included: 15.1 in that table at 32 degC water and 16 degC still air; drier air takes more.
OPEN_SURFACE_W_M2_K = 15.0
# Under a cover with air between: two such still-air films in a row (assumption, no source).
COVERED_SURFACE_W_M2_K = 4.0
# Through the bottom into a floor (assumption, no source).
FLOOR_W_M2_K = 2.0
# A loss [g/day] or a distance from the room's temperature [degC] too small to matter: keeps quotients finite
_NOTHING = 1e-12
_GAS_CONSTANT = 8.314462618  # J/mol/K
_OXYGEN_G_MOL = 31.998
_STORE_KELVIN = 273.15 + 15.0


def minutes_to_level(
    oxygen_mg_l: ArrayLike,
    threshold_mg_l: ArrayLike,
    volume_m3: ArrayLike,
    use_g_h: ArrayLike,
    exchange_m3_day: ArrayLike,
    saturation_mg_l: ArrayLike,
    supply_g_h: ArrayLike = 0.0,
) -> FloatArray:
    r"""Time until the oxygen of a tank without flow falls to a threshold.

    Parameters
    ----------
    oxygen_mg_l, threshold_mg_l : array_like, shape (...)
        Oxygen now and the level asked about. [mg/L]
    volume_m3 : array_like, shape (...)
        Water of the tank, without the fish: tank volume less a liter for each kilogram of fish. [m3]
    use_g_h : array_like, shape (...)
        Oxygen used by fish, film and solids, taken as steady. [g/h]
    exchange_m3_day : array_like, shape (...)
        Exchange volume with the air that is left. [m3/day] 0 or more.
    saturation_mg_l : array_like, shape (...)
        Oxygen saturation. [mg/L]
    supply_g_h : array_like, shape (...)
        Oxygen dissolved from a bottle or a battery pump. [g/h]

    Returns
    -------
    ndarray, shape (...)
        Time. [minutes] 0 where oxygen is already there or below, infinite where it never falls that far, NaN where an
        input is NaN.

    Notes
    -----
    Exact solution of :math:`V\,dC/dt = k\,(C_s - C) - use + supply`: a straight line for k = 0, else exponential.
    Frightened fish use more and fish short of oxygen use less; the first counts in the first minutes, so take the
    greatest use of the day. Take the answer as the time by which help must be at work, not as a time to wait.

    Examples
    --------
    A tank of 1 m3 with 60 kg of warm, fed fish:

    >>> float(minutes_to_level(7.0, 3.0, 1.0, 60 * 0.4, 0.0, 8.5).round(1))
    10.0
    """
    start, threshold, volume, use, exchange, saturation, supply = (
        np.asarray(value, float)
        for value in (oxygen_mg_l, threshold_mg_l, volume_m3, use_g_h, exchange_m3_day, saturation_mg_l, supply_g_h)
    )
    fall = start - threshold
    loss = 24.0 * (use - supply) - exchange * (saturation - start)  # now [g/day]
    slowing = exchange * fall  # by so much less at the threshold
    falls = (fall > 0.0) & (loss > np.maximum(slowing, _NOTHING))
    some_loss = np.where(falls, loss, 1.0)
    # -ln(1 - x)/x, 1 without exchange
    x = np.clip(np.where(falls, slowing / some_loss, 0.0), 0.0, 1.0 - 2.0**-53)
    curved = x > 1e-9
    stretch = np.where(curved, -np.log1p(-x) / np.where(curved, x, 1.0), 1.0)
    minutes = np.where(falls, volume * fall / some_loss * stretch * 1440.0, np.inf)
    unknown = np.isnan(fall + loss + volume)
    return np.where(unknown, np.nan, np.where(fall <= 0.0, 0.0, minutes))


def hours_to_temperature(
    temperature_c: ArrayLike, threshold_c: ArrayLike, room_c: ArrayLike, volume_m3: ArrayLike, loss_w_k: ArrayLike
) -> FloatArray:
    r"""Time until unheated water cools to a threshold.

    Parameters
    ----------
    temperature_c, threshold_c : array_like, shape (...)
        Water temperature now and the one asked about. [degC]
    room_c : array_like, shape (...)
        Temperature of the air around, taken as steady. [degC]
    volume_m3 : array_like, shape (...)
        Water. [m3]
    loss_w_k : array_like, shape (...)
        Heat lost for each degree, as from `tank_loss_w_k`. [W/K] 0 or more.

    Returns
    -------
    ndarray, shape (...)
        Time. [hours] 0 where the water is already there or below, infinite where it never cools that far, NaN where an
        input is NaN.

    Notes
    -----
    Newton's cooling, :math:`t = \rho c V / UA \cdot \ln((T - T_{room}) / (T_{threshold} - T_{room}))`. A greenhouse
    cools too while the power is out: take the coldest air you expect.

    Examples
    --------
    2 m3 that lose 100 W a degree keep 1/e of their excess after 23.3 hours:

    >>> float(hours_to_temperature(np.e, 1.0, 0.0, 2.0, 100.0).round(1))
    23.3
    """
    start, threshold, room, volume, loss = (
        np.asarray(value, float) for value in (temperature_c, threshold_c, room_c, volume_m3, loss_w_k)
    )
    fall, left = start - threshold, threshold - room
    cools = (left > 0.0) & (loss > 0.0) & (fall > 0.0)
    stretch = np.log1p(np.where(cools, fall, 0.0) / np.where(cools, np.maximum(left, _NOTHING), 1.0))
    hours = np.where(cools, WATER_HEAT_J_M3_K * volume * stretch / np.where(cools, loss, 1.0) / 3600.0, np.inf)
    unknown = np.isnan(fall + left + volume + loss)
    return np.where(unknown, np.nan, np.where(fall <= 0.0, 0.0, hours))


def tank_loss_w_k(volume_m3: ArrayLike, depth_m: ArrayLike, covered: ArrayLike = False) -> FloatArray:
    """Heat that a bare, upright round tank loses for each degree above the room.

    Parameters
    ----------
    volume_m3 : array_like, shape (...)
        Water. [m3]
    depth_m : array_like, shape (...)
        Depth of the water. [m] Above 0.
    covered : array_like of bool, shape (...)
        Whether a cover lies over the whole surface.

    Returns
    -------
    ndarray, shape (...)
        Loss. [W/K] Rough: within a factor of 2 for a bare tank; insulation lowers it a lot.

    Notes
    -----
    8 W/m2/K for walls, 15 for an open and 4 for a covered surface, 2 for the floor; where each is from stands at the
    top of this module. Evaporation goes on in a room as warm as the water, which a loss per degree cannot show.

    Examples
    --------
    >>> tank_loss_w_k(1.0, 0.8, [False, True]).round(1)
    array([46.6, 32.9])
    """
    volume, depth = np.asarray(volume_m3, float), np.asarray(depth_m, float)
    area = volume / depth
    wall = 2.0 * np.sqrt(np.pi * area) * depth
    surface = np.where(np.asarray(covered, bool), COVERED_SURFACE_W_M2_K, OPEN_SURFACE_W_M2_K)
    return WALL_W_M2_K * wall + (surface + FLOOR_W_M2_K) * area


@valid(
    "oxygen of a cylinder",
    Range("pressure_bar", "bar", 0.0, 200.0, "ideal gas: real oxygen is 5-8 % denser at 200 bar, from memory"),
)
def cylinder_oxygen_g(water_capacity_l: ArrayLike, pressure_bar: ArrayLike) -> FloatArray:
    """Oxygen that comes out of a compressed-gas cylinder.

    Parameters
    ----------
    water_capacity_l : array_like, shape (...)
        Volume of the empty cylinder, stamped on it. [L]
    pressure_bar : array_like, shape (...)
        Pressure on the gauge. [bar] Valid 0 to 200.

    Returns
    -------
    ndarray, shape (...)
        Oxygen. [g] What dissolves is far less: 5-20 % through a stone in shallow water (common practice, no source).

    Notes
    -----
    Ideal gas at 15 degC. Real oxygen at 200 bar is some 5-8 % denser (from memory), so this is on the safe side. Oxygen
    feeds fire: keep oil, grease and flame away, chain the cylinder, and follow the supplier's and local rules.

    Examples
    --------
    >>> float(cylinder_oxygen_g(10.0, 200.0).round())
    2671.0
    """
    energy = np.asarray(pressure_bar, float) * 1e5 * np.asarray(water_capacity_l, float) * 1e-3
    return energy / (_GAS_CONSTANT * _STORE_KELVIN) * _OXYGEN_G_MOL
