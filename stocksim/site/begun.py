"""What a season that begins in the middle, or whose water was read, has beside what its file says.

Apart from `reading`, for the engine makes it from a season that was run.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class OverLimit:
    """A test of the water over a limit, for the cohort that bears least of those that live in it."""

    loop: str
    date: dt.date
    limit: str
    value_mg_l: float
    limit_mg_l: float
    cohort: str


@dataclass(frozen=True)
class Begun:
    """Readings of water, and the first morning's levels and biofilter bacteria.

    Parameters
    ----------
    start : date or None
        First day of the season that it is of; for a site with another one it says nothing.
    water_off_c : mapping of str to ndarray, shape (days,)
        What readings add to the water of a loop, typed or computed. [degC]
    levels : mapping of str to mapping of str to float
        By loop: ``nitrate_n``, ``nitrite_n`` and solutes of `stocksim.engine.arrays.water.SOLUTES`. [mg/L]
    films : mapping of str to tuple of float
        Strength of ammonia and nitrite bacteria by place, as ``beds.north``. [-]
    over : tuple of OverLimit
        What the last tests before that morning found over a limit, the worst first.
    salt_g : mapping of str to tuple of (date, float)
        By loop: common salt that the keeper gave. [g]
    """

    start: dt.date | None = None
    water_off_c: Mapping[str, FloatArray] = field(default_factory=dict)
    levels: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    films: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    over: tuple[OverLimit, ...] = ()
    salt_g: Mapping[str, tuple[tuple[dt.date, float], ...]] = field(default_factory=dict)

    def of(self, start: dt.date) -> Begun:
        """The same for a season of its own start, nothing for another."""
        return self if self.start == start else Begun()

    def water(self, loop: str, water_c: FloatArray) -> FloatArray:
        """Water of a loop with what readings add, not below freezing, shape (days,). [degC]"""
        off = self.water_off_c.get(loop)
        if off is None:
            return water_c
        whole = np.zeros(len(water_c))
        whole[: len(off)] = off[: len(whole)]
        return np.maximum(water_c + whole, 0.0)
