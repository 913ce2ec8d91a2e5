"""Spread of sizes in a cohort: weights are lognormal about their mean, so shares and splits have closed forms."""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stocksim.compiled import elementwise, formula, jitable, log1p
from stocksim.fish.normal import log_normal_share, normal_score, normal_share

FloatArray = NDArray[np.float64]


class Parts(NamedTuple):
    """A cohort cut in two by weight: shares of the number [-], mean weights [g] and their spreads [-]."""

    share_below: FloatArray
    mean_below_g: FloatArray
    cv_below: FloatArray
    share_above: FloatArray
    mean_above_g: FloatArray
    cv_above: FloatArray


@formula
def log_spread(cv: Any) -> Any:
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
    return np.sqrt(log1p(cv * cv))


@elementwise
def _standing(mean_g: Any, cv: Any, cut_g: Any) -> Any:
    """Score z, with Phi(z) of the number above the cut; infinite for fish all alike."""
    spread = log_spread(cv)
    if math.isnan(mean_g + spread) or math.isnan(cut_g):
        return math.nan
    if not spread > 0.0:
        return math.inf if mean_g >= cut_g else -math.inf
    if not cut_g > 0.0:
        return math.inf
    return -math.inf if math.isinf(cut_g) else (math.log(mean_g) - math.log(cut_g)) / spread - 0.5 * spread


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
    return normal_share(_standing(mean_weight_g, cv, cut_g))


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
    >>> round(mass_share_above(200.0, 0.3, 250.0), 3)
    0.27
    """
    return normal_share(_standing(mean_weight_g, cv, cut_g) + log_spread(cv))


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
    >>> round(weight_with_share_above(200.0, 0.3, 0.182))
    250
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
    >>> round(weight_above_removing_mass(200.0, 0.3, 0.27))
    250
    """
    return _cut(mean_weight_g, cv, mass_share, 0.5)


@elementwise
def _cut(mean_g: Any, cv: Any, taken: Any, shift: Any) -> Any:
    """Cut above which a share of the number (shift -0.5) or of the biomass (0.5) lies."""
    if math.isnan(mean_g + taken):
        return math.nan
    if taken >= 1.0:
        return 0.0
    if taken <= 0.0:
        return math.inf
    spread = log_spread(cv)
    return mean_g * math.exp(spread * (shift * spread - normal_score(taken)))


@elementwise
def share_holding_mass(cv: Any, mass_share: Any) -> Any:
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
    return normal_share(normal_score(mass_share) - log_spread(cv))


@elementwise
def split(mean_weight_g: Any, cv: Any, cut_g: Any) -> Any:
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
    >>> [round(number, 3) for number in parts]
    [0.818, 178.577, 0.214, 0.182, 296.139, 0.148]
    """
    return _parts(mean_weight_g, cv, _standing(mean_weight_g, cv, cut_g), cut_g)


@elementwise
def split_share(mean_weight_g: Any, cv: Any, number_share: Any) -> Any:
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
    >>> [round(number, 3) for number in split_share(200.0, 0.0, 0.25)]
    [0.75, 200.0, 0.0, 0.25, 200.0, 0.0]
    """
    cut = _cut(mean_weight_g, cv, number_share, -0.5)
    return _parts(mean_weight_g, cv, normal_score(number_share), cut)


@jitable
def _parts(mean_g: Any, cv: Any, score: Any, cut_g: Any) -> Any:
    """Partial moments on both sides of a score."""
    below = _part(-1.0, mean_g, cv, score, cut_g)
    above = _part(1.0, mean_g, cv, score, cut_g)
    return Parts(below[0], below[1], below[2], above[0], above[1], above[2])


@jitable
def _part(sign: Any, mean_g: Any, cv: Any, score: Any, cut_g: Any) -> Any:
    """Share, mean and cv above a score, or below it (sign -1); in logarithms, where ratios of tails stay exact."""
    share = normal_share(sign * score)
    if share == 0.0:
        if not 0.0 < cut_g < math.inf:
            return 0.0, mean_g, 0.0
        return 0.0, min(mean_g, cut_g) if sign < 0.0 else max(mean_g, cut_g), 0.0
    spread = log_spread(cv)
    log_share, log_mass = log_normal_share(sign * score), log_normal_share(sign * (score + spread))
    log_square = log_normal_share(sign * (score + 2.0 * spread))
    square = (1.0 + cv * cv) * math.exp(log_square + log_share - 2.0 * log_mass)
    return share, mean_g * math.exp(log_mass - log_share), math.sqrt(min(max(square - 1.0, 0.0), cv * cv))
