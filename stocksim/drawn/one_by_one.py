"""Fish die one by one: how many of a batch do, where a season knows only each fish's chance.

Apart from `outlook`, for published systems draw their survival by it too.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]


class Dead(NamedTuple):
    """Of each scenario and batch: fish that died, of how many, and the day by which a share had; -1 where it never had.

    Both shaped (scenario, batch).
    """

    fish: FloatArray
    of: FloatArray
    day: NDArray[np.int64]


def dead_of(fish: ArrayLike, chance: ArrayLike, luck: ArrayLike) -> FloatArray:
    """Fish of a batch that die, each by itself with the same chance.

    Parameters
    ----------
    fish : array_like, shape (...)
        Whole fish of the batch.
    chance : array_like, shape (...)
        Of each of them to die. [-]
    luck : array_like, shape (...)
        Between 0 and 1; fewer die, the greater it is. [-]

    Returns
    -------
    ndarray, shape (...)
        The binomial number that so much of the luck lies above.
    """
    from scipy.stats import binom  # slow to import, and help starts without it

    number, share = np.asarray(fish, float), np.clip(np.asarray(chance, float), 0.0, 1.0)
    return np.clip(binom.ppf(1.0 - np.asarray(luck, float), number, share), 0.0, number)


def die(share: FloatArray, came: FloatArray, luck: FloatArray, told: float) -> Dead:
    """Deaths of batches by the chance that a fish of them has died by each day.

    Parameters
    ----------
    share : ndarray, shape (scenario, day, batch)
        That chance, which never falls. [-]
    came, luck : ndarray, shape (scenario, batch)
        Fish of the batch; as for `dead_of`.
    told : float
        Share of a batch whose day of loss is told. [-]

    Notes
    -----
    Of n fish that die by themselves, the chance at which the k-th is dead is drawn from the beta distribution with k
    and n - k + 1. So the day of loss and the number at the end come of one luck and never gainsay each other.
    """
    from scipy.special import betaincinv

    number = np.rint(came)
    wanted = np.clip(np.ceil(told * number - 1e-9), 1.0, None)
    is_there = number >= wanted
    chance = betaincinv(np.where(is_there, wanted, 1.0), np.where(is_there, number - wanted + 1.0, 1.0), luck)
    is_lost = (share > chance[:, None]) & is_there[:, None]
    day = np.where(is_lost.any(axis=1), is_lost.argmax(axis=1), -1)
    return Dead(dead_of(number, share[:, -1], luck), number, day)
