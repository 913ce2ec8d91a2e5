"""What went from one column of fish to another, or to and from outside."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.stays import Happening

FloatArray = NDArray[np.float64]


class Transfer(NamedTuple):
    """What really went from column ``source`` to column ``target`` (-1: from or to outside), shape (scenario,).

    ``wanted`` is the amount the event asked for and ``had`` what there was of it, fish, or g where it asked for a
    weight; ``wanted`` is NaN where it asked for no amount.
    """

    happening: Happening
    fish: FloatArray
    mass_g: FloatArray
    wanted: float
    had: FloatArray
