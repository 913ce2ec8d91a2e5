"""Solids: what a settler catches, how they break down and what nitrate that takes."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]


class SettlerKind(NamedTuple):
    """Share of the suspended solids that a settler keeps of those that pass it, and where the number comes from."""

    capture_share: float | None  # None: only what the keeper enters
    lowest: float
    highest: float
    source: str


# Both were measured at a surface loading of 11 m/h.
_SETTLER_SOURCE = "Davidson & Summerfelt 2005, swirl and radial-flow settlers, Aquacult. Eng. (abstract read)"
SETTLERS: dict[str, SettlerKind] = {
    "swirl": SettlerKind(0.37, 0.34, 0.40, f"0.371 +- 0.033: {_SETTLER_SOURCE}"),
    "radial_flow": SettlerKind(0.78, 0.76, 0.80, f"0.779 +- 0.016: {_SETTLER_SOURCE}"),
    "settling_basin": SettlerKind(None, 0.3, 0.9, "no measurement read; enter your own; range assumed"),
    "netting": SettlerKind(None, 0.2, 0.9, "no measurement read; enter your own; range assumed"),
    "swirl_and_netting": SettlerKind(None, 0.90, 0.95, "common practice, no source; only where entered"),
}
# Share of the dry solids that breaks down within a season: assumed in this project, no source.
LABILE_SHARE = 0.5
# First-order breakdown of that half at 20 degC [1/day] and its rise per degC: from memory of sludge digestion work,
# 0.05-0.4.
BREAKDOWN_AT_20_PER_DAY = 0.15
BREAKDOWN_THETA = 1.07
# A settler keeps its capture for two days and loses half of it every two weeks when not emptied. Assumed in this
# project; days to months are met.
FOULING_BEGINS_DAYS, FOULING_HALF_DAYS = 2.0, 14.0
# g oxygen that a g of nitrate nitrogen stands in for, 5/4 mol O2 per mol N; alkalinity given back, 1 eq per mol
# (molar masses). Plants that take ammonium instead use as much.
OXYGEN_PER_NITRATE_NITROGEN = 2.856
ALKALINITY_PER_NITRATE_NITROGEN = 3.573
# Share of the breakdown that nitrate serves instead of oxygen. Published nitrogen losses of such systems vary widely
# (from memory: some percent to more than half of the feed's nitrogen); no measurement of this share was read.
ANOXIC_SHARE, ANOXIC_SHARE_RANGE = 0.15, (0.05, 0.6)
# Nitrate at half the rate [mg/L N]: 0.5, from memory of activated-sludge models.
HALF_SATURATION_NITRATE_MG_L = 0.5


def breakdown_rate(temperature_c: ArrayLike) -> FloatArray:
    """First-order rate at which the labile half of solids breaks down.

    Parameters
    ----------
    temperature_c : array_like, shape (...)
        Water temperature. [degC]

    Returns
    -------
    ndarray, shape (...)
        Rate. [1/day] 0.15 at 20 degC, 7 % a degree; 0.05 to 0.4 defensible.

    Examples
    --------
    >>> breakdown_rate([10.0, 20.0]).round(3)
    array([0.076, 0.15 ])
    """
    return BREAKDOWN_AT_20_PER_DAY * BREAKDOWN_THETA ** (np.asarray(temperature_c, float) - 20.0)


def mineralized_share(temperature_c: ArrayLike, days: ArrayLike) -> FloatArray:
    """Share of one day's solids that has broken down after some days in the water.

    Parameters
    ----------
    temperature_c : array_like, shape (...)
        Water temperature. [degC]
    days : array_like, shape (...)
        Time in the water. [days] 0 or more.

    Returns
    -------
    ndarray, shape (...)
        Share. [-] From 0 to 0.5: the other half is taken as staying. Their nitrogen, phosphorus and oxygen demand
        follow in proportion.

    Examples
    --------
    >>> mineralized_share(20.0, [0.0, 1.0, 7.0, 60.0]).round(3)
    array([0.   , 0.07 , 0.325, 0.5  ])
    """
    return LABILE_SHARE * -np.expm1(-breakdown_rate(temperature_c) * np.asarray(days, float))


def fouled_capture(capture_share: ArrayLike, days_since_emptied: ArrayLike) -> FloatArray:
    """Capture of a settler that was last emptied some days ago.

    Parameters
    ----------
    capture_share : array_like, shape (...)
        Capture when clean, of the solids that pass: the table SETTLERS or what the keeper enters. [-]
    days_since_emptied : array_like, shape (...)
        Days since it was emptied. [days]

    Returns
    -------
    ndarray, shape (...)
        Capture now. [-] Whole for two days, then halved every 14 days (assumed).

    Examples
    --------
    >>> fouled_capture(0.78, [0.0, 2.0, 16.0, 30.0])
    array([0.78 , 0.78 , 0.39 , 0.195])
    """
    late = np.maximum(np.asarray(days_since_emptied, float) - FOULING_BEGINS_DAYS, 0.0)
    return np.asarray(capture_share, float) * 0.5 ** (late / FOULING_HALF_DAYS)


class Denitrified(NamedTuple):
    """Nitrate taken, oxygen it stood in for, alkalinity it gave back."""

    nitrogen_g: FloatArray
    oxygen_spared_g: FloatArray
    alkalinity_g: FloatArray


def denitrification_capacity(oxygen_demand_g: ArrayLike, anoxic_share: ArrayLike = ANOXIC_SHARE) -> FloatArray:
    """Nitrate nitrogen that breakdown would take with plenty of nitrate.

    Parameters
    ----------
    oxygen_demand_g, anoxic_share : array_like, shape (...)
        As in `denitrified`. [g/day], [-]

    Returns
    -------
    ndarray, shape (...)
        Capacity. [g/day] With HALF_SATURATION_NITRATE_MG_L it is a saturating removal for the loop's balance.

    Examples
    --------
    >>> denitrification_capacity(100.0, [0.05, 0.3, 0.6]).round(1)
    array([ 1.8, 10.5, 21. ])
    """
    return np.asarray(anoxic_share, float) * np.asarray(oxygen_demand_g, float) / OXYGEN_PER_NITRATE_NITROGEN


def denitrified(
    oxygen_demand_g: ArrayLike, nitrate_mg_l: ArrayLike, anoxic_share: ArrayLike = ANOXIC_SHARE
) -> Denitrified:
    """Nitrate that the breakdown of sediment takes instead of oxygen.

    Parameters
    ----------
    oxygen_demand_g : array_like, shape (...)
        Oxygen demand of what breaks down. [g/day]
    nitrate_mg_l : array_like, shape (...)
        Nitrate nitrogen. [mg/L]
    anoxic_share : array_like, shape (...)
        Share of the breakdown that happens without oxygen. [-] 0.05 to 0.6; 0.15 is a guess.

    Returns
    -------
    Denitrified
        Nitrate nitrogen, oxygen that need not be supplied, alkalinity as CaCO3. [g/day] All 0 without nitrate.

    Notes
    -----
    2.86 g oxygen and 3.57 g CaCO3 per g nitrogen. Half rate at 0.5 mg/L. Growth of the bacteria on the sediment is
    left out. Without nitrate the anoxic share goes on to sulfide and methane, which is not modelled: sludge left
    lying is dangerous to fish, and its gas to people; never enter a sump or tank with old sludge alone.

    Examples
    --------
    >>> took = denitrified(100.0, [0.0, 0.5, 50.0])
    >>> took.nitrogen_g.round(1)
    array([0. , 2.6, 5.2])
    """
    nitrate = np.asarray(nitrate_mg_l, float)
    capacity = denitrification_capacity(oxygen_demand_g, anoxic_share)
    nitrogen = capacity * nitrate / (HALF_SATURATION_NITRATE_MG_L + nitrate)
    return Denitrified(nitrogen, OXYGEN_PER_NITRATE_NITROGEN * nitrogen, ALKALINITY_PER_NITRATE_NITROGEN * nitrogen)
