"""A loop's slower water through a day: nitrite, nitrate, alkalinity, carbon dioxide, pH, salts, solids and the film."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.crops_day import MineralUptake
from stocksim.engine.dosing import CO2_PER_ALKALINITY, Dosing
from stocksim.engine.film import Base, Film, by_day
from stocksim.engine.film_steps import FilmDay
from stocksim.engine.layout import Layout
from stocksim.engine.water_tables import (
    ALK,
    CL,
    CO2,
    FROM_FEED,
    POOLS,
    SOLIDS,
    SOLIDS_N,
    SOLIDS_O,
    SOLIDS_P,
    K,
    P,
    of_solutes,
)  # fmt: skip
from stocksim.engine.waterworks import SOLUTES
from stocksim.fish.energetics import CARBON_DIOXIDE_PER_OXYGEN
from stocksim.water.alkalinity import ALKALINITY_PER_NITRIFIED
from stocksim.water.ammonia import ammonia_pka, unionized_fraction
from stocksim.water.carbonate import Dissociation, dissociation, ph_from_alkalinity
from stocksim.water.loop import Star, balance_linear
from stocksim.water.solids import (
    ALKALINITY_PER_NITRATE_NITROGEN,
    ANOXIC_SHARE,
    HALF_SATURATION_NITRATE_MG_L,
    LABILE_SHARE,
    OXYGEN_PER_NITRATE_NITROGEN,
    mineralized_share,
)

FloatArray = NDArray[np.float64]

# g CaCO3 per g nitrogen: nitrification takes 7.14; ammonia set free from organic nitrogen gives 3.57 (NH3 takes up a
# proton), and so do nitrate uptake and denitrification (charge balance, molar masses).
ALKALINITY_PER_FREED = ALKALINITY_PER_NITRATE_NITROGEN
# Nitrate at half the rate of crop uptake [mg/L]: assumed; lettuce grows with log nitrate from 3 to 55 mg/L (Gent 2017,
# abstract read), so uptake falls off below a few mg/L.
HALF_SATURATION_UPTAKE_MG_L = 5.0
# Share of the suspended solids passing the sump that settles there (assumption, no source).
SUMP_TRAPPED_SHARE = 0.2
_NITRATE_PER_OXYGEN = ANOXIC_SHARE / OXYGEN_PER_NITRATE_NITROGEN
LEAST_CO2_MG_L = 0.05  # a floor for pH only: a large dose of hydroxide may use up all carbon dioxide for a day


class Morning(NamedTuple):
    """What the night left for the day: loads and capacities known before fish eat."""

    film: FilmDay
    toxic_share: FloatArray
    sump_tan_g: FloatArray
    sump_oxygen_g: FloatArray
    outflow_m3: FloatArray


class Waste(NamedTuple):
    """What the fish of a day give to the water: nitrogen, oxygen used and other solutes by tank, urea by loop."""

    ammonia_n: FloatArray
    urea_n: FloatArray
    oxygen: FloatArray
    solutes: FloatArray


class Evening(NamedTuple):
    """What the day did to each loop, shape (scenario, loop). [g N]"""

    uptake_n: FloatArray  # by unit
    denitrified_n: FloatArray
    sludge_n: FloatArray


class WaterDay:
    """States of the slower water: arrays (scenario, ..., leaf) and (scenario, ..., loop)."""

    def __init__(self, layout: Layout, scenarios: int, exchange: tuple[FloatArray, FloatArray, FloatArray]):
        self.layout, works = layout, layout.water
        self.works = works
        self.tanks, self.units, self.loops = len(layout.tanks), len(layout.units), len(layout.loops)
        members = layout.leaf_loop
        leaf_co2_exchange, self.sump_co2_exchange, co2_saturation = exchange
        at_leaf = members.T

        def spread(levels: FloatArray) -> tuple[FloatArray, FloatArray]:
            sump = np.broadcast_to(levels, (scenarios, *levels.shape)).copy()
            return sump @ at_leaf, sump

        self.level, self.sump = spread(works.start_level)
        co2 = co2_saturation[0]
        self.sump[:, CO2], self.level[:, CO2] = co2, co2 @ at_leaf
        self.nitrate, self.nitrate_sump = spread(works.start_nitrate)
        self.pool = np.zeros((scenarios, SOLIDS_O + 1 - SOLIDS, self.loops))
        self.settled = np.zeros_like(self.pool)
        # of yesterday: nitrogen that fish excreted, and nitrate that crops and sediment took [g/day]
        self.excreted_n = np.zeros((scenarios, self.loops))
        self.nitrate_taken = np.zeros((scenarios, self.loops))
        self.film, self.crops = Film(layout, scenarios), MineralUptake(layout)
        self.volume = layout.volume_m3 @ members + layout.sump_volume_m3
        flow = layout.flow_m3_day
        returned = flow @ members
        self.source_alkalinity = np.atleast_2d(works.source_level[ALK])
        self.unit_loop = members[self.tanks :].T
        self.dosing = Dosing(layout)
        pools = SOLIDS_O + 1 - SOLIDS
        # by day, of solids: flow that brings them back to the sump, and flow that leaves them on the way [m3/day]
        kinds = {row.tobytes(): row for row in works.passing}
        number = {key: place for place, key in enumerate(kinds)}
        self.passing_kind = [number[row.tobytes()] for row in works.passing]
        self.flow_passing = [of_solutes(flow * kind, pools) for kind in kinds.values()]
        self.flow_keeping = [of_solutes(flow, pools) - passing for passing in self.flow_passing]
        self.is_emptied = np.asarray(works.emptied.any(axis=(1, 2)))
        # one shape for all: numpy works quickest so
        self.flow = of_solutes(flow, len(SOLUTES))
        self.volumes = of_solutes(layout.volume_m3, len(SOLUTES))
        self.sump_volumes = of_solutes(layout.sump_volume_m3, len(SOLUTES))
        self.source_level = works.source_level[None]
        self.sump_trapping = of_solutes(SUMP_TRAPPED_SHARE * returned, pools)
        self.sump_plain = layout.sump_volume_m3 + returned
        sump_gain = of_solutes(self.sump_plain, len(SOLUTES))
        sump_gain[:, POOLS] += self.sump_trapping
        self.sump_gain_plain = sump_gain
        self.plain_gain = layout.volume_m3 + flow
        self.leaf_co2_gain = self.plain_gain + leaf_co2_exchange
        self.leaf_co2_load = leaf_co2_exchange * (co2_saturation @ at_leaf)
        self.sump_co2_load = self.sump_co2_exchange * co2_saturation
        rows = (len(SOLUTES), self.tanks + self.units)
        self.leaf_gain = np.broadcast_to(self.plain_gain[..., None, :], (scenarios, *rows)).copy()
        self.coming_back = np.broadcast_to(self.flow, (scenarios, *rows)).copy()
        self.coming_back_kind = -1
        self.nitrate_gain = self.leaf_gain[:, ALK].copy()
        self.sump_gain = np.zeros((scenarios, len(SOLUTES), self.loops))
        tank_loop = members[: self.tanks].T
        tank_temperature = layout.temperature_c @ tank_loop
        self.tank_temperature, self.pka = by_day(tank_temperature), by_day(ammonia_pka(tank_temperature))
        self.loop_temperature, self.broken_share = (
            by_day(layout.temperature_c),
            by_day(mineralized_share(layout.temperature_c, 1.0)),
        )
        self.constants, self.loop_constants = (
            [Dissociation(*parts) for parts in zip(*(by_day(part) for part in dissociation(t)), strict=True)]
            for t in (tank_temperature, layout.temperature_c)
        )
        self.is_ph_given = (~np.isnan(works.ph_given)).astype(float) @ tank_loop > 0.0
        self.any_ph_given = bool(self.is_ph_given.any())
        self.ph_given = np.nan_to_num(works.ph_given) @ tank_loop
        self.ph = np.broadcast_to(self._ph(0), (scenarios, self.tanks)).copy()
        self.alkalinity_held = self._held(self.level[:, ALK], self.sump[:, ALK])

    def _ph(self, day: int) -> FloatArray:
        """pH of the tanks: the keeper's where given, else from alkalinity and carbon dioxide."""
        computed = ph_from_alkalinity(
            self.level[:, ALK, : self.tanks], np.maximum(self.level[:, CO2, : self.tanks], LEAST_CO2_MG_L),
            self.tank_temperature[day], self.constants[day],
        )  # fmt: skip
        return np.where(self.is_ph_given, self.ph_given, computed) if self.any_ph_given else computed

    def reset_to_tests(self, day: int, tan: FloatArray, tan_sump: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Set a loop's water to a test measured that morning; returns TAN of leaves and sumps."""
        for when, loop, levels in self.works.tests:
            if when != day:
                continue
            # yesterday's arrays are in the record: the test changes copies
            self.level, self.sump = self.level.copy(), self.sump.copy()
            self.nitrate, self.nitrate_sump = self.nitrate.copy(), self.nitrate_sump.copy()
            self.film.nitrite, self.film.nitrite_sump = self.film.nitrite.copy(), self.film.nitrite_sump.copy()
            leaves = self.layout.leaf_loop[:, loop] > 0.0
            for key, value in levels.items():
                if key == "tan":
                    tan, tan_sump = tan.copy(), tan_sump.copy()
                    tan[:, leaves], tan_sump[:, loop] = value, value
                elif key in ("nitrate_n", "nitrite_n"):
                    self._states[key][0][:, leaves], self._states[key][1][:, loop] = value, value
                else:
                    row = SOLUTES.index(key)
                    self.level[:, row][:, leaves], self.sump[:, row, loop] = value, value
            self.alkalinity_held = self._held(self.level[:, ALK], self.sump[:, ALK])
        return tan, tan_sump

    @property
    def chloride(self) -> FloatArray:
        """Chloride of the sumps, shape (scenario, loop). [mg/L]"""
        return self.sump[:, CL]

    @property
    def _states(self) -> dict[str, tuple[FloatArray, FloatArray]]:
        return {
            "nitrate_n": (self.nitrate, self.nitrate_sump),
            "nitrite_n": (self.film.nitrite, self.film.nitrite_sump),
        }

    def morning(
        self, day: int, capacity: FloatArray, tan: FloatArray, tan_sump: FloatArray, oxygen: FloatArray
    ) -> Morning:
        """Loads, capacities and doses that follow from what the night left."""
        works, tanks = self.works, self.tanks
        share = self.broken_share[day][..., None, :]
        self.freed_pool, self.freed_settled = share * self.pool, share * self.settled
        freed = self.freed_pool + self.freed_settled
        self.freed_n, self.freed_p = freed[:, SOLIDS_N - SOLIDS], freed[:, SOLIDS_P - SOLIDS]
        demand = freed[:, SOLIDS_O - SOLIDS]
        no_oxygen = self.nitrate_sump / (HALF_SATURATION_NITRATE_MG_L + self.nitrate_sump)
        self.nitrate_wanted = _NITRATE_PER_OXYGEN * demand
        self.dose = self.dosing.dose(
            day, self.alkalinity_held, self.ph, tan[:, :tanks], self.loop_temperature[day], self.loop_constants[day],
            self.sump,
        )  # fmt: skip
        outflow = works.drawn_off_m3 + works.exchanged_m3[day]
        self.top_up = works.loss_m3_day + outflow
        base = self._base(day, tan, tan_sump, outflow)
        film = self.film.morning(day, capacity, (tan, tan_sump), oxygen, self.level[:, ALK, tanks:], base)
        return Morning(
            film, unionized_fraction(self.ph, self.tank_temperature[day], self.pka[day]),
            self.freed_n + works.ammonia_dose_g[day], demand * (1.0 - ANOXIC_SHARE * no_oxygen), outflow,
        )  # fmt: skip

    def _held(self, leaf: FloatArray, sump: FloatArray) -> FloatArray:
        """Amount in the water of each loop. [g]"""
        return (leaf * self.layout.volume_m3).dot(self.layout.leaf_loop) + sump * self.layout.sump_volume_m3

    def _base(self, day: int, tan: FloatArray, tan_sump: FloatArray, outflow: FloatArray) -> Base:
        """What nitrification may use today; fish, crops and sediment as yesterday."""
        works = self.works
        freed = self.excreted_n + self.freed_n
        held = self.alkalinity_held + self.dose + self.top_up * self.source_alkalinity
        held = held + ALKALINITY_PER_FREED * (freed + self.nitrate_taken)
        available = self._held(tan, tan_sump) + freed + works.ammonia_dose_g[day]
        return Base(held, available, self.volume + outflow)

    def evening(
        self, day: int, morning: Morning, waste: Waste, tan: Star, nitrite: Star, sump_oxygen_g: FloatArray
    ) -> Evening:
        """Balance the slower solutes, let the film grow, and tell what the day did."""
        layout, tanks = self.layout, self.tanks
        members, outflow = layout.leaf_loop, morning.outflow_m3
        nitrified, oxidized = tan.removed_g[:, tanks:], nitrite.removed_g[:, tanks:]
        uptake, denitrified = self._nitrate(day, oxidized, outflow)
        freed_by_loop = waste.urea_n + self.freed_n
        self.excreted_n = waste.ammonia_n.dot(members[:tanks]) + waste.urea_n
        self.nitrate_taken = uptake.dot(self.unit_loop.T) + denitrified
        # alkalinity made (+) or used (-) by living things; all of it moves carbon dioxide the other way
        tank_alkalinity = ALKALINITY_PER_FREED * waste.ammonia_n
        unit_alkalinity = ALKALINITY_PER_FREED * uptake - ALKALINITY_PER_NITRIFIED * nitrified
        sump_alkalinity = ALKALINITY_PER_FREED * (freed_by_loop + denitrified)
        load = self.volumes * self.level
        load[:, ALK, :tanks] += tank_alkalinity
        load[:, ALK, tanks:] += unit_alkalinity
        load[:, CO2, :tanks] += CARBON_DIOXIDE_PER_OXYGEN * waste.oxygen - CO2_PER_ALKALINITY * tank_alkalinity
        load[:, CO2, tanks:] -= CO2_PER_ALKALINITY * unit_alkalinity
        load[:, FROM_FEED, :tanks] += waste.solutes
        load[:, CO2] += self.leaf_co2_load[day]
        self.crops.want(day, uptake, self.level, self.leaf_gain)
        self.leaf_gain[:, CO2] = self.leaf_co2_gain[day]
        sump_load = self.sump_volumes * self.sump + self.top_up[:, None] * self.source_level
        if self.dosing.has_target:
            sump_load += self.dose[:, None] * self.dosing.per_alkalinity
        sump_load[:, ALK] += sump_alkalinity
        sump_load[:, CO2] += (
            CARBON_DIOXIDE_PER_OXYGEN * (sump_oxygen_g + OXYGEN_PER_NITRATE_NITROGEN * denitrified)
            - CO2_PER_ALKALINITY * sump_alkalinity
            + self.sump_co2_load[day]
        )
        sump_load[:, P] += self.freed_p
        sump_gain = self.sump_gain
        sump_gain[:] = self.sump_gain_plain + outflow[:, None]
        sump_gain[:, CO2] += self.sump_co2_exchange[day]
        kind = self.passing_kind[day]
        if kind != self.coming_back_kind:
            self.coming_back[:, POOLS], self.coming_back_kind = self.flow_passing[kind], kind
        self.level, self.sump = balance_linear(
            self.leaf_gain, load, self.flow, self.coming_back, sump_gain, sump_load, members
        )
        lost = self._keep_solids(day)
        self.alkalinity_held = self._held(self.level[:, ALK], self.sump[:, ALK])
        self.ph = self._ph(day)
        self.film.night(morning.film, nitrite)
        return Evening(uptake, denitrified, lost)

    def _nitrate(self, day: int, oxidized: FloatArray, outflow: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Balance nitrate; crops and denitrification take it by a rate that falls with it, implicit in the day."""
        layout, works, tanks = self.layout, self.works, self.tanks
        per_level = works.uptake_g[day] / (HALF_SATURATION_UPTAKE_MG_L + self.nitrate[:, tanks:])
        gain = self.nitrate_gain
        gain[:, tanks:] = self.plain_gain[..., tanks:] + per_level
        load = layout.volume_m3 * self.nitrate
        load[:, tanks:] += oxidized
        taken = self.nitrate_wanted / (HALF_SATURATION_NITRATE_MG_L + self.nitrate_sump)
        sump_load = layout.sump_volume_m3 * self.nitrate_sump + self.top_up * works.source_nitrate
        sump_gain = self.sump_plain + outflow + taken
        flow = layout.flow_m3_day
        self.nitrate, self.nitrate_sump = balance_linear(gain, load, flow, flow, sump_gain, sump_load, layout.leaf_loop)
        return per_level * self.nitrate[:, tanks:], taken * self.nitrate_sump

    def _keep_solids(self, day: int) -> FloatArray:
        """Move trapped solids into sediment and settlers, less what broke down; returns nitrogen lost with sludge."""
        tanks, members = self.tanks, self.layout.leaf_loop
        trapped = self.flow_keeping[self.passing_kind[day]] * self.level[:, POOLS]
        in_settlers = trapped[..., :tanks] @ members[:tanks]
        in_beds = trapped[..., tanks:] @ members[tanks:] + self.sump_trapping * self.sump[:, POOLS]
        self.pool = self.pool - self.freed_pool + LABILE_SHARE * in_beds
        self.settled = self.settled - self.freed_settled + LABILE_SHARE * in_settlers
        self.drawn = (1.0 - LABILE_SHARE) * in_settlers
        if self.is_emptied[day]:
            taken = self.settled * self.works.emptied[day]
            self.settled, self.drawn = self.settled - taken, self.drawn + taken
        nitrogen = SOLIDS_N - SOLIDS
        return self.drawn[:, nitrogen] + (1.0 - LABILE_SHARE) * in_beds[:, nitrogen]

    def day_levels(self, morning: Morning, waste: Waste, nitrite: Star, evening: Evening) -> dict[str, FloatArray]:
        """The day's amounts and levels as they are at hand; `water_tables` makes the course's of them."""
        solids = SOLIDS_N - SOLIDS
        return {
            "nitrite_mg_l": self.film.nitrite,
            "sump_nitrite_mg_l": self.film.nitrite_sump,
            "nitrite_oxidized_g": nitrite.removed_g,
            "ph": self.ph,
            "co2_mg_l": self.level[:, CO2],
            "film_capacity_g": morning.film.capacity,
            "maturity": self.film.maturity,
            "nitrate_leaf_mg_l": self.nitrate,
            "nitrate_mg_l": self.nitrate_sump,
            "alkalinity_mg_l": self.alkalinity_held,
            "sump": self.sump,
            "uptake_nitrogen_g": evening.uptake_n,
            "uptake_minerals": self.crops.taken(self.level),
            "denitrified_n_g": evening.denitrified_n,
            "buffer_g": self.dose,
            "top_up_m3": self.top_up,
            "outflow_m3": morning.outflow_m3,
            "solids_n_made_g": waste.solutes[:, SOLIDS_N - K],
            "solids_n_freed_g": self.freed_n,
            "solids_n_leaf_mg_l": self.level[:, SOLIDS_N],
            "solids_n_held_g": self.pool[:, solids] + self.settled[:, solids],
            "drawn": self.drawn,
            "sludge_n_g": evening.sludge_n,
        }
