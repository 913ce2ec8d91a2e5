"""Growth that slows down as its room fills, solved exactly over a step."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

_LARGEST_EXPONENT = 600.0


def logistic_step(
    maturity: ArrayLike, growth_per_day: ArrayLike, decay_per_day: ArrayLike, days: ArrayLike = 1.0
) -> tuple[FloatArray, FloatArray]:
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
    m, growth, decay, t = (np.asarray(x, float) for x in (maturity, growth_per_day, decay_per_day, days))
    rate = growth - decay
    passed = rate * t
    grown = growth * t
    if ((np.abs(passed) <= 1.0) & (rate != 0.0) & (grown >= 1e-12)).all():
        # nearly always: no branch is needed
        fall = np.expm1(-passed)
        left, eaten = 1.0 + fall, -(growth * m * fall / rate)
        return np.minimum(np.maximum(np.log1p(eaten / left) / grown, 0.0), 1.0), m / (left + eaten)
    kept = np.minimum(np.maximum(passed, -_LARGEST_EXPONENT), _LARGEST_EXPONENT)
    left = np.exp(-kept)
    still = passed == 0.0
    eaten = growth * m * np.where(still, t, -np.expm1(-kept) / np.where(still, 1.0, rate))
    # ln(1 + eaten e^(rt)) without the overflow; where nothing grows the mean of plain decay
    log = np.where(passed > 1.0, passed + np.log(left + eaten), np.log1p(eaten * np.exp(np.minimum(passed, 1.0))))
    grows = ~(grown < 1e-12)  # NaN goes on
    mean = log / np.where(grows, grown, 1.0)
    if not grows.all():
        lost = decay * t
        fades = lost != 0.0
        plain = m * np.where(fades, -np.expm1(-lost) / np.where(fades, lost, 1.0), 1.0)
        mean = np.where(grows, mean, plain)
    return np.minimum(np.maximum(mean, 0.0), 1.0), m / (left + eaten)
