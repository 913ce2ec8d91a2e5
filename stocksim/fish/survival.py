"""Deaths in poor water, as a hazard a day."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

# A level that kills half of the fish in four days, as the 96 h LC50 is defined.
_HALF_IN_FOUR_DAYS = np.log(2.0) / 4.0
# Oxygen at the lethal level of a species file kills half of the fish in a day (assumed; sources also say critical).
_HALF_IN_A_DAY = np.log(2.0)
# How steeply deaths rise towards those levels: assumed, no source. At half the acute ammonia or nitrite 1 % die a day,
# at twice the lethal oxygen 1 in 6,000.
_TOXIC_POWER, _OXYGEN_POWER = 4.0, 12.0
# Nitrite at which half die in four days, as a multiple of the species' limit: five, as for trout, whose limit is a
# fifth of the level that killed fry of a close relative.
NITRITE_ACUTE_OVER_LIMIT = 5.0
# No day kills more than all but e^-10 of the fish.
_MOST_PER_DAY = 10.0


def death_hazard(
    oxygen_mg_l: ArrayLike,
    oxygen_lethal_mg_l: ArrayLike,
    unionized_ammonia_mg_l: ArrayLike,
    unionized_acute_mg_l: ArrayLike,
    nitrite_mg_l: ArrayLike,
    nitrite_limit_mg_l: ArrayLike,
) -> FloatArray:
    r"""Deaths to expect from the water of a day, as a hazard.

    Parameters
    ----------
    oxygen_mg_l, oxygen_lethal_mg_l : array_like, shape (...)
        Dissolved oxygen, mean of the day, and the species' lethal level. [mg/L]
    unionized_ammonia_mg_l, unionized_acute_mg_l : array_like, shape (...)
        Un-ionized ammonia as N, mean of the day, and the species' acute level. [mg/L]
    nitrite_mg_l, nitrite_limit_mg_l : array_like, shape (...)
        Nitrite as N and what the species bears at this chloride. [mg/L]

    Returns
    -------
    ndarray, shape (...)
        Hazard h: a share 1 - exp(-h) dies in the day. [1/day] From 0 to 10.

    Notes
    -----
    .. math:: h = \ln 2\,(O_{lethal}/O)^{12} + \tfrac{\ln 2}{4}(N/N_{acute})^4
              + \tfrac{\ln 2}{4}(N_2/5N_{2,limit})^4

    The levels are the species file's; the powers are assumed. A hazard of this kind says which day fish begin to die,
    not how many: treat any death it shows as an alarm.

    Examples
    --------
    >>> death_hazard([6.0, 2.0, 1.2], 1.2, [0.0, 0.6, 0.0], 0.6, 0.0, 0.55).round(3)
    array([0.   , 0.175, 0.693])
    """
    scarce = np.asarray(oxygen_lethal_mg_l, float) / np.maximum(np.asarray(oxygen_mg_l, float), 1e-3)
    toxic = np.asarray(unionized_ammonia_mg_l, float) / np.asarray(unionized_acute_mg_l, float)
    nitrite = np.asarray(nitrite_mg_l, float) / (NITRITE_ACUTE_OVER_LIMIT * np.asarray(nitrite_limit_mg_l, float))
    hazard = _HALF_IN_A_DAY * np.minimum(scarce, 2.0) ** _OXYGEN_POWER
    hazard = hazard + _HALF_IN_FOUR_DAYS * (
        np.minimum(toxic, 10.0) ** _TOXIC_POWER + np.minimum(nitrite, 10.0) ** _TOXIC_POWER
    )
    return np.minimum(hazard, _MOST_PER_DAY)


def nitrite_appetite(nitrite_mg_l: ArrayLike, limit_mg_l: ArrayLike) -> FloatArray:
    """Share of appetite left when nitrite is high: a straight line from the limit to five times it.

    Parameters
    ----------
    nitrite_mg_l, limit_mg_l : array_like, shape (...)
        Nitrite as N, and what the species bears at this chloride. [mg/L]

    Returns
    -------
    ndarray, shape (...)
        Share. [-] 1 at and below the limit, 0 from five times the limit (assumed, no source: fish with brown blood stop
        eating before they die).

    Examples
    --------
    >>> nitrite_appetite([0.5, 1.5, 2.5], 0.5)
    array([1. , 0.5, 0. ])
    """
    over = np.asarray(nitrite_mg_l, float) / np.asarray(limit_mg_l, float) - 1.0
    return 1.0 - np.minimum(np.maximum(over / (NITRITE_ACUTE_OVER_LIMIT - 1.0), 0.0), 1.0)
