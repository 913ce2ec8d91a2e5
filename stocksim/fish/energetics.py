"""Energy, nitrogen and oxygen budget of a fish in a day."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stocksim.compiled import formula
from stocksim.validity import Range, valid

FloatArray = NDArray[np.float64]
Numbers = float | FloatArray

# kJ released per g of oxygen used. Elliott & Davison 1975, Energy equivalents of oxygen consumption in animal
# energetics, Oecologia 19, 195-201 (13.56, from memory; 13.6 is the rounded value in common use).
OXYCALORIFIC_KJ_G = 13.6
# Share of digested energy lost with urea and ammonia through gill and urine: 0.07, a round value between the
# 0.05-0.10 of feed energy in fish-nutrition handbooks (from memory of Bureau, Kaushik & Cho 2002).
NON_FAECAL_LOSS_SHARE = 0.07
# Share of excreted nitrogen that leaves as ammonia; the rest is urea. 0.85-0.90 from memory of Wood 1993; for
# trout on a 42.8 % protein feed TAN is 71 % and urea 10 % of dissolved N, that is 0.88 of the two (after
# Dalsgaard & Pedersen 2011, excerpt read).
AMMONIA_SHARE_OF_EXCRETION = 0.87
# kg protein per kg nitrogen, the convention of feed labels (common practice).
PROTEIN_PER_NITROGEN = 6.25
# What a fasting fish burns is fat first. Protein gave 20-25 % of the energy that plaice burned late in a fast, and body
# fat was their major reserve (Jobling 1980, J. Fish Biol., abstract; author from memory); the middle is taken for a
# fish that begins to lose weight. Energy of protein, 23.6 kJ/g (common practice in fish nutrition).
_FASTING_PROTEIN_ENERGY_SHARE = 0.225
_PROTEIN_KJ_G = 23.6
# By a fifth of its weight lost it has made up for that: gibel carp of 12.5 g had lost 30 % of their protein and 84 % of
# their fat with 22 % of their weight (56 days at 26 degC, abstract without authors), trout of 40 g 71 % of their fat
# with 18 % (Leger 1981, abstract), and of protein about a quarter (ours, from its dry weights).
_LEAN_AT_LOST_SHARE = 0.2
# g carbon dioxide per g oxygen at a respiratory quotient of 1: 44.01 / 32.00.
CARBON_DIOXIDE_PER_OXYGEN = 1.375


class DayNeeds(NamedTuple):
    """Appetite and maintenance of one fish over a day, taken at its mid-day weight."""

    appetite_g: FloatArray
    maintenance_kj: FloatArray


class DayBudget(NamedTuple):
    """What one fish does with the feed it eats in a day, per fish."""

    gain_g: FloatArray
    oxygen_g: FloatArray
    excreted_nitrogen_g: FloatArray
    retained_energy_kj: FloatArray
    spared_change_g: FloatArray


@valid(
    "upkeep of fish",
    Range("weight_g", "g", 2.0, 1000.0, "weights of the growth points that it is fitted to, docs/fits.md"),
)
def maintenance_energy(
    weight_g: ArrayLike, temperature_c: ArrayLike, at_20: ArrayLike, q10_cold: ArrayLike, q10_warm: ArrayLike
) -> FloatArray:
    """Digestible energy that keeps a fish at its weight for a day.

    Parameters
    ----------
    weight_g : array_like, shape (...)
        Mean weight. [g] Valid 2 to 1000.
    temperature_c, at_20, q10_cold, q10_warm : array_like, shape (...)
        As in `maintenance_rate`.

    Returns
    -------
    ndarray, shape (...)
        Need. [kJ/day]

    Notes
    -----
    Weight exponent 0.8 (pacu 0.788-0.8: SciELO 2017 and 2021, abstracts read). Two Q10 values because measured
    respiration falls more steeply in the cold: Wohlschlag & Juliano 1959 give bluegill a winter slope of about
    Q10 14, Caulton 1977 a flat one for a tilapia above 28 degC (abstracts read).
    """
    weight = np.asarray(weight_g, float)
    return maintenance_rate(temperature_c, at_20, q10_cold, q10_warm) * (weight / 1000.0) ** 0.8


def maintenance_rate(
    temperature_c: ArrayLike, at_20: ArrayLike, q10_cold: ArrayLike, q10_warm: ArrayLike
) -> FloatArray:
    """Maintenance need of a 1 kg fish; notes and sources in `maintenance_energy`.

    Parameters
    ----------
    temperature_c, at_20 : array_like, shape (...)
        Water temperature [degC] and need at 20 degC. [kJ/kg^0.8/day]
    q10_cold, q10_warm : array_like, shape (...)
        Rise over 10 degC below and above 20 degC. [-]

    Returns
    -------
    ndarray, shape (...)
        Need. [kJ/kg^0.8/day]
    """
    degrees = (np.asarray(temperature_c, float) - 20.0) / 10.0
    q10 = np.where(degrees < 0.0, np.asarray(q10_cold, float), np.asarray(q10_warm, float))
    return np.asarray(at_20, float) * q10**degrees


@formula
def retained_energy(digestible_kj: Any, maintenance_kj: Any, efficiency: Any, fasting_fraction: Any) -> Any:
    """Energy laid down in the body, negative when the fish lives on its reserves.

    Parameters
    ----------
    digestible_kj, maintenance_kj : array_like, shape (...)
        Digestible energy eaten and maintenance need. [kJ/day]
    efficiency, fasting_fraction : array_like, shape (...)
        Share of energy above maintenance that becomes body, and body energy lost per unit of unmet need. [-]

    Returns
    -------
    ndarray, shape (...)
        Retained energy. [kJ/day]
    """
    surplus = digestible_kj - maintenance_kj
    return efficiency * np.maximum(surplus, 0.0) + fasting_fraction * np.minimum(surplus, 0.0)


@formula
def living_share(weight_g: Any, greatest_g: Any) -> Any:
    """Share of its maintenance that a starving fish still burns: all of it, until half of its weight is gone.

    Parameters
    ----------
    weight_g, greatest_g : array_like, shape (...)
        Weight now and the greatest it ever had. [g]

    Returns
    -------
    ndarray, shape (...)
        Share. [-] 1 down to half of the greatest weight, 0 from 0.4 of it.

    Notes
    -----
    A fish that lost half of its weight is dead by any practical measure (our judgement, no source). Its budget stops
    there instead of running through zero; callers say that it starved.

    Examples
    --------
    >>> living_share(np.array([100.0, 50.0, 45.0, 30.0]), 100.0)
    array([1. , 1. , 0.5, 0. ])
    """
    return np.minimum(np.maximum((weight_g / greatest_g - 0.4) / 0.1, 0.0), 1.0)


@formula
def day_needs(
    weight_g: Any,
    appetite_rate: Any,
    intake_exponent: Any,
    maintenance_per_kg: Any,
    eaten_share: Any,
    feed_energy_kj_g: Any,
    efficiency: Any,
    fasting_fraction: Any,
    body_energy_kj_g: Any,
    days: float = 1.0,
    greatest_g: Any | None = None,
) -> DayNeeds:
    """Full appetite and maintenance need of a fish, at the weight it has half way through the step.

    Parameters
    ----------
    weight_g : array_like, shape (...)
        Weight at the start of the step. [g] Above 0.
    appetite_rate : array_like, shape (...)
        Eaten feed at full appetite by a 1 g fish at the step's temperature. [g/day]
    intake_exponent : array_like, shape (...)
        Exponent of weight in appetite. [-]
    maintenance_per_kg : array_like, shape (...)
        Maintenance need of a 1 kg fish at the step's temperature. [kJ/kg^0.8/day]
    eaten_share : array_like, shape (...)
        Share of full appetite expected to be eaten; it moves only the mid-step weight. [-]
    feed_energy_kj_g, body_energy_kj_g : array_like, shape (...)
        Digestible energy of feed and energy of body. [kJ/g]
    efficiency, fasting_fraction : array_like, shape (...)
        As in `retained_energy`. [-]
    days : float
        Length of the step. [day]
    greatest_g : array_like, shape (...), optional
        Greatest weight the fish ever had, for `living_share`; its weight now if left out. [g]

    Returns
    -------
    DayNeeds
        Rates per day that `day_budget` applies to the whole step.

    Notes
    -----
    Explicit midpoint rule, second order in the step: the error of a season falls fourfold when the step is halved.
    """
    alive_per_kg = maintenance_per_kg
    if greatest_g is not None:
        alive_per_kg = maintenance_per_kg * living_share(weight_g, greatest_g)
    appetite = appetite_rate * weight_g**intake_exponent
    maintenance = alive_per_kg * (weight_g / 1000.0) ** 0.8
    retained = retained_energy(appetite * eaten_share * feed_energy_kj_g, maintenance, efficiency, fasting_fraction)
    middle = np.maximum(weight_g + 0.5 * days * retained / body_energy_kj_g, 0.5 * weight_g)
    return DayNeeds(appetite_rate * middle**intake_exponent, alive_per_kg * (middle / 1000.0) ** 0.8)


@formula
def day_budget(
    eaten_g: Any,
    maintenance_kj: Any,
    feed_energy_kj_g: Any,
    feed_digested_nitrogen: Any,
    efficiency: Any,
    fasting_fraction: Any,
    body_energy_kj_g: Any,
    body_protein: Any,
    weight_g: Any,
    greatest_g: Any,
    spared_nitrogen_g: Any,
) -> DayBudget:
    r"""Growth, oxygen use and excretion that follow from what a fish eats.

    Parameters
    ----------
    eaten_g : array_like, shape (...)
        Feed eaten. [g/day]
    maintenance_kj : array_like, shape (...)
        Maintenance need. [kJ/day]
    feed_energy_kj_g : array_like, shape (...)
        Digestible energy of the feed. [kJ/g]
    feed_digested_nitrogen : array_like, shape (...)
        Nitrogen absorbed per g of feed eaten. [g/g]
    efficiency, fasting_fraction : array_like, shape (...)
        As in `retained_energy`. [-]
    body_energy_kj_g, body_protein : array_like, shape (...)
        Energy [kJ/g] and protein share [-] of the wet body.
    weight_g, greatest_g : array_like, shape (...)
        Weight in the morning and the greatest it ever had, which is not less. [g]
    spared_nitrogen_g : array_like, shape (...)
        Body nitrogen beyond that of its weight, as `spared_change` left it. [g] 0 where the fish never lost weight.

    Returns
    -------
    DayBudget
        Gain [g/day], oxygen [g/day], nitrogen excreted through gill and urine [g/day], energy retained [kJ/day], and
        change of the spared nitrogen [g/day].

    Notes
    -----
    Energy closes by construction: digestible = non-faecal loss + heat + retained, heat = 13.6 kJ per g oxygen, so

    .. math:: O_2 = \frac{(1 - 0.07)\,DE - RE}{13.6}

    and nitrogen likewise: absorbed = excreted + retained. A fish that grows slowly therefore excretes more of each
    gram it eats, and a starving one excretes protein of its own body, less than its weight lost holds at first
    (`spared_change`).
    """
    digestible = eaten_g * feed_energy_kj_g
    retained = retained_energy(digestible, maintenance_kj, efficiency, fasting_fraction)
    gain = retained / body_energy_kj_g
    oxygen = ((1.0 - NON_FAECAL_LOSS_SHARE) * digestible - retained) / OXYCALORIFIC_KJ_G
    spared = spared_change(gain, weight_g, greatest_g, spared_nitrogen_g, body_energy_kj_g, body_protein)
    excreted = eaten_g * feed_digested_nitrogen - gain * body_protein / PROTEIN_PER_NITROGEN - spared
    return DayBudget(gain, oxygen, excreted, retained, spared)


@formula
def spared_change(
    gain_g: Any, weight_g: Any, greatest_g: Any, spared_nitrogen_g: Any, body_energy_kj_g: Any, body_protein: Any
) -> Any:
    r"""Change of the body nitrogen that a fish holds beyond that of its weight, since it burns fat before protein.

    Parameters
    ----------
    gain_g : array_like, shape (...)
        Gain of weight, below zero where the fish lives on its body. [g/day]
    weight_g, greatest_g, spared_nitrogen_g, body_energy_kj_g, body_protein : array_like, shape (...)
        As in `day_budget`.

    Returns
    -------
    ndarray, shape (...)
        Change. [g/day] Added up it never leaves less than none.

    Notes
    -----
    Of the nitrogen in the weight lost a share b leaves, with s the share of its greatest weight that is gone:

    .. math:: b = b_0 + (1 - b_0)\,2s/0.2, \quad b_0 = 0.225\,E_{body}/(23.6\,p_{body}), \quad 1 - b\ \text{is spared}

    until by a fifth lost nothing spared is left; from there on b is 1. Weight regained is fat first as well: it gives
    the spared nitrogen back in proportion, until the greatest weight is reached. The straight rise of b and the way
    back are our assumptions.

    Examples
    --------
    >>> spared_change([-1.0, -1.0, 5.0], [100.0, 85.0, 90.0], 100.0, [0.0, 0.0, 0.1], 7.0, 0.165).round(4)
    array([ 0.0157, -0.    , -0.05  ])
    """
    short = np.maximum(greatest_g - weight_g, 0.0)
    begun = np.minimum(_FASTING_PROTEIN_ENERGY_SHARE * body_energy_kj_g / (_PROTEIN_KJ_G * body_protein), 1.0)
    burned = begun + (1.0 - begun) * 2.0 / _LEAN_AT_LOST_SHARE * short / greatest_g
    put_by = np.maximum(-gain_g, 0.0) * (1.0 - burned) * body_protein / PROTEIN_PER_NITROGEN
    back = np.minimum(np.maximum(gain_g, 0.0) / np.maximum(short, 1e-9 * greatest_g), 1.0)
    return np.maximum(put_by, -spared_nitrogen_g) - back * spared_nitrogen_g
