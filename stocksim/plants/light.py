"""Light for plants: from sunshine to the moles that reach a bed."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

# mol of photons of 400-700 nm in a MJ of sunshine: 0.45 of the energy (0.42-0.50 met) x 4.57 mol/MJ, from memory of
# McCree 1972.
LIGHT_MOL_PER_MJ = 0.45 * 4.57
# Share of outdoor light that reaches the crop: double film, frame, dirt and low sun leave 0.55-0.70 (from memory).
USUAL_COVER_TRANSMISSION = 0.60
# A standing face sees half of an even sky (geometry; the low winter sun and walls are left out).
FACE_SHARE = 0.5


def bed_light(radiation_mj_m2_day: ArrayLike, cover_transmission: ArrayLike, face_share: ArrayLike = 1.0) -> FloatArray:
    """Daily light integral on a bed under a cover.

    Parameters
    ----------
    radiation_mj_m2_day : array_like, shape (...)
        Sunshine outdoors on a level surface. [MJ/m2/day]
    cover_transmission : array_like, shape (...)
        Share of it that reaches the crop. [-]
    face_share : array_like, shape (...)
        Share of level light on the planted face: 1, or FACE_SHARE for towers. [-]

    Returns
    -------
    ndarray, shape (...)
        Light. [mol/m2/day]

    Examples
    --------
    >>> bed_light([4.3, 25.0], 0.6).round(1)
    array([ 5.3, 30.8])
    """
    outside = LIGHT_MOL_PER_MJ * np.asarray(radiation_mj_m2_day, float)
    return outside * np.asarray(cover_transmission, float) * np.asarray(face_share, float)
