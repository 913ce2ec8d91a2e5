"""Bands of many seasons: counts in fixed bins, added up as the seasons come, so that memory does not grow with them.

Apart from `outlook`, for counts are whole numbers: in whatever order seasons are added, the bands are the same.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

BINS = 64
# Bins reach so far beyond what the first seasons met, as a share of their span; the two outermost hold all beyond.
_BEYOND = 0.3


class Bands:
    """Counts of one column, by day and place.

    Parameters
    ----------
    first : ndarray, shape (scenario, day, place)
        Values of the first seasons, by which the bins are laid; they are not counted yet.
    """

    def __init__(self, first: NDArray[np.float32]):
        least, most = _least_and_most(first)
        span = most - least
        self._low = least - _BEYOND * span
        width = (1.0 + 2.0 * _BEYOND) * span / BINS
        # where the first seasons are all alike, a bin as narrow as numbers of 7 digits are apart
        self._width = np.where(width > 0.0, width, np.maximum(np.abs(least), 1e-3) * 1e-6)
        self._counts = np.zeros((*least.shape, BINS + 2), np.int32)
        self._least, self._most = np.full(least.shape, np.inf), np.full(least.shape, -np.inf)
        self._starts = np.arange(least.size).reshape(least.shape) * (BINS + 2)

    def add(self, values: NDArray[np.float32]) -> None:
        """Count the values of more seasons, shape (scenario, day, place); NaN is no value."""
        known = np.isfinite(values)
        place = np.floor((values - self._low) / self._width)
        at = np.clip(np.where(known, place, 0.0), -1.0, float(BINS)).astype(np.int64) + 1 + self._starts
        counts = np.bincount(at[known], minlength=self._counts.size)
        self._counts += counts.reshape(self._counts.shape).astype(np.int32)
        least, most = _least_and_most(values, np.inf)
        self._least, self._most = np.minimum(self._least, least), np.maximum(self._most, most)

    @property
    def seasons(self) -> NDArray[np.int64]:
        """How many seasons have a value, shape (day, place)."""
        return self._counts.sum(axis=-1)

    def quantiles(self, shares: Sequence[float]) -> FloatArray:
        """Values that shares of the seasons lie below, shape (share, day, place); within a bin a straight line.

        NaN where no season has a value.
        """
        low, width = self._low[..., None], self._width[..., None]
        least, most = self._least[..., None], self._most[..., None]
        inner = low + width * np.arange(BINS + 1)
        edges = np.concatenate([np.minimum(least, inner[..., :1]), inner, np.maximum(most, inner[..., -1:])], axis=-1)
        edges = np.clip(edges, least, most)
        below = np.concatenate([np.zeros((*self._counts.shape[:-1], 1), np.int64), self._counts.cumsum(-1)], axis=-1)
        number = below[..., -1]
        found = np.full((len(shares), *number.shape), np.nan)
        for row, share in enumerate(shares):
            wanted = share * number
            bin_at = np.clip((below < wanted[..., None]).sum(axis=-1) - 1, 0, BINS + 1)[..., None]
            before, after = (np.take_along_axis(below, bin_at + step, -1)[..., 0] for step in (0, 1))
            left, right = (np.take_along_axis(edges, bin_at + step, -1)[..., 0] for step in (0, 1))
            inside = np.divide(wanted - before, after - before, out=np.zeros(number.shape), where=after > before)
            with np.errstate(invalid="ignore"):  # days without any value
                found[row] = np.where(number > 0, left + np.clip(inside, 0.0, 1.0) * (right - left), np.nan)
        return found


def _least_and_most(values: NDArray[np.float32], of_none: float = 0.0) -> tuple[FloatArray, FloatArray]:
    """Least and greatest over the first axis, NaN left out; where there is none, the one given and its negative."""
    known = np.isfinite(values)
    none = ~known.any(axis=0)
    least = np.where(known, values, np.inf).min(axis=0).astype(float)
    most = np.where(known, values, -np.inf).max(axis=0).astype(float)
    return np.where(none, of_none, least), np.where(none, -of_none, most)
