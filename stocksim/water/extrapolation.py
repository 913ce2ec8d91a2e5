"""A day of backward Euler made as good as many short steps, from the same day done in one, two and three steps."""

from __future__ import annotations

from typing import Any

from stocksim.compiled import formula


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
