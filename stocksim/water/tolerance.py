"""Nitrate and pH that fish are kept in: levels to be cautious at, and the water change that brings nitrate back.

They are told, never judged as limits: no read source gives a course of appetite or deaths against either.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

# Nitrate nitrogen to be cautious at where a species file has no `nitrate_caution` [mg/L]: judgement of this project.
# It is half of what sickened hybrid striped bass within a month (200, Hrubec, Smith & Robertson, abstract read) and
# below what is advised for African catfish (140, Schram et al. 2014, Aquac. Res., abstract read), pikeperch (350,
# Schram et al. 2014, Aquaculture 420, 95, abstract read) and tilapia. Trout, the most delicate of those read, have
# their own.
NITRATE_CAUTION_MG_L = 100.0
# Range of pH that fish grow well in: "desirable" in a pond text (excerpt read; after Swingle, from memory),
# "recommended" in a text on aquaculture engineering (excerpt read). The pond text has growth and breeding suffer
# outside it, and fish die at about 4 and 11.
FISH_PH_LOW, FISH_PH_HIGH = 6.5, 9.0
FISH_PH_DEADLY_LOW, FISH_PH_DEADLY_HIGH = 4.0, 11.0


def exchange_share(level_mg_l: ArrayLike, goal_mg_l: ArrayLike, source_mg_l: ArrayLike) -> FloatArray:
    """Share of the water to drain at once and refill from the source, to bring a solute to a goal.

    Parameters
    ----------
    level_mg_l, goal_mg_l : array_like, shape (...)
        Level now and wanted. [mg/L]
    source_mg_l : array_like, shape (...)
        Level of the source water. [mg/L]

    Returns
    -------
    ndarray, shape (...)
        0 to 1; 0 where nothing is to do, infinite where the source cannot reach the goal. NaN in gives NaN out.

    Notes
    -----
    Simple dilution: drained first, refilled after, mixed, nothing made or taken meanwhile.

    Examples
    --------
    >>> exchange_share([205.0, 90.0], 100.0, 2.0).round(3)
    array([0.517, 0.   ])
    """
    level, goal = np.asarray(level_mg_l, float), np.asarray(goal_mg_l, float)
    source = np.asarray(source_mg_l, float)
    above, room = np.maximum(level - goal, 0.0), level - source
    share = above / np.where(room > 0.0, room, 1.0)
    return np.where((above > 0.0) & (goal < source), np.inf, share + 0.0 * room)


def weekly_share(rise_mg_l_week: float, held_mg_l: float, source_mg_l: float) -> float:
    """Share of the water to change each week so that a solute which rises stays where it is.

    Parameters
    ----------
    rise_mg_l_week : float
        By how much it would rise in a week. [mg/L/week]
    held_mg_l, source_mg_l : float
        Level to hold, and that of the source water, which is lower. [mg/L]

    Returns
    -------
    float
        Share of the water a week, 0 or more.

    Notes
    -----
    Simple dilution: what rises in a week leaves with water of the level held, drained first and refilled after.

    Examples
    --------
    >>> round(weekly_share(7.0, 100.0, 2.0), 3)
    0.071
    """
    return max(rise_mg_l_week, 0.0) / (held_mg_l - source_mg_l)
