"""The course of a season: every array that the daily loop writes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.happenings import Transfer

FloatArray = NDArray[np.float64]

LEAST_COUNT = 0.01  # of a fish: a cohort with fewer is gone, whatever crumb its expected survivors leave


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
    size_spread: FloatArray
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
    sodium_mg_l: FloatArray
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
    # stocking, moves, gradings and fish taken, in the order they happened
    transfers: tuple[Transfer, ...]

    @property
    def present(self) -> NDArray[np.bool_]:
        """Whether there are fish in a column, shape (scenario, day, cohort)."""
        return self.count > LEAST_COUNT


class Record:
    """Arrays of the course, kept a day at a time and joined at the end; a day's arrays must not change afterwards."""

    def __init__(self, days: int):
        self.levels: dict[str, list[FloatArray]] = {}
        self.rounds, self.apart = np.zeros(days, dtype=int), np.zeros(days)

    def note(self, day: int, rounds: int, apart: float, levels: Mapping[str, FloatArray]) -> None:
        """Keep one day of arrays (scenario, column)."""
        if day == 0:
            self.levels = {key: [] for key in levels}
        for key, value in levels.items():
            self.levels[key].append(value)
        self.rounds[day], self.apart[day] = rounds, apart

    def course(self, climate: Mapping[str, FloatArray], transfers: Sequence[Transfer]) -> Course:
        """The days joined and the climate's (day, scenario, column), scenario first."""
        arrays = {key: np.moveaxis(table, 0, 1) for key, table in climate.items()}
        for key in list(self.levels):
            days = self.levels.pop(key)  # freed as it goes: only one table stands twice
            # bytes join several times quicker than small arrays do
            joined = np.frombuffer(bytearray().join(array.tobytes() for array in days), dtype=days[0].dtype)
            arrays[key] = np.moveaxis(joined.reshape(len(days), *days[0].shape), 0, 1)
        return Course(**arrays, rounds=self.rounds, apart=self.apart, transfers=tuple(transfers))
