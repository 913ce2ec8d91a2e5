"""The handbooks' sizing rules: feed for an area, fish for a feed, area for a harvest a week."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

# Ammonia nitrogen a handbook counts for each gram of feed nitrogen, and grams of ammonia for one of its nitrogen as it
# rounds it: Somerville et al. 2014, FAO 589 (from memory).
HANDBOOK_DISSOLVED_SHARE, HANDBOOK_AMMONIA_PER_NITROGEN = 0.61, 1.2


def feed_for_area(planted_area_m2: ArrayLike, ratio_g_m2_day: ArrayLike) -> FloatArray:
    """Feed that a planted area asks for by a published ratio.

    Parameters
    ----------
    planted_area_m2 : array_like, shape (...)
        Planted area. [m2]
    ratio_g_m2_day : array_like, shape (...)
        Published feed per planted area. [g/m2/day]

    Returns
    -------
    ndarray, shape (...)
        Feed. [g/day]

    Examples
    --------
    >>> feed_for_area(200.0, 100.0)
    np.float64(20000.0)
    """
    return np.asarray(planted_area_m2, float) * np.asarray(ratio_g_m2_day, float)


def biomass_for_feed(feed_g_day: ArrayLike, ration_percent: ArrayLike) -> FloatArray:
    """Fish that eat a feed.

    Parameters
    ----------
    feed_g_day : array_like, shape (...)
        Feed offered. [g/day]
    ration_percent : array_like, shape (...)
        Feed a day in percent of the fish's weight. [%] Above 0.

    Returns
    -------
    ndarray, shape (...)
        Fish. [kg]

    Examples
    --------
    >>> biomass_for_feed(200.0, [1.0, 2.0])
    array([20., 10.])
    """
    return np.asarray(feed_g_day, float) / (10.0 * np.asarray(ration_percent, float))


def staggered_area(plants_per_week: ArrayLike, weeks: ArrayLike, plants_per_area: ArrayLike) -> FloatArray:
    """Area of a crop planted and harvested every week.

    Parameters
    ----------
    plants_per_week : array_like, shape (...)
        Heads harvested. [1/week]
    weeks : array_like, shape (...)
        Time from planting out to harvest. [week]
    plants_per_area : array_like, shape (...)
        Planting density. [1/m2]

    Returns
    -------
    ndarray, shape (...)
        Area. [m2]

    Examples
    --------
    >>> staggered_area(25, 4, 25)
    np.float64(4.0)
    """
    plants = np.asarray(plants_per_week, float) * np.asarray(weeks, float)
    return plants / np.asarray(plants_per_area, float)


def handbook_ammonia(feed_g_day: ArrayLike, protein: ArrayLike) -> FloatArray:
    """Ammonia of a feed as FAO 589 reckons it: 0.16 nitrogen in protein, 0.61 dissolved, 1.2 g ammonia a gram.

    Parameters
    ----------
    feed_g_day : array_like, shape (...)
        Feed offered. [g/day]
    protein : array_like, shape (...)
        Protein of the feed. [-]

    Returns
    -------
    ndarray, shape (...)
        Ammonia (NH3, not nitrogen). [g/day]

    Examples
    --------
    >>> handbook_ammonia(200.0, 0.32).round(1)
    np.float64(7.5)
    """
    nitrogen = 0.16 * np.asarray(protein, float) * np.asarray(feed_g_day, float)
    return HANDBOOK_DISSOLVED_SHARE * HANDBOOK_AMMONIA_PER_NITROGEN * nitrogen
