"""Tanks without flow: what a day's fish use of their oxygen at each hour, and how long it lasts.

Apart from `decide` for its length.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stocksim.engine.arrays.tables import with_scenarios
from stocksim.engine.days.hours import HOURS
from stocksim.engine.results.frames import Season
from stocksim.engine.results.hours import day_hours, use_waves
from stocksim.fish.meals import ComplexArray, at_hours
from stocksim.water.oxygen import (
    BETA_FISH_WATER,
    device_exchange,
    diffuser_standard_transfer,
    oxygen_saturation,
    surface_exchange_velocity,
)
from stocksim.water.reserve import minutes_to_level

FloatArray = NDArray[np.float64]

# Fish crammed beyond all sense leave this share of the tank to the water; it only keeps the arithmetic above 0.
LEAST_WATER_SHARE = 0.01


def use_factors(season: Season, scenario: int = 0) -> FloatArray:
    """Oxygen use of each hour over the day's mean.

    Parameters
    ----------
    season : Season
        A season that was run.
    scenario : int
        Which one.

    Returns
    -------
    ndarray, shape (24, day, tank)
        Factor [-] at hours 0 to 23, by the hours of its meals; 1 where nobody breathes.
    """
    waves = use_waves(with_scenarios(season.layout), season.course)
    mean = (season.course.fish_oxygen_g @ season.layout.cohort_tank)[scenario]
    by_hour = np.stack([at_hours([wave[scenario] for wave in waves], hour) for hour in range(HOURS)])
    return np.asarray(1.0 + np.divide(by_hour, mean, out=np.zeros_like(by_hour), where=mean > 0.0))


def factor_at(factors: FloatArray, hour: ArrayLike) -> FloatArray:
    """Factors of `use_factors` at any hours, shape (day, tank), straight between whole ones."""
    whole = np.floor(np.asarray(hour, float)).astype(int)
    part = np.asarray(hour, float) - whole
    first = np.take_along_axis(factors, np.broadcast_to(whole % 24, factors.shape[1:])[None], axis=0)[0]
    second = np.take_along_axis(factors, np.broadcast_to((whole + 1) % 24, factors.shape[1:])[None], axis=0)[0]
    return np.asarray((1.0 - part) * first + part * second)


def _greatest_use_factor(factors: FloatArray, hour: float, minutes: FloatArray) -> FloatArray:
    """Greatest use factor between an hour and so many minutes later, infinite allowed."""
    hours = np.minimum(minutes / 60.0, 24.0)
    greatest = np.maximum(factor_at(factors, hour), factor_at(factors, hour + hours))
    for later in range(1, 25):
        whole = math.floor(hour) + later
        greatest = np.where(whole - hour <= hours, np.maximum(greatest, factors[whole % 24]), greatest)
    return greatest


class Alone(NamedTuple):
    """Tanks without flow: arrays (day, tank), or (day, cohort) where each fish is."""

    oxygen_mg_l: FloatArray
    water_m3: FloatArray
    use_g_h: FloatArray
    surface_m3_day: FloatArray
    battery_m3_day: FloatArray
    saturation_mg_l: FloatArray
    factors: FloatArray  # of use, (24, day, ...)

    def minutes(self, threshold: FloatArray, hour: float, has_battery: bool) -> FloatArray:
        """Time to a threshold. Use is the greatest that the wave reaches before then: the first guess, made with the
        use of the hour itself, is never too short, so the wave cannot pass that use within the answer."""
        battery = self.battery_m3_day if has_battery else 0.0
        exchange = self.surface_m3_day + battery
        # stones bring the water to 0.95 of saturation, the surface to all of it: one exchange toward the weighted mean
        saturation = self.saturation_mg_l * (self.surface_m3_day + BETA_FISH_WATER * battery) / exchange

        def at_use(factor: FloatArray) -> FloatArray:
            use = self.use_g_h * factor
            return minutes_to_level(self.oxygen_mg_l, threshold, self.water_m3, use, exchange, saturation)

        return at_use(_greatest_use_factor(self.factors, hour, at_use(factor_at(self.factors, hour))))

    def at_greatest(self, threshold: FloatArray) -> FloatArray:
        """Time to a threshold at the day's greatest use."""
        use = self.use_g_h * self.factors.max(axis=0)
        held = (self.oxygen_mg_l, threshold, self.water_m3, use, self.surface_m3_day, self.saturation_mg_l)
        return minutes_to_level(*held)

    def of_cohorts(self, of_cohort: FloatArray) -> Alone:
        """The tanks of the cohorts, by the transposed matrix of who lives where."""
        shape = self.use_g_h.shape
        parts = self._asdict()
        factors = parts.pop("factors") @ of_cohort
        return Alone(**{key: np.broadcast_to(part, shape) @ of_cohort for key, part in parts.items()}, factors=factors)

    def of_fish(self, days: NDArray[np.int64], tank_of: NDArray[np.int64]) -> Alone:
        """The tanks that fish are in, on some days."""
        parts = self._asdict()
        factors = parts.pop("factors")[:, days][:, :, tank_of]
        whole = {key: np.broadcast_to(part, self.use_g_h.shape)[days][:, tank_of] for key, part in parts.items()}
        return Alone(**whole, factors=factors)

    def need_g_h(self) -> FloatArray:
        """Oxygen that holds the level at the greatest use of the day."""
        from_air = self.surface_m3_day * (self.saturation_mg_l - self.oxygen_mg_l) / 24.0
        return np.maximum(self.use_g_h * self.factors.max(axis=0) - from_air, 0.0)


def tanks_alone(season: Season, hour: float, battery_w: float) -> tuple[Alone, FloatArray]:
    """Tanks at an hour of every day, cut off, and the fish in them [kg]; arrays (day, tank)."""
    layout, course, tanks = season.layout, season.course, len(season.layout.tanks)
    temperature = layout.temperature_c @ layout.leaf_loop[:tanks].T
    biomass_kg = ((course.count * course.weight_g) @ layout.cohort_tank)[0] / 1000.0
    volume, fish = layout.volume_m3[:tanks], (course.fish_oxygen_g @ layout.cohort_tank)[0]
    lives = course.left_in_evening[0] @ layout.cohort_tank > 0.0
    alone = Alone(
        oxygen_at(season, oxygen_waves(season), hour),
        np.maximum(volume - biomass_kg / 1000.0, LEAST_WATER_SHARE * volume),
        # the film on the walls breathes on with the fish; that it follows their meals is the careful side
        np.where(lives, np.maximum(fish, course.oxygen_used_g[0, :, :tanks]), fish) / 24.0,
        layout.surface_m2[:tanks] * surface_exchange_velocity(temperature),
        device_exchange(diffuser_standard_transfer(battery_w), temperature),
        oxygen_saturation(temperature, layout.elevation_m),
        use_factors(season),
    )
    return alone, biomass_kg


def oxygen_waves(season: Season) -> list[ComplexArray]:
    """Waves of the oxygen about its mean, each (day, tank). [mg/L]"""
    waves = day_hours(with_scenarios(season.layout), season.course, with_waves=True).oxygen_waves[0]
    return [waves[:, number] for number in range(waves.shape[1])]


def oxygen_at(season: Season, waves: list[ComplexArray], hour: float) -> FloatArray:
    """Oxygen of each day and tank at an hour. [mg/L]"""
    mean = season.course.oxygen_mg_l[0, :, : len(season.layout.tanks)]
    return np.maximum(mean + at_hours(waves, hour), 0.0)
