"""What lifting water takes."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

# Weight of a cubic meter of water [N/m3]: 1000 kg/m3 times the standard acceleration of gravity.
WEIGHT_OF_WATER_N_M3 = 9806.65
# Power that lifts the water over the power a small pump draws: 0.2-0.5 (common practice, no source); the lower part is
# taken, so that a pump whose plate is not known comes out large rather than small.
PUMP_EFFICIENCY = 0.3
DEFAULT_HEAD_M = 2.0  # lift and pipe friction of a small house (assumption, no source)


def lifting_power_w(flow_m3_day: ArrayLike, head_m: ArrayLike) -> FloatArray:
    r"""Power that lifts water, without any loss.

    Parameters
    ----------
    flow_m3_day : array_like, shape (...)
        Water lifted. [m3/day]
    head_m : array_like, shape (...)
        Height it is lifted. [m]

    Returns
    -------
    ndarray, shape (...)
        Power, :math:`\rho g Q h`. [W] No pump draws less; one draws 2 to 5 times as much.

    Examples
    --------
    3600 L/h lifted 2 m:

    >>> float(lifting_power_w(86.4, 2.0).round(2))
    19.61
    """
    return WEIGHT_OF_WATER_N_M3 * np.asarray(flow_m3_day, float) / 86400.0 * np.asarray(head_m, float)
