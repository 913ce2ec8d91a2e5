"""The hours of a day: what fish use and excrete after their meals, and what that makes of the water.

Apart from `findings`, for powercut and the planner ask for the hours too.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.arrays.layout import Layout, sums_by
from stocksim.engine.days.hours import HOURS, ComplexArray, Hours, Loads, Room, Waters, worst_hours
from stocksim.engine.preparing import at_hand
from stocksim.engine.results.course import Course
from stocksim.fish.energetics import AMMONIA_SHARE_OF_EXCRETION
from stocksim.fish.meals import (
    AMMONIA_AFTER_MEALS,
    AMMONIA_RESPONSE,
    OXYGEN_AFTER_MEALS,
    OXYGEN_RESPONSE,
    USUAL_MEALS_PER_DAY,
    WAVES,
    fasting_share,
    meal_waves,
    usual_hours,
)

FloatArray = NDArray[np.float64]


def day_hours(layout: Layout, course: Course, with_waves: bool = False) -> Hours:
    """What follows each day's meals in the water.

    Parameters
    ----------
    layout : Layout
        Arrays of the site, from `with_scenarios`.
    course : Course
        Its season.
    with_waves : bool
        Whether the waves of oxygen are wanted.

    Returns
    -------
    Hours
        Of every tank and day; ``oxygen_waves`` of no scenario where they are not wanted.

    Notes
    -----
    What feed adds to a fasting fish's oxygen use, and most of a fed fish's ammonia, follows its meals (`fish.meals`);
    the rest is steady. Tanks, sump and beds damp it as their volumes and flows do (`daily_swing`), and nitrification
    follows TAN.
    """
    use, excreted = after_meals(layout, course)
    meals = _meals(layout)
    returned = sums_by(layout.flow_m3_day, layout.leaf_loop)
    return _run(
        Waters(
            layout.tank_of, layout.loop_of, layout.volume_m3, layout.flow_m3_day, layout.sump_volume_m3,
            returned + layout.water.overflow_m3_day,
        ),
        Loads(
            2.0 * OXYGEN_RESPONSE[:, None] * meals, 2.0 * AMMONIA_RESPONSE[:, None] * meals, use, excreted,
            course.tan_mg_l, course.nitrified_g, course.leaf_exchange_m3_day,
            returned[:, None] + course.sump_exchange_m3_day,
        ),
        len(layout.tanks),
        with_waves,
    )  # fmt: skip


def fall_by_tank(layout: Layout, course: Course, scenario: int = 0) -> FloatArray:
    """How far a gram of well-fed fish's daily use, at the usual meals, pulls oxygen below the day's mean at its lowest.

    Parameters
    ----------
    layout, course : Layout, Course
        A season's arrays, those of the layout without scenarios.
    scenario : int
        Which one.

    Returns
    -------
    ndarray, shape (tank, day, tank)
        Used in the first tank, felt in the last. [mg/L per g/day]
    """
    tanks, days = len(layout.tanks), course.leaf_exchange_m3_day.shape[1]
    returned, one = sums_by(layout.flow_m3_day, layout.leaf_loop), slice(scenario, scenario + 1)
    usual = 2.0 * OXYGEN_AFTER_MEALS * OXYGEN_RESPONSE * meal_waves(usual_hours(USUAL_MEALS_PER_DAY))
    waves, still = np.repeat(usual[None, :, None], tanks, axis=2), np.zeros((1, days, len(layout.leaf_loop)))
    use = np.repeat(np.eye(tanks)[:, None], days, axis=1)
    found = _run(
        Waters(
            np.arange(tanks, dtype=np.int64), layout.loop_of, layout.volume_m3[None], layout.flow_m3_day[None],
            layout.sump_volume_m3[None], returned[None],
        ),
        Loads(
            waves, waves, use, np.zeros_like(use), still, still, course.leaf_exchange_m3_day[one],
            returned + course.sump_exchange_m3_day[one],
        ),
        tanks,
    )  # fmt: skip
    return -found.oxygen_fall


def _run(waters: Waters, loads: Loads, tanks: int, with_waves: bool = False) -> Hours:
    """Hours by the compiled days, or where they must first be compiled by the plain ones, for one season."""
    scenarios, days, _ = loads.use.shape
    leaves, loops = len(waters.loop_of), waters.sump_volume.shape[-1]
    found = Hours(
        np.zeros((scenarios, days, tanks)), np.zeros((scenarios, days, tanks)), np.zeros((scenarios, days, tanks)),
        np.zeros((scenarios if with_waves else 0, days, WAVES, tanks), complex),
    )  # fmt: skip
    room = Room(
        np.zeros(leaves), np.zeros(leaves, complex), np.zeros(leaves, complex), np.zeros(loops, complex),
        np.zeros(loops, complex), np.zeros((2, WAVES, tanks), complex), np.zeros(HOURS),
    )  # fmt: skip
    run = at_hand(worst_hours, scenarios)
    run(Waters._make(map(np.ascontiguousarray, waters)), Loads._make(map(np.ascontiguousarray, loads)), room, found)
    return found


def use_waves(layout: Layout, course: Course) -> list[ComplexArray]:
    """Waves of what fish use of oxygen, for `fish.meals.at_hours`; each (scenario, day, tank). [g/day]"""
    use, _ = after_meals(layout, course)
    meals = np.moveaxis(_meals(layout), 1, 0)[:, :, None]  # (wave, scenario, day, cohort)
    return [
        2.0 * response * ((use * wave) @ layout.cohort_tank)
        for response, wave in zip(OXYGEN_RESPONSE, meals, strict=True)
    ]


def _meals(layout: Layout) -> ComplexArray:
    """Waves of each column's meals, (scenario, wave, cohort). [-]"""
    return np.asarray(layout.rations.meals[:, :WAVES] + 1j * layout.rations.meals[:, WAVES:])


def after_meals(layout: Layout, course: Course) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Oxygen use and ammonia nitrogen of each cohort that follow the day's meals, (scenario, day, cohort). [g/day]"""
    fasting = fasting_share(
        layout.maintenance_per_kg, course.weight_g, layout.species["fasting_loss_fraction"][..., None, :],
        course.fish_oxygen_g, course.count + course.deaths,
    )  # fmt: skip
    eats = course.eaten_g > 0.0
    ammonia = AMMONIA_SHARE_OF_EXCRETION * AMMONIA_AFTER_MEALS * course.excreted_nitrogen_g
    return np.where(eats, (1.0 - fasting) * course.fish_oxygen_g, 0.0), np.where(eats, ammonia, 0.0)
