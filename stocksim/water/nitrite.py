"""Nitrite: what a film takes, and how much fish bear with chloride in the water."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stocksim.compiled import formula
from stocksim.water.nitrification import nitrification_capacity

FloatArray = NDArray[np.float64]

# Nitrite at half the greatest rate [mg/L N]: about 1, from memory of biofilm work; 0.3-2 in use.
HALF_SATURATION_NITRITE_MG_L = 1.0
# Nitrite against ammonia rate of the same surface: 0.62 / 0.56 g/m2/day on rafts, from memory of Rakocy's raft
# system.
NITRITE_PER_AMMONIA_RATE = 0.62 / 0.56
# g oxygen per g nitrogen: ammonia to nitrite 3/2, nitrite to nitrate 1/2 mol O2 per mol N (from molar masses; 3.42
# and 1.14 read).
OXYGEN_TO_NITRITE = 3.427
OXYGEN_TO_NITRATE = 1.142
# g nitrite ion per g nitrite nitrogen (46.005 / 14.007).
NITRITE_PER_NITROGEN = 3.284
# Chloride per nitrite that keeps nitrite out of catfish, by mass: Durborow, Crosby & Brunson 1997, SRAC 462 (text
# read), which says nitrite, not nitrite nitrogen; it is taken as the ion, the cautious reading (32.8 as nitrogen).
CHLORIDE_PER_NITRITE = 10.0
# No plan counts on more than this, however salty [mg/L N] (assumed: the ratio was found for catfish over days, not
# for a season).
MOST_NITRITE_MG_L = 5.0
# g sodium chloride, and g sodium, per g chloride (molar masses 58.443, 22.990 and 35.453).
SALT_PER_CHLORIDE = 1.6485
SODIUM_PER_CHLORIDE = 0.6485
# Sodium that sets crops back where it builds up [mg/L]: about 50, from memory of Rakocy et al. 2006, SRAC 454.
SODIUM_CAUTION_MG_L = 50.0


def nitrite_capacity(surface_m2: ArrayLike, temperature_c: ArrayLike) -> FloatArray:
    """Nitrite nitrogen that a mature surface could turn to nitrate with plenty of nitrite and oxygen.

    Parameters
    ----------
    surface_m2 : array_like, shape (...)
        Surface carrying film. [m2]
    temperature_c : array_like, shape (...)
        Water temperature. [degC]

    Returns
    -------
    ndarray, shape (...)
        Capacity. [g/day] 1.107 times the ammonia capacity of the same surface, with the same rise by temperature.

    Notes
    -----
    Multiply by N/(1.0 + N), by the maturity of the nitrite oxidizers and by the share that oxygen allows.

    Examples
    --------
    >>> rate = nitrite_capacity([1.0], 25.0) * 0.5 / (1.0 + 0.5)
    >>> rate.round(2)
    array([0.68])
    """
    return NITRITE_PER_AMMONIA_RATE * nitrification_capacity(surface_m2, temperature_c)


@formula
def nitrite_limit(base_limit_mg_l: Any, chloride_mg_l: Any, is_protected: Any) -> Any:
    """Nitrite nitrogen that a species bears at this much chloride.

    Parameters
    ----------
    base_limit_mg_l : array_like, shape (...)
        Husbandry limit in water without chloride, as nitrogen. [mg/L]
    chloride_mg_l : array_like, shape (...)
        Chloride, not salt. [mg/L]
    is_protected : array_like of bool, shape (...)
        Whether chloride keeps nitrite out of this species. Channel catfish, trout and striped bass: yes;
        largemouth bass: no. Unknown: say no.

    Returns
    -------
    ndarray, shape (...)
        Limit. [mg/L] as nitrogen; the base, or chloride / 32.8 where that is more, but 5 at most unless the base is
        more.

    Notes
    -----
    Ten parts of chloride to one of nitrite by mass is read as the nitrite ion: 32.8 parts to one of nitrite
    *nitrogen*. A kit that reads nitrite as nitrogen and a rule meant for the ion differ by 3.3 times on the deadly
    side. Sick fish need more chloride. Nitrite in fish is an emergency: stop feeding, change water, and ask a fish
    health professional.

    References
    ----------
    .. [1] R. M. Durborow, D. M. Crosby and M. W. Brunson, 1997. Nitrite in Fish Ponds. SRAC Publication 462 (text
       read).
    .. [2] J. R. Tomasso, 1986. Comparative toxicity of nitrite to freshwater fishes (excerpt read): channel catfish
       least and green sunfish most resistant; chloride did not protect largemouth bass.
    .. [3] Mazik et al. (excerpt read): chloride protects striped bass, calcium chloride more than twice as well as
       salt.

    Examples
    --------
    >>> nitrite_limit(0.5, [0.0, 100.0, 1000.0], True).round(2)
    array([0.5 , 3.05, 5.  ])
    >>> nitrite_limit(0.5, 100.0, [True, False]).round(2)
    array([3.05, 0.5 ])
    """
    borne = chloride_mg_l / (CHLORIDE_PER_NITRITE * NITRITE_PER_NITROGEN)
    # 0 * chloride: an unknown chloride stays unknown for every species
    return np.maximum(base_limit_mg_l, np.minimum(borne, MOST_NITRITE_MG_L) * is_protected)


def chloride_needed(nitrite_mg_l: ArrayLike) -> FloatArray:
    """Chloride that shields a protected species from this much nitrite.

    Parameters
    ----------
    nitrite_mg_l : array_like, shape (...)
        Nitrite nitrogen. [mg/L]

    Returns
    -------
    ndarray, shape (...)
        Chloride. [mg/L] Ten times the nitrite ion. 100 mg/L are kept as insurance by catfish farms (SRAC 462, text
        read).

    Examples
    --------
    >>> chloride_needed([1.0, 2.0]).round(0)
    array([33., 66.])
    """
    return CHLORIDE_PER_NITRITE * NITRITE_PER_NITROGEN * np.asarray(nitrite_mg_l, float)


def salt_for_chloride(volume_m3: ArrayLike, chloride_mg_l: ArrayLike, chloride_target_mg_l: ArrayLike) -> FloatArray:
    """Common salt that brings water to a chloride level.

    Parameters
    ----------
    volume_m3 : array_like, shape (...)
        All water that mixes. [m3]
    chloride_mg_l, chloride_target_mg_l : array_like, shape (...)
        Chloride now and wanted. [mg/L]

    Returns
    -------
    ndarray, shape (...)
        Pure sodium chloride without iodine or anti-caking agents. [g] 0 where there is enough.

    Notes
    -----
    1.6485 g of salt, with 0.6485 g of sodium, per g of chloride. **Sodium stays**: it leaves only with drawn-off
    water, and about 50 mg/L of it already sets crops back (from memory of Rakocy et al. 2006). Where crops grow,
    calcium or potassium chloride gives the chloride without the sodium; `sodium_added` tells how much one dose
    leaves.

    Examples
    --------
    >>> salt_for_chloride(3.0, [20.0, 120.0], 100.0).round(0)
    array([396.,   0.])
    """
    missing = np.maximum(np.asarray(chloride_target_mg_l, float) - np.asarray(chloride_mg_l, float), 0.0)
    return SALT_PER_CHLORIDE * missing * np.asarray(volume_m3, float)


def sodium_added(salt_g: ArrayLike, volume_m3: ArrayLike) -> FloatArray:
    """Rise of sodium that a dose of common salt leaves in the water.

    Parameters
    ----------
    salt_g : array_like, shape (...)
        Sodium chloride. [g]
    volume_m3 : array_like, shape (...)
        All water that mixes. [m3] Above 0.

    Returns
    -------
    ndarray, shape (...)
        Rise of sodium. [mg/L] Compare the sum of all doses with SODIUM_CAUTION_MG_L, about 50.

    Examples
    --------
    >>> sodium_added([396.0], 3.0).round(0)
    array([52.])
    """
    return np.asarray(salt_g, float) * (SODIUM_PER_CHLORIDE / SALT_PER_CHLORIDE) / np.asarray(volume_m3, float)
