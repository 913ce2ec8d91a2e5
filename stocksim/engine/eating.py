"""Fish through a day: appetite in the water they have, eating, excreting, growing."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.film import by_day
from stocksim.engine.happenings import FishState, Transfer, happen
from stocksim.engine.layout import Layout
from stocksim.engine.rations import TRAINING_SPILLED_SHARE
from stocksim.engine.stays import Happening
from stocksim.engine.water_day import Waste
from stocksim.fish.appetite import ammonia_appetite, oxygen_appetite
from stocksim.fish.energetics import (
    AMMONIA_SHARE_OF_EXCRETION,
    NON_FAECAL_LOSS_SHARE,
    OXYCALORIFIC_KJ_G,
    PROTEIN_PER_NITROGEN,
    day_budget,
    day_needs,
)
from stocksim.fish.survival import condition_hazard, death_hazard, nitrite_appetite
from stocksim.water.nitrite import nitrite_limit

FloatArray = NDArray[np.float64]

# Body potassium and phosphorus [g/g wet weight], from memory of whole-fish analyses.
BODY_POTASSIUM, BODY_PHOSPHORUS = 0.003, 0.0045
# Share of feed phosphorus that is absorbed, 0.4-0.7 (from memory); the rest goes with the solids.
PHOSPHORUS_DIGESTIBILITY = 0.6


class Eating(NamedTuple):
    """One round of eating: amounts of whole cohorts and what they put on tanks and sumps."""

    share: FloatArray
    offered_g: FloatArray
    eaten_g: FloatArray
    gain_g: FloatArray
    gain_per_fish_g: FloatArray
    oxygen_g: FloatArray
    excreted_g: FloatArray
    tank_oxygen: FloatArray
    tank_tan: FloatArray
    tank_oxygen_slope: FloatArray | None
    tank_tan_slope: FloatArray | None
    urea_n: FloatArray


class FishDay:
    """The fish of all cohorts through a day: appetite in the water they have, eating, growing."""

    def __init__(self, layout: Layout, scenarios: int):
        self.layout = layout
        self.tank_of = layout.cohort_tank.T
        self.cohort_loop = layout.cohort_loop
        # day first: the share of the ration rule that a cohort is fed, by its loop
        fed = layout.ration_by_day @ self.cohort_loop.T
        self.ramp = by_day(fed)
        self.ration_by_day = by_day(np.where(layout.rations.by_appetite, fed * layout.rations.fed_today, 1.0))
        shape = (scenarios, len(layout.cohorts))
        weight = np.broadcast_to(layout.start_weight_g, shape).copy()
        alive = np.broadcast_to(layout.count, shape).copy()
        self.state = FishState(alive, weight, weight.copy(), np.broadcast_to(layout.size_spread, shape).copy())
        self.deaths = np.zeros(shape)
        self.happenings: dict[int, list[Happening]] = {}
        for happening in layout.happenings:
            self.happenings.setdefault(happening.day, []).append(happening)
        self.transfers: list[Transfer] = []
        self.rations = layout.rations
        self.hazard = by_day(layout.daily_hazard)
        self.water_c = by_day(layout.temperature_c @ self.cohort_loop.T)
        self.offers_amounts = self.rations.offers_amounts
        if self.offers_amounts:
            tank, loop = layout.cohort_tank, self.cohort_loop
            self.groups = (tank @ tank.T, loop @ loop.T)
        begun = np.arange(layout.days)[:, None, None] >= layout.stocked_day
        self.is_stocked = begun.astype(float)
        self.is_bed_led = ~np.isnan(self.rations.bed_led_g).all(axis=0)
        self.training = np.asarray(self.rations.in_training.any(axis=-1))
        # what the rules offer a fish today, and the most it can eat of it; None where all go by appetite [g/day]
        self.offered: FloatArray | None = None
        self.cap: FloatArray | None = None
        self.spilled_per_eaten = layout.spilled_share / (1.0 - layout.spilled_share)
        species = layout.species
        self.oxygen_none, self.oxygen_full = species["oxygen_lethal"], species["oxygen_recommended"]
        self.toxic_full, self.toxic_none = (
            species["unionized_ammonia_design"],
            species["unionized_ammonia_acute"],
        )
        self.is_protected = (species["chloride_protects"] > 0.0).astype(float)
        self.ones, self.no_slope = np.ones(shape), (None, None)
        # to the tank per g eaten, and per g that nobody ate: dissolved potassium and phosphorus, then solids with their
        # N, P and oxygen demand
        undigested_kj = layout.feed_gross_kj_g - layout.feed_energy_kj_g
        self.waste_per_eaten = np.stack(
            np.broadcast_arrays(
                layout.feed_potassium,
                layout.feed_phosphorus * PHOSPHORUS_DIGESTIBILITY,
                layout.feed_dry_matter * (1.0 - layout.feed_digested_dry_matter),
                layout.feed_nitrogen - layout.feed_digested_nitrogen,
                layout.feed_phosphorus * (1.0 - PHOSPHORUS_DIGESTIBILITY),
                undigested_kj / OXYCALORIFIC_KJ_G,
            ),
            axis=-2,
        )
        self.waste_per_uneaten = np.stack(
            np.broadcast_arrays(
                layout.feed_potassium, np.zeros_like(layout.feed_phosphorus), layout.feed_dry_matter,
                layout.feed_nitrogen, layout.feed_phosphorus, layout.feed_gross_kj_g / OXYCALORIFIC_KJ_G,
            ),
            axis=-2,
        )  # fmt: skip
        self.body_minerals = np.array([BODY_POTASSIUM, BODY_PHOSPHORUS])[:, None]
        self.body_nitrogen_per_kj = species["body_protein"] / PROTEIN_PER_NITROGEN / species["body_energy"]

    def appetite_share(
        self, oxygen: FloatArray, tan: FloatArray, toxic: FloatArray
    ) -> tuple[FloatArray, tuple[FloatArray | None, FloatArray | None]]:
        """Share of appetite that the water leaves, and its slopes by oxygen and by TAN (None where all are 0)."""
        at_fish = oxygen.dot(self.tank_of)
        toxic_at_fish = (tan * toxic).dot(self.tank_of)
        if ((at_fish >= self.oxygen_full) & (toxic_at_fish <= self.toxic_full)).all():
            return self.ones, self.no_slope
        by_oxygen, oxygen_slope = oxygen_appetite(at_fish, self.oxygen_none, self.oxygen_full)
        by_toxic, toxic_slope = ammonia_appetite(toxic_at_fish, self.toxic_full, self.toxic_none)
        return by_oxygen * by_toxic, (oxygen_slope * by_toxic, by_oxygen * toxic_slope)

    def wake(
        self,
        day: int,
        appetite_at_1g: FloatArray,
        maintenance_per_kg: FloatArray,
        share: FloatArray,
        nitrite: FloatArray,
        chloride: FloatArray,
    ) -> None:
        """Set the day's appetite and maintenance, at the weight expected at mid-day.

        Nitrite (scenario, tank) and chloride (scenario, loop) are those of the morning: they move slowly.
        """
        lay, fish = self.layout, self.state
        species = lay.species
        self.here = fish.alive * self.is_stocked[day]
        chloride_at_fish = chloride.dot(self.cohort_loop.T)
        self.nitrite_limit = nitrite_limit(species["nitrite_limit"], chloride_at_fish, self.is_protected)
        self.nitrite_share = nitrite_appetite(nitrite.dot(self.tank_of), self.nitrite_limit)
        ration = lay.ration_fraction * self.ration_by_day[day] * self.nitrite_share
        expected = ration * share
        self.offered, self.cap = None, None
        if self.offers_amounts:
            hunger = appetite_at_1g * fish.weight ** species["intake_exponent"]
            offered = self.rations.offered_per_fish(day, fish.weight, hunger, self.here, self.water_c[day], self.groups)
            # infinite stays infinite where appetite rules, whatever the ramp's share
            offered = np.where(
                self.rations.by_appetite, offered, np.where(self.rations.by_appetite, 0.0, offered) * self.ramp[day]
            )
            self.offered = offered
            self.cap = offered * (1.0 - lay.spilled_share)
            expected = np.minimum(expected, np.divide(self.cap, hunger, out=np.ones_like(hunger), where=hunger > 0.0))
        needs = day_needs(
            fish.weight, appetite_at_1g, species["intake_exponent"], maintenance_per_kg, expected,
            lay.feed_energy_kj_g, species["growth_efficiency"], species["fasting_loss_fraction"],
            species["body_energy"], 1.0, fish.greatest,
        )  # fmt: skip
        self.most = needs.appetite_g * ration
        self.maintenance = needs.maintenance_kj
        self.spilled_today = self.spilled_per_eaten
        if self.training[day]:
            self._train(day)

    def _train(self, day: int) -> None:
        """Wild fish that learn to take feed keep their weight at best, and let much of it lie."""
        learns = self.rations.in_training[day] > 0.0
        lies = TRAINING_SPILLED_SHARE / (1.0 - TRAINING_SPILLED_SHARE)
        self.spilled_today = np.where(learns, np.maximum(lies, self.spilled_per_eaten), self.spilled_per_eaten)
        most = np.where(learns, self.maintenance / self.layout.feed_energy_kj_g, np.inf)
        if self.offered is not None and self.cap is not None:
            # no more lies there than the rule offers
            most = np.minimum(most, np.minimum(self.cap, self.offered / (1.0 + self.spilled_today)))
        self.cap = most

    def eat(self, share: FloatArray, slopes: tuple[FloatArray | None, FloatArray | None], toxic: FloatArray) -> Eating:
        """What the fish eat and excrete if the water leaves them this share of appetite."""
        lay, here = self.layout, self.here
        species = lay.species
        eaten, is_free = self.most * share, None
        if self.cap is not None:
            is_free = eaten <= self.cap
            eaten = np.minimum(eaten, self.cap)
        efficiency, fasting = species["growth_efficiency"], species["fasting_loss_fraction"]
        budget = day_budget(
            eaten, self.maintenance, lay.feed_energy_kj_g, lay.feed_digested_nitrogen, efficiency, fasting,
            species["body_energy"], species["body_protein"],
        )  # fmt: skip
        oxygen, excreted, all_eaten = here * budget.oxygen_g, here * budget.excreted_nitrogen_g, here * eaten
        oxygen_slope = tan_slope = None
        by_oxygen, by_tan = slopes
        if by_oxygen is not None and by_tan is not None:
            kept = np.where(budget.retained_energy_kj > 0.0, efficiency, fasting)
            oxygen_per_eaten = lay.feed_energy_kj_g * (1.0 - NON_FAECAL_LOSS_SHARE - kept) / OXYCALORIFIC_KJ_G
            tan_per_eaten = AMMONIA_SHARE_OF_EXCRETION * (
                lay.feed_digested_nitrogen - kept * lay.feed_energy_kj_g * self.body_nitrogen_per_kj
            )
            fed = here * self.most if is_free is None else here * self.most * is_free
            oxygen_slope = (fed * by_oxygen * oxygen_per_eaten).dot(lay.cohort_tank)
            tan_slope = np.minimum((fed * by_tan * tan_per_eaten).dot(lay.cohort_tank), 0.0) * toxic
        urea = (1.0 - AMMONIA_SHARE_OF_EXCRETION) * excreted
        return Eating(
            share, self._all_offered(all_eaten), all_eaten, here * budget.gain_g, budget.gain_g, oxygen, excreted,
            oxygen.dot(lay.cohort_tank), AMMONIA_SHARE_OF_EXCRETION * excreted.dot(lay.cohort_tank),
            oxygen_slope, tan_slope, urea.dot(self.cohort_loop),
        )  # fmt: skip

    def _all_offered(self, all_eaten: FloatArray) -> FloatArray:
        """Feed that the keeper gave whole columns: what was eaten and spilled, or the amount that the rule offers."""
        given = all_eaten * (1.0 + self.spilled_today)
        if self.offered is None:
            return given
        # rules led by beds stop where fish stop eating, as a keeper would
        amounts = ~(self.rations.by_appetite | self.is_bed_led)
        return np.where(amounts, np.maximum(self.here * np.where(amounts, self.offered, 0.0), given), given)

    def waste(self, eating: Eating, oxygen_used: FloatArray) -> Waste:
        """What the fish gave to the water of each tank."""
        uneaten = eating.offered_g - eating.eaten_g
        solutes = eating.eaten_g[:, None, :] * self.waste_per_eaten + uneaten[:, None, :] * self.waste_per_uneaten
        solutes[:, :2] -= eating.gain_g[:, None, :] * self.body_minerals
        return Waste(eating.tank_tan, eating.urea_n, oxygen_used, solutes @ self.layout.cohort_tank)

    def grow(self, eating: Eating) -> None:
        """Add the day's gain to the fish that are there."""
        here, fish = self.here, self.state
        weight = fish.weight + eating.gain_per_fish_g * (here > 0.0)
        self.state = FishState(fish.alive, weight, np.maximum(fish.greatest, weight), fish.spread)

    def die(self, day: int, oxygen: FloatArray, tan: FloatArray, toxic: FloatArray, nitrite: FloatArray) -> None:
        """Take the day's deaths out of the fish that are there; levels by tank, at the day's end."""
        fish = self.state
        hazard = death_hazard(
            oxygen.dot(self.tank_of), self.oxygen_none, (tan * toxic).dot(self.tank_of), self.toxic_none,
            nitrite.dot(self.tank_of), self.nitrite_limit,
        )  # fmt: skip
        hazard = hazard + self.hazard[day] + condition_hazard(fish.weight, fish.greatest)
        self.deaths = -np.expm1(-hazard) * self.here
        fish.alive = fish.alive - self.deaths

    def happen(self, day: int) -> None:
        """Let the events of a morning happen."""
        if day not in self.happenings:
            return
        fish = self.state
        # yesterday's arrays are in the record: events change copies
        self.state = FishState(*(array.copy() for array in (fish.alive, fish.weight, fish.greatest, fish.spread)))
        self.transfers += [happen(happening, self.state) for happening in self.happenings[day]]

    def day_levels(self, eating: Eating) -> dict[str, FloatArray]:
        """The day's amounts and levels as they are at hand; `tables` makes the course's of them."""
        return {
            "here": self.here,
            "deaths": self.deaths,
            "weight_g": self.state.weight,
            "size_spread": self.state.spread,
            "fed_g": eating.offered_g,
            "eaten_g": eating.eaten_g,
            "gain_g": eating.gain_g,
            "fish_oxygen_g": eating.oxygen_g,
            "excreted_nitrogen_g": eating.excreted_g,
            "appetite_share": eating.share * self.nitrite_share,
        }

    @staticmethod
    def tables(levels: dict[str, FloatArray]) -> dict[str, FloatArray]:
        """The course's tables from those of `day_levels`, both (day, scenario, column)."""
        here = levels.pop("here")
        return levels | {"count": here - levels["deaths"]}
