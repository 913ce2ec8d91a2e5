"""The sun: where it stands, what reaches the top of the air and, on clear days, the ground.

FAO-56 equations in numpy for the day, a better declination for the hours, checked in the tests against FAO-56's worked
examples and against a solar library. So nothing heavy is loaded at start-up; the clear sky itself is known to 10 %.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

SOLAR_CONSTANT_W_M2 = 0.0820e6 / 60.0  # 0.0820 MJ/m2/min, FAO-56 eq. 21
WET_CLEAR_SHARE = 0.75  # FAO-56 eq. 37 at sea level, for the temperature-range rule only


def sun_angles(day_of_year: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Declination and inverse relative distance of the sun.

    Parameters
    ----------
    day_of_year : array_like, shape (...)
        1 to 366. [day]

    Returns
    -------
    declination, nearness : ndarray, shape (...)
        Declination [rad] and (mean distance / distance) squared [-]; FAO-56 (Allen et al. 1998) eqs. 24 and 23.

    Examples
    --------
    >>> [float(part.round(3)) for part in sun_angles(246)]
    [0.12, 0.985]
    """
    turn = 2.0 * np.pi * np.asarray(day_of_year, float) / 365.0
    return 0.409 * np.sin(turn - 1.39), 1.0 + 0.033 * np.cos(turn)


def day_length_h(latitude: ArrayLike, day_of_year: ArrayLike) -> FloatArray:
    """Hours from sunrise to sunset, FAO-56 eqs. 25 and 34; 0 and 24 in the polar night and day.

    Parameters
    ----------
    latitude : array_like, shape (...)
        North positive. [degrees]
    day_of_year : array_like, shape (...)
        1 to 366. [day]

    Returns
    -------
    ndarray, shape (...)
        Day length. [h]

    Examples
    --------
    >>> float(day_length_h(-20.0, 246).round(1))
    11.7
    """
    declination, _ = sun_angles(day_of_year)
    cosine = -np.tan(np.radians(np.asarray(latitude, float))) * np.tan(declination)
    return np.asarray(24.0 / np.pi * np.arccos(np.clip(cosine, -1.0, 1.0)), dtype=float)


def extraterrestrial_kwh_m2(latitude: ArrayLike, day_of_year: ArrayLike) -> FloatArray:
    """Sunlight of a day on a level surface at the top of the air, FAO-56 eq. 21.

    Parameters
    ----------
    latitude, day_of_year : array_like, shape (...)
        As in `day_length_h`. [degrees], [day]

    Returns
    -------
    ndarray, shape (...)
        Radiation of the day. [kWh/m2/day]

    Examples
    --------
    >>> float((3.6 * extraterrestrial_kwh_m2(-20.0, 246)).round(1))
    32.2
    """
    declination, nearness = sun_angles(day_of_year)
    phi = np.radians(np.asarray(latitude, float))
    half = np.pi * day_length_h(latitude, day_of_year) / 24.0
    level = half * np.sin(phi) * np.sin(declination) + np.cos(phi) * np.cos(declination) * np.sin(half)
    return np.asarray(24.0 / np.pi * SOLAR_CONSTANT_W_M2 / 1000.0 * nearness * level, dtype=float)


def declination_rad(day_of_year: ArrayLike) -> FloatArray:
    """Declination of the sun by the series of Spencer 1971 (from memory), within a twentieth of a degree.

    Parameters
    ----------
    day_of_year : array_like, shape (...)
        1 to 366. [day]

    Returns
    -------
    ndarray, shape (...)
        Declination. [rad] FAO-56's sine is up to 1.1 degrees off in autumn, which costs a low sun 5 to 12 %.

    Examples
    --------
    >>> np.degrees(declination_rad([172, 355])).round(2)
    array([ 23.45, -23.42])
    """
    turn = 2.0 * np.pi * (np.asarray(day_of_year, float) - 1.0) / 365.0
    once = -0.399912 * np.cos(turn) + 0.070257 * np.sin(turn)
    twice = -0.006758 * np.cos(2.0 * turn) + 0.000907 * np.sin(2.0 * turn)
    thrice = -0.002697 * np.cos(3.0 * turn) + 0.00148 * np.sin(3.0 * turn)
    return np.asarray(0.006918 + once + twice + thrice, dtype=float)


def sun_height(latitude: ArrayLike, day_of_year: ArrayLike, solar_hour: ArrayLike) -> FloatArray:
    """Sine of the sun's height above the horizon, 0 at night.

    Parameters
    ----------
    latitude, day_of_year : array_like, shape (...)
        As in `day_length_h`. [degrees], [day]
    solar_hour : array_like, shape (...)
        Hour of the day by the sun, noon at 12. [h]

    Returns
    -------
    ndarray, shape (...)
        Sine of the height. [-]

    Examples
    --------
    >>> sun_height(45.0, 355, [6.0, 12.0]).round(3)
    array([0.   , 0.368])
    """
    declination = declination_rad(day_of_year)
    phi = np.radians(np.asarray(latitude, float))
    angle = np.pi / 12.0 * (np.asarray(solar_hour, float) - 12.0)
    sine = np.sin(phi) * np.sin(declination) + np.cos(phi) * np.cos(declination) * np.cos(angle)
    return np.maximum(sine, 0.0)


def clear_sky_w_m2(latitude: ArrayLike, day_of_year: ArrayLike, solar_hour: ArrayLike) -> FloatArray:
    r"""Sunlight on level ground under a cloudless sky, direct and diffuse.

    Parameters
    ----------
    latitude, day_of_year, solar_hour : array_like, shape (...)
        As in `sun_height`. [degrees], [day], [h]

    Returns
    -------
    ndarray, shape (...)
        Global radiation. [W/m2]

    Notes
    -----
    Haurwitz 1945: :math:`1098 \sin h \, e^{-0.059 / \sin h}` (constants as general solar libraries have them). FAO-56's
    own clear sky, 0.75 of the extraterrestrial, is 37 % too high in December at 48 degrees north, because the low sun
    crosses more air; this one stays within 12 % of an Ineichen sky of turbidity 3.

    Examples
    --------
    >>> clear_sky_w_m2(45.0, [172, 355], 12.0).round(0)
    array([958., 344.])
    """
    sine = sun_height(latitude, day_of_year, solar_hour)
    return np.asarray(1098.0 * sine * np.exp(-0.059 / np.maximum(sine, 1e-3)), dtype=float)


def sun_by_temperature_range(range_c: ArrayLike, latitude: ArrayLike, day_of_year: ArrayLike) -> FloatArray:
    """Sunlight of a day guessed from its temperature range, where nobody recorded sun or cloud: FAO-56 eq. 50.

    Parameters
    ----------
    range_c : array_like, shape (...)
        Highest less lowest temperature of the day. [degC difference]
    latitude, day_of_year : array_like, shape (...)
        As in `day_length_h`. [degrees], [day]

    Returns
    -------
    ndarray, shape (...)
        Radiation of the day. [kWh/m2/day] With the 0.16 of inland places, at most 0.75 of the extraterrestrial.

    Examples
    --------
    >>> float(sun_by_temperature_range(8.0, 45.0, 15).round(2))
    1.5
    """
    share = 0.16 * np.sqrt(np.maximum(np.asarray(range_c, float), 0.0))
    return np.minimum(share, WET_CLEAR_SHARE) * extraterrestrial_kwh_m2(latitude, day_of_year)


def clear_share_of_cloud(cloud: ArrayLike) -> FloatArray:
    """Share of clear-sky sunlight that comes through a cloud cover.

    Parameters
    ----------
    cloud : array_like, shape (...)
        Mean cloud cover. [-] 0 to 1.

    Returns
    -------
    ndarray, shape (...)
        Share. [-] 1 - 0.75 cloud^3.4, from memory of Kasten & Czeplak 1980; written for an hour's cloud, so a monthly
        mean cover gives somewhat too much sun.

    Examples
    --------
    >>> clear_share_of_cloud([0.0, 0.7, 1.0]).round(2)
    array([1.  , 0.78, 0.25])
    """
    return np.asarray(1.0 - 0.75 * np.asarray(cloud, float) ** 3.4, dtype=float)
