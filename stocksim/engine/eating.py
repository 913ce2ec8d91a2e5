"""Fish through a day: appetite in the water they have, eating, excreting, growing."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.layout import Layout
from stocksim.fish.appetite import ammonia_appetite, oxygen_appetite
from stocksim.fish.energetics import (
    AMMONIA_SHARE_OF_EXCRETION,
    NON_FAECAL_LOSS_SHARE,
    OXYCALORIFIC_KJ_G,
    PROTEIN_PER_NITROGEN,
    day_budget,
    day_needs,
)

FloatArray = NDArray[np.float64]

# Share of faeces and uneaten feed that breaks down in the loop, taking oxygen and giving ammonia; the rest leaves as
# sludge when sumps and beds are cleaned. No settler is modelled yet: half is our assumption, no source. The
# loop's ammonia then lies within -11 to +15 % of the handbook rule of 0.092 x protein x feed at normal growth; trout,
# carp and some others come out below it.
SOLIDS_BREAKDOWN_SHARE = 0.5


class Eating(NamedTuple):
    """One round of eating: amounts of whole cohorts and what they put on tanks and sumps."""

    share: FloatArray
    eaten_g: FloatArray
    gain_g: FloatArray
    oxygen_g: FloatArray
    excreted_g: FloatArray
    tank_oxygen: FloatArray
    tank_tan: FloatArray
    tank_oxygen_slope: FloatArray | None
    tank_tan_slope: FloatArray | None
    sump_tan: FloatArray
    sump_oxygen: FloatArray


class FishDay:
    """The fish of all cohorts through a day: appetite in the water they have, eating, growing."""

    def __init__(self, layout: Layout, scenarios: int):
        self.layout = layout
        self.tank_of = layout.cohort_tank.T
        self.cohort_loop = layout.cohort_loop
        shape = (scenarios, len(layout.cohorts))
        self.weight = np.broadcast_to(layout.start_weight_g, shape).copy()
        self.greatest = self.weight.copy()
        self.spilled_per_eaten = layout.spilled_share / (1.0 - layout.spilled_share)
        species = layout.species
        self.oxygen_none, self.oxygen_full = species["oxygen_lethal"], species["oxygen_recommended"]
        self.toxic_full, self.toxic_none = (
            species["unionized_ammonia_design"],
            species["unionized_ammonia_acute"],
        )
        self.ones, self.no_slope = np.ones(shape), (None, None)
        undigested = layout.feed_nitrogen - layout.feed_digested_nitrogen
        self.solids_nitrogen = SOLIDS_BREAKDOWN_SHARE * (undigested + self.spilled_per_eaten * layout.feed_nitrogen)
        undigested_kj = layout.feed_gross_kj_g - layout.feed_energy_kj_g
        self.solids_oxygen = (
            SOLIDS_BREAKDOWN_SHARE
            * (undigested_kj + self.spilled_per_eaten * layout.feed_gross_kj_g)
            / OXYCALORIFIC_KJ_G
        )
        self.body_nitrogen_per_kj = species["body_protein"] / PROTEIN_PER_NITROGEN / species["body_energy"]

    def appetite_share(
        self, oxygen: FloatArray, tan: FloatArray, toxic: FloatArray
    ) -> tuple[FloatArray, tuple[FloatArray | None, FloatArray | None]]:
        """Share of appetite that the water leaves, and its slopes by oxygen and by TAN (None where all are 0)."""
        at_fish = oxygen @ self.tank_of
        toxic_at_fish = (tan * toxic) @ self.tank_of
        if (at_fish >= self.oxygen_full).all() and (toxic_at_fish <= self.toxic_full).all():
            return self.ones, self.no_slope
        by_oxygen, oxygen_slope = oxygen_appetite(at_fish, self.oxygen_none, self.oxygen_full)
        by_toxic, toxic_slope = ammonia_appetite(toxic_at_fish, self.toxic_full, self.toxic_none)
        return by_oxygen * by_toxic, (oxygen_slope * by_toxic, by_oxygen * toxic_slope)

    def wake(self, day: int, appetite_at_1g: FloatArray, maintenance_per_kg: FloatArray, share: FloatArray) -> None:
        """Set the day's appetite and maintenance, at the weight expected at mid-day."""
        lay = self.layout
        species = lay.species
        self.here = np.where(day >= lay.stocked_day, lay.count, 0.0)
        needs = day_needs(
            self.weight, appetite_at_1g, species["intake_exponent"], maintenance_per_kg,
            lay.ration_fraction * share, lay.feed_energy_kj_g, species["growth_efficiency"],
            species["fasting_loss_fraction"], species["body_energy"], 1.0, self.greatest,
        )  # fmt: skip
        self.most = needs.appetite_g * lay.ration_fraction
        self.maintenance = needs.maintenance_kj

    def eat(self, share: FloatArray, slopes: tuple[FloatArray | None, FloatArray | None], toxic: FloatArray) -> Eating:
        """What the fish eat and excrete if the water leaves them this share of appetite."""
        lay, here = self.layout, self.here
        species = lay.species
        eaten = self.most * share
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
            fed = here * self.most
            oxygen_slope = (fed * by_oxygen * oxygen_per_eaten) @ lay.cohort_tank
            tan_slope = np.minimum((fed * by_tan * tan_per_eaten) @ lay.cohort_tank, 0.0) * toxic
        sump_tan = (1.0 - AMMONIA_SHARE_OF_EXCRETION) * excreted + all_eaten * self.solids_nitrogen
        return Eating(
            share, all_eaten, here * budget.gain_g, oxygen, excreted,
            oxygen @ lay.cohort_tank, AMMONIA_SHARE_OF_EXCRETION * (excreted @ lay.cohort_tank),
            oxygen_slope, tan_slope,
            sump_tan @ self.cohort_loop, (all_eaten * self.solids_oxygen) @ self.cohort_loop,
        )  # fmt: skip

    def grow(self, eating: Eating) -> None:
        """Add the day's gain to the fish that are there."""
        here = self.here
        self.weight = self.weight + np.divide(eating.gain_g, here, out=np.zeros_like(self.weight), where=here > 0.0)
        self.greatest = np.maximum(self.greatest, self.weight)
