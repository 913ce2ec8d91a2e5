"""How the rounds of a day settle: where to guess a level next, from where the last guesses led."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

# shares of appetite that the rounds of a day leave apart [-]
AGREED = 1e-10
# rounds that follow Newton's rule and the secant; after them steps that turn back are shortened
_QUICK_ROUNDS = 5
_SHORTEST_PACE = 1e-3


class Guess:
    """Guesses of one level in every leaf.

    Newton's rule takes in the fish's own appetite but not that less feed means less nitrification in the beds and so
    more oxygen: what is left shrinks by a steady factor a round, which the secant rule sees and removes. Appetite
    falls along broken lines, and in crowded water Newton's rule can circle a corner: then a leaf whose step turns back
    goes half as far, and one that does not goes a little further again.
    """

    def __init__(self) -> None:
        self.rounds = 0
        self.step: FloatArray = np.zeros(0)
        self.result: FloatArray = np.zeros(0)
        self.pace: FloatArray = np.zeros(0)

    def following(self, guess: FloatArray, result: FloatArray) -> FloatArray:
        """Level to try next when ``guess`` led to ``result``; both shape (scenario, leaf)."""
        step, better = result - guess, result
        self.rounds += 1
        if 1 < self.rounds <= _QUICK_ROUNDS:
            shrinks = np.abs(step) < 0.5 * np.abs(self.step)
            weight = np.where(shrinks, step, 0.0) / np.where(shrinks, step - self.step, 1.0)
            better = result - weight * (result - self.result)
        elif self.rounds > _QUICK_ROUNDS:
            if self.rounds == _QUICK_ROUNDS + 1:
                self.pace = np.ones(step.shape)
            turned = step * self.step < 0.0
            self.pace = np.where(turned, np.maximum(0.5 * self.pace, _SHORTEST_PACE), np.minimum(1.3 * self.pace, 1.0))
            better = guess + self.pace * step
        self.step, self.result = step, result
        return better
