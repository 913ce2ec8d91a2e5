"""Deaths as a hazard a day: poor water, wasted bodies, handling, and the few of every day; cold and heat: `thermal`."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stocksim.compiled import formula

FloatArray = NDArray[np.float64]

# A level that kills half of the fish in four days, as the 96 h LC50 is defined.
_HALF_IN_FOUR_DAYS = np.log(2.0) / 4.0
# Oxygen at the lethal level of a species file kills half of the fish in a day (assumed; sources also say critical).
_HALF_IN_A_DAY = np.log(2.0)
# How steeply deaths rise towards those levels. Ammonia and nitrite by the sixth power: what kills half in 36 days is
# 0.69 and 0.73 of what does in 4 (cutthroat trout fry: ammonia 0.3-0.6 and 0.5-0.8 mg/L, nitrite 0.4 and 0.5-0.6;
# Thurston, Russo & Smith, EPA-600/J-78-182, abstract; middles taken): a power of ln 9 / -ln(0.69 to 0.73) = 6 to 7.
# Pikeperch: half in 120 h at 6.1 mg/L of nitrite and all within 24 h at 14 (Wuertz et al. 2013, abstract), a power of
# 4.2 or more if "all" is 99 of 100. Oxygen by the twelfth, assumed, no source. At half the acute ammonia or nitrite
# 0.3 % die a day, at twice the lethal oxygen 1 in 6,000.
# No day kills more than all but e^-10 of the fish.
_MOST_PER_DAY = 10.0
# Deaths of every day in good water [1/day]. Published survivals: bluegill 99.4 % over 120 days (Hicks et al. 2009,
# abstract), -ln(0.994)/120 = 5.0e-5; tilapia 98.3 % over 168 days (Rakocy et al., page read; the days from memory),
# -ln(0.983)/168 = 1.0e-4. Their geometric mean: 2.6 % a year.
BACKGROUND_DEATHS_PER_DAY = 7.2e-5
# Wasted fish: at half of the greatest weight half of those alive die in ten days; set by hand (`condition_hazard`).
_WASTED_HAZARD, _WASTED_LOSS = np.log(2.0) / 10.0, 0.5
# Small fish hold smaller reserves, and water replaces the fat they burn, so they die at smaller losses. The weight at
# which this is halved is that of a bass of 100 mm (10.4 g by the standard weight): shorter ones died more in winter
# ("from memory Fullerton, Garvey, Wright & Stein 2000", abstract; perch to 70 mm, 3.6 g, abstract of doi
# 10.1111/j.1600-0633.2009.00371.x).
_SMALL_WEIGHT_G = 10.0
# Fitted in this project to two trials together (`condition_hazard`).
_SMALL_LOSS = 0.6


@formula
def death_hazard(
    oxygen_mg_l: Any,
    oxygen_lethal_mg_l: Any,
    unionized_ammonia_mg_l: Any,
    unionized_acute_mg_l: Any,
    nitrite_mg_l: Any,
    nitrite_lethal_mg_l: Any,
) -> Any:
    r"""Deaths to expect from the water of a day, as a hazard.

    Parameters
    ----------
    oxygen_mg_l, oxygen_lethal_mg_l : array_like, shape (...)
        Dissolved oxygen, mean of the day, and the species' lethal level. [mg/L]
    unionized_ammonia_mg_l, unionized_acute_mg_l : array_like, shape (...)
        Un-ionized ammonia as N, mean of the day, and the species' acute level. [mg/L]
    nitrite_mg_l, nitrite_lethal_mg_l : array_like, shape (...)
        Nitrite as N, and what kills half of the species in four days at this chloride (`water.nitrite.nitrite_lethal`).
        [mg/L] Infinite where that was not measured: then no deaths of nitrite are counted.

    Returns
    -------
    ndarray, shape (...)
        Hazard h: a share 1 - exp(-h) dies in the day. [1/day] From 0 to 10.

    Notes
    -----
    .. math:: h = \ln 2\,(O_{lethal}/O)^{12} + \tfrac{\ln 2}{4}(N/N_{acute})^6
              + \tfrac{\ln 2}{4}(N_2/N_{2,lethal})^6

    The levels are the species file's; where the powers come from stands beside the constants. A hazard of this kind
    says which day fish begin to die, not how many: treat any death it shows as an alarm. Deaths over weeks far below
    the acute level are not in it: of silver catfish, half of which died in four days at 20.5 mg/L of nitrite, two
    thirds died in 20 days at 1.52 and all in 40 (scielo S1679-62252011000100013, abstract).

    Examples
    --------
    >>> death_hazard([6.0, 2.0, 1.2], 1.2, [0.0, 0.6, 0.0], 0.6, 0.0, 2.75).round(3)
    array([0.   , 0.175, 0.693])
    """
    choked, poisoned, browned = water_powers(
        oxygen_mg_l, oxygen_lethal_mg_l, unionized_ammonia_mg_l, unionized_acute_mg_l, nitrite_mg_l, nitrite_lethal_mg_l
    )
    return np.minimum(_HALF_IN_A_DAY * choked + _HALF_IN_FOUR_DAYS * (poisoned + browned), _MOST_PER_DAY)


@formula
def water_powers(
    oxygen_mg_l: Any,
    oxygen_lethal_mg_l: Any,
    unionized_ammonia_mg_l: Any,
    unionized_acute_mg_l: Any,
    nitrite_mg_l: Any,
    nitrite_lethal_mg_l: Any,
) -> Any:
    """The powers of scarce oxygen, ammonia and nitrite of which `death_hazard` is made, without its cap.

    Parameters
    ----------
    oxygen_mg_l, oxygen_lethal_mg_l, unionized_ammonia_mg_l, unionized_acute_mg_l : array_like, shape (...)
        As in `death_hazard`. [mg/L]
    nitrite_mg_l, nitrite_lethal_mg_l : array_like, shape (...)
        As in `death_hazard`. [mg/L]

    Returns
    -------
    tuple of three ndarray, shape (...)
        Twelfth power of oxygen's ratio, sixth of ammonia's and nitrite's; 1 at the lethal level. [-]
    """
    scarce = oxygen_lethal_mg_l / np.maximum(oxygen_mg_l, 1e-3)
    toxic, nitrite = unionized_ammonia_mg_l / unionized_acute_mg_l, nitrite_mg_l / nitrite_lethal_mg_l
    # products of squares: far quicker than powers
    scarce_squared, toxic_squared, nitrite_squared = scarce * scarce, toxic * toxic, nitrite * nitrite
    choked = scarce_squared * scarce_squared
    return (
        choked * choked * choked,
        toxic_squared * toxic_squared * toxic_squared,
        nitrite_squared * nitrite_squared * nitrite_squared,
    )


def water_hazards(
    oxygen_mg_l: ArrayLike,
    oxygen_lethal_mg_l: ArrayLike,
    unionized_ammonia_mg_l: ArrayLike,
    unionized_acute_mg_l: ArrayLike,
    nitrite_mg_l: ArrayLike,
    nitrite_lethal_mg_l: ArrayLike,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """What oxygen, ammonia and nitrite each add to `death_hazard` before a day's cap.

    Parameters
    ----------
    oxygen_mg_l, oxygen_lethal_mg_l, unionized_ammonia_mg_l, unionized_acute_mg_l : array_like, shape (...)
        As in `death_hazard`. [mg/L]
    nitrite_mg_l, nitrite_lethal_mg_l : array_like, shape (...)
        As in `death_hazard`. [mg/L]

    Returns
    -------
    tuple of three ndarray, shape (...)
        Hazards of oxygen, ammonia and nitrite. [1/day] Without an upper end, so that they tell causes apart on days
        that leave nobody.

    Examples
    --------
    >>> [float(one) for one in water_hazards(6.0, 1.2, 1.2, 0.6, 5.5, 2.75)]  # doctest: +NUMBER
    [0.0000, 11.0904, 11.0904]
    """
    choked, poisoned, browned = water_powers(
        oxygen_mg_l, oxygen_lethal_mg_l, unionized_ammonia_mg_l, unionized_acute_mg_l, nitrite_mg_l, nitrite_lethal_mg_l
    )
    return _HALF_IN_A_DAY * choked, _HALF_IN_FOUR_DAYS * poisoned, _HALF_IN_FOUR_DAYS * browned


@formula
def condition_hazard(weight_g: Any, greatest_weight_g: Any) -> Any:
    r"""Deaths to expect of fish that have wasted, as a hazard.

    Parameters
    ----------
    weight_g, greatest_weight_g : array_like, shape (...)
        Weight now, and the greatest the fish ever had. [g] Above 0.

    Returns
    -------
    ndarray, shape (...)
        Hazard. [1/day]

    Notes
    -----
    .. math:: h = \frac{\ln 2}{10}\,\Big[\Big(\frac{L}{0.5}\Big)^4
              + \frac{(L/0.6)^2}{1 + (W_{max}/10)^2}\Big], \quad L = 1 - W/W_{max}

    Fish that are fed enough to keep their weight lose nothing to it. The first term is of fish of any size, the second
    of small ones, fitted by least squares with weights of `grow_in_good_water` and standard weights to

    - starved young perch, 46 % dead, fed 1 % (Post & Evans 1989, abstract; we take 40-80 mm and 150 days at 4 degC,
      which it does not tell): here 55 %;
    - starved young bass of 70-160 mm, 38.1 % alive where 64.5 % of fed ones were (abstract, authors from memory
      Fullerton and others 2000; we take 150 days at 4, 120 at 5 and 90 at 9 degC), so hunger took 41 %: here 10 %.

    One formula of weight and loss cannot have both, for bass lose less weight. Besides:

    - bluegill of 20-30 mm: over 55 % dead after 150 winter days whatever the food (source not noted, from memory);
      here 92-99 %. Larger ones fared better, without a number: 68 % at 50 mm.
    - catfish of 454 g that lost 9 % in 100 winter days: practically none; here 0.3 % where the model loses 10 %.
    - yellow perch of their first year, weight and food not told: 17.7 % dead after 150 days at 4 degC and 0.8 % at
      2.5 (Can. J. Fish. Aquat. Sci. 48:672, abstract). So sharp a difference is missed.
    - never fitted to: 14 of 18 unfed bass of 2.2 g died in 8 weeks at 3.2 degC (Breck 2014, abstract); here 2 %. Take
      what the model tells of small fish as the least.

    Examples
    --------
    >>> condition_hazard([100.0, 91.0, 70.0, 50.0], 100.0).round(5)
    array([0.000e+00, 9.000e-05, 9.150e-03, 6.979e-02])
    >>> condition_hazard([1.82, 18.2], [2.0, 20.0]).round(5)
    array([0.00157, 0.00038])
    """
    lost = np.maximum(1.0 - weight_g / greatest_weight_g, 0.0)
    squared = lost * lost
    size = greatest_weight_g / _SMALL_WEIGHT_G
    small = squared / (_SMALL_LOSS**2 * (1.0 + size * size))
    return _WASTED_HAZARD * (squared * squared / _WASTED_LOSS**4 + small)


def training_hazard(loss_share: ArrayLike, days: ArrayLike) -> FloatArray:
    """Constant hazard by which wild-caught fish are lost while they learn to take pellets.

    Parameters
    ----------
    loss_share : array_like, shape (...)
        Share of the fish lost over the training. [-] Below 1.
    days : array_like, shape (...)
        Length of the training. [day] Above 0.

    Returns
    -------
    ndarray, shape (...)
        Hazard. [1/day]

    Examples
    --------
    >>> float(1.0 - np.exp(-21.0 * training_hazard(0.25, 21.0)))
    0.25
    """
    return -np.log1p(-np.asarray(loss_share, float)) / np.asarray(days, float)
