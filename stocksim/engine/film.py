"""The film of beds and biofilters through a day: it nitrifies what comes, and grows or shrinks with it."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.layout import Layout
from stocksim.water.extrapolation import extrapolated
from stocksim.water.logistic import logistic_step
from stocksim.water.loop import Star, balance_removal
from stocksim.water.maturity import (
    HALF_ALKALINITY_MG_L,
    INHIBITION_POWER,
    OXIDIZERS,
    SEED,
    Oxidizer,
    equilibrium_maturity,
    oxidizer_decay,
    oxidizer_growth,
)
from stocksim.water.nitrification import HALF_SATURATION_TAN_MG_L
from stocksim.water.nitrite import HALF_SATURATION_NITRITE_MG_L, NITRITE_PER_AMMONIA_RATE
from stocksim.water.solids import ALKALINITY_PER_NITRATE_NITROGEN

FloatArray = NDArray[np.float64]

_KINDS: tuple[Oxidizer, Oxidizer] = ("ammonia", "nitrite")
_PLENTY = 1e15  # mg/L: the half-saturation factors of growth are then 1


def _of_both(number: str) -> FloatArray:
    return np.array([getattr(OXIDIZERS[kind], number) for kind in _KINDS])[:, None, None]


_FOOD, _OXYGEN, _INHIBITION = _of_both("half_food_mg_l"), _of_both("half_oxygen_mg_l"), _of_both("inhibition_mg_l")
_CAPACITY_RATIO = np.array([1.0, NITRITE_PER_AMMONIA_RATE])[:, None, None]
# Food that keeps a film which is mature on the first morning [mg/L N]: an ordinary loop's, assumed.
MATURE_FOOD_MG_L = 0.3
# One step a day is too coarse for a loop's nitrogen where TAN or nitrite changes its pace: where the day's change
# differs from yesterday's by this much [mg/L], and by this share of the level. Chosen so that the day keeps within
# 5 % or 0.02 mg/L of a stiff solver (the tests).
BEND_MG_L, BEND_SHARE = 0.001, 0.002


# g CaCO3 per g nitrogen that turns to nitrite: 2 equivalents a mole, nitrate giving one back
ALKALINITY_PER_NITRIFIED = 2.0 * ALKALINITY_PER_NITRATE_NITROGEN
_TURNS = 3

# what the parts of a refined day are by column: TAN, its sump, nitrified; nitrite, its sump, oxidized; what of both
# left with the water; films
_COLUMNS = ("leaf", "loop", "leaf", "leaf", "loop", "leaf", "loop", "loop", "unit")


class FilmDay(NamedTuple):
    """Capacity of each leaf for ammonia and for nitrite [g/day], and the films that the night will leave."""

    capacity: FloatArray
    nitrite_capacity: FloatArray
    next_maturity: FloatArray


class Nitrogen(NamedTuple):
    """TAN and nitrite of a day with what the films removed, and what left with water taken out, shape (..., loop)."""

    tan: Star
    nitrite: Star
    tan_out_g: FloatArray
    nitrite_out_g: FloatArray


class Base(NamedTuple):
    """Alkalinity that a day's nitrification may use, shape (scenario, loop), and ammonia that may ask for it."""

    held_g: FloatArray
    available_n_g: FloatArray
    water_m3: FloatArray


def alkalinity_left(
    held_g: FloatArray, water_m3: FloatArray, capacity_g: FloatArray, available_n_g: FloatArray
) -> FloatArray:
    r"""Alkalinity at the day's end where nitrification slows down as it runs out.

    Parameters
    ----------
    held_g, water_m3 : ndarray, shape (...)
        Alkalinity as CaCO3 there is and comes [g], and the water it stands in or leaves with [m3], above 0.
    capacity_g, available_n_g : ndarray, shape (...)
        Greatest nitrification at plenty of alkalinity, and ammonia nitrogen there is and comes. [g/day]

    Returns
    -------
    ndarray, shape (...)
        Alkalinity A. [mg/L] 0 or more.

    Notes
    -----
    .. math:: V A = H - 7.146 R, \quad V N = N_0 - R, \quad R = C \frac{A}{25 + A} \frac{N}{1.93 + N}

    Implicit, so that a loop whose alkalinity runs out nitrifies what its supply allows instead of all of it on one day
    and none on the next. Solved turn and turn about from the least N, which comes down on A from above.
    """
    held = np.maximum(held_g, 0.0)
    tan = np.maximum(available_n_g - held / ALKALINITY_PER_NITRIFIED, 0.0) / water_m3
    for turn in range(_TURNS):
        share = tan / (HALF_SATURATION_TAN_MG_L + tan)
        left = _level(held, water_m3, ALKALINITY_PER_NITRIFIED * capacity_g * share, HALF_ALKALINITY_MG_L)
        if turn == _TURNS - 1:
            break
        share = left / (HALF_ALKALINITY_MG_L + left)
        tan = _level(available_n_g, water_m3, capacity_g * share, HALF_SATURATION_TAN_MG_L)
    return left


def _level(load: FloatArray, water: FloatArray, capacity: FloatArray, half: float) -> FloatArray:
    """Level c with water c + capacity c / (half + c) = load."""
    b = 0.5 * (water * half + capacity - load)
    content = water * half * load
    root = np.sqrt(b * b + content)
    return np.where(b > 0.0, half * load / np.maximum(b + root, 1e-300), (root - b) / water)


class Film:
    """Ammonia and nitrite oxidizers of every unit: ``maturity`` has shape (2, scenario, unit)."""

    def __init__(self, layout: Layout, scenarios: int):
        self.layout, self.tanks = layout, len(layout.tanks)
        units = len(layout.units)
        self.maturity = np.broadcast_to(layout.water.maturity[:, None], (2, scenarios, units)).copy()
        temperature = layout.temperature_c @ layout.leaf_loop[self.tanks :].T
        self.decays = oxidizer_decay(temperature)
        grown = [oxidizer_growth(temperature, _PLENTY, _PLENTY, _PLENTY, kind) for kind in _KINDS]
        if layout.temperature_c.ndim == 2:
            grown = [growth[None] for growth in grown]
        self.greatest = np.stack(grown)  # (2, scenario or 1, day, unit)
        self.unit_loop = layout.leaf_loop[self.tanks :]
        self.nitrite = np.zeros((scenarios, self.tanks + units))
        self.nitrite_sump = np.zeros((scenarios, len(layout.loops)))
        self.nitrite[:] = layout.water.start_nitrite @ layout.leaf_loop.T
        self.nitrite_sump[:] = layout.water.start_nitrite
        # nothing is known of the day before the first: it is looked at closely
        self.last_change = (np.full_like(self.nitrite, np.inf), np.full_like(self.nitrite, np.inf))

    def active(self, capacity: FloatArray) -> FloatArray:
        """Capacity of the film that has grown, of the whole surfaces' capacity, both (scenario, leaf). [g/day]"""
        grown = np.ones((self.maturity.shape[1], capacity.shape[-1]))
        # a mature film whose share the first day's water will tell counts whole
        grown[:, self.tanks :] = np.where(np.isnan(self.maturity[0]), 1.0, self.maturity[0])
        return capacity * grown

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
        self.air, self.decay = oxygen[:, self.tanks :], self.decays[..., day, :]
        self.alkalinity = self._alkalinity(self.active(capacity)[:, self.tanks :], tan, alkalinity, base)
        self.surface = capacity[:, self.tanks :] * self.alkalinity / (HALF_ALKALINITY_MG_L + self.alkalinity)
        # growth with plenty of food: the science's own function at today's temperature, times oxygen and alkalinity
        self.well_fed = (
            self.greatest[..., day, :]
            * (self.air / (_OXYGEN + self.air))
            * (self.alkalinity / (HALF_ALKALINITY_MG_L + self.alkalinity))
        )
        if day == 0 and np.isnan(self.maturity).any():
            food = np.full_like(self.air, MATURE_FOOD_MG_L)
            still = equilibrium_maturity(self._growth(food, food), self.decay)
            self.maturity = np.where(np.isnan(self.maturity), still, self.maturity)
        return self._film_day(self.maturity, tan[0], self.nitrite, 1.0)

    def _alkalinity(
        self, active: FloatArray, tan: tuple[FloatArray, FloatArray], alkalinity: FloatArray, base: Base
    ) -> FloatArray:
        """Alkalinity in each unit at the day's end: the loop's first, then what the flow brings of it."""
        of_loop = alkalinity_left(base.held_g, base.water_m3, active @ self.unit_loop, base.available_n_g)
        store, flow = self.layout.volume_m3[..., self.tanks :], self.layout.flow_m3_day[..., self.tanks :]
        arriving = store * alkalinity + flow * (of_loop @ self.unit_loop.T)
        ammonia = store * tan[0][:, self.tanks :] + flow * (tan[1] @ self.unit_loop.T)
        return alkalinity_left(arriving, store + flow, active, ammonia)

    def _growth(self, tan: FloatArray, nitrite: FloatArray) -> FloatArray:
        """Growth of both oxidizers on their food in today's water, shape (2, scenario, unit)."""
        food = np.stack((tan, nitrite))
        return self.well_fed * (food / (_FOOD + food)) / (1.0 + (tan / _INHIBITION) ** INHIBITION_POWER)

    def _film_day(self, maturity: FloatArray, tan: FloatArray, nitrite: FloatArray, days: float) -> FilmDay:
        growth = self._growth(tan[:, self.tanks :], nitrite[:, self.tanks :])
        mean, end = logistic_step(maturity, growth, self.decay, days)
        sides = np.zeros((2, *tan.shape))
        sides[:, :, self.tanks :] = _CAPACITY_RATIO * self.surface * mean
        return FilmDay(sides[0], sides[1], np.minimum(np.maximum(end, SEED), 1.0))

    def nitrite_balance(self, nitrified_g: FloatArray, film: FilmDay, outflow: FloatArray, guess: FloatArray) -> Star:
        """Nitrite of the day when so much ammonia is nitrified. [mg/L]"""
        return self._nitrite(self.nitrite, self.nitrite_sump, nitrified_g, film, outflow, guess, 1.0)

    def _nitrite(
        self,
        level: FloatArray,
        sump: FloatArray,
        nitrified_g: FloatArray,
        film: FilmDay,
        outflow: FloatArray,
        guess: FloatArray,
        days: float,
    ) -> Star:
        layout = self.layout
        store, sump_store = layout.volume_m3 / days, layout.sump_volume_m3 / days
        flow = layout.flow_m3_day
        return balance_removal(
            store + flow, store * level + nitrified_g, flow, sump_store + flow @ layout.leaf_loop + outflow,
            sump_store * sump, layout.leaf_loop, film.nitrite_capacity, HALF_SATURATION_NITRITE_MG_L, guess,
        )  # fmt: skip

    def is_moving(self, tan_before: FloatArray, found: Nitrogen) -> NDArray[np.bool_]:
        """Whether one step a day is too coarse for a loop's nitrogen, shape (scenario, loop)."""
        bends = np.zeros(tan_before.shape, dtype=bool)
        for level, before, last in (
            (found.tan.leaf_mg_l, tan_before, self.last_change[0]),
            (found.nitrite.leaf_mg_l, self.nitrite, self.last_change[1]),
        ):
            bends = bends | (np.abs(level - before - last) > np.maximum(BEND_MG_L, BEND_SHARE * level))
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

        Returns
        -------
        tuple of FilmDay and Nitrogen
            Where a level would come out below zero the day in three steps stands instead.
        """
        whole = [*_parts(found.tan), *_parts(found.nitrite), found.tan_out_g, found.nitrite_out_g, film.next_maturity]
        halves, thirds = (self._steps(number, before, load, outflow, found) for number in (2, 3))
        better = [extrapolated(*three) for three in zip(whole, halves, thirds, strict=True)]
        members = self.layout.leaf_loop
        spread = {"leaf": members.T, "loop": np.eye(len(self.layout.loops)), "unit": self.unit_loop.T}
        negative = np.zeros(moving.shape, dtype=bool)
        for columns, array in zip(_COLUMNS[:-1], better, strict=False):
            negative |= (array < 0.0) @ spread[columns].T > 0.0
        chosen = [
            np.where(moving @ spread[c] > 0.0, np.where(negative @ spread[c] > 0.0, three, best), one)
            for c, one, three, best in zip(_COLUMNS, whole, thirds, better, strict=True)
        ]
        maturity = np.clip(chosen[8], SEED, 1.0)
        return film._replace(next_maturity=maturity), Nitrogen(Star(*chosen[:3]), Star(*chosen[3:6]), *chosen[6:8])

    def _steps(
        self,
        number: int,
        before: tuple[FloatArray, FloatArray],
        load: tuple[FloatArray, FloatArray],
        outflow: FloatArray,
        found: Nitrogen,
    ) -> list[FloatArray]:
        layout, days = self.layout, 1.0 / number
        flow, members = layout.flow_m3_day, layout.leaf_loop
        store, sump_store = layout.volume_m3 / days, layout.sump_volume_m3 / days
        (tan, sump), (nitrite, nitrite_sump), maturity = before, (self.nitrite, self.nitrite_sump), self.maturity
        nitrified, oxidized = np.zeros_like(tan), np.zeros_like(tan)
        tan_out, nitrite_out = np.zeros_like(sump), np.zeros_like(sump)
        for _ in range(number):
            film = self._film_day(maturity, tan, nitrite, days)
            star = balance_removal(
                store + flow, store * tan + load[0], flow, sump_store + flow @ members + outflow,
                sump_store * sump + load[1], members, film.capacity, HALF_SATURATION_TAN_MG_L, sump,
            )  # fmt: skip
            second = self._nitrite(nitrite, nitrite_sump, star.removed_g, film, outflow, nitrite_sump, days)
            tan, sump, nitrite, nitrite_sump = star.leaf_mg_l, star.sump_mg_l, second.leaf_mg_l, second.sump_mg_l
            nitrified = nitrified + days * star.removed_g
            oxidized = oxidized + days * second.removed_g
            tan_out, nitrite_out = tan_out + days * outflow * sump, nitrite_out + days * outflow * nitrite_sump
            maturity = film.next_maturity
        return [tan, sump, nitrified, nitrite, nitrite_sump, oxidized, tan_out, nitrite_out, maturity]

    def remember(self, tan_before: FloatArray, found: Nitrogen) -> None:
        """Keep by how much the day moved TAN and nitrite."""
        self.last_change = (found.tan.leaf_mg_l - tan_before, found.nitrite.leaf_mg_l - self.nitrite)

    def night(self, film: FilmDay, nitrite: Star) -> None:
        """Keep what the day left."""
        self.maturity, self.nitrite, self.nitrite_sump = film.next_maturity, nitrite.leaf_mg_l, nitrite.sump_mg_l


def _parts(star: Star) -> tuple[FloatArray, FloatArray, FloatArray]:
    return star.leaf_mg_l, star.sump_mg_l, star.removed_g
