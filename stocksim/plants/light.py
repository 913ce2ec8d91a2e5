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
_BRIGHTER_THAN_ANY = 1e9  # stands for no saturation [umol/m2/s]


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


def usable_light(light_mol_m2_day: ArrayLike, day_length_h: ArrayLike, saturation_umol_m2_s: ArrayLike) -> FloatArray:
    r"""Part of the daily light integral that falls at irradiances which a crop still uses.

    Parameters
    ----------
    light_mol_m2_day : array_like, shape (...)
        Daily light integral on the bed. [mol/m2/day]
    day_length_h : array_like, shape (...)
        Hours over which the sun brings it. [h] 0 to 24.
    saturation_umol_m2_s : array_like, shape (...)
        Irradiance above which more light adds no growth. [umol/m2/s] Infinite where a crop has none.

    Returns
    -------
    ndarray, shape (...)
        Light used. [mol/m2/day] Never more than came.

    Notes
    -----
    Trials under lamps find the irradiance from which growth rises no more; the sun brings the same daily integral as a
    half sine over the day, peak :math:`\pi D / 2T`, so at noon part of it is lost though the integral is modest. With
    :math:`a = \arcsin(S / peak)` what stays below the saturation S is

    .. math:: D\,(1 - \cos a) + S\,T\,(1 - 2a / \pi)

    Clouds that come and go make the true course more uneven than a half sine, so it is if anything too much.

    Examples
    --------
    >>> usable_light([5.0, 17.0, 35.0], [9.0, 12.0, 12.0], 500.0).round(1)
    array([ 5. , 15.7, 18.9])
    """
    light, hours, most = np.broadcast_arrays(
        *(np.asarray(part, float) for part in (light_mol_m2_day, day_length_h, saturation_umol_m2_s))
    )
    peak = 0.5 * np.pi * light  # what the day would bring at its noon throughout [mol/m2]
    below = np.minimum(3600e-6 * np.minimum(most, _BRIGHTER_THAN_ANY) * hours, peak)
    angle = np.arcsin(np.divide(below, peak, out=np.ones_like(peak), where=peak > 0.0))
    used = light * (1.0 - np.cos(angle)) + below * (1.0 - 2.0 * angle / np.pi)
    return np.where(below < peak, used, light)
