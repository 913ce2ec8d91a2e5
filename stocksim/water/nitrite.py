"""Nitrite: what a film takes, and how much fish bear with chloride in the water."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stocksim.compiled import elementwise, formula
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
# Lethal nitrite rises with chloride C as (2.5 + C) does, fitted in this project: from 0.5 mg/L of nitrite nitrogen at 1
# mg/L chloride to where 28 days at 10 mg/L chloride took no trout at 0.30 and some at the next level, 0.91 (Kroupova et
# al. 2008, abstract; authors from memory, "some" is read from "up to"). 0.5 in place of 2.5 would be 12.4 over 0.46 of
# trout in water of 41 and of 1 mg/L chloride (from memory of Russo & Thurston 1977), which spares more. Counted up to
# 240 mg/L chloride, which kept 10 mg/L of nitrite nitrogen out of pikeperch for 42 days (Wuertz et al. 2013, abstract).
_CHLORIDE_OFFSET_MG_L = 2.5
_MOST_CHLORIDE_MG_L = 240.0
# Nitrite at which appetite ends where no lethal level is known, and the least lethal level taken, over the caution
# limit: five, as for trout, whose limit is a fifth of the level that killed fry of a close relative (our assumption for
# all others: a level brought down to water of hardly any chloride would fall below what is called safe).
NITRITE_ACUTE_OVER_LIMIT = 5.0
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


@formula
def nitrite_lethal(
    lethal_mg_l: Any, tested_chloride_mg_l: Any, chloride_mg_l: Any, is_protected: Any, limit_mg_l: Any
) -> Any:
    r"""Nitrite nitrogen that kills half of a species in four days at this much chloride.

    Parameters
    ----------
    lethal_mg_l : array_like, shape (...)
        96-hour median lethal level, as nitrogen; infinite where none was measured. [mg/L]
    tested_chloride_mg_l : array_like, shape (...)
        Chloride of the test's water; 0 where the level does not move with chloride. [mg/L]
    chloride_mg_l : array_like, shape (...)
        Chloride here, not salt. [mg/L]
    is_protected : array_like of bool, shape (...)
        As in `nitrite_limit`.
    limit_mg_l : array_like, shape (...)
        What the species bears here, as from `nitrite_limit`. [mg/L]

    Returns
    -------
    ndarray, shape (...)
        Lethal level. [mg/L] as nitrogen; five times the limit at least.

    Notes
    -----
    .. math:: L = L_{test}\,\frac{2.5 + C}{2.5 + C_{test}}

    In water of less chloride than the test's the level falls for every species; in water of more it rises only where
    chloride is known to protect, up to 240 mg/L. Sources stand beside the constants.

    Examples
    --------
    >>> nitrite_lethal(7.1, 22.0, [5.0, 22.0, 100.0], [1.0, 1.0, 0.0], 0.5).round(1)
    array([2.5, 7.1, 7.1])
    """
    moves = np.minimum(tested_chloride_mg_l, 1.0)
    here = np.minimum(chloride_mg_l, np.maximum(_MOST_CHLORIDE_MG_L * is_protected, tested_chloride_mg_l))
    ratio = (_CHLORIDE_OFFSET_MG_L + here) / (_CHLORIDE_OFFSET_MG_L + tested_chloride_mg_l)
    return np.maximum(lethal_mg_l * (1.0 + moves * (ratio - 1.0)), NITRITE_ACUTE_OVER_LIMIT * limit_mg_l)


@elementwise
def nitrite_appetite(nitrite_mg_l: Any, limit_mg_l: Any, nitrite_lethal_mg_l: Any) -> Any:
    """Share of appetite left when nitrite is high: a straight line from the caution limit to the lethal level.

    Parameters
    ----------
    nitrite_mg_l, limit_mg_l : array_like, shape (...)
        Nitrite as N, and what the species bears at this chloride. [mg/L]
    nitrite_lethal_mg_l : array_like, shape (...)
        What kills half in four days at this chloride; infinite where that is not known. [mg/L] Above the limit.

    Returns
    -------
    ndarray, shape (...)
        Share. [-] 1 at and below the limit, 0 from the lethal level, or from five times the limit where none is known
        (assumed, no source: fish with brown blood stop eating before they die).

    Examples
    --------
    >>> nitrite_appetite([0.5, 1.5, 2.5, 2.5], 0.5, [np.inf, np.inf, np.inf, 4.5])
    array([1. , 0.5, 0. , 0.5])
    """
    none_at = nitrite_lethal_mg_l / limit_mg_l
    if none_at == np.inf:
        none_at = NITRITE_ACUTE_OVER_LIMIT
    over = nitrite_mg_l / limit_mg_l - 1.0
    return 1.0 - min(max(over / (none_at - 1.0), 0.0), 1.0)


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
