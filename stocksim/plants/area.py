"""Feed and planted area by the handbooks' ratio."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray


def planting_ratio(feed_g_day: ArrayLike, planted_area_m2: ArrayLike) -> NDArray[np.float64]:
    """Feed offered per planted area.

    Parameters
    ----------
    feed_g_day : array_like, shape (...)
        Feed offered. [g/day]
    planted_area_m2 : array_like, shape (...)
        Planted area. [m2]

    Returns
    -------
    ndarray, shape (...)
        Ratio. [g/m2/day] NaN where nothing is planted.

    Examples
    --------
    >>> planting_ratio([20000.0, 5.0], [200.0, 0.0])
    array([100.,  nan])
    """
    feed, area = np.broadcast_arrays(np.asarray(feed_g_day, float), np.asarray(planted_area_m2, float))
    return np.divide(feed, area, out=np.full(feed.shape, np.nan), where=area > 0.0)


def handbook_area(feed_g_day: ArrayLike, ratio_g_m2_day: ArrayLike) -> NDArray[np.float64]:
    """Planted area that a feed carries by a published ratio.

    Parameters
    ----------
    feed_g_day : array_like, shape (...)
        Feed offered. [g/day]
    ratio_g_m2_day : array_like, shape (...)
        Published feed per planted area. [g/m2/day] Above 0.

    Returns
    -------
    ndarray, shape (...)
        Area. [m2]

    Notes
    -----
    The ratio is an average over staggered crops in the warm season, not a nutrient balance: in winter light crops draw
    less than it supposes.

    References
    ----------
    .. [1] J. E. Rakocy, 2007. Ten guidelines for aquaponic systems. Aquaponics Journal 46: 1,000 g of feed a day at
       60 g/m2/day carry 16.7 m2.

    Examples
    --------
    >>> handbook_area([1000.0], 60.0).round(1)
    array([16.7])
    """
    return np.asarray(feed_g_day, float) / np.asarray(ratio_g_m2_day, float)
