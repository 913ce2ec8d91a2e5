"""Sobol indices: what share of an output's variance each group of uncertain things makes, alone and with the others.

Apart from `outlook`, for it knows nothing of fish and is tested on a function whose indices are known.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

_RESAMPLED = 200


class Indices(NamedTuple):
    """Of each group: first order, total, and the standard error of both, shape (group,). [-]"""

    first: FloatArray
    first_error: FloatArray
    total: FloatArray
    total_error: FloatArray


def sobol_indices(at_a: FloatArray, at_b: FloatArray, mixed: FloatArray, seed: int = 0) -> Indices:
    r"""Indices from an output at two sets of points and at their mixtures.

    Parameters
    ----------
    at_a, at_b : ndarray, shape (point,)
        The output at points A and at points B, drawn apart.
    mixed : ndarray, shape (group, point)
        The output at the points A of which the coordinates of one group are those of B.
    seed : int
        Of the resampling that gives the errors.

    Returns
    -------
    Indices
        NaN where the output does not vary.

    Notes
    -----
    .. math:: S_g = \frac{1}{V N} \sum f_B (f_{AB_g} - f_A), \quad T_g = \frac{1}{2 V N} \sum (f_A - f_{AB_g})^2

    with f less its mean, and V the variance over A and B (Saltelli et al. 2010, table 2, b and f, from memory; the
    second after Jansen 1999). Errors are standard deviations over 200 resamplings of the points with putting back.
    Those suppose points drawn at random; points of a Sobol sequence do better, so errors are on the large side.
    """
    points = len(at_a)
    every = np.random.default_rng(seed).integers(0, points, (_RESAMPLED, points))
    first, total = _estimated(at_a[None], at_b[None], mixed[:, None])
    again = _estimated(at_a[every], at_b[every], mixed[:, every])
    return Indices(first[:, 0], again[0].std(axis=1, ddof=1), total[:, 0], again[1].std(axis=1, ddof=1))


def _estimated(at_a: FloatArray, at_b: FloatArray, mixed: FloatArray) -> tuple[FloatArray, FloatArray]:
    """First and total indices, shape (group, resampling), of outputs whose last axis is points."""
    both = np.concatenate([at_a, at_b], axis=-1)
    middle = both.mean(axis=-1, keepdims=True)
    variance = np.square(both - middle).mean(axis=-1)
    variance = np.where(variance > 0.0, variance, np.nan)
    first = ((at_b - middle) * (mixed - at_a)).mean(axis=-1) / variance
    total = 0.5 * np.square(at_a - mixed).mean(axis=-1) / variance
    return first, total
