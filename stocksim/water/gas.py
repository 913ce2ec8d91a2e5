"""Gas exchange that oxygen alone does not tell: carbon dioxide, falling water, fouled stones."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stocksim.validity import Range, valid

FloatArray = NDArray[np.float64]

# Exchange velocity of carbon dioxide over that of oxygen at a free surface: (Sc_O2 / Sc_CO2)^n. With the Schmidt
# numbers of Wanninkhof 1992 it is 0.94-0.97 for n = 1/2 and 0.92-0.96 for n = 2/3 from 0 to 30 degC; with those of
# Raymond et al. 2012 0.88-0.95. From memory but for the last's carbon dioxide (read in public code). One value, towards
# the low end: a still tank's surface is nearer to n = 2/3.
SURFACE_SHARE = 0.92
# Carbon dioxide over oxygen that a liter of water holds at equal pressure, by moles, at 20 degC: 39.2 / 1.389
# mmol/L/atm from the Henry's constants of carbonate and oxygen in this package (a test compares).
SOLUBILITY_RATIO = 28.2
# Share of a bubble's oxygen that oxygen-free water would take on the way up: 3-6 % a meter for air stones (from
# memory); 0.7 kg/kWh and an air pump that gives 70 L/min for 60 W (common practice, no source) mean 3.6 %.
OXYGEN_TAKEN = 0.035

# Falling water. Quality factor a: 1.8 clean, 1.6 slightly, 1.0 moderately, 0.65 grossly polluted; fish water is taken
# as moderate, the careful side. Weir factor b: 0.8 for a sharp edge and free fall (0.45 sloping face to 1.0). Both from
# memory of Butts & Evans 1983.
DROP_QUALITY = 1.0
DROP_SHAPE = 0.8

# Fouling of stones: 3 % of the transfer lost in the first month, never below half. Assumption, no source; fine-pore
# diffusers in wastewater lose some 15-40 % in two years (from memory of Rosso & Stenstrom 2006).
FOULING_FLOOR = 0.5
FOULING_PER_MONTH = 0.06


def bubble_share(oxygen_taken: ArrayLike = OXYGEN_TAKEN) -> FloatArray:
    r"""Exchange of carbon dioxide over that of oxygen for air bubbles that rise through water.

    Parameters
    ----------
    oxygen_taken : array_like, shape (...)
        Share of the bubbles' oxygen that oxygen-free water would take up. [-] 0 to below 1.

    Returns
    -------
    ndarray, shape (...)
        Ratio of the two exchange volumes. [-] From 0.92 (bubbles hardly used) towards 0.

    Notes
    -----
    A bubble holds little carbon dioxide and soon is full of it, while its oxygen is hardly touched. With first-order
    transfer along the way, conductance :math:`K` for oxygen and 0.92 K for carbon dioxide, air flow :math:`Q` and
    solubility :math:`S` (volume of gas per volume of water), each gas has the exchange

    .. math:: E = \frac{Q}{S}\,(1 - e^{-K S / Q})

    and the share of oxygen taken is :math:`1 - e^{-K S_{O_2} / Q}`. Derived for this project from Henry's law at
    20 degC; it leaves out pressure at depth and what the boil at the surface exchanges. Depth and stones decide: 0.72
    to 0.47 for 2 to 6 %.

    Examples
    --------
    >>> bubble_share([0.0, 0.02, 0.035, 0.06]).round(2)
    array([0.92, 0.72, 0.61, 0.47])
    """
    taken = np.maximum(np.asarray(oxygen_taken, float), 1e-9)
    filled = -np.expm1(SURFACE_SHARE * SOLUBILITY_RATIO * np.log1p(-taken))
    return filled / (SOLUBILITY_RATIO * taken)


def carbon_dioxide_exchange(
    surface_or_trickling_m3_day: ArrayLike, device_m3_day: ArrayLike, oxygen_taken: ArrayLike = OXYGEN_TAKEN
) -> FloatArray:
    """Exchange volume of carbon dioxide from those of oxygen.

    Parameters
    ----------
    surface_or_trickling_m3_day : array_like, shape (...)
        Oxygen exchange of open surfaces, falling and trickling water. [m3/day]
    device_m3_day : array_like, shape (...)
        Oxygen exchange of submerged air stones. [m3/day]
    oxygen_taken : array_like, shape (...)
        As in `bubble_share`. [-]

    Returns
    -------
    ndarray, shape (...)
        Exchange volume E: the water loses E (carbon dioxide - its saturation). [m3/day]

    Notes
    -----
    Known to a factor of 2, as the oxygen exchange is. A tower or covered filter without moving air fills with carbon
    dioxide and strips less; that is not in it.

    References
    ----------
    .. [1] R. Wanninkhof, 1992. Relationship between wind speed and gas exchange over the ocean. J. Geophys. Res. 97,
       7373-7382 (Schmidt numbers, from memory). Bubbles: `bubble_share`.

    Examples
    --------
    >>> float(carbon_dioxide_exchange(10.0, 10.0).round(1))
    15.3
    """
    free = SURFACE_SHARE * np.asarray(surface_or_trickling_m3_day, float)
    return free + bubble_share(oxygen_taken) * np.asarray(device_m3_day, float)


@valid(
    "gas exchange of falling water",
    Range("drop_m", "m", 0.0, 3.0, "this project's choice: the factor of height peaks near 4.5 m"),
    Range("temperature_c", "degC", 0.0, 30.0, "from memory of Butts & Evans 1983"),
)
def water_drop_exchange(
    flow_m3_day: ArrayLike,
    drop_m: ArrayLike,
    temperature_c: ArrayLike,
    quality: float = DROP_QUALITY,
    shape: float = DROP_SHAPE,
) -> FloatArray:
    r"""Exchange volume of oxygen where water falls freely.

    Parameters
    ----------
    flow_m3_day : array_like, shape (...)
        Water that falls. [m3/day]
    drop_m : array_like, shape (...)
        Height from edge or pipe to the water below. [m] Valid 0 to 3.
    temperature_c : array_like, shape (...)
        Water temperature. [degC] Valid 0 to 30.
    quality, shape : float
        Factors a and b of the formula. [-]

    Returns
    -------
    ndarray, shape (...)
        Exchange volume E, less than the flow: the water gains E (saturation - oxygen above the fall). [m3/day]

    Notes
    -----
    The deficit above over the deficit below the fall is

    .. math:: r = 1 + 0.38\,a\,b\,h\,(1 - 0.11\,h)\,(1 + 0.046\,T), \qquad E = flow\,(1 - 1/r)

    Measured on weirs of rivers: for a thin stream in a greenhouse known to a factor of 2.

    References
    ----------
    .. [1] T. A. Butts and R. L. Evans, 1983. Small stream channel dam aeration characteristics. J. Environ. Eng. 109,
       555-573 (from memory; the form of the equation was read in public code). a and b: see above, from memory.

    Examples
    --------
    >>> water_drop_exchange(24.0, [0.0, 0.3, 1.0], 20.0).round(1)
    array([0. , 3.5, 8.2])
    """
    height = np.asarray(drop_m, float)
    gain = 0.38 * quality * shape * height * (1.0 - 0.11 * height) * (1.0 + 0.046 * np.asarray(temperature_c, float))
    return np.asarray(flow_m3_day, float) * gain / (1.0 + gain)


def diffuser_fouling(months_unclean: ArrayLike = 0.0) -> FloatArray:
    """Share of its clean transfer that a stone or diffuser still gives.

    Parameters
    ----------
    months_unclean : array_like, shape (...)
        Time since it was last cleaned. [months] 0 or more.

    Returns
    -------
    ndarray, shape (...)
        Factor on the standard transfer. [-] From 1 to 0.5.

    Notes
    -----
    An assumption without a source: 3 % lost in the first month, slowing towards a half. Only
    where the keeper says how long the stones were left.

    Examples
    --------
    >>> diffuser_fouling([0.0, 1.0, 12.0]).round(2)
    array([1.  , 0.97, 0.74])
    """
    months = np.asarray(months_unclean, float)
    return FOULING_FLOOR + (1.0 - FOULING_FLOOR) * np.exp(-FOULING_PER_MONTH * months)
