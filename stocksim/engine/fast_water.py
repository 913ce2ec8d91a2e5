"""The water that a day's feed moves at once: oxygen and ammonia, settled with what the fish eat in it."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.eating import Eating, FishDay
from stocksim.engine.film import Film
from stocksim.engine.film_steps import Nitrogen
from stocksim.engine.layout import Layout
from stocksim.engine.season_climate import Climate
from stocksim.engine.settling import AGREED, Guess
from stocksim.engine.water_day import Morning
from stocksim.water.loop import Star, balance_demand, balance_removal, removal_terms
from stocksim.water.nitrification import HALF_SATURATION_TAN_MG_L, oxygen_share
from stocksim.water.nitrite import OXYGEN_TO_NITRATE, OXYGEN_TO_NITRITE

FloatArray = NDArray[np.float64]

MOST_ROUNDS = 80


class Levels(NamedTuple):
    """Oxygen and TAN of leaves and sumps, nitrite of sumps; shapes (scenario, leaf) and (scenario, loop). [mg/L]"""

    oxygen: FloatArray
    oxygen_sump: FloatArray
    tan: FloatArray
    tan_sump: FloatArray
    nitrite_sump: FloatArray


class Settled(NamedTuple):
    """A day in which appetite and water agree; oxygen used by leaf and by sump. [g/day]"""

    eating: Eating
    nitrogen: Nitrogen
    oxygen: Star
    oxygen_used_g: FloatArray
    sump_oxygen_used_g: FloatArray
    rounds: int
    apart: float


class FastWater:
    """Oxygen and ammonia of the loops from day to day."""

    def __init__(self, layout: Layout, climate: Climate, film: Film, scenarios: int):
        self.layout, self.climate, self.film = layout, climate, film
        self.tanks = len(layout.tanks)
        leaves, loops = self.tanks + len(layout.units), len(layout.loops)
        self.members, self.at_leaf = layout.leaf_loop, layout.leaf_loop.T
        self.flow, self.store, self.sump_store = layout.flow_m3_day, layout.volume_m3, layout.sump_volume_m3
        self.tan_gain = self.store + self.flow
        self.tan_terms = removal_terms(self.tan_gain, self.flow, HALF_SATURATION_TAN_MG_L)
        self.tan_sump_gain = self.sump_store + self.flow @ self.members
        oxygen_sump = np.zeros((scenarios, loops)) + climate.saturation[0]
        zeros = np.zeros((scenarios, leaves))
        self.levels = Levels(
            oxygen_sump @ self.at_leaf, oxygen_sump, zeros, np.zeros((scenarios, loops)), film.nitrite_sump
        )
        # of the last three mornings
        self.before = self.earlier = self.oldest = self.levels
        self.share = np.ones((scenarios, len(layout.cohorts)))
        self.sloped_tan_gain = zeros + self.tan_gain
        self.demand, self.slope = zeros.copy(), zeros.copy()

    def start(self, day: int, tan: FloatArray, tan_sump: FloatArray) -> FloatArray:
        """Begin a day at this ammonia; what the films could nitrify with the oxygen that reaches them. [g/day]"""
        self.day = day
        self.levels = self.levels._replace(tan=tan, tan_sump=tan_sump, nitrite_sump=self.film.nitrite_sump)
        climate, now = self.climate, self.levels
        capacity = climate.capacity[day]
        brought = climate.leaf_exchange_load[day] + self.flow * now.oxygen_sump.dot(self.at_leaf)
        return capacity * oxygen_share(self.film.active(capacity), now.tan, climate.leaf_passing[day], brought)

    def guess(self) -> Levels:
        """Where levels are heading: the rounds then have little left to do.

        By a cubic where appetite waits for it, by a parabola in the sumps.
        """
        now, before, earlier, oldest = self.levels, self.before, self.earlier, self.oldest
        return Levels(
            4.0 * (now.oxygen + earlier.oxygen) - 6.0 * before.oxygen - oldest.oxygen,
            now.oxygen_sump,
            4.0 * (now.tan + earlier.tan) - 6.0 * before.tan - oldest.tan,
            np.maximum(3.0 * (now.tan_sump - before.tan_sump) + earlier.tan_sump, 0.0),
            np.maximum(3.0 * (now.nitrite_sump - before.nitrite_sump) + earlier.nitrite_sump, 0.0),
        )

    def settle(self, fish: FishDay, morning: Morning, chloride: FloatArray) -> Settled:
        """Let the fish eat in the water that their feed makes.

        Parameters
        ----------
        fish : FishDay
            Fish of the day; they wake here.
        morning : Morning
            What the night left.
        chloride : ndarray, shape (scenario, loop)
            Of the morning. [mg/L]

        Notes
        -----
        Appetite falls with the oxygen and ammonia that the feed itself makes. Each round takes the appetite's slope
        into the loop balance (Newton), so that an overstocked tank settles within the day.
        """
        day, now, climate, tanks = self.day, self.levels, self.climate, self.tanks
        toxic, outflow, film = morning.toxic_share, morning.outflow_m3, self.film
        oxygen_guess, _, tan_guess, tan_sump_guess, nitrite_guess = self.guess()
        share, slopes = fish.appetite_share(oxygen_guess[:, :tanks], tan_guess[:, :tanks], toxic)
        fish.wake(day, climate.appetite[day], climate.maintenance[day], self.share, film.nitrite[:, :tanks], chloride)
        tan_stored, tan_sump_gain = self.store * now.tan, self.tan_sump_gain + outflow
        tan_sump_stored = self.sump_store * now.tan_sump + morning.sump_tan_g
        oxygen_gain = climate.leaf_gain[day]
        oxygen_load = self.store * now.oxygen + climate.leaf_exchange_load[day]
        ahead: tuple[Guess, Guess] | None = None
        for rounds in range(1, MOST_ROUNDS + 1):
            eating = fish.eat(share, slopes, toxic)
            tan_gain, tan_load, terms = self.tan_gain, tan_stored.copy(), self.tan_terms
            tan_load[:, :tanks] += eating.tank_tan
            leaf_gain, leaf_load = oxygen_gain, oxygen_load
            if eating.tank_oxygen_slope is not None and eating.tank_tan_slope is not None:
                tan_gain, slope = self.sloped_tan_gain, self.slope
                tan_gain[:, :tanks] = self.tan_gain[:, :tanks] - eating.tank_tan_slope
                terms = removal_terms(tan_gain, self.flow, HALF_SATURATION_TAN_MG_L)
                tan_load[:, :tanks] -= eating.tank_tan_slope * tan_guess[:, :tanks]
                slope[:, :tanks] = eating.tank_oxygen_slope
                leaf_gain, leaf_load = oxygen_gain + slope, oxygen_load + slope * oxygen_guess
            tan = balance_removal(
                tan_gain, tan_load, self.flow, tan_sump_gain, tan_sump_stored + eating.urea_n, self.members,
                morning.film.capacity, HALF_SATURATION_TAN_MG_L, tan_sump_guess, terms,
            )  # fmt: skip
            nitrite = film.nitrite_balance(tan.removed_g, morning.film, outflow, nitrite_guess)
            oxygen, sump_used = self._oxygen(leaf_gain, leaf_load, eating, tan, nitrite, morning)
            new_share, _ = fish.appetite_share(oxygen.leaf_mg_l[:, :tanks], tan.leaf_mg_l[:, :tanks], toxic)
            apart = 0.0 if new_share is share else float(np.abs(new_share - share).max(initial=0.0))
            if apart < AGREED or rounds == MOST_ROUNDS:
                break
            tan_sump_guess, nitrite_guess = tan.sump_mg_l, nitrite.sump_mg_l
            ahead = ahead or (Guess(), Guess())
            oxygen_guess = ahead[0].following(oxygen_guess, oxygen.leaf_mg_l)
            tan_guess = ahead[1].following(tan_guess, tan.leaf_mg_l)
            share, slopes = fish.appetite_share(oxygen_guess[:, :tanks], tan_guess[:, :tanks], toxic)
        self.share = share
        used = oxygen.removed_g.copy()
        if eating.tank_oxygen_slope is not None:
            used += self.slope * (oxygen.leaf_mg_l - oxygen_guess)
        return Settled(eating, Nitrogen(tan, nitrite), oxygen, used, sump_used, rounds, apart)

    def refine(self, settled: Settled, morning: Morning) -> tuple[Settled, Morning]:
        """The day's nitrogen, and the oxygen that it takes, done again in steps where it moves too fast for one."""
        film, now, eating = self.film, self.levels, settled.eating
        moving = film.is_moving(now.tan, settled.nitrogen)
        if moving is None:
            return settled, morning
        load = np.zeros_like(now.tan)
        load[:, : self.tanks] = eating.tank_tan
        film_day, nitrogen = film.refine(
            morning.film, settled.nitrogen, moving, (now.tan, now.tan_sump),
            (load, eating.urea_n + morning.sump_tan_g), morning.outflow_m3,
        )  # fmt: skip
        film.remember(now.tan, nitrogen)
        oxygen_load = self.store * now.oxygen + self.climate.leaf_exchange_load[self.day]
        oxygen, sump_used = self._oxygen(
            self.climate.leaf_gain[self.day], oxygen_load, eating, nitrogen.tan, nitrogen.nitrite, morning
        )
        settled = settled._replace(
            nitrogen=nitrogen, oxygen=oxygen, oxygen_used_g=oxygen.removed_g.copy(), sump_oxygen_used_g=sump_used
        )
        return settled, morning._replace(film=film_day)

    def _oxygen(
        self, leaf_gain: FloatArray, leaf_load: FloatArray, eating: Eating, tan: Star, nitrite: Star, morning: Morning
    ) -> tuple[Star, FloatArray]:
        """Oxygen of the day, of which fish, films and what decays in the sump use what they want or all there is."""
        day, climate, tanks, sump = self.day, self.climate, self.tanks, self.levels.oxygen_sump
        self.demand[:, :tanks] = eating.tank_oxygen
        self.demand[:, tanks:] = (
            OXYGEN_TO_NITRITE * tan.removed_g[:, tanks:] + OXYGEN_TO_NITRATE * nitrite.removed_g[:, tanks:]
        )
        return balance_demand(
            leaf_gain, leaf_load, self.flow, climate.sump_gain[day],
            self.sump_store * sump + climate.sump_exchange_load[day], self.members, self.demand, morning.sump_oxygen_g,
            sump,
        )  # fmt: skip

    def end(self, settled: Settled) -> None:
        """Keep what the day left."""
        tan, oxygen = settled.nitrogen.tan, settled.oxygen
        self.oldest, self.earlier, self.before = self.earlier, self.before, self.levels
        self.levels = Levels(
            oxygen.leaf_mg_l, oxygen.sump_mg_l, tan.leaf_mg_l, tan.sump_mg_l, settled.nitrogen.nitrite.sump_mg_l
        )
