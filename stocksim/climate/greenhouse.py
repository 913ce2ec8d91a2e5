"""A greenhouse or fish room as conductances: covers, walls, leaks, ground, and the fuels that make good the loss."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stocksim.climate.psychrometrics import air_heat_j_m3_k

FloatArray = NDArray[np.float64]

BTU_H_FT2_F = 5.678263  # W/m2/K of one Btu/h/ft2/degF
_KBTU_KWH = 0.29307107
_GALLON_L = 3.785411784


class Cover(NamedTuple):
    """Heat loss [W/m2/K] and share of sunlight let through [-] of a new cover."""

    loss_w_m2_k: float
    transmission: float


# Loss: single layers 1.0-1.2, double layers 0.6-0.7 and 8 mm twin-wall polycarbonate 0.53 Btu/h/ft2/degF
# (extension.org greenhouse pages, read), middles taken. Transmission: glass 0.88 and double film 0.77 (National
# Greenhouse Manufacturers Association, read), twin wall 0.78-0.82 (extension.org, read), single film from memory.
COVERS = {
    "single_film": Cover(1.1 * BTU_H_FT2_F, 0.87),
    "double_film": Cover(0.65 * BTU_H_FT2_F, 0.77),
    "twin_wall": Cover(0.53 * BTU_H_FT2_F, 0.80),
    "glass": Cover(1.1 * BTU_H_FT2_F, 0.88),
}
# Light that frame, dirt and low sun leave of it: 55-70 % arrive in all (from memory), so about 0.8 of the cover's own.
FRAME_SHARE = 0.8
# A closed curtain leaves this share of the cover's loss: savings of 20-60 % are published, 35 % taken (from memory).
CURTAIN_SHARE = 0.65
FOAM_W_M_K = 0.035  # of building foam (common practice)
# Still air inside and wind outside of a solid wall, together [m2 K/W] (from memory of ASHRAE Fundamentals).
WALL_FILMS_M2_K_W = 0.17
# Loss through the ground along the outer wall [W/m/K], bare and with foam to 60 cm (from memory of ASABE EP406 and
# ASHRAE: 0.8 and 0.4 Btu/h/ft/degF).
EDGE_W_M_K, EDGE_FOAM_W_M_K = 1.38, 0.69
DEEP_GROUND_W_M2_K = 0.3  # from the floor down to ground at the year's mean (assumed)
FLOOR_AIR_W_M2_K = 6.0  # between air and floor, convection and radiation (assumed)
FLOOR_J_M2_K = 0.3e6  # 15 cm of soil or gravel, some 2 MJ/m3/K, that follow the day (assumed)
# Air with frame, benches and leaves, over air alone (assumed; it only shapes the first hour after a change).
AIR_FACTOR = 5.0
WATER_J_M3_K, GRAVEL_J_M3_K, SOIL_J_M3_K = 4.186e6, 1.5e6, 2.0e6  # last two: from memory of soil physics texts
# Share of the sunlight that comes in and turns to heat: the rest goes back out (assumed).
ABSORBED_SHARE = 0.8
# Of sun on planted area this share evaporates water from leaves and leaves as vapour (assumed; full crops 0.5-0.7).
LEAF_VAPOUR_SHARE = 0.5
FLOOR_SUN_SHARE = 0.6  # of sun on the floor, what the floor keeps; the rest warms the air (assumed)

# Air changes an hour, new houses and old: double film 0.5-1.0, old glass 2-4 (from memory of ASABE EP406).
AIR_CHANGES = {"single_film": 1.0, "double_film": 0.75, "twin_wall": 0.75, "glass": 1.5}


class Fuel(NamedTuple):
    """Energy [kWh] of each unit a fuel is sold in, and the seasonal efficiency of its usual vented heater."""

    kwh_per: dict[str, float]
    efficiency: float


# Higher heating values: natural gas 950-1050 Btu/ft3, propane 90-98 kBtu/gal, kerosene 135 kBtu/gal (University of
# Massachusetts extension, read); heating oil and pellets from memory. Power-vented furnaces 0.78-0.80 (from memory).
FUELS = {
    "natural_gas": Fuel({"therm": 100.0 * _KBTU_KWH, "m3": 10.4, "kWh": 1.0}, 0.78),
    "propane": Fuel({"gal": 91.5 * _KBTU_KWH, "L": 91.5 * _KBTU_KWH / _GALLON_L, "kWh": 1.0}, 0.78),
    "heating_oil": Fuel({"gal": 138.5 * _KBTU_KWH, "L": 138.5 * _KBTU_KWH / _GALLON_L, "kWh": 1.0}, 0.78),
    "kerosene": Fuel({"gal": 135.0 * _KBTU_KWH, "L": 135.0 * _KBTU_KWH / _GALLON_L, "kWh": 1.0}, 0.78),
    "wood_pellets": Fuel({"kg": 4.8, "kWh": 1.0}, 0.75),
    "electricity": Fuel({"kWh": 1.0}, 1.0),
}


def wall_loss_w_m2_k(foam_m: ArrayLike) -> FloatArray:
    """Loss of an insulated wall.

    Parameters
    ----------
    foam_m : array_like, shape (...)
        Thickness of building foam. [m] 0 is a bare board.

    Returns
    -------
    ndarray, shape (...)
        Loss. [W/m2/K]

    Examples
    --------
    >>> wall_loss_w_m2_k([0.0, 0.05]).round(2)
    array([5.88, 0.63])
    """
    return np.asarray(1.0 / (WALL_FILMS_M2_K_W + np.asarray(foam_m, float) / FOAM_W_M_K), dtype=float)


def leak_w_k(volume_m3: ArrayLike, changes_per_hour: ArrayLike, pressure_kpa: ArrayLike = 101.325) -> FloatArray:
    """Sensible loss by air that leaks in and out.

    Parameters
    ----------
    volume_m3 : array_like, shape (...)
        Air of the house. [m3]
    changes_per_hour : array_like, shape (...)
        How often it is replaced. [1/h]
    pressure_kpa : array_like, shape (...)
        Air pressure. [kPa]

    Returns
    -------
    ndarray, shape (...)
        Loss. [W/K] With air at 10 degC.

    Examples
    --------
    >>> float(leak_w_k(100.0, 1.0).round(1))
    34.8
    """
    heat = air_heat_j_m3_k(10.0, pressure_kpa)
    return np.asarray(np.asarray(volume_m3, float) * np.asarray(changes_per_hour, float) * heat / 3600.0, dtype=float)


def design_loss_w(loss_w_k: ArrayLike, inside_c: ArrayLike, outside_c: ArrayLike) -> FloatArray:
    """Steady loss of a house on its design night.

    Parameters
    ----------
    loss_w_k : array_like, shape (...)
        All losses per degree. [W/K]
    inside_c, outside_c : array_like, shape (...)
        Temperatures. [degC]

    Returns
    -------
    ndarray, shape (...)
        Loss. [W]

    Examples
    --------
    >>> float(design_loss_w(1375.0, 21.1, -17.8).round(-2))
    53500.0
    """
    return np.asarray(np.asarray(loss_w_k, float) * (np.asarray(inside_c, float) - np.asarray(outside_c, float)), float)


def degree_day_kwh(loss_w_k: ArrayLike, base_c: ArrayLike, mean_c: ArrayLike) -> FloatArray:
    """Heat of a season by degree-days: the rule of thumb that the hourly balance is checked against.

    Parameters
    ----------
    loss_w_k : array_like, shape (...)
        All losses per degree. [W/K]
    base_c : array_like, shape (...)
        Temperature to hold. [degC]
    mean_c : array_like, shape (..., days)
        Daily mean outdoors. [degC]

    Returns
    -------
    ndarray, shape (...)
        Heat before any gain from the sun. [kWh]

    Examples
    --------
    >>> float(degree_day_kwh(100.0, 10.0, [0.0, 5.0, 12.0]))
    36.0
    """
    cold = np.maximum(np.asarray(base_c, float)[..., None] - np.asarray(mean_c, float), 0.0).sum(axis=-1)
    return np.asarray(np.asarray(loss_w_k, float) * cold * 24.0 / 1000.0, dtype=float)


def fuel_units(heat_kwh: ArrayLike, fuel: str, unit: str, efficiency: float | None = None) -> FloatArray:
    """Fuel that gives some heat.

    Parameters
    ----------
    heat_kwh : array_like, shape (...)
        Heat wanted in the house. [kWh]
    fuel, unit : str
        Key of ``FUELS`` and unit it is sold in.
    efficiency : float, optional
        Heat over energy of the fuel [-]; the usual one if left out.

    Returns
    -------
    ndarray, shape (...)
        Fuel. [unit]

    Raises
    ------
    KeyError
        If fuel or unit is not known.

    Examples
    --------
    >>> float(fuel_units(1000.0, "propane", "gal", 0.8).round(1))
    46.6
    """
    share = FUELS[fuel].efficiency if efficiency is None else efficiency
    return np.asarray(np.asarray(heat_kwh, float) / share / FUELS[fuel].kwh_per[unit], dtype=float)
