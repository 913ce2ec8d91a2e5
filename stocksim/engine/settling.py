"""How the rounds of a day settle: guesses of levels by the secant rule, shares of appetite between bounds."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

# shares of appetite that the rounds of a day leave apart [-]
AGREED = 1e-10


class Secant:
    """Guesses where a level that settles by steady fractions will end.

    Newton's rule takes in the fish's own appetite but not that less feed means less nitrification in the beds and so
    more oxygen: what is left shrinks by a steady factor a round, which the secant rule sees and removes.
    """

    def __init__(self) -> None:
        self.last: tuple[FloatArray, FloatArray] | None = None

    def next_guess(self, guess: FloatArray, result: FloatArray) -> FloatArray:
        """Level to try next when ``guess`` led to ``result``."""
        gap, better = result - guess, result
        if self.last is not None:
            last_gap, last_result = self.last
            shrinks = np.abs(gap) < 0.5 * np.abs(last_gap)
            weight = np.where(shrinks, gap, 0.0) / np.where(shrinks, gap - last_gap, 1.0)
            better = result - weight * (result - last_result)
        self.last = gap, result
        return better


class Bracket:
    """Finds each cohort's share of appetite between bounds, for days when Newton's rule circles a corner.

    Appetite falls along broken lines. What the water then leaves of it falls as the share eaten rises, so the day's
    share, where the two are equal, lies between 0 and 1 and only once: false position, with the stale end's weight
    halved, closes in on it. Tanks of a loop touch each other a little; bounds that were closed too early open again.
    """

    def __init__(self, shape: tuple[int, ...]):
        self.low, self.high = np.zeros(shape), np.ones(shape)
        self.gap_low, self.gap_high = np.ones(shape), -np.ones(shape)
        self.side = np.zeros(shape)

    def next_share(self, share: FloatArray, found: FloatArray) -> FloatArray:
        """Share to try next when eating ``share`` leaves the water good for ``found``."""
        gap = found - share
        up = gap > 0.0
        shut = (self.high - self.low < 4.0 * AGREED) & (np.abs(gap) >= AGREED)
        reach = 4.0 * np.abs(gap) + 4.0 * AGREED
        self.low = np.where(up, share, np.where(shut, np.maximum(share - reach, 0.0), self.low))
        self.high = np.where(up, np.where(shut, np.minimum(share + reach, 1.0), self.high), share)
        self.gap_low = np.where(up, gap, np.where(shut, reach, np.where(self.side < 0.0, 0.5, 1.0) * self.gap_low))
        self.gap_high = np.where(up, np.where(shut, -reach, np.where(self.side > 0.0, 0.5, 1.0) * self.gap_high), gap)
        self.side = np.where(up, 1.0, -1.0)
        width = self.gap_low - self.gap_high
        return self.low + (self.high - self.low) * self.gap_low / np.where(width > 0.0, width, 1.0)
