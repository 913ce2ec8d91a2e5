"""The course of a season: every array that the daily loop writes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Course:
    """What happened, day by day: arrays (scenario, day, column), rates per day, levels at the day's end.

    ``apart`` is by how much each day's shares of appetite were left unsettled after its ``rounds``.

    Fish amounts are per cohort (all its fish); ``fed_g`` is offered, ``eaten_g`` eaten. Leaves are tanks then units.
    Conserved quantities close to rounding: see the tests of balance.
    """

    # by cohort
    count: FloatArray
    deaths: FloatArray
    weight_g: FloatArray
    fed_g: FloatArray
    eaten_g: FloatArray
    gain_g: FloatArray
    fish_oxygen_g: FloatArray
    excreted_nitrogen_g: FloatArray
    appetite_share: FloatArray
    # by leaf
    oxygen_mg_l: FloatArray
    oxygen_used_g: FloatArray
    tan_mg_l: FloatArray
    nitrified_g: FloatArray
    nitrite_mg_l: FloatArray
    nitrite_oxidized_g: FloatArray
    # by tank
    ph: FloatArray
    co2_mg_l: FloatArray
    # by unit
    film_capacity_g: FloatArray
    ammonia_maturity: FloatArray
    nitrite_maturity: FloatArray
    uptake_nitrogen_g: FloatArray
    uptake_calcium_g: FloatArray
    uptake_potassium_g: FloatArray
    uptake_phosphorus_g: FloatArray
    # by loop
    sump_oxygen_mg_l: FloatArray
    sump_oxygen_used_g: FloatArray
    sump_tan_mg_l: FloatArray
    sump_tan_load_g: FloatArray
    nitrate_mg_l: FloatArray
    sump_nitrite_mg_l: FloatArray
    nitrate_held_g: FloatArray
    alkalinity_mg_l: FloatArray
    potassium_mg_l: FloatArray
    phosphorus_mg_l: FloatArray
    calcium_mg_l: FloatArray
    solids_mg_l: FloatArray
    chloride_mg_l: FloatArray
    uptake_n_g: FloatArray
    denitrified_n_g: FloatArray
    buffer_g: FloatArray
    top_up_m3: FloatArray
    outflow_m3: FloatArray
    solids_n_made_g: FloatArray
    solids_n_freed_g: FloatArray
    solids_n_held_g: FloatArray
    sludge_n_g: FloatArray
    settler_n_g: FloatArray
    settler_p_g: FloatArray
    # of the climate
    leaf_exchange_m3_day: FloatArray
    leaf_exchange_load_g: FloatArray
    capacity_g: FloatArray
    sump_exchange_m3_day: FloatArray
    sump_exchange_load_g: FloatArray
    rounds: NDArray[np.int64]
    apart: FloatArray


class Record:
    """Tables of the course, filled a day at a time; a table is made when its first day is written."""

    def __init__(self, days: int):
        self.days = days
        self.tables: dict[str, FloatArray] = {}
        self.rounds, self.apart = np.zeros(days, dtype=int), np.zeros(days)

    def note(self, day: int, rounds: int, apart: float, levels: Mapping[str, FloatArray]) -> None:
        """Write one day of arrays (scenario, column)."""
        for key, value in levels.items():
            table = self.tables.get(key)
            if table is None:
                table = self.tables[key] = np.zeros((self.days, *value.shape))
            table[day] = value
        self.rounds[day], self.apart[day] = rounds, apart

    def course(self, climate: Mapping[str, FloatArray]) -> Course:
        """The filled arrays and the climate's (day, scenario, column), scenario first."""
        arrays = {key: np.moveaxis(table, 0, 1) for key, table in (self.tables | dict(climate)).items()}
        return Course(**arrays, rounds=self.rounds, apart=self.apart)
