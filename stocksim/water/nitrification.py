"""Nitrification on the surfaces of beds, biofilters and tanks (mature film)."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stocksim.compiled import formula

FloatArray = NDArray[np.float64]


class Declared(NamedTuple):
    """A constant with what is known of it as data.

    Parameters
    ----------
    value, low, high : float
        What the model uses, and the span that it may as well have.
    source : str
        Where they come from.
    """

    value: float
    low: float
    high: float
    source: str


# g oxygen per g ammonia nitrogen turned to nitrate: 2 mol O2 per mol N (from molar masses, 2*31.998/14.007).
OXYGEN_PER_NITROGEN = 4.569
# TAN at half the greatest rate [mg/L]: 1.93, Zhu & Chen 1999, Aquacult. Eng. 20, 259 (abstract read), 27 degC.
HALF_SATURATION_TAN_MG_L = 1.93
# Greatest areal rate at 20 degC [g/m2/day] of a whole film with plenty of ammonia, oxygen and alkalinity. Zhu & Chen's
# laboratory film gives 1.22 (abstract read); freed of the oxygen of ordinary water (7 mg/L, a share of 0.886) 1.38.
# What is measured in farms has ordinary maturity (0.8), oxygen and alkalinity (100 mg/L, a share of 0.8) in it,
# together 0.57, which multiply again where a season reckons them: the 0.57 g/m2/day at 2 mg/L TAN and 25 degC of FAO
# 589 (from memory of Somerville et al. 2014) freed of them are 1.48; rafts that must take 1.75 g/m2/day at 27 degC and
# 1-2 mg/L (feed of Rakocy et al. 1997; docs/systems.md) on 2.6-4.5 m2 of film a m2 are 1.0-1.8; 0.56 g/m2/day of rafts
# at 28 degC and about 1 mg/L (from memory of Rakocy and co-workers) would be 0.7.
# Fitted in this project to the published systems (docs/film_fit.md) the rate is at most 1.9 and not bounded below, so
# the value stays; the least of the freed anchors, 0.7, ends its range below.
AREAL_RATE = Declared(
    1.38, 0.7, 1.9, "Zhu & Chen 1999, freed; range fitted in this project to published systems, and the freed anchors"
)
AREAL_RATE_AT_20 = AREAL_RATE.value
# Film on a tank's walls and floor as a share of a whole film of the same area: no measured rate of a wall was found,
# fish and flow scour it and keepers brush it, so none is counted, the careful side. Up to a whole film, left alone.
WALL_FILM_SHARE = Declared(0.0, 0.0, 1.0, "no measured rate was found: none is the careful side")
# Temperature factor per degC; published 1.03-1.10. A published design table, 0.3/0.7/1.0 g/m2/day at 5/15/25 degC,
# implies 1.06, and 1.09 over 5-15. Below 10 degC the cautious end.
THETA = 1.06
THETA_COLD = 1.10
COLD_BELOW_C = 10.0
# Oxygen at half the greatest rate [mg/L]: published 0.5-1.3 (from memory), middle taken.
HALF_SATURATION_OXYGEN_MG_L = 0.9


def cylinder_surface(volume_m3: ArrayLike, depth_m: ArrayLike) -> FloatArray:
    """Wetted wall and floor of a round tank.

    Parameters
    ----------
    volume_m3 : array_like, shape (...)
        Water in the tank. [m3]
    depth_m : array_like, shape (...)
        Its depth. [m] Above 0.

    Returns
    -------
    ndarray, shape (...)
        Surface. [m2] No upright tank of this volume and depth has less; a square one has 13 % more wall.

    Examples
    --------
    >>> cylinder_surface([1.0, 5.0], 0.8).round(2)
    array([ 4.42, 13.34])
    """
    depth = np.asarray(depth_m, float)
    floor = np.asarray(volume_m3, float) / depth
    return floor + 2.0 * np.sqrt(np.pi * floor) * depth


def nitrification_capacity(surface_m2: ArrayLike, temperature_c: ArrayLike) -> FloatArray:
    """Ammonia nitrogen that a mature surface could nitrify with plenty of ammonia and oxygen.

    Parameters
    ----------
    surface_m2 : array_like, shape (...)
        Surface carrying film. [m2]
    temperature_c : array_like, shape (...)
        Water temperature. [degC] Known to a factor of 2 below 10.

    Returns
    -------
    ndarray, shape (...)
        Capacity. [g/day]

    Notes
    -----
    Multiply by TAN/(1.93 + TAN), by `oxygen_share`, by the film's maturity and by what alkalinity allows.

    Examples
    --------
    >>> rate = 0.57 * nitrification_capacity(1.0, [5.0, 15.0, 25.0]) * 2.0 / (2.0 + 1.93)  # in ordinary water
    >>> rate.round(2)
    array([0.14, 0.3 , 0.54])
    """
    t = np.asarray(temperature_c, float)
    factor = THETA ** (np.maximum(t, COLD_BELOW_C) - 20.0) * THETA_COLD ** np.minimum(t - COLD_BELOW_C, 0.0)
    return AREAL_RATE_AT_20 * np.asarray(surface_m2, float) * factor


@formula
def oxygen_share(
    capacity_g_day: FloatArray, tan_mg_l: FloatArray, exchange_m3_day: FloatArray, oxygen_load_g_day: FloatArray
) -> Any:
    """Share of the nitrification rate that the oxygen reaching a bed allows.

    Parameters
    ----------
    capacity_g_day : array_like, shape (...)
        Capacity at the bed's temperature. [g/day]
    tan_mg_l : array_like, shape (...)
        TAN in the bed. [mg/L]
    exchange_m3_day : array_like, shape (...)
        Water that passes or is renewed with oxygen each day. [m3/day] Above 0.
    oxygen_load_g_day : array_like, shape (...)
        Oxygen brought by it. [g/day]

    Returns
    -------
    ndarray, shape (...)
        O/(0.9 + O) at the oxygen O that balances supply and the film's own use. [-] From 0 to 1.

    Notes
    -----
    Implicit in the bed's oxygen (a quadratic), so that a starved bed settles instead of swinging from day to day.
    """
    k = HALF_SATURATION_OXYGEN_MG_L
    demand = OXYGEN_PER_NITROGEN * capacity_g_day * tan_mg_l / (HALF_SATURATION_TAN_MG_L + tan_mg_l)
    b = exchange_m3_day * k + demand - oxygen_load_g_day
    oxygen = 2.0 * oxygen_load_g_day * k / (b + np.sqrt(b * b + 4.0 * exchange_m3_day * oxygen_load_g_day * k))
    return oxygen / (k + oxygen)
