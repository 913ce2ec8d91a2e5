"""Spread of sizes in a cohort: weights are lognormal about their mean, so shares and splits have closed forms."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]


class Parts(NamedTuple):
    """A cohort cut in two by weight: shares of the number [-], mean weights [g] and their spreads [-]."""

    share_below: FloatArray
    mean_below_g: FloatArray
    cv_below: FloatArray
    share_above: FloatArray
    mean_above_g: FloatArray
    cv_above: FloatArray


# beyond these scores a float cannot tell the share from 0 and 1
_NO_SHARE, _WHOLE_SHARE = -38.5, 8.3


def normal_share(score: ArrayLike) -> FloatArray:
    """Share of a standard normal distribution that lies below a score.

    Parameters
    ----------
    score : array_like, shape (...)
        Standard deviations above the mean. [-]

    Returns
    -------
    ndarray, shape (...)
        Share. [-] NaN in gives NaN out.

    Notes
    -----
    By the C library's error function: scipy's is four times as quick, but its import costs a fifth of a second at
    every start. Scores too far out to matter are not computed.

    Examples
    --------
    >>> normal_share([-np.inf, -1.96, 0.0, 1.0]).round(3)
    array([0.   , 0.025, 0.5  , 0.841])
    """
    scores = np.asarray(score, float)
    share = np.where(np.isnan(scores), np.nan, scores > 0.0)
    inside = (scores > _NO_SHARE) & (scores < _WHOLE_SHARE)
    halves = (-math.sqrt(0.5) * scores[inside]).tolist()
    share[inside] = 0.5 * np.fromiter(map(math.erfc, halves), float, len(halves))
    return share


def log_spread(cv: ArrayLike) -> FloatArray:
    """Standard deviation of the logarithm of a lognormal.

    Parameters
    ----------
    cv : array_like, shape (...)
        Standard deviation over mean. [-] 0 or more.

    Returns
    -------
    ndarray, shape (...)
        Standard deviation of the natural logarithm. [-]
    """
    return np.sqrt(np.log1p(np.asarray(cv, float) ** 2))


def _standing(mean_g: ArrayLike, cv: ArrayLike, cut_g: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Score z, with Phi(z) of the number above the cut, and the log spread; z is infinite for fish all alike."""
    mean, cut, spread = np.broadcast_arrays(np.asarray(mean_g, float), np.asarray(cut_g, float), log_spread(cv))
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        score = (np.log(mean) - np.log(np.maximum(cut, 0.0))) / spread - 0.5 * spread
    alike = np.where(mean >= cut, np.inf, -np.inf)
    score = np.where(spread > 0.0, score, alike)
    return np.where(np.isnan(mean + cut + spread) & ~np.isinf(cut), np.nan, score), spread


def share_above(mean_weight_g: ArrayLike, cv: ArrayLike, cut_g: ArrayLike) -> FloatArray:
    """Share of the number of fish that weigh a cut or more.

    Parameters
    ----------
    mean_weight_g, cut_g : array_like, shape (...)
        Mean weight, above 0, and the cut. [g]
    cv : array_like, shape (...)
        Standard deviation over mean weight. [-] 0 is fish all alike: then all or none are above.

    Returns
    -------
    ndarray, shape (...)
        Share. [-]

    Notes
    -----
    Weights in a cohort are taken as lognormal (common practice): a long tail of large fish, none below zero.

    Examples
    --------
    >>> share_above(200.0, [0.0, 0.3], [200.0, 250.0]).round(3)
    array([1.   , 0.182])
    """
    return normal_share(_standing(mean_weight_g, cv, cut_g)[0])


def mass_share_above(mean_weight_g: ArrayLike, cv: ArrayLike, cut_g: ArrayLike) -> FloatArray:
    """Share of the biomass that is in fish of a cut or more.

    Parameters
    ----------
    mean_weight_g, cv, cut_g : array_like, shape (...)
        As in `share_above`. [g], [-], [g]

    Returns
    -------
    ndarray, shape (...)
        Share. [-]

    Examples
    --------
    >>> mass_share_above(200.0, 0.3, 250.0).round(3)
    np.float64(0.27)
    """
    score, spread = _standing(mean_weight_g, cv, cut_g)
    return normal_share(score + spread)


def weight_with_share_above(mean_weight_g: ArrayLike, cv: ArrayLike, number_share: ArrayLike) -> FloatArray:
    """Weight above which a share of the fish lies.

    Parameters
    ----------
    mean_weight_g : array_like, shape (...)
        Mean weight. [g] Above 0.
    cv : array_like, shape (...)
        Standard deviation over mean weight. [-] Fish all alike have no cut between them: the mean comes back, and
        `split_share` does what a cut cannot.
    number_share : array_like, shape (...)
        Share of the number to lie above. [-] 1 gives the cut 0, 0 an infinite cut.

    Returns
    -------
    ndarray, shape (...)
        Cut. [g]

    Examples
    --------
    >>> weight_with_share_above(200.0, 0.3, 0.182).round(0)
    np.float64(250.0)
    """
    return _cut(mean_weight_g, cv, number_share, -0.5)


def weight_above_removing_mass(mean_weight_g: ArrayLike, cv: ArrayLike, mass_share: ArrayLike) -> FloatArray:
    """Weight such that the fish above it hold a share of the biomass.

    Parameters
    ----------
    mean_weight_g, cv : array_like, shape (...)
        As in `weight_with_share_above`. [g], [-]
    mass_share : array_like, shape (...)
        Share of the biomass to lie above. [-] 1 gives the cut 0, 0 an infinite cut.

    Returns
    -------
    ndarray, shape (...)
        As from `weight_with_share_above`. [g]

    Examples
    --------
    >>> weight_above_removing_mass(200.0, 0.3, 0.27).round(0)
    np.float64(250.0)
    """
    return _cut(mean_weight_g, cv, mass_share, 0.5)


def _cut(mean_g: ArrayLike, cv: ArrayLike, taken: ArrayLike, shift: float) -> FloatArray:
    """Cut above which a share of the number (shift -0.5) or of the biomass (0.5) lies."""
    from scipy.special import ndtri  # 0.2 s of start-up that only grading and harvests need

    mean, share, spread = np.broadcast_arrays(np.asarray(mean_g, float), np.asarray(taken, float), log_spread(cv))
    inside = (share > 0.0) & (share < 1.0)
    score = ndtri(np.where(inside, share, 0.5))
    cut = mean * np.exp(spread * (shift * spread - score))
    cut = np.where(inside, cut, np.where(share >= 1.0, 0.0, np.inf))
    return np.where(np.isnan(share + mean), np.nan, cut)


def share_holding_mass(cv: ArrayLike, mass_share: ArrayLike) -> FloatArray:
    """Share of the number that the largest fish make which hold a share of the biomass.

    Parameters
    ----------
    cv : array_like, shape (...)
        Standard deviation over mean weight. [-] For fish all alike the two shares are the same.
    mass_share : array_like, shape (...)
        Share of the biomass, taken from the top. [-]

    Returns
    -------
    ndarray, shape (...)
        Share of the number. [-]

    Examples
    --------
    >>> share_holding_mass([0.0, 0.3], 0.27).round(3)
    array([0.27 , 0.182])
    """
    from scipy.special import ndtri

    return normal_share(ndtri(np.asarray(mass_share, float)) - log_spread(cv))


def split(mean_weight_g: ArrayLike, cv: ArrayLike, cut_g: ArrayLike) -> Parts:
    r"""Cut a cohort in two by weight.

    Parameters
    ----------
    mean_weight_g, cv, cut_g : array_like, shape (...)
        As in `share_above`. [g], [-], [g]

    Returns
    -------
    Parts
        Share of the number, mean [g] and cv [-] of the fish below, and of those of the cut or more. An empty part has
        share 0, cv 0 and as mean the cut, or the cohort's mean where that would lie on the wrong side of it.

    Notes
    -----
    Shares, means and variances are the exact partial moments of the lognormal,

    .. math:: E[W^k; W > c] = E[W^k]\,\Phi(z + k s), \quad z = (\ln(m/c))/s - s/2, \quad s^2 = \ln(1 + cv^2)

    so number and biomass are conserved. A part is afterwards taken as lognormal again, with its own mean and cv. That
    is an approximation: in truth it ends sharply at the cut. Halving a cohort of cv 0.3 by number, and its upper half
    again, misses the two means by -1.2 and +0.9 %; at cv 0.5 by -3.2 and +2.0 % (tests/test_spread.py). Fish of a part
    soon grow apart again, which blurs the edge.

    Examples
    --------
    >>> parts = split(200.0, 0.3, 250.0)
    >>> [float(number.round(3)) for number in parts]
    [0.818, 178.577, 0.214, 0.182, 296.139, 0.148]
    """
    score, _ = _standing(mean_weight_g, cv, cut_g)
    return _parts(mean_weight_g, cv, score, cut_g)


def split_share(mean_weight_g: ArrayLike, cv: ArrayLike, number_share: ArrayLike) -> Parts:
    """Take a share of the number from the top of a cohort; works for fish all alike too, where no cut can.

    Parameters
    ----------
    mean_weight_g, cv : array_like, shape (...)
        As in `split`. [g], [-]
    number_share : array_like, shape (...)
        Share of the number in the upper part. [-]

    Returns
    -------
    Parts
        As from `split`.

    Examples
    --------
    >>> [float(number.round(3)) for number in split_share(200.0, 0.0, 0.25)]
    [0.75, 200.0, 0.0, 0.25, 200.0, 0.0]
    """
    from scipy.special import ndtri

    cut = weight_with_share_above(mean_weight_g, cv, number_share)
    return _parts(mean_weight_g, cv, ndtri(np.asarray(number_share, float)), cut)


def _parts(mean_g: ArrayLike, cv: ArrayLike, score: FloatArray, cut_g: ArrayLike) -> Parts:
    """Partial moments on both sides of a score; the tails are taken in logarithms, where their ratios stay exact."""
    from scipy.special import log_ndtr

    mean, cv, score, cut, spread = np.broadcast_arrays(
        np.asarray(mean_g, float), np.asarray(cv, float), score, np.asarray(cut_g, float), log_spread(cv)
    )
    found = []
    for sign in (-1.0, 1.0):
        share = normal_share(sign * score)
        empty = share == 0.0
        edge = np.where(empty, 0.0, score)
        log_share, log_mass, log_square = (log_ndtr(sign * (edge + k * spread)) for k in (0.0, 1.0, 2.0))
        lost = np.minimum(mean, cut) if sign < 0.0 else np.maximum(mean, cut)
        lost = np.where(np.isfinite(cut) & (cut > 0.0), lost, mean)
        part_mean = np.where(empty, lost, mean * np.exp(log_mass - log_share))
        square = (1.0 + cv**2) * np.exp(log_square + log_share - 2.0 * log_mass)
        part_cv = np.sqrt(np.minimum(np.maximum(square - 1.0, 0.0), cv**2))
        found += [share, part_mean, np.where(empty, 0.0, part_cv)]
    return Parts(*found)
