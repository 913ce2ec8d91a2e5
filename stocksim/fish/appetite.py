"""What fish would eat, as shares of their greatest appetite: by temperature, oxygen and ammonia."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stocksim.compiled import elementwise

FloatArray = NDArray[np.float64]

# Spread of the scale of appetite between trials of one species, as standard deviation of its logarithm, where a
# species file tells no range of its own (fitted in this project over all species: docs/fits.md).
TRIAL_SPREAD = 0.24

# The knee of `oxygen_appetite` and what is eaten there; sources in its note.
_KNEE_OF_FULL = 3.0 / 5.5
_SHARE_AT_KNEE = 0.65
# Half width over which appetite fades out at its upper zero [degC], and its greatest part of the hump's span: ours.
# At 0.5 no published point lies inside it, so the fits are untouched.
_FADE_C, _FADE_OF_SPAN = 0.5, 0.2


def appetite_hump(
    temperature_c: ArrayLike, optimum_c: ArrayLike, upper_zero_c: ArrayLike, q10: ArrayLike
) -> FloatArray:
    r"""Share of the greatest appetite left at a temperature, warm side included.

    Parameters
    ----------
    temperature_c : array_like, shape (...)
        Water temperature. [degC]
    optimum_c, upper_zero_c : array_like, shape (...)
        Temperatures of greatest appetite and of none. [degC]
    q10 : array_like, shape (...)
        Rise of appetite over 10 degC well below the optimum. [-] Above 1.

    Returns
    -------
    ndarray, shape (...)
        Share. [-] 1 at the optimum, next to none at the upper zero and 0 from 0.5 degC above it; NaN in gives NaN out.

    Notes
    -----
    .. math:: f = V^x e^{x(1-V)}, \quad V = u/(T_0 - T_{opt}), \quad u = T_0 - T

    with :math:`x = w^2 (1 + \sqrt{1 + 40/y})^2 / 400`, :math:`w = \ln Q (T_0 - T_{opt})`,
    :math:`y = \ln Q (T_0 - T_{opt} + 2)`. It never falls to zero in the cold; `cold_ramp` does that.

    As published the hump breaks off at the upper zero: where x is near 1 a tenth of a degree decided there between
    falling fast and not falling. So within 0.5 degC of it, both sides, u is replaced by
    :math:`(u + 0.5)^2 / 2` (ours): the same value and slope at the edges, and appetite fades out over a degree. Most
    species die of heat below their upper zero, which is a shape parameter and no physiology.

    References
    ----------
    .. [1] J. F. Kitchell, D. J. Stewart and D. Weininger, 1977. Applications of a bioenergetics model to
       yellow perch and walleye. J. Fish. Res. Board Can. 34, 1922-1935 (equation from memory).

    Examples
    --------
    >>> appetite_hump([20.0, 29.0, 36.0], 29.0, 36.0, 2.5).round(3)
    array([0.576, 1.   , 0.026])
    """
    temperature, optimum, upper, slope = np.broadcast_arrays(
        np.asarray(temperature_c, float), np.asarray(optimum_c, float), np.asarray(upper_zero_c, float),
        np.log(np.asarray(q10, float)),
    )  # fmt: skip
    span = upper - optimum
    w = slope * span
    y = slope * (span + 2.0)
    x = w**2 * (1.0 + np.sqrt(1.0 + 40.0 / y)) ** 2 / 400.0
    fade = np.minimum(_FADE_C, _FADE_OF_SPAN * span)
    below = upper - temperature
    v = np.where(below < fade, np.maximum(below + fade, 0.0) ** 2 / (4.0 * fade), below) / span
    return v**x * np.exp(x * (1.0 - v))


def cold_ramp(temperature_c: ArrayLike, no_feeding_below_c: ArrayLike, width_c: ArrayLike) -> FloatArray:
    """Share of appetite left in the cold: none below a limit, all of it one width above.

    Parameters
    ----------
    temperature_c, no_feeding_below_c : array_like, shape (...)
        Water temperature and the temperature below which the fish does not feed. [degC]
    width_c : array_like, shape (...)
        Width of the straight ramp above that. [degC difference] Above 0.

    Returns
    -------
    ndarray, shape (...)
        Share. [-] From 0 to 1.
    """
    above = np.asarray(temperature_c, float) - np.asarray(no_feeding_below_c, float)
    return np.clip(above / np.asarray(width_c, float), 0.0, 1.0)


@elementwise
def oxygen_appetite(oxygen_mg_l: Any, none_at: Any, full_at: Any) -> Any:
    """Share of appetite left when oxygen is low, and its slope: a broken line from none to all.

    Parameters
    ----------
    oxygen_mg_l : array_like, shape (...)
        Dissolved oxygen, mean of the day. [mg/L]
    none_at, full_at : array_like, shape (...)
        Oxygen at which the fish stops feeding, and from which it feeds fully. [mg/L] none_at below 3.0/5.5 of full_at.

    Returns
    -------
    tuple of ndarray, shape (...)
        Share [-], 0 at none_at, 0.65 at 3.0/5.5 of full_at, 1 at full_at; and its slope [L/mg].

    Notes
    -----
    Low oxygen acts through appetite: feed conversion of channel catfish stayed the same (Raible 1975, abstract), trout
    ate less and used it as well (Glencross, abstract). Where the knee lies is from Raible, who saw up to 50 % more gain
    at 6.8 than at 3.0 mg/L; the share there is fitted in this project to two trials at constant oxygen, by least
    squares of their ratios: young catfish grew 0.815 as much at 50 as at 90 % of saturation in five days (Ott & Torrans
    2012, abstract; here 0.79), carp used 0.546 of the oxygen at 20 against 80 % (Nguyen Thuy Lieu et al., abstract;
    here 0.57). The knee is scaled to other species by their own full level, which is our assumption.

    Pond trials tell the lowest oxygen of the day, and such fish eat in the afternoon's oxygen: feed eaten at a daily
    low is only an upper bound of what fish eat at the same level all day.

    Examples
    --------
    >>> oxygen_appetite([1.0, 3.0, 5.5, 9.0], 1.0, 5.5)[0].round(2)
    array([0.  , 0.65, 1.  , 1.  ])
    """
    if oxygen_mg_l >= full_at:
        return 1.0, 0.0
    knee = _KNEE_OF_FULL * full_at
    low_slope = _SHARE_AT_KNEE / (knee - none_at)
    high_slope = (1.0 - _SHARE_AT_KNEE) / (full_at - knee)
    low_line = low_slope * (oxygen_mg_l - none_at)
    high_line = _SHARE_AT_KNEE + high_slope * (oxygen_mg_l - knee)
    # the lower part is always the steeper one
    if low_line < high_line:
        line, slope = low_line, low_slope
    else:
        line, slope = high_line, high_slope
    if line <= 0.0:
        return 0.0, 0.0
    if line >= 1.0:
        return 1.0, 0.0
    return line, slope


@elementwise
def ammonia_appetite(unionized_ammonia_mg_l: Any, full_at: Any, none_at: Any) -> Any:
    """Share of appetite left when un-ionized ammonia is high, and its slope: a straight line from all to none.

    Parameters
    ----------
    unionized_ammonia_mg_l : array_like, shape (...)
        Un-ionized ammonia as N, mean of the day. [mg/L]
    full_at, none_at : array_like, shape (...)
        Level up to which appetite is whole, and from which there is none. [mg/L] full_at below none_at.

    Returns
    -------
    tuple of ndarray, shape (...)
        Share [-] from 1 to 0, and its slope [L/mg].

    Notes
    -----
    The line from the husbandry limit to the acute level is our assumption, no source: published trials show that
    appetite and growth fall in between, not how.
    """
    slope = -1.0 / (none_at - full_at)
    line = 1.0 + slope * (unionized_ammonia_mg_l - full_at)
    if line >= 1.0:
        return 1.0, 0.0
    if line <= 0.0:
        return 0.0, 0.0
    return line, slope
