"""The hours of a day: what fish use and excrete after their meals, and what that makes of the water.

Apart from `findings`, for powercut asks for the hours too.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.arrays.layout import Layout, sums_by
from stocksim.engine.results.course import Course
from stocksim.fish.energetics import AMMONIA_SHARE_OF_EXCRETION
from stocksim.fish.meals import AMMONIA_AFTER_MEALS, AMMONIA_RESPONSE, OXYGEN_RESPONSE, WAVES, fasting_share
from stocksim.water.loop import daily_swing
from stocksim.water.nitrification import HALF_SATURATION_TAN_MG_L, OXYGEN_PER_NITROGEN

ComplexArray = NDArray[np.complex128]


class DayWaves(NamedTuple):
    """Waves of 24, 12, 8 and 6 hours about the day's mean, for `at_hours`; each (scenario, day, tank).

    ``oxygen`` and ``tan`` of the water [mg/L], ``oxygen_use`` and ``excretion`` of the fish. [g/day]
    """

    oxygen: list[ComplexArray]
    tan: list[ComplexArray]
    oxygen_use: list[ComplexArray]
    excretion: list[ComplexArray]


def day_waves(layout: Layout, course: Course) -> DayWaves:
    """What follows each day's meals, in fish and water.

    Parameters
    ----------
    layout : Layout
        Arrays of the site, from `with_scenarios`.
    course : Course
        Its season.

    Returns
    -------
    DayWaves
        Of every tank and day.

    Notes
    -----
    What feed adds to a fasting fish's oxygen use, and most of a fed fish's ammonia, follows its meals (`fish.meals`);
    the rest is steady. Tanks, sump and beds damp it as their volumes and flows do (`daily_swing`), and nitrification
    follows TAN.
    """
    tanks, members = len(layout.tanks), layout.leaf_loop
    flow, volume, sump_volume = layout.flow_m3_day[:, None], layout.volume_m3[:, None], layout.sump_volume_m3[:, None]
    returned, overflow = sums_by(flow, members), layout.water.overflow_m3_day[:, None]
    cleaned = course.nitrified_g / np.maximum(course.tan_mg_l, 1e-12)  # m3/day cleaned of TAN
    slope = cleaned * HALF_SATURATION_TAN_MG_L / (HALF_SATURATION_TAN_MG_L + course.tan_mg_l)
    use, excreted = after_meals(layout, course)
    parts = np.moveaxis(layout.rations.meals, 1, 0)[:, :, None]
    meals = parts[:WAVES] + 1j * parts[WAVES:]
    found = DayWaves([], [], [], [])
    step = WAVES if len(course.count) == 1 else 1  # all at once ask numpy less; of many that takes room not at hand
    for first in range(0, WAVES, step):
        some = slice(first, first + step)  # waves are the first axis
        of_use = 2.0 * OXYGEN_RESPONSE[some, None, None, None] * ((use * meals[some]) @ layout.cohort_tank)
        of_excretion = 2.0 * AMMONIA_RESPONSE[some, None, None, None] * ((excreted * meals[some]) @ layout.cohort_tank)
        load = np.zeros((step, *course.tan_mg_l.shape), dtype=complex)
        load[..., :tanks] = of_excretion
        numbers = np.arange(first + 1, first + step + 1)[:, None, None, None]
        tan = daily_swing(volume, slope, flow, sump_volume, returned + overflow, members, load, numbers)
        load = -OXYGEN_PER_NITROGEN * slope * tan
        load[..., :tanks] -= of_use
        oxygen = daily_swing(
            volume, course.leaf_exchange_m3_day, flow, sump_volume, returned + course.sump_exchange_m3_day, members,
            load, numbers,
        )  # fmt: skip
        for waves, wave in zip(found, (oxygen, tan, of_use, of_excretion), strict=True):
            waves += list(wave[..., :tanks])
    return found


def after_meals(layout: Layout, course: Course) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Oxygen use and ammonia nitrogen of each cohort that follow the day's meals, (scenario, day, cohort). [g/day]"""
    fasting = fasting_share(
        layout.maintenance_per_kg, course.weight_g, layout.species["fasting_loss_fraction"][..., None, :],
        course.fish_oxygen_g, course.count + course.deaths,
    )  # fmt: skip
    eats = course.eaten_g > 0.0
    ammonia = AMMONIA_SHARE_OF_EXCRETION * AMMONIA_AFTER_MEALS * course.excreted_nitrogen_g
    return np.where(eats, (1.0 - fasting) * course.fish_oxygen_g, 0.0), np.where(eats, ammonia, 0.0)
