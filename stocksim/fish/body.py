"""Length of a fish from its weight, and back."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stocksim.compiled import exp, formula, log

FloatArray = NDArray[np.float64]

_LN_10 = math.log(10.0)


@formula
def total_length_mm(weight_g: Any, length_intercept: Any, length_slope: Any, condition: Any = 1.0) -> Any:
    r"""Total length of a fish of a given weight.

    Parameters
    ----------
    weight_g : array_like, shape (...)
        Weight. [g] Above 0.
    length_intercept, length_slope : array_like, shape (...)
        Intercept [log10 g at 1 mm] and slope [-] of the species' standard weight.
    condition : array_like, shape (...)
        Weight of these fish over the standard weight at the same length. [-] Farmed fish 1.0 to 1.3, wild ones about
        0.9 to 1.

    Returns
    -------
    ndarray, shape (...)
        Length from snout to the end of the tail. [mm]

    Notes
    -----
    .. math:: \log_{10}(W / condition) = a + b\,\log_{10} L

    Standard weights are the 75th percentile of wild populations; farmed fish are heavier at a length, so shorter at a
    weight. Below the standard's least length (50 to 200 mm by species) the line is drawn on and only roughly right.

    Examples
    --------
    >>> total_length_mm([28.0, 119.0], -5.374, 3.316, 1.3).round(0)
    array([105., 163.])
    """
    # by log and exp, which round alike compiled and plain
    standard = log(weight_g / condition) / _LN_10
    return exp(_LN_10 * (standard - length_intercept) / length_slope)


def weight_at_length_g(
    length_mm: ArrayLike, length_intercept: ArrayLike, length_slope: ArrayLike, condition: ArrayLike = 1.0
) -> FloatArray:
    """Weight of a fish of a given total length, the inverse of `total_length_mm`.

    Parameters
    ----------
    length_mm : array_like, shape (...)
        Total length. [mm] Above 0.
    length_intercept, length_slope, condition : array_like, shape (...)
        As in `total_length_mm`.

    Returns
    -------
    ndarray, shape (...)
        Weight. [g]

    Examples
    --------
    >>> weight_at_length_g(500.0, -5.528, 3.273).round(0)
    np.float64(2022.0)
    """
    log_weight = np.asarray(length_intercept, float) + np.asarray(length_slope, float) * np.log10(
        np.asarray(length_mm, float)
    )
    return np.asarray(condition, float) * 10.0**log_weight
