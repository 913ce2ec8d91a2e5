"""What roots take from the water, and what leaves drink."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

# Minerals that follow nitrogen into the plant, and the level at which roots take half of what they want [mg/L]:
# assumed, no source.
MINERALS = ("calcium", "potassium", "phosphorus")
HALF_SATURATION_MINERAL_MG_L = {"calcium": 5.0, "potassium": 2.0, "phosphorus": 0.2}
# Hydroxide (or bicarbonate) that roots give off for each nitrate they take [mol/mol], where nothing was measured for
# the crop: 0.1-0.3 where nitrate is reduced in the leaves (a text on fertigation, quoted on a web page). The charge of
# most of the nitrate goes with the potassium, calcium and magnesium that are taken with it, and into acids made in the
# leaves.
HYDROXIDE_LOW, HYDROXIDE_HIGH = 0.1, 0.3
# Charge with which each nutrient enters the roots, negative for cations, over its molar mass [mol/g]. Phosphate is
# taken as H2PO4 and sulfur as sulfate.
CHARGE_MOL_G = MappingProxyType({
    "nitrogen": 1.0 / 14.007, "phosphorus": 1.0 / 30.974, "sulfur": 2.0 / 32.06, "chloride": 1.0 / 35.45,
    "potassium": -1.0 / 39.098, "calcium": -2.0 / 40.078, "magnesium": -2.0 / 24.305, "sodium": -1.0 / 22.990,
})  # fmt: skip
# Makkink's formula as later used with a crop factor of 1, from memory of Makkink 1957: mm/day.
_MAKKINK_SHARE = 0.61
LATENT_HEAT_MJ_KG = 2.45  # FAO-56
_PSYCHROMETER_KPA_C = 0.0665  # at sea level, FAO-56


def evapotranspiration(radiation_mj_m2_day: ArrayLike, temperature_c: ArrayLike) -> FloatArray:
    """Water that a closed, well watered crop drinks.

    Parameters
    ----------
    radiation_mj_m2_day : array_like, shape (...)
        Sunshine on the bed. [MJ/m2/day]
    temperature_c : array_like, shape (...)
        Air at the crop. [degC]

    Returns
    -------
    ndarray, shape (...)
        Water. [kg/m2/day], litres a square meter. Makkink's formula without its small constant loss, so that none is
        drunk in the dark; heating pipes and wind, which add to it, are left out.

    Examples
    --------
    >>> evapotranspiration([2.6, 15.0], [13.0, 22.0]).round(2)
    array([0.39, 2.64])
    """
    t = np.asarray(temperature_c, float)
    slope = 4098.0 * 0.6108 * np.exp(17.27 * t / (t + 237.3)) / (t + 237.3) ** 2
    share = _MAKKINK_SHARE * slope / (slope + _PSYCHROMETER_KPA_C)
    return share * np.asarray(radiation_mj_m2_day, float) / LATENT_HEAT_MJ_KG


def hydroxide_per_nitrate(taken_g: Mapping[str, ArrayLike]) -> FloatArray:
    """Hydroxide that roots give off for each nitrate, so that what they take is neutral.

    Parameters
    ----------
    taken_g : mapping of str to array_like, shape (...)
        What roots take of each of ``CHARGE_MOL_G``, all of it, nitrogen as nitrate and above 0; or the contents of what
        grows. [g]

    Returns
    -------
    ndarray, shape (...)
        Anions less cations over the nitrate. [mol/mol] Below 0 roots give off acid. 1 where nitrate is taken alone.

    Examples
    --------
    A crop of 4 % nitrogen that also holds 0.5 % phosphorus, 0.3 % sulfur, 0.8 % chloride, 6 % potassium, 1.2 % calcium,
    0.4 % magnesium and 0.2 % sodium in its dry matter:

    >>> dry = dict(nitrogen=40, phosphorus=5, sulfur=3, chloride=8, potassium=60, calcium=12, magnesium=4, sodium=2)
    >>> float(hydroxide_per_nitrate(dry).round(2))
    0.31
    """
    charge = sum(np.asarray(taken_g[key], float) * per_gram for key, per_gram in CHARGE_MOL_G.items())
    return np.asarray(charge / (np.asarray(taken_g["nitrogen"], float) * CHARGE_MOL_G["nitrogen"]), float)
