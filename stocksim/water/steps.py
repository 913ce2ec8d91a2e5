"""Steps of a day: exact ones of logistic growth, and a day of backward Euler made as good as many short ones."""

from __future__ import annotations

import math
from typing import Any

from stocksim.compiled import elementwise, formula

_LARGEST_EXPONENT = 600.0


@elementwise
def logistic_step(maturity: Any, growth_per_day: Any, decay_per_day: Any, days: Any = 1.0) -> Any:
    r"""Mean over a step of constant growth and decay, and the share at its end.

    Parameters
    ----------
    maturity : array_like, shape (...)
        Share of the room that is filled at the start. [-] 0 to 1.
    growth_per_day, decay_per_day, days : array_like, shape (...)
        Growth with all the room, decay [1/day], and the length of the step [days]; all 0 or more.

    Returns
    -------
    tuple of ndarray, shape (...)
        Mean and end. [-] NaN in gives NaN out.

    Notes
    -----
    :math:`dm/dt = (g - b) m - g m^2` with :math:`r = g - b` has

    .. math:: m(t) = \frac{m_0}{e^{-rt} + g m_0 (1 - e^{-rt}) / r}, \quad
              \bar m = \frac{1}{g t} \ln\left(1 + g m_0 \frac{e^{rt} - 1}{r}\right)

    Examples
    --------
    >>> mean, end = logistic_step([1e-3, 0.8], 0.6, 0.05)
    >>> mean.round(4), end.round(4)
    (array([0.0013, 0.8244]), array([0.0017, 0.8455]))
    """
    growth, decay, step = growth_per_day, decay_per_day, days
    rate = growth - decay
    passed = rate * step
    kept = min(max(passed, -_LARGEST_EXPONENT), _LARGEST_EXPONENT)
    # filled / (left + eaten): expm1 keeps what little changes in a short step
    fall = math.expm1(-kept)
    left = 1.0 + fall
    eaten = growth * maturity * (step if rate == 0.0 else -fall / rate)
    grown = growth * step
    if grown < 1e-12:
        # nothing grows: the mean of plain decay
        lost = decay * step
        mean = maturity * (1.0 if lost == 0.0 else -math.expm1(-lost) / lost)
    elif passed > 1.0:
        mean = (passed + math.log(left + eaten)) / grown  # ln(1 + eaten e^(rt)) without the overflow
    else:
        mean = math.log1p(eaten / left) / grown
    return min(max(mean, 0.0), 1.0), maturity / (left + eaten)


# --- a day of backward Euler made as good as many short steps, from the same day done in one, two and three steps


@formula
def extrapolated(whole: Any, halves: Any, thirds: Any = None) -> Any:
    """State at the end of a day from the same day done in one, two and three equal steps.

    Parameters
    ----------
    whole, halves : array_like, shape (...)
        Any amount, concentration or maturity after one step of a day and after two of half a day.
    thirds : array_like, shape (...), optional
        After three steps of a third.

    Returns
    -------
    ndarray, shape (...)
        2 halves - whole, or 4.5 thirds - 4 halves + 0.5 whole; what is not negative by nature is cut at 0 by the
        caller.

    Notes
    -----
    Backward Euler with a day's step puts the crash of ammonia or nitrite in a starting loop a day late. Its error is
    of the first order, so that steps of different length cancel it (Richardson); the weights sum to 1, so mass stays
    closed.

    Examples
    --------
    >>> import math
    >>> euler = [1.0 / (1.0 + 1.0 / n) ** n for n in (1, 2, 3)]
    >>> [round(float(x), 3) for x in (euler[0], extrapolated(*euler[:2]), extrapolated(*euler), math.exp(-1.0))]
    [0.5, 0.389, 0.371, 0.368]
    """
    if thirds is None:
        return 2.0 * halves - whole
    return 4.5 * thirds - 4.0 * halves + 0.5 * whole
