"""Base that a keeper doses: how much each loop gets today, and what comes with it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.film import by_day
from stocksim.engine.layout import Layout
from stocksim.engine.water_tables import ALK, CA, CO2
from stocksim.engine.waterworks import SOLUTES
from stocksim.water.ammonia import ammonia_pka
from stocksim.water.buffering import MOST_PH_RISE, SALTS, buffer_dose, chalk_room
from stocksim.water.carbonate import (
    CALCIUM_CARBONATE_MG_MEQ,
    CARBON_DIOXIDE_G_MOL,
    Dissociation,
    ph_from_alkalinity,
)

FloatArray = NDArray[np.float64]

# Carbon dioxide that moves with alkalinity, one mole for each equivalent [g/g CaCO3]
CO2_PER_ALKALINITY = CARBON_DIOXIDE_G_MOL / CALCIUM_CARBONATE_MG_MEQ
# Salts that take up carbon dioxide lift pH further than the dose's own rule reckons: in bare water 0.28 instead of 0.2
# with carbonates and 0.50 with hydroxides (measured in this project), so their daily rise is cut by that much.
SWING_BY_CARBON_DIOXIDE = 1.5


class Dosing:
    """Doses of every loop toward its target of alkalinity.

    ``per_alkalinity`` (solute, loop) is what a gram of alkalinity brings of each solute [g/g], ``salt_per_alkalinity``
    (loop,) the salt itself. [g/g]
    """

    def __init__(self, layout: Layout):
        works, members = layout.water, layout.leaf_loop
        salts = [SALTS[name] for name in works.salts]
        self.loops = len(layout.loops)
        self.is_chalk = np.array([name == "calcium_carbonate" for name in works.salts])
        self.any_chalk = bool(self.is_chalk.any())
        self.ph_given = np.atleast_2d(works.ph_given)
        self.salt_per_alkalinity = np.array([salt.salt_g_per_alkalinity_g for salt in salts])
        taken_up = np.array([salt.carbon_dioxide_g_per_alkalinity_g for salt in salts])
        self.most_ph_rise = np.atleast_2d(
            MOST_PH_RISE / (1.0 + SWING_BY_CARBON_DIOXIDE * taken_up / CO2_PER_ALKALINITY)
        )
        brings = {
            "alkalinity": np.ones(self.loops),
            "co2": -taken_up,
            "potassium": [salt.potassium_share * salt.salt_g_per_alkalinity_g for salt in salts],
            "calcium": [salt.calcium_share * salt.salt_g_per_alkalinity_g for salt in salts],
            "sodium": [salt.sodium_share * salt.salt_g_per_alkalinity_g for salt in salts],
        }
        self.per_alkalinity = np.stack([np.asarray(brings.get(name, np.zeros(self.loops)), float) for name in SOLUTES])
        target = works.target_alkalinity
        self.has_target = not np.isnan(target).all()
        # water without a target is never below it
        self.wished = np.atleast_2d(np.where(np.isnan(target), 0.0, target))
        self.volume = layout.volume_m3.dot(members) + layout.sump_volume_m3
        self.ammonia_limit = np.atleast_2d(_ammonia_limit(layout))
        self.pka = by_day(ammonia_pka(layout.temperature_c))
        tanks_of_loop = [np.flatnonzero(column) for column in members[: len(layout.tanks)].T]
        most = max([len(tanks) for tanks in tanks_of_loop], default=0)
        # tanks of each loop, some more than once so that all rows are of one length
        self.tanks_of_loop = np.array([np.resize(tanks, most) if len(tanks) else [0] * most for tanks in tanks_of_loop])
        self.is_without_tanks = np.array([len(tanks) == 0 for tanks in tanks_of_loop])
        self.all_have_tanks = not self.is_without_tanks.any()

    def dose(
        self,
        day: int,
        held_g: FloatArray,
        ph: FloatArray,
        tan_mg_l: FloatArray,
        temperature_c: FloatArray,
        constants: Dissociation,
        sump: FloatArray,
    ) -> FloatArray:
        """Alkalinity dosed today, shape (scenario, loop); of chalk what dissolves. [g CaCO3]

        Parameters
        ----------
        day : int
            Day of the season.
        held_g : ndarray, shape (scenario, loop)
            Alkalinity as CaCO3 in each loop's water. [g]
        ph, tan_mg_l : ndarray, shape (scenario, tank)
            Of the morning. [-], [mg/L]
        temperature_c, constants : ndarray, Dissociation, shape (..., loop)
            Water temperature [degC] and its equilibria.
        sump : ndarray, shape (scenario, solute, loop)
            Water that the dose is poured into. [mg/L]
        """
        if not self.has_target:
            return np.zeros(held_g.shape)
        dose = buffer_dose(
            held_g / self.volume, self.wished, self.volume, self._greatest(ph), self._greatest(tan_mg_l), temperature_c,
            self.ammonia_limit, self.most_ph_rise, constants, self.pka[day],
        )  # fmt: skip
        return self._dissolving(dose, sump, temperature_c, constants) if self.any_chalk and dose.any() else dose

    def _dissolving(
        self, dose_g: FloatArray, sump: FloatArray, temperature_c: FloatArray, constants: Dissociation
    ) -> FloatArray:
        """The dose, but of chalk no more than saturates the water of the sump."""
        computed = ph_from_alkalinity(sump[:, ALK], sump[:, CO2], temperature_c, constants)
        ph = np.where(np.isnan(self.ph_given), computed, self.ph_given)
        room = chalk_room(sump[:, CA], sump[:, ALK], ph, temperature_c, constants) * self.volume
        return np.where(self.is_chalk, np.minimum(dose_g, room), dose_g)

    def _greatest(self, of_tanks: FloatArray) -> FloatArray:
        """Greatest of each loop's tanks, 0 where a loop has none; shapes (scenario, tank) and (scenario, loop)."""
        greatest: FloatArray = np.maximum.reduce(of_tanks.take(self.tanks_of_loop, axis=1), axis=2)
        return greatest if self.all_have_tanks else np.where(self.is_without_tanks, 0.0, greatest)


def _ammonia_limit(layout: Layout) -> FloatArray:
    """Lowest un-ionized ammonia limit of the fish of each loop, infinite without fish. [mg/L]"""
    limit = layout.species["unionized_ammonia_design"][..., None]
    return np.where(layout.cohort_loop > 0.0, limit, np.inf).min(axis=-2, initial=np.inf)
