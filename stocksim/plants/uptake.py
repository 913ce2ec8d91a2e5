"""What roots take from the water, and what leaves drink."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

# Minerals that follow nitrogen into the plant, and the level at which roots take half of what they want [mg/L]:
# assumed, no source.
MINERALS = ("calcium", "potassium", "phosphorus")
HALF_SATURATION_MINERAL_MG_L = {"calcium": 5.0, "potassium": 2.0, "phosphorus": 0.2}
# Hydroxide (or bicarbonate) that roots give off for each nitrate they take [mol/mol]. Most of a nitrate's charge is
# balanced by the potassium, calcium and magnesium taken with it and by acids made in the leaves: 0.1-0.3 where nitrate
# is reduced in the leaves (a text on fertigation, quoted on a web page). The middle is used for every crop: Batavia
# lettuce in closed hydroponics took 13.4 N, 1.72 P, 10.2 K, 3.13 Ca and 0.86 Mg mmol/L (Front. Plant Sci. 2024,
# 1411572, abstract), so fewer anions than cations by 0.23 a nitrate before the sulphate and chloride that are not told
# there: about 0 with 2 mmol/L of chloride and 0.5 of sulphate (ours). docs/carbonate.md has the balances of the crop
# files.
HYDROXIDE_PER_NITRATE = 0.2
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
        Water. [kg/m2/day], litres a square metre. Makkink's formula without its small constant loss, so that none is
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
