"""The normal distribution: share below a score, its logarithm, and the score of a share.

Apart from `spread`, for its formulas are of the normal distribution alone and are tested against tables of it.
"""

from __future__ import annotations

import math
from typing import Any

from stocksim.compiled import elementwise

_ROOT_2 = math.sqrt(2.0)
_LOG_ROOT_2_PI = 0.5 * math.log(2.0 * math.pi)
# Below this score erfc comes near the smallest numbers there are; the series is exact to rounding there.
_FAR_BELOW = -37.0


@elementwise
def normal_share(score: Any) -> Any:
    """Share of a normal distribution below a score.

    Parameters
    ----------
    score : array_like, shape (...)
        Standard deviations above the mean. [-] May be infinite.

    Returns
    -------
    ndarray, shape (...)
        Share. [-] NaN in gives NaN out.

    Examples
    --------
    >>> normal_share([-1.0, 0.0, 1.0]).round(4)
    array([0.1587, 0.5   , 0.8413])
    """
    return 0.5 * math.erfc(-score / _ROOT_2)


@elementwise
def log_normal_share(score: Any) -> Any:
    """Natural logarithm of `normal_share`, also where the share itself is too small to be a number.

    Parameters
    ----------
    score : array_like, shape (...)
        Standard deviations above the mean. [-] Above minus infinity.

    Returns
    -------
    ndarray, shape (...)
        Logarithm. [-]

    References
    ----------
    .. [1] M. Abramowitz and I. A. Stegun, 1964. Handbook of Mathematical Functions, 26.2.12 (from memory).

    Examples
    --------
    >>> log_normal_share([-50.0, 0.0]).round(3)
    array([-1254.831,    -0.693])
    """
    if score > 0.0:
        return math.log1p(-0.5 * math.erfc(score / _ROOT_2))
    if score > _FAR_BELOW:
        return math.log(0.5 * math.erfc(-score / _ROOT_2))
    square = score * score
    over = 1.0 / square
    series = 1.0 - over * (1.0 - over * (3.0 - over * (15.0 - over * (105.0 - over * 945.0))))
    return -0.5 * square - math.log(-score) - _LOG_ROOT_2_PI + math.log(series)


@elementwise
def normal_score(share: Any) -> Any:
    """Score below which a share of a normal distribution lies.

    Parameters
    ----------
    share : array_like, shape (...)
        Share. [-] From 0 to 1.

    Returns
    -------
    ndarray, shape (...)
        Score. [-] Infinite at 0 and 1; NaN in gives NaN out.

    Notes
    -----
    A rational first guess, within 4.5e-4, and Newton's rule on the logarithm of the smaller side's share.

    References
    ----------
    .. [1] M. Abramowitz and I. A. Stegun, 1964. Handbook of Mathematical Functions, 26.2.23 (from memory).

    Examples
    --------
    >>> normal_score([0.025, 0.5, 0.8413]).round(3)
    array([-1.96,  0.  ,  1.  ])
    """
    if not 0.0 < share < 1.0:
        if share == 0.0:
            return -math.inf
        return math.inf if share == 1.0 else math.nan
    tail = min(share, 1.0 - share)
    t = math.sqrt(-2.0 * math.log(tail))
    top = 2.515517 + t * (0.802853 + t * 0.010328)
    score = t - top / (1.0 + t * (1.432788 + t * (0.189269 + t * 0.001308)))
    for _ in range(4):
        # by the logarithm of the upper tail, where small shares keep their digits; the slope is that of Mills' ratio
        log_above = log_normal_share(-score)
        score += (log_above - math.log(tail)) * math.exp(log_above + 0.5 * score * score + _LOG_ROOT_2_PI)
    return -score if share < 0.5 else score
