"""Solids: where they come from, what a settler catches, how they break down and what nitrate that takes."""

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
    "swirl_and_netting": SettlerKind(None, 0.90, 0.95, "common practice, no source; only where entered"),
}
# Share of the dry solids that breaks down within a season: assumed in this project, no source.
LABILE_SHARE = 0.5
# First-order breakdown of that half at 20 degC [1/day] and its rise per degC: from memory of sludge digestion work,
# 0.05-0.4.
BREAKDOWN_AT_20_PER_DAY = 0.15
BREAKDOWN_THETA = 1.07
# A settler keeps its capture for two days and loses half of it every two weeks when not emptied; up to a twentieth of
# what lies in it is then stirred up a day. Assumed in this project; days to months are met.
FOULING_BEGINS_DAYS, FOULING_HALF_DAYS, RESUSPENDED_AT_MOST_PER_DAY = 2.0, 14.0, 0.05
# g oxygen that a g of nitrate nitrogen stands in for, 5/4 mol O2 per mol N; alkalinity given back, 1 eq per mol
# (molar masses).
OXYGEN_PER_NITRATE_NITROGEN = 2.856
ALKALINITY_PER_NITRATE_NITROGEN = 3.573
# Share of the breakdown that nitrate serves instead of oxygen. Published nitrogen losses of such systems vary widely
# (from memory: some percent to more than half of the feed's nitrogen); no measurement of this share was read.
ANOXIC_SHARE, ANOXIC_SHARE_RANGE = 0.15, (0.05, 0.6)
# Nitrate at half the rate [mg/L N]: 0.5, from memory of activated-sludge models.
HALF_SATURATION_NITRATE_MG_L = 0.5


def solids_from_feed(
    eaten_g: ArrayLike, uneaten_g: ArrayLike, dry_matter: ArrayLike, dry_matter_digestibility: ArrayLike
) -> FloatArray:
    """Dry solids that feeding leaves in the water.

    Parameters
    ----------
    eaten_g, uneaten_g : array_like, shape (...)
        Feed eaten, and feed offered but not eaten. [g/day]
    dry_matter : array_like, shape (...)
        Dry share of the feed. [-]
    dry_matter_digestibility : array_like, shape (...)
        Share of the eaten dry matter that is absorbed. [-]

    Returns
    -------
    ndarray, shape (...)
        Undigested plus uneaten dry matter. [g/day]

    Notes
    -----
    A handbook says 0.25 kg suspended solids per kg feed (from memory of Timmons & Ebeling), for feed that is nearly
    all eaten.

    Examples
    --------
    >>> solids_from_feed([980.0, 833.0], [20.0, 167.0], 0.91, 0.76).round(0)
    array([232., 334.])
    """
    undigested = np.asarray(eaten_g, float) * (1.0 - np.asarray(dry_matter_digestibility, float))
    return np.asarray(dry_matter, float) * (undigested + np.asarray(uneaten_g, float))


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


class Labile(NamedTuple):
    """What lies in a place at the end of a step, and what broke down in it."""

    left_g: FloatArray
    broken_g: FloatArray


def labile_step(
    labile_g: ArrayLike,
    added_g_day: ArrayLike,
    temperature_c: ArrayLike,
    removed_per_day: ArrayLike = 0.0,
    days: float = 1.0,
) -> Labile:
    r"""Labile matter lying in a place (settler, bed, tank floor) through a step, exactly.

    Parameters
    ----------
    labile_g : array_like, shape (...)
        Labile dry solids there, or their nitrogen, phosphorus or oxygen demand. [g]
    added_g_day : array_like, shape (...)
        What settles there, evenly through the step: the labile half of the solids. [g/day]
    temperature_c : array_like, shape (...)
        Water temperature. [degC]
    removed_per_day : array_like, shape (...)
        Share that leaves otherwise, as `resuspended_per_day`. [1/day]
    days : float
        Length of the step. [days]

    Returns
    -------
    Labile
        Left and broken down. [g] What left otherwise is the rest of start + added.

    Notes
    -----
    .. math:: dL/dt = a - (k + s) L

    Examples
    --------
    >>> step = labile_step([100.0], 20.0, 20.0)
    >>> step.left_g.round(2), step.broken_g.round(2)
    (array([104.64]), array([15.36]))
    """
    start, added = np.asarray(labile_g, float), np.asarray(added_g_day, float)
    broken_rate = breakdown_rate(temperature_c)
    rate = broken_rate + np.asarray(removed_per_day, float)
    settled = added / rate
    gone = -np.expm1(-rate * days)
    left = start + (settled - start) * gone
    return Labile(left, broken_rate / rate * (start + added * days - left))


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


def resuspended_per_day(days_since_emptied: ArrayLike) -> FloatArray:
    """Share of what lies in a settler that leaks back into the water each day.

    Parameters
    ----------
    days_since_emptied : array_like, shape (...)
        Days since it was emptied. [days]

    Returns
    -------
    ndarray, shape (...)
        Share. [1/day] 0 for two days, then towards 0.05 as the capture falls (assumed). What dissolves comes on top:
        `labile_step`.

    Examples
    --------
    >>> resuspended_per_day([1.0, 16.0, 100.0]).round(3)
    array([0.   , 0.025, 0.05 ])
    """
    return RESUSPENDED_AT_MOST_PER_DAY * (1.0 - fouled_capture(1.0, days_since_emptied))


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
