"""The hours of a day's meals, and what follows them: oxygen use and excretion as a few waves of the day."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stocksim.fish.energetics import OXYCALORIFIC_KJ_G

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

# Waves that a day is told by, of 24, 12, 8 hours and so on: the day's lowest oxygen is then within 0.005 mg/L of an
# hourly run.
WAVES = 6
# A meal given at an hour, or evenly over some hours from then on: begin and length. [h]
Meal = tuple[float, float]

# Meals a day where the keeper tells none (assumed; catfish eat best at two above 26 degC, SEAFWA 1979, abstract read),
# and their hours (assumed, no source): by hand from the morning to the end of the day's work, and by a feeder round the
# clock where there are more than anybody gives.
USUAL_MEALS_PER_DAY = 2.0
FIRST_MEAL_H, LAST_MEAL_H, MOST_BY_HAND = 8.0, 17.0, 12
# What follows a meal rises and falls as t^n exp(-t/tau). Ammonia of sockeye salmon at 15 degC is highest 4 to 4.5 hours
# after the start of the only meal (Brett & Zala 1975, abstract read): n = 2, 2 tau = 4.2 h. Their oxygen use is highest
# at the meal and sinks for 18 hours; that of flounder is highest 6 (25 degC) to 12 h (12 degC) after it (Lee et al.
# 2015, abstract read): n = 1, tau = 4 h, between them.
AMMONIA_RISE, AMMONIA_TAU_H = 2, 2.1
OXYGEN_RISE, OXYGEN_TAU_H = 1, 4.0
# Share of a fed day's ammonia that follows the meals [-], from the top over the mean after one meal a day: perch 2.46
# gives 0.70, walleye 1.87 0.42 (Zakes et al., perch by feeding frequency; Yager & Summerfelt, walleye by feeding
# frequency; abstracts read), sockeye's top over its low of 4.3 0.51. The highest, for a limit is judged by it.
AMMONIA_AFTER_MEALS = 0.70
# The like of oxygen is what feed adds to a fasting fish's use, by the day's own budget; where that is not at hand, the
# share of perch and pikeperch: fed 249, 225, 356, starved 135, 106, 146 mg/kg/h (Zakes et al., abstracts read). [-]
OXYGEN_AFTER_MEALS = 0.53


def usual_hours(meals_per_day: float) -> tuple[Meal, ...]:
    """Hours of so many meals where the keeper tells none.

    Parameters
    ----------
    meals_per_day : float
        Taken to the nearest whole number. [-] 1 or more.

    Returns
    -------
    tuple of (float, float)
        Begin and length of each. [h]

    Examples
    --------
    >>> usual_hours(2), usual_hours(1), len(usual_hours(24))
    (((8.0, 0.0), (17.0, 0.0)), ((8.0, 0.0),), 24)
    """
    number = max(math.floor(meals_per_day + 0.5), 1)
    if number > MOST_BY_HAND:
        return tuple((24.0 * meal / number, 0.0) for meal in range(number))
    step = (LAST_MEAL_H - FIRST_MEAL_H) / max(number - 1, 1)
    return tuple((FIRST_MEAL_H + step * meal, 0.0) for meal in range(number))


def meal_waves(meals: Sequence[Meal]) -> ComplexArray:
    """The feeding of a day as waves: each meal has an equal part of the feed.

    Parameters
    ----------
    meals : sequence of (float, float)
        Begin and length of each. [h]

    Returns
    -------
    ndarray of complex, shape (WAVES,)
        Mean of exp(-2 pi i n t / 24) over the feed, for n from 1 on. [-] Its size is 1 for all at once.

    Examples
    --------
    >>> meal_waves([(6.0, 0.0)]).round(3) + 0.0
    array([ 0.-1.j, -1.+0.j,  0.+1.j,  1.+0.j,  0.-1.j, -1.+0.j])
    """
    number = np.arange(1, WAVES + 1)
    begin, length = np.array(meals, float).reshape(-1, 2).T
    middle = np.exp(-2j * np.pi * number[:, None] * (begin + 0.5 * length) / 24.0)
    return np.asarray((middle * np.sinc(number[:, None] * length / 24.0)).mean(axis=-1), dtype=complex)


def response_waves(rise: int, tau_h: float) -> ComplexArray:
    """What follows a meal as waves, its amount over all hours being 1.

    Parameters
    ----------
    rise : int
        Power of time in its rise. [-]
    tau_h : float
        Time in which it falls to 1/e. [h] The top comes ``rise`` times so long after the meal.

    Returns
    -------
    ndarray of complex, shape (WAVES,)
        Factor of each wave of `meal_waves`. [-]
    """
    number = np.arange(1, WAVES + 1)
    return np.asarray((1.0 + 2j * np.pi * number * tau_h / 24.0) ** -(rise + 1.0), dtype=complex)


OXYGEN_RESPONSE = response_waves(OXYGEN_RISE, OXYGEN_TAU_H)
AMMONIA_RESPONSE = response_waves(AMMONIA_RISE, AMMONIA_TAU_H)


def at_hours(waves: Sequence[ComplexArray], hour: ArrayLike) -> FloatArray:
    """Departure from the day's mean at an hour.

    Parameters
    ----------
    waves : sequence of ndarray of complex, each shape (...)
        Amplitudes of the waves of a day, the longest first. [any unit]
    hour : array_like, shape broadcast to (...)
        Hour of the day. [h]

    Returns
    -------
    ndarray, shape (...)
        In the unit of the amplitudes.
    """
    angle = 2.0 * np.pi * np.asarray(hour, float) / 24.0
    total: FloatArray = np.zeros(np.broadcast_shapes(np.shape(waves[0]), angle.shape))
    for number, wave in enumerate(waves, 1):
        total = total + (np.real(wave) * np.cos(number * angle) - np.imag(wave) * np.sin(number * angle))
    return total


def fasting_share(
    maintenance_per_kg: ArrayLike,
    weight_g: ArrayLike,
    fasting_fraction: ArrayLike,
    fish_oxygen_g: ArrayLike,
    count: ArrayLike,
) -> FloatArray:
    """Share of a day's oxygen use that the same fish would have without feed.

    Parameters
    ----------
    maintenance_per_kg : array_like, shape (...)
        Need of a 1 kg fish. [kJ/kg^0.8/day]
    weight_g, fasting_fraction : array_like, shape (...)
        Mean weight [g] and body energy lost per unit of unmet need. [-]
    fish_oxygen_g, count : array_like, shape (...)
        Use [g/day] of so many fish. [-]

    Returns
    -------
    ndarray, shape (...)
        From 0 to 1. [-] 1 where nothing is used.
    """
    weight = np.asarray(weight_g, float) / 1000.0
    unfed = np.asarray(fasting_fraction, float) * np.asarray(maintenance_per_kg, float) * weight**0.8
    unfed = unfed * np.asarray(count, float) / OXYCALORIFIC_KJ_G
    use = np.asarray(fish_oxygen_g, float)
    share = np.divide(unfed, use, out=np.ones(np.broadcast_shapes(unfed.shape, use.shape)), where=use > 0.0)
    return np.asarray(np.clip(share, 0.0, 1.0))
