"""Dissolved oxygen: saturation with elevation, transfer from devices and through the surface."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stocksim.validity import Range, valid

FloatArray = NDArray[np.float64]

# Sources of ranges that several formulas share. Half a gram of salts in a liter ends fresh water (Venice system 1958,
# from memory): as common salt 300 mg/L of chloride.
FRESH_WATER = "fresh water, to 0.5 g/L of salts: Venice system 1958, from memory"
HIGHEST = "this project's choice: higher up nothing was checked"

# Oxygen in clean water at 20 degC and 1 atm, the reference of standard transfer [mg/L]: Benson & Krause 1984.
STANDARD_SATURATION_MG_L = 9.09
# Temperature correction of device transfer (ASCE 2-91 clean-water standard as quoted on an engineering page).
TRANSFER_THETA = 1.024
# Fish water against clean water: transfer 0.9 (from memory, range 0.9-1), saturation 0.95 (0.95-0.98, read).
ALPHA_FISH_WATER = 0.9
BETA_FISH_WATER = 0.95
# Oxygen moved per unit of electricity by diffused air [kg/kWh]. Boyd 1998 mean for diffused air 0.97 (from memory);
# 0.5-1.5 is met with shallow air stones, so a plan knows this to a factor of 2. The lower part is taken.
DIFFUSER_KG_PER_KWH = 0.7
# Gas exchange of a still surface at Schmidt number 600 [m/day]: 2.07 cm/h at no wind, Cole & Caraco 1998.
STILL_SURFACE_K600_M_DAY = 2.07 * 24.0 / 100.0


@valid(
    "air pressure by elevation",
    Range("elevation_m", "m", -430.0, 3000.0, HIGHEST),
)
def air_pressure(elevation_m: ArrayLike) -> FloatArray:
    """Air pressure of the standard atmosphere.

    Parameters
    ----------
    elevation_m : array_like, shape (...)
        Height above the sea. [m] Valid -430 to 3000.

    Returns
    -------
    ndarray, shape (...)
        Pressure. [atm]

    References
    ----------
    .. [1] ICAO standard atmosphere, as in ASHRAE Handbook of Fundamentals, psychrometrics, eq. 3.

    Examples
    --------
    >>> air_pressure([0.0, 1000.0]).round(4)
    array([1.   , 0.887])
    """
    return (1.0 - 2.25577e-5 * np.asarray(elevation_m, float)) ** 5.2559


@valid(
    "oxygen saturation",
    Range("temperature_c", "degC", 0.0, 40.0, "Benson & Krause 1984"),
    Range("elevation_m", "m", -430.0, 3000.0, HIGHEST),
    Range("chloride_mg_l", "mg/L", 0.0, 300.0, FRESH_WATER),
)
def oxygen_saturation(temperature_c: ArrayLike, elevation_m: ArrayLike = 0.0) -> FloatArray:
    r"""Dissolved oxygen of fresh water in balance with moist air.

    Parameters
    ----------
    temperature_c : array_like, shape (...)
        Water temperature. [degC] Valid 0 to 40.
    elevation_m : array_like, shape (...)
        Height above the sea. [m] Valid -430 to 3000.

    Returns
    -------
    ndarray, shape (...)
        Saturation. [mg/L] NaN in gives NaN out.

    Notes
    -----
    Polynomial in 1/T at 1 atm, then the full pressure correction with water vapour and the second virial term; the
    shortcut of multiplying by pressure reads up to 1.6 % high in warm water at 2000 m.

    References
    ----------
    .. [1] B. B. Benson and D. Krause, 1984. The concentration and isotopic fractionation of oxygen dissolved in
       freshwater and seawater in equilibrium with the atmosphere. Limnol. Oceanogr. 29, 620-632; equation 24 for
       pressure. Coefficients as adopted in Standard Methods 4500-O and USGS memorandum 2011.03.

    Examples
    --------
    >>> oxygen_saturation([0.0, 20.0]).round(2)
    array([14.62,  9.09])
    >>> oxygen_saturation([20.0], 1000.0).round(2)
    array([8.04])
    """
    celsius = np.asarray(temperature_c, float)
    kelvin = celsius + 273.15
    at_one_atm = np.exp(
        -139.34411 + 1.575701e5 / kelvin - 6.642308e7 / kelvin**2 + 1.243800e10 / kelvin**3 - 8.621949e11 / kelvin**4
    )
    pressure = air_pressure(elevation_m)
    vapour = np.exp(11.8571 - 3840.70 / kelvin - 216961.0 / kelvin**2)
    virial = 0.000975 - 1.426e-5 * celsius + 6.436e-8 * celsius**2
    correction = pressure * (1 - vapour / pressure) * (1 - virial * pressure) / ((1 - vapour) * (1 - virial))
    return at_one_atm * correction


@valid(
    "oxygen of air stones and other devices",
    Range("temperature_c", "degC", 10.0, 30.0, "from memory of ASCE 2-91"),
)
def device_exchange(standard_transfer_g_day: ArrayLike, temperature_c: ArrayLike) -> FloatArray:
    r"""Water volume that a device brings to saturation each day, in fish water.

    Parameters
    ----------
    standard_transfer_g_day : array_like, shape (...)
        Oxygen transferred into oxygen-free clean water at 20 degC and 1 atm. [g/day]
    temperature_c : array_like, shape (...)
        Water temperature. [degC] Valid 10 to 30.

    Returns
    -------
    ndarray, shape (...)
        Exchange volume E: the device gives E (0.95 saturation - oxygen). [m3/day]

    Notes
    -----
    .. math:: OTR = SOTR\,\alpha\,\frac{\beta C_s - C}{9.09}\,1.024^{T-20}

    References
    ----------
    .. [1] ASCE 2-91, Measurement of oxygen transfer in clean water (form as quoted on an engineering page).
    """
    warm = TRANSFER_THETA ** (np.asarray(temperature_c, float) - 20.0)
    return ALPHA_FISH_WATER * np.asarray(standard_transfer_g_day, float) * warm / STANDARD_SATURATION_MG_L


def diffuser_standard_transfer(power_w: ArrayLike) -> FloatArray:
    """Standard oxygen transfer of an air pump with stones, from its electric power.

    Parameters
    ----------
    power_w : array_like, shape (...)
        Electric power of the air pump. [W]

    Returns
    -------
    ndarray, shape (...)
        Standard transfer. [g/day] Known to a factor of 2 only: depth, stones and fouling decide.
    """
    return np.asarray(power_w, float) / 1000.0 * 24.0 * DIFFUSER_KG_PER_KWH * 1000.0


@valid(
    "gas exchange of a still surface",
    Range("temperature_c", "degC", -2.0, 40.0, "Wanninkhof 2014, table 1"),
)
def surface_exchange_velocity(temperature_c: ArrayLike) -> FloatArray:
    """Speed at which a still surface exchanges oxygen with the air.

    Parameters
    ----------
    temperature_c : array_like, shape (...)
        Water temperature. [degC] Valid -2 to 40.

    Returns
    -------
    ndarray, shape (...)
        Exchange velocity. [m/day]

    Notes
    -----
    Measured on lakes without wind; a tank's surface may differ by a factor of 2 to 3 (film, ripples from returns).
    The Schmidt number is the polynomial of the fourth order that holds to 40 degC: that of the third order from 1992
    ends at 30 and is below zero from 40 on.

    References
    ----------
    .. [1] J. J. Cole and N. F. Caraco, 1998. Atmospheric exchange of carbon dioxide in a low-wind oligotrophic lake.
       Limnol. Oceanogr. 43, 647-656 (k600), exponent -1/2.
    .. [2] R. Wanninkhof, 2014. Relationship between wind speed and gas exchange over the ocean revisited. Limnol.
       Oceanogr. Methods 12, 351-362, Table 1, oxygen in fresh water (abstract read; coefficients read in two public
       codes that agree).

    Examples
    --------
    >>> surface_exchange_velocity([0.0, 10.0, 25.0]).round(3)
    array([0.291, 0.408, 0.609])
    """
    t = np.asarray(temperature_c, float)
    schmidt = 1745.1 + t * (-124.34 + t * (4.8055 + t * (-0.10115 + t * 0.00086842)))
    return STILL_SURFACE_K600_M_DAY * (schmidt / 600.0) ** -0.5
