"""Daylight of a place and a date: sunshine above the air, day length, and what clouds leave of it."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stocksim.climate.sun import extraterrestrial_kwh_m2

FloatArray = NDArray[np.float64]

MJ_PER_KWH = 3.6
# Angstrom's a and b where no local ones are known: FAO-56, eq. 35 (Allen et al. 1998)
OVERCAST_SHARE, SUNSHINE_SHARE = 0.25, 0.50
# Share of the day that clouds hide the sun, northern cold-winter places, January first: assumed in this project, so
# that a winter month gets 0.4-0.6 of clear sky (from memory). Southern places get them half a year later.
USUAL_CLOUD_SHARE = (0.65, 0.60, 0.52, 0.48, 0.43, 0.40, 0.36, 0.38, 0.43, 0.52, 0.68, 0.70)


def extraterrestrial_radiation(latitude: ArrayLike, day_of_year: ArrayLike) -> FloatArray:
    """Radiation on a level surface above the air.

    Parameters
    ----------
    latitude : array_like, shape (...)
        Degrees, north positive. [degree]
    day_of_year : array_like, shape (...)
        1 for the first of January. [day]

    Returns
    -------
    ndarray, shape (...)
        Radiation. [MJ/m2/day] 0 in polar night.

    References
    ----------
    .. [1] R. G. Allen, L. S. Pereira, D. Raes and M. Smith, 1998. Crop evapotranspiration. FAO Irrigation and Drainage
       Paper 56, equations 21-25 (from memory; checked against another library's table in the tests). Example 8 there:
       20 degrees south on 3 September, 32.2 MJ/m2/day.

    Examples
    --------
    >>> extraterrestrial_radiation([-20.0, 45.0, 80.0], [246, 355, 355]).round(1)
    array([32.2, 10.4,  0. ])
    """
    return np.maximum(MJ_PER_KWH * extraterrestrial_kwh_m2(latitude, day_of_year), 0.0)


def daily_radiation(latitude: ArrayLike, day_of_year: ArrayLike, cloud_share: ArrayLike) -> FloatArray:
    """Radiation on a level surface outdoors, an average day of such clouds.

    Parameters
    ----------
    latitude : array_like, shape (...)
        Degrees, north positive. [degree]
    day_of_year : array_like, shape (...)
        1 for the first of January. [day]
    cloud_share : array_like, shape (...)
        Share of the daylight hours in which clouds hide the sun, 0 to 1. [-]

    Returns
    -------
    ndarray, shape (...)
        Radiation. [MJ/m2/day] Angstrom's formula with FAO-56's a and b. It overstates clear days of a high-latitude
        December by up to 37 % (48 degrees north), less elsewhere.

    Examples
    --------
    >>> daily_radiation(45.0, 355, [0.0, 0.7, 1.0]).round(2)
    array([7.83, 4.18, 2.61])
    """
    sunny = 1.0 - np.asarray(cloud_share, float)
    return (OVERCAST_SHARE + SUNSHINE_SHARE * sunny) * extraterrestrial_radiation(latitude, day_of_year)
