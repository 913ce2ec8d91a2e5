"""Energy, nitrogen and oxygen budget of a fish in a day."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

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
# g carbon dioxide per g oxygen at a respiratory quotient of 1: 44.01 / 32.00.
CARBON_DIOXIDE_PER_OXYGEN = 1.375
_LOG_KG = np.log(1000.0)
# Raible 1975 as read in the note of `oxygen_appetite`: 0.6 of full appetite at 3.0 mg/L, full at 5.5 mg/L.
_KNEE_OF_FULL = 3.0 / 5.5
_SHARE_AT_KNEE = 0.6


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


def appetite_hump(
    temperature_c: ArrayLike, optimum_c: ArrayLike, upper_zero_c: ArrayLike, q10: ArrayLike
) -> FloatArray:
    r"""Share of the greatest appetite left at a temperature, warm side included.

    Parameters
    ----------
    temperature_c : array_like, shape (...)
        Water temperature. [degC]
    optimum_c, upper_zero_c : array_like, shape (...)
        Temperatures of greatest appetite and of none. [degC]
    q10 : array_like, shape (...)
        Rise of appetite over 10 degC well below the optimum. [-] Above 1.

    Returns
    -------
    ndarray, shape (...)
        Share. [-] 1 at the optimum, 0 at and above the upper zero; NaN in gives NaN out.

    Notes
    -----
    .. math:: f = V^x e^{x(1-V)}, \quad V = (T_0 - T)/(T_0 - T_{opt})

    with :math:`x = w^2 (1 + \sqrt{1 + 40/y})^2 / 400`, :math:`w = \ln Q (T_0 - T_{opt})`,
    :math:`y = \ln Q (T_0 - T_{opt} + 2)`. It never falls to zero in the cold; `cold_ramp` does that.

    References
    ----------
    .. [1] J. F. Kitchell, D. J. Stewart and D. Weininger, 1977. Applications of a bioenergetics model to
       yellow perch and walleye. J. Fish. Res. Board Can. 34, 1922-1935 (equation from memory).

    Examples
    --------
    >>> appetite_hump([20.0, 29.0, 36.0], 29.0, 36.0, 2.5).round(3)
    array([0.576, 1.   , 0.   ])
    """
    temperature, optimum, upper, slope = np.broadcast_arrays(
        np.asarray(temperature_c, float), np.asarray(optimum_c, float), np.asarray(upper_zero_c, float),
        np.log(np.asarray(q10, float)),
    )  # fmt: skip
    span = upper - optimum
    w = slope * span
    y = slope * (span + 2.0)
    x = w**2 * (1.0 + np.sqrt(1.0 + 40.0 / y)) ** 2 / 400.0
    v = np.maximum((upper - temperature) / span, 0.0)
    return v**x * np.exp(x * (1.0 - v))


def cold_ramp(temperature_c: ArrayLike, no_feeding_below_c: ArrayLike, width_c: ArrayLike) -> FloatArray:
    """Share of appetite left in the cold: none below a limit, all of it one width above.

    Parameters
    ----------
    temperature_c, no_feeding_below_c : array_like, shape (...)
        Water temperature and the temperature below which the fish does not feed. [degC]
    width_c : array_like, shape (...)
        Width of the straight ramp above that. [degC difference] Above 0.

    Returns
    -------
    ndarray, shape (...)
        Share. [-] From 0 to 1.
    """
    above = np.asarray(temperature_c, float) - np.asarray(no_feeding_below_c, float)
    return np.clip(above / np.asarray(width_c, float), 0.0, 1.0)


def maintenance_energy(
    weight_g: ArrayLike, temperature_c: ArrayLike, at_20: ArrayLike, q10_cold: ArrayLike, q10_warm: ArrayLike
) -> FloatArray:
    """Digestible energy that keeps a fish at its weight for a day.

    Parameters
    ----------
    weight_g : array_like, shape (...)
        Mean weight. [g] Valid 2 to 1000.
    temperature_c : array_like, shape (...)
        Water temperature. [degC]
    at_20 : array_like, shape (...)
        Need at 20 degC of a 1 kg fish. [kJ/kg^0.8/day]
    q10_cold, q10_warm : array_like, shape (...)
        Rise over 10 degC below and above 20 degC. [-]

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
    """Maintenance need of a 1 kg fish; see `maintenance_energy`. [kJ/kg^0.8/day]"""
    degrees = (np.asarray(temperature_c, float) - 20.0) / 10.0
    q10 = np.where(degrees < 0.0, np.asarray(q10_cold, float), np.asarray(q10_warm, float))
    return np.asarray(at_20, float) * q10**degrees


def retained_energy(
    digestible_kj: Numbers, maintenance_kj: Numbers, efficiency: Numbers, fasting_fraction: Numbers
) -> FloatArray:
    """Energy laid down in the body, negative when the fish lives on its reserves.

    Parameters
    ----------
    digestible_kj, maintenance_kj : array_like, shape (...)
        Digestible energy eaten and maintenance need. [kJ/day]
    efficiency : array_like, shape (...)
        Share of energy above maintenance that becomes body. [-]
    fasting_fraction : array_like, shape (...)
        Body energy lost per unit of unmet need. [-]

    Returns
    -------
    ndarray, shape (...)
        Retained energy. [kJ/day]
    """
    surplus = np.asarray(digestible_kj - maintenance_kj)
    return np.where(surplus > 0.0, efficiency, fasting_fraction) * surplus


def day_needs(
    weight_g: Numbers,
    appetite_rate: Numbers,
    intake_exponent: Numbers,
    maintenance_per_kg: Numbers,
    eaten_share: Numbers,
    feed_energy_kj_g: Numbers,
    efficiency: Numbers,
    fasting_fraction: Numbers,
    body_energy_kj_g: Numbers,
    days: float = 1.0,
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

    Returns
    -------
    DayNeeds
        Rates per day that `day_budget` applies to the whole step.

    Notes
    -----
    Explicit midpoint rule, second order in the step: the error of a season falls fourfold when the step is halved.
    """
    log_weight = np.log(np.asarray(weight_g, float))
    appetite = appetite_rate * np.exp(intake_exponent * log_weight)
    maintenance = maintenance_per_kg * np.exp(0.8 * (log_weight - _LOG_KG))
    retained = retained_energy(appetite * eaten_share * feed_energy_kj_g, maintenance, efficiency, fasting_fraction)
    middle = np.log(np.maximum(weight_g + 0.5 * days * retained / body_energy_kj_g, 0.5 * np.asarray(weight_g, float)))
    return DayNeeds(
        appetite_rate * np.exp(intake_exponent * middle),
        maintenance_per_kg * np.exp(0.8 * (middle - _LOG_KG)),
    )


def day_budget(
    eaten_g: Numbers,
    maintenance_kj: Numbers,
    feed_energy_kj_g: Numbers,
    feed_digested_nitrogen: Numbers,
    efficiency: Numbers,
    fasting_fraction: Numbers,
    body_energy_kj_g: Numbers,
    body_protein: Numbers,
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
    body_energy_kj_g : array_like, shape (...)
        Energy of the body. [kJ/g]
    body_protein : array_like, shape (...)
        Protein share of the wet body. [-]

    Returns
    -------
    DayBudget
        Gain [g/day], oxygen [g/day], nitrogen excreted through gill and urine [g/day], energy retained [kJ/day].

    Notes
    -----
    Energy closes by construction: digestible = non-faecal loss + heat + retained, heat = 13.6 kJ per g oxygen, so

    .. math:: O_2 = \frac{(1 - 0.07)\,DE - RE}{13.6}

    and nitrogen likewise: absorbed = excreted + retained. A fish that grows slowly therefore excretes more of each
    gram it eats, and a starving one excretes the protein of its own body.
    """
    digestible = eaten_g * feed_energy_kj_g
    retained = retained_energy(digestible, maintenance_kj, efficiency, fasting_fraction)
    gain = retained / body_energy_kj_g
    oxygen = ((1.0 - NON_FAECAL_LOSS_SHARE) * digestible - retained) / OXYCALORIFIC_KJ_G
    excreted = eaten_g * feed_digested_nitrogen - gain * body_protein / PROTEIN_PER_NITROGEN
    return DayBudget(gain, oxygen, excreted, retained)


def oxygen_appetite(oxygen_mg_l: ArrayLike, none_at: ArrayLike, full_at: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Share of appetite left when oxygen is low, and its slope: a broken line from none to all.

    Parameters
    ----------
    oxygen_mg_l : array_like, shape (...)
        Dissolved oxygen, mean of the day. [mg/L]
    none_at, full_at : array_like, shape (...)
        Oxygen at which the fish stops feeding, and from which it feeds fully. [mg/L] none_at below 3.0/5.5 of full_at.

    Returns
    -------
    tuple of ndarray, shape (...)
        Share [-], 0 at none_at, 0.6 at 3.0/5.5 of full_at, 1 at full_at; and its slope [L/mg].

    Notes
    -----
    Channel catfish gained up to 50 % more at 6.8 than at 3.0 mg/L at the same feed conversion, so low oxygen acts
    through appetite (Raible 1975, abstract read): 0.6 at 3.0 mg/L where the full level is 5.5 mg/L. The knee is
    scaled to other species by their own full level, which is our assumption.

    Examples
    --------
    >>> oxygen_appetite([1.0, 3.0, 5.5, 9.0], 1.0, 5.5)[0].round(2)
    array([0. , 0.6, 1. , 1. ])
    """
    oxygen, none_at, full_at = np.asarray(oxygen_mg_l), np.asarray(none_at), np.asarray(full_at)
    knee = _KNEE_OF_FULL * full_at
    low_slope = _SHARE_AT_KNEE / (knee - none_at)
    high_slope = (1.0 - _SHARE_AT_KNEE) / (full_at - knee)
    low_line = low_slope * (oxygen - none_at)
    high_line = _SHARE_AT_KNEE + high_slope * (oxygen - knee)
    line = np.minimum(low_line, high_line)  # the lower part is always the steeper one
    slope = np.where(low_line < high_line, low_slope, high_slope) * ((line > 0.0) & (line < 1.0))
    return np.minimum(np.maximum(line, 0.0), 1.0), slope


def ammonia_appetite(
    unionized_ammonia_mg_l: ArrayLike, full_at: ArrayLike, none_at: ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """Share of appetite left when un-ionized ammonia is high, and its slope: a straight line from all to none.

    Parameters
    ----------
    unionized_ammonia_mg_l : array_like, shape (...)
        Un-ionized ammonia as N, mean of the day. [mg/L]
    full_at, none_at : array_like, shape (...)
        Level up to which appetite is whole, and from which there is none. [mg/L] full_at below none_at.

    Returns
    -------
    tuple of ndarray, shape (...)
        Share [-] from 1 to 0, and its slope [L/mg].

    Notes
    -----
    The line from the husbandry limit to the acute level is our assumption, no source: published trials show that
    appetite and growth fall in between, not how.
    """
    full_at = np.asarray(full_at)
    slope = -1.0 / (np.asarray(none_at) - full_at)
    line = 1.0 + slope * (np.asarray(unionized_ammonia_mg_l) - full_at)
    return np.minimum(np.maximum(line, 0.0), 1.0), slope * ((line > 0.0) & (line < 1.0))
