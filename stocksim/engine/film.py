"""The film of beds and biofilters through a day: it nitrifies what comes, and grows or shrinks with it."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.film_steps import FilmDay, FineSteps, Given, Nitrogen, Today
from stocksim.engine.layout import Layout
from stocksim.water.alkalinity import alkalinity_limited
from stocksim.water.logistic import logistic_step
from stocksim.water.loop import Star, balance_removal, removal_terms
from stocksim.water.maturity import (
    HALF_ALKALINITY_MG_L,
    OXIDIZERS,
    SEED,
    Oxidizer,
    equilibrium_maturity,
    oxidizer_decay,
    oxidizer_growth,
)
from stocksim.water.nitrite import HALF_SATURATION_NITRITE_MG_L, NITRITE_PER_AMMONIA_RATE

FloatArray = NDArray[np.float64]

_KINDS: tuple[Oxidizer, Oxidizer] = ("ammonia", "nitrite")
_PLENTY = 1e15  # mg/L: the half-saturation factors of growth are then 1


def by_day(array: FloatArray) -> FloatArray:
    """(day, column) or (scenario, day, column) as (day, scenario or 1, column), copied."""
    lead = array[None] if array.ndim == 2 else array
    return np.ascontiguousarray(np.moveaxis(lead, -2, 0))


# Food that keeps a film which is mature on the first morning [mg/L N]: an ordinary loop's, assumed.
MATURE_FOOD_MG_L = 0.3
# One step a day is too coarse for a loop's nitrogen where TAN or nitrite changes its pace: where the day's change
# differs from yesterday's by this much [mg/L], and by this share of the level. Chosen so that the day keeps within
# 5 % or 0.02 mg/L of a stiff solver (the tests).
BEND_MG_L, BEND_SHARE = 0.001, 0.002


class Base(NamedTuple):
    """Alkalinity that a day's nitrification may use, shape (scenario, loop), and ammonia that may ask for it."""

    held_g: FloatArray
    available_n_g: FloatArray
    water_m3: FloatArray


class _Constants(NamedTuple):
    """Numbers of both oxidizers, shape (2, 1, unit): numpy is quickest with arrays of one shape."""

    half_food: FloatArray
    half_oxygen: FloatArray
    inhibition: FloatArray
    capacity_ratio: FloatArray


def _constants(units: int) -> _Constants:
    def of_both(values: list[float]) -> FloatArray:
        return np.tile(np.array(values)[:, None, None], (1, 1, units))

    named = ("half_food_mg_l", "half_oxygen_mg_l", "inhibition_mg_l")
    food, oxygen, inhibition = (of_both([getattr(OXIDIZERS[kind], name) for kind in _KINDS]) for name in named)
    return _Constants(food, oxygen, inhibition, of_both([1.0, NITRITE_PER_AMMONIA_RATE]))


class Film:
    """Ammonia and nitrite oxidizers of every unit: ``maturity`` has shape (2, scenario, unit)."""

    def __init__(self, layout: Layout, scenarios: int):
        self.layout, self.tanks = layout, len(layout.tanks)
        units = len(layout.units)
        self.constants = _constants(units)
        self.maturity = np.broadcast_to(layout.water.maturity[:, None], (2, scenarios, units)).copy()
        temperature = layout.temperature_c @ layout.leaf_loop[self.tanks :].T
        self.decays = by_day(oxidizer_decay(temperature))
        grown = [oxidizer_growth(temperature, _PLENTY, _PLENTY, _PLENTY, kind) for kind in _KINDS]
        self.greatest = np.stack([by_day(growth) for growth in grown], axis=1)  # (day, 2, scenario or 1, unit)
        self.unit_loop = layout.leaf_loop[self.tanks :]
        self.nitrite = np.zeros((scenarios, self.tanks + units))
        # of every leaf; a mature film whose share the first day's water will tell counts whole
        self.grown = np.ones((scenarios, self.tanks + units))
        self.grown[:, self.tanks :] = np.where(np.isnan(self.maturity[0]), 1.0, self.maturity[0])
        self.nitrite_sump = np.zeros((scenarios, len(layout.loops)))
        self.nitrite[:] = layout.water.start_nitrite @ layout.leaf_loop.T
        self.nitrite_sump[:] = layout.water.start_nitrite
        self.unit_store, self.unit_flow = layout.volume_m3[..., self.tanks :], layout.flow_m3_day[..., self.tanks :]
        self.unit_water = self.unit_store + self.unit_flow
        self.gain = layout.volume_m3 + layout.flow_m3_day
        self.terms = removal_terms(self.gain, layout.flow_m3_day, HALF_SATURATION_NITRITE_MG_L)
        self.sump_gain = layout.sump_volume_m3 + layout.flow_m3_day @ layout.leaf_loop
        # nitrified on the last three days, from where the search for today's alkalinity starts [g/day]
        self.by_loop = tuple(np.zeros_like(self.nitrite_sump) for _ in range(3))
        self.by_unit = tuple(np.zeros((scenarios, units)) for _ in range(3))
        self.fine = FineSteps(layout, scenarios)
        # nothing is known of the day before the first: it is looked at closely
        self.last_change = (np.full_like(self.nitrite, np.inf), np.full_like(self.nitrite, np.inf))

    def active(self, capacity: FloatArray) -> FloatArray:
        """Capacity of the film that has grown, of the whole surfaces' capacity, both (scenario, leaf). [g/day]"""
        return capacity * self.grown

    def morning(
        self,
        day: int,
        capacity: FloatArray,
        tan: tuple[FloatArray, FloatArray],
        oxygen: FloatArray,
        alkalinity: FloatArray,
        base: Base,
    ) -> FilmDay:
        """What the films can do today, from the water the night left.

        Parameters
        ----------
        day : int
            Day of the season.
        capacity : ndarray, shape (scenario, leaf)
            Of the whole surface at today's temperature and oxygen. [g/day]
        tan : tuple of ndarray
            Levels of leaves and sumps in the morning. [mg/L]
        oxygen : ndarray, shape (scenario, leaf)
            Level of the morning. [mg/L]
        alkalinity : ndarray, shape (scenario, unit)
            Of the morning, as CaCO3. [mg/L]
        base : Base
            What each loop has of alkalinity for the day.
        """
        air, decay = oxygen[:, self.tanks :], self.decays[day]
        left = self._alkalinity(self.active(capacity)[:, self.tanks :], tan, alkalinity, base)
        buffered = left / (HALF_ALKALINITY_MG_L + left)
        # growth with plenty of food: the science's own function at today's temperature, times oxygen and alkalinity
        well_fed = self.greatest[day] * (air / (self.constants.half_oxygen + air)) * buffered
        self.today = Today(well_fed, decay, capacity[:, self.tanks :] * buffered)
        if day == 0 and np.isnan(self.maturity).any():
            food = np.full_like(air, MATURE_FOOD_MG_L)
            still = equilibrium_maturity(self._growth(food, food, well_fed), decay)
            self.maturity = np.where(np.isnan(self.maturity), still, self.maturity)
        return self._film_day(self.maturity, tan[0], self.nitrite, self.today)

    def _alkalinity(
        self, active: FloatArray, tan: tuple[FloatArray, FloatArray], alkalinity: FloatArray, base: Base
    ) -> FloatArray:
        """Alkalinity in each unit at the day's end: the loop's first, then what the flow brings of it."""
        loop_guess, unit_guess = (3.0 * (last - before) + first for last, before, first in (self.by_loop, self.by_unit))
        of_loop, loop_used = alkalinity_limited(
            base.held_g, base.water_m3, active.dot(self.unit_loop), base.available_n_g, loop_guess
        )
        arriving = self.unit_store * alkalinity + self.unit_flow * of_loop.dot(self.unit_loop.T)
        ammonia = self.unit_store * tan[0][:, self.tanks :] + self.unit_flow * tan[1].dot(self.unit_loop.T)
        left, unit_used = alkalinity_limited(arriving, self.unit_water, active, ammonia, unit_guess)
        self.by_loop, self.by_unit = (loop_used, *self.by_loop[:2]), (unit_used, *self.by_unit[:2])
        return left

    def _growth(self, tan: FloatArray, nitrite: FloatArray, well_fed: FloatArray) -> FloatArray:
        """Growth of both oxidizers on their food in today's water, shape (..., 2, scenario, unit)."""
        food = np.empty((*tan.shape[:-2], 2, *tan.shape[-2:]))
        food[..., 0, :, :], food[..., 1, :, :] = tan, nitrite
        hindered = 1.0 + ((food[..., :1, :, :] / self.constants.inhibition) ** 2) ** 2
        return well_fed * food / ((self.constants.half_food + food) * hindered)

    def _film_day(
        self,
        maturity: FloatArray,
        tan: FloatArray,
        nitrite: FloatArray,
        today: Today,
        days: FloatArray | float = 1.0,
    ) -> FilmDay:
        growth = self._growth(tan[:, self.tanks :], nitrite[:, self.tanks :], today.well_fed)
        mean, end = logistic_step(maturity, growth, today.decay, days)
        sides = np.zeros((*mean.shape[:-1], tan.shape[-1]))
        sides[..., self.tanks :] = self.constants.capacity_ratio * today.surface * mean
        return FilmDay(sides[..., 0, :, :], sides[..., 1, :, :], np.minimum(np.maximum(end, SEED), 1.0))

    def nitrite_balance(self, nitrified_g: FloatArray, film: FilmDay, outflow: FloatArray, guess: FloatArray) -> Star:
        """Nitrite of the day when so much ammonia is nitrified. [mg/L]"""
        layout = self.layout
        return balance_removal(
            self.gain, layout.volume_m3 * self.nitrite + nitrified_g, layout.flow_m3_day, self.sump_gain + outflow,
            layout.sump_volume_m3 * self.nitrite_sump, layout.leaf_loop, film.nitrite_capacity,
            HALF_SATURATION_NITRITE_MG_L, guess, self.terms,
        )  # fmt: skip

    def is_moving(self, tan_before: FloatArray, found: Nitrogen) -> NDArray[np.bool_] | None:
        """Whether one step a day is too coarse for a loop's nitrogen, shape (scenario, loop); None if for no loop.

        Keeps by how much one step of the day moves TAN and nitrite.
        """
        tan, nitrite = found.tan.leaf_mg_l, found.nitrite.leaf_mg_l
        change = (tan - tan_before, nitrite - self.nitrite)
        bends = (np.abs(change[0] - self.last_change[0]) > np.maximum(BEND_MG_L, BEND_SHARE * tan)) | (
            np.abs(change[1] - self.last_change[1]) > np.maximum(BEND_MG_L, BEND_SHARE * nitrite)
        )
        self.last_change = change
        if not bends.any():
            return None
        return (bends @ self.layout.leaf_loop) > 0.0

    def refine(
        self,
        film: FilmDay,
        found: Nitrogen,
        moving: NDArray[np.bool_],
        before: tuple[FloatArray, FloatArray],
        load: tuple[FloatArray, FloatArray],
        outflow: FloatArray,
    ) -> tuple[FilmDay, Nitrogen]:
        """The day's nitrogen done again in two and in three steps where it moves fast, and extrapolated.

        Parameters
        ----------
        film, found : FilmDay, Nitrogen
            The day in one step.
        moving : ndarray of bool, shape (scenario, loop)
            Loops to refine.
        before, load : tuple of ndarray
            TAN of leaves and sumps the morning found [mg/L], and what they are given. [g/day]
        outflow : ndarray, shape (..., loop)
            Water taken out of the sump. [m3/day]
        """
        levels = [*before, self.nitrite, self.nitrite_sump, self.maturity]
        given = Given(*load, outflow, self.today)
        return self.fine.refine(film, found, moving, levels, given, self._film_day)

    def remember(self, tan_before: FloatArray, found: Nitrogen) -> None:
        """Keep by how much a day done in several steps moved TAN and nitrite."""
        self.last_change = (found.tan.leaf_mg_l - tan_before, found.nitrite.leaf_mg_l - self.nitrite)

    def night(self, film: FilmDay, nitrite: Star) -> None:
        """Keep what the day left."""
        self.maturity, self.nitrite, self.nitrite_sump = film.next_maturity, nitrite.leaf_mg_l, nitrite.sump_mg_l
        self.grown[:, self.tanks :] = self.maturity[0]
