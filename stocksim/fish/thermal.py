"""Cold and heat: what temperature fish are used to, where it begins to kill them, and how fast.

Fish get used to the water within days when it warms and over weeks when it cools. What they are used to decides the
temperatures that half of them outlive for four days, on either side; beyond these the half-time shortens with depth.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

# Tolerance of heat, by channel catfish (Bennett, McCauley & Beitinger 1998, abstract): fish are fully used to new water
# within 21, 12 and 3 days from 10 to 20, 20 to 30 and 30 to 35 degC, and within 54, 30 and 9 days back. "Fully" is read
# as 95 % of the way (ours, so rate = 3 / days), the gain as geometric, as told; ln(rate) fitted in this project as a
# line of the temperature midway, with one ratio of up to down. It gives 23, 8 and 4 days up and 61, 22 and 11 down.
# Every species gets this rate, for only catfish were read, and their pause of three days in cooling is left out.
_RATE_DOWN_AT_20, _RATE_PER_C, _UP_OVER_DOWN = 0.081, 0.10, 2.7
# Tolerance of cold is gained faster: at the rate above northern largemouth bass cooled by 4 degC a day to 4 degC would
# all die, and they all lived (Survival of adult Florida and northern largemouth bass, Proc. SEAFWA 1982, abstract).
# Fitted in this project to that, rounded: 3 leaves 11 % of them dead. That they were used to 20 degC is assumed.
_COLD_OVER_HEAT = 3.0
# Fish beyond their lethal line get used to it the more slowly the deeper they are in, and not at all from this depth on
# (our assumption: blue tilapia did a little in lethal cold, Starling et al. 1995, abstract; no rate was read).
_NO_ACCLIMATION_BEYOND_C = 1.0
# On the line half of the fish die in four days, as in the published tests of 72 and 96 h.
_ON_THE_LINE = np.log(2.0) / 4.0
# Each degree beyond it kills e^1.35 = 3.9 times as fast. Fitted in this project, rounded: tilapia moved from 28 degC
# for 24 h, 76 % alive at 14, half at 13 and none at 12 degC (Hofer, Drackett & Watts, abstract): 1.3 to 1.4. Striped
# bass, 3.0 and 3.7 degC from lethal in 72 h to loss of balance in about half an hour (Cook, Duston & Bradford 2006,
# abstract; the half hour is ours): 1.3 to 1.7. Trout, half dead in weeks (60 days, from memory) at 24.3 degC (Bear,
# McMahon & Zale 2007, abstract) where 26.2 is lethal (Thermal resistance of rainbow trout, Prog. Fish-Cult. 40, 138,
# 1978, abstract): 1.1 to 1.4.
_PER_DEGREE = 1.35
# Inside the line deaths run out to nothing: of heat over three degrees (those trout, and black bullhead of which 59 %
# lived nine weeks at 34 degC, Buttner & Renyaan 1990), of cold over one (our assumption, so that fish under ice live).
HEAT_REACH_C, COLD_REACH_C = 3.0, 1.0
# No day kills more than all but e^-10 of the fish.
_MOST_PER_DAY = 10.0
_NOWHERE_C = 1e3  # a line that no water reaches, for species whose death by cold or heat was not measured


class Lines(NamedTuple):
    """Lethal lines of fish by what they are used to, each number an array of the fish.

    ``low_at_20_c`` and ``high_at_20_c`` are the temperatures that half of fish used to 20 degC outlive for four days
    [degC], ``low_slope`` and ``high_slope`` how these move with acclimation [degC/degC]; no acclimation takes them
    below ``low_floor_c`` or above ``high_ceiling_c`` [degC].
    """

    low_at_20_c: Any
    low_slope: Any
    low_floor_c: Any
    high_at_20_c: Any
    high_slope: Any
    high_ceiling_c: Any


def lethal_lines(species: Callable[[str, float], float]) -> Lines:
    """Lethal lines from the values of a species.

    Parameters
    ----------
    species : callable
        Gives a value of the species by its key, or the default where it has none. [unit of the library]

    Returns
    -------
    Lines
        A side without any value lies where no water is: nobody dies there, and whether any would is not known.

    Examples
    --------
    >>> lethal_lines({"temperature_high_lethal": 36.0}.get).high_ceiling_c
    36.0
    """
    ceiling = species("temperature_high_lethal", _NOWHERE_C)
    floor = species("temperature_low_lethal", -_NOWHERE_C)
    return Lines(
        species("lower_lethal_at_20", floor),
        species("lower_lethal_slope", 0.0),
        floor,
        species("upper_lethal_at_20", ceiling),
        species("upper_lethal_slope", 0.0),
        ceiling,
    )


def is_cold_known(species: Callable[[str, float], float]) -> bool:
    """Whether a species' death by cold was measured, on it or on kin that its file names.

    Parameters
    ----------
    species : callable
        Gives a value of the species by its key, or the default where it has none. [unit of the library]

    Returns
    -------
    bool
        False where `lethal_lines` has no line on that side.

    Examples
    --------
    >>> is_cold_known({}.get)
    False
    """
    return lethal_lines(species).low_at_20_c > -_NOWHERE_C


def is_heat_known(species: Callable[[str, float], float]) -> bool:
    """Whether a species' death by heat was measured, on it or on kin that its file names.

    Parameters
    ----------
    species : callable
        Gives a value of the species by its key, or the default where it has none. [unit of the library]

    Returns
    -------
    bool
        False where `lethal_lines` has no line on that side.

    Examples
    --------
    >>> is_heat_known({}.get)
    False
    """
    return lethal_lines(species).high_at_20_c < _NOWHERE_C


def lower_lethal_c(acclimated_c: ArrayLike, lines: Lines) -> FloatArray:
    """Cold that half of the fish outlive for four days.

    Parameters
    ----------
    acclimated_c : array_like, shape (...)
        Temperature that the fish are used to. [degC]
    lines : Lines
        Of their species.

    Returns
    -------
    ndarray, shape (...)
        [degC]

    Examples
    --------
    >>> catfish = Lines(5.4, 0.78, -1e3, 32.5, 0.45, 38.0)
    >>> lower_lethal_c([12.0, 20.0, 30.0], catfish).round(1)
    array([-0.8,  5.4, 13.2])
    """
    by_acclimation = lines.low_at_20_c + lines.low_slope * (np.asarray(acclimated_c, float) - 20.0)
    return np.asarray(np.maximum(by_acclimation, lines.low_floor_c))


def upper_lethal_c(acclimated_c: ArrayLike, lines: Lines) -> FloatArray:
    """Heat that half of the fish outlive for four days.

    Parameters
    ----------
    acclimated_c : array_like, shape (...)
        Temperature that the fish are used to. [degC]
    lines : Lines
        Of their species.

    Returns
    -------
    ndarray, shape (...)
        [degC]

    Examples
    --------
    >>> catfish = Lines(5.4, 0.78, -1e3, 32.5, 0.45, 38.0)
    >>> upper_lethal_c([20.0, 30.0, 36.0], catfish)
    array([32.5, 37. , 38. ])
    """
    by_acclimation = lines.high_at_20_c + lines.high_slope * (np.asarray(acclimated_c, float) - 20.0)
    return np.asarray(np.minimum(by_acclimation, lines.high_ceiling_c))


class UsedTo(NamedTuple):
    """What fish are used to: the temperatures that decide their lethal cold and heat, arrays alike. [degC]"""

    for_cold_c: FloatArray
    for_heat_c: FloatArray


def acclimation_rate(acclimated_c: ArrayLike, temperature_c: ArrayLike) -> FloatArray:
    r"""How fast the heat that fish bear follows the water: the share of the way that they go, as a rate.

    Parameters
    ----------
    acclimated_c, temperature_c : array_like, shape (...)
        Temperature that they are used to, and the water's. [degC]

    Returns
    -------
    ndarray, shape (...)
        [1/day] The cold that they bear follows colder water three times as fast, and warmer water alike.

    Notes
    -----
    .. math:: k = 0.081\,e^{0.1\,(\bar T - 20)}, \quad \bar T = (T_{used} + T)/2

    and 2.7 times that where the water is warmer than they are used to (see the constants).

    Examples
    --------
    >>> (3.0 / acclimation_rate([10.0, 20.0, 30.0, 20.0], [20.0, 30.0, 35.0, 10.0])).round(0)
    array([23.,  8.,  4., 61.])
    """
    used, water = np.asarray(acclimated_c, float), np.asarray(temperature_c, float)
    down = _RATE_DOWN_AT_20 * np.exp(_RATE_PER_C * (0.5 * (used + water) - 20.0))
    return np.asarray(np.where(water > used, _UP_OVER_DOWN * down, down))


def acclimated_to(temperature_c: ArrayLike, lines: Lines, begin_c: ArrayLike | None = None) -> UsedTo:
    """Temperatures that fish are used to on the morning of each day.

    Parameters
    ----------
    temperature_c : array_like, shape (day, ...)
        Water of each day. [degC]
    lines : Lines
        Of their species, shape (...).
    begin_c : array_like, shape (...), optional
        What they are used to on the first morning [degC]; the water of that day where not given.

    Returns
    -------
    UsedTo
        Arrays of shape (day, ...). [degC] Always within the water that they lived in.

    Notes
    -----
    Each day goes the share 1 - exp(-k) of the way from what they are used to towards the day's water, with k of
    `acclimation_rate`, less beyond a lethal line (see the constants).

    Examples
    --------
    >>> nowhere = lethal_lines({}.get)
    >>> used = acclimated_to([20.0, 10.0, 10.0, 20.0], nowhere)
    >>> used.for_cold_c.round(2), used.for_heat_c.round(2)
    (array([20.  , 20.  , 18.63, 17.52]), array([20.  , 20.  , 19.52, 19.07]))
    """
    water = np.asarray(temperature_c, float)
    used = UsedTo(np.empty_like(water), np.empty_like(water))
    cold = heat = water[0] if begin_c is None else np.broadcast_to(np.asarray(begin_c, float), water.shape[1:])
    for day, today in enumerate(water):
        used.for_cold_c[day], used.for_heat_c[day] = cold, heat
        beyond = np.maximum(lower_lethal_c(cold, lines) - today, today - upper_lethal_c(heat, lines))
        hindered = np.clip(1.0 - beyond / _NO_ACCLIMATION_BEYOND_C, 0.0, 1.0)
        quick = hindered * np.where(today < cold, _COLD_OVER_HEAT, 1.0)
        cold = cold - (today - cold) * np.expm1(-quick * acclimation_rate(cold, today))
        heat = heat - (today - heat) * np.expm1(-hindered * acclimation_rate(heat, today))
    return used


def lethal_hazard(beyond_c: ArrayLike, reach_c: float) -> FloatArray:
    r"""Deaths to expect of a day beyond a lethal line, as a hazard.

    Parameters
    ----------
    beyond_c : array_like, shape (...)
        How far the water lies beyond the line; below 0 inside of it. [degC difference]
    reach_c : float
        How far inside of the line a few still die. [degC difference]

    Returns
    -------
    ndarray, shape (...)
        Hazard. [1/day] At most 10.

    Notes
    -----
    .. math:: h = \frac{\ln 2}{4}\,\frac{e^{1.35\,d} - e^{-1.35\,r}}{1 - e^{-1.35\,r}}

    so that half die in four days on the line (d = 0), and nobody from r inside of it on.

    Examples
    --------
    >>> (np.log(2.0) / lethal_hazard([0.0, 1.0, 2.0], 3.0)).round(2)
    array([4.  , 1.02, 0.26])
    """
    nothing = np.exp(-_PER_DEGREE * reach_c)
    depth = np.minimum(np.asarray(beyond_c, float), 5.0)  # the most of a day is reached long before
    hazard = _ON_THE_LINE * np.maximum(np.exp(_PER_DEGREE * depth) - nothing, 0.0) / (1.0 - nothing)
    return np.asarray(np.minimum(hazard, _MOST_PER_DAY))


def temperature_hazard(temperature_c: ArrayLike, used_to: UsedTo, lines: Lines) -> tuple[FloatArray, FloatArray]:
    """Deaths to expect from the cold and from the heat of a day, as hazards.

    Parameters
    ----------
    temperature_c : array_like, shape (...)
        Water temperature, mean of the day. [degC]
    used_to : UsedTo
        What the fish are used to that morning, as from `acclimated_to`.
    lines : Lines
        Of their species.

    Returns
    -------
    cold, heat : ndarray, shape (...)
        Hazards. [1/day] 0 where a species' death by cold or heat was not measured. A hazard of this kind says when fish
        begin to die, not how many: treat any death it shows as an alarm.

    Examples
    --------
    >>> tilapia = Lines(11.2, 0.35, 11.0, 37.7, 0.0, 37.7)
    >>> used = np.array([25.0, 28.0, 15.0])
    >>> cold, heat = temperature_hazard([25.0, 14.0, 10.0], UsedTo(used, used), tilapia)
    >>> cold.round(2), heat.round(2)
    (array([0.  , 0.17, 0.84]), array([0., 0., 0.]))
    """
    water = np.asarray(temperature_c, float)
    return (
        lethal_hazard(lower_lethal_c(used_to.for_cold_c, lines) - water, COLD_REACH_C),
        lethal_hazard(water - upper_lethal_c(used_to.for_heat_c, lines), HEAT_REACH_C),
    )


def days_to_death(hazard: ArrayLike, share: float) -> FloatArray:
    """Day by whose end a share of the fish is dead.

    Parameters
    ----------
    hazard : array_like, shape (day, ...)
        Deaths to expect of each day. [1/day]
    share : float
        Share of the fish. [-] Above 0, below 1.

    Returns
    -------
    ndarray, shape (...)
        1 for the first day; infinite where fewer die. [day]

    Examples
    --------
    >>> float(days_to_death([0.0, 0.5, 0.5], 0.5)), float(days_to_death([0.1, 0.1], 0.5))
    (3.0, inf)
    """
    so_far = np.cumsum(np.asarray(hazard, float), axis=0)
    is_dead = so_far >= -np.log1p(-share)
    return np.where(is_dead.any(axis=0), is_dead.argmax(axis=0) + 1.0, np.inf)


def acclimation_excess(temperature_c: ArrayLike, limit_per_day: ArrayLike) -> FloatArray:
    """How far each day's change of temperature passes what the fish bear.

    Parameters
    ----------
    temperature_c : array_like, shape (day, ...)
        Water temperature. [degC]
    limit_per_day : array_like, shape (...)
        Greatest change from one day to the next, up or down. [degC difference]

    Returns
    -------
    ndarray, shape (day, ...)
        Excess. [degC difference] 0 within the limit and on the first day.

    Examples
    --------
    >>> acclimation_excess([15.0, 16.0, 12.0], 1.5)
    array([0. , 0. , 2.5])
    """
    water = np.asarray(temperature_c, float)
    change = np.abs(np.diff(water, axis=0, prepend=water[:1]))
    return np.maximum(change - np.asarray(limit_per_day, float), 0.0)
