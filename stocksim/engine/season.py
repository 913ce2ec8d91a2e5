"""The daily loop: fish eat, grow and breathe, the loops balance, for all scenarios at once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.course import Course, Record
from stocksim.engine.eating import FishDay
from stocksim.engine.fast_water import FastWater
from stocksim.engine.layout import Layout
from stocksim.engine.season_climate import build_climate
from stocksim.engine.water_day import WaterDay
from stocksim.engine.water_tables import water_tables

FloatArray = NDArray[np.float64]
Progress = Callable[[int, int], None]


def scenario_count(layout: Layout) -> int:
    """Number of scenarios that the arrays of a layout hold."""
    arrays = [
        layout.count, layout.ration_fraction, layout.spilled_share, layout.start_weight_g, layout.volume_m3,
        layout.flow_m3_day, layout.surface_m2, layout.device_g_day, layout.pass_exchange_m3_day, layout.film_m2,
        layout.temperature_c[..., 0, :], layout.appetite_at_1g[..., 0, :], layout.ration_by_day[..., 0, :],
    ]  # fmt: skip
    return max([array.shape[0] for array in arrays if array.ndim > 1], default=1)


_BY_COLUMN = (
    "count", "start_weight_g", "size_spread", "ration_fraction", "spilled_share", "stocked_day", "feed_energy_kj_g",
    "feed_gross_kj_g", "feed_nitrogen", "feed_digested_nitrogen", "feed_potassium", "feed_phosphorus",
    "feed_dry_matter", "feed_digested_dry_matter", "volume_m3", "flow_m3_day", "sump_volume_m3",
)  # fmt: skip
_WATER_BY_COLUMN = (
    "source_nitrate", "start_nitrite", "ph_given", "target_alkalinity", "loss_m3_day", "drawn_off_m3",
)  # fmt: skip
_WATER_BY_DAY = ("exchanged_m3", "ammonia_dose_g", "passing", "emptied", "uptake_g")


def _with_scenario_axis(layout: Layout) -> Layout:
    """The layout with a scenario axis on all that the days use: numpy adds arrays of one shape three times quicker."""
    works = layout.water
    water: dict[str, Any] = {name: np.atleast_2d(getattr(works, name)) for name in _WATER_BY_COLUMN}
    water |= {name: getattr(works, name)[:, None] for name in _WATER_BY_DAY}
    by_column: dict[str, Any] = {name: np.atleast_2d(getattr(layout, name)) for name in _BY_COLUMN}
    species = {name: np.atleast_2d(values) for name, values in layout.species.items()}
    return replace(layout, water=replace(works, **water), species=species, **by_column)


def simulate(layout: Layout, progress: Progress | None = None) -> Course:
    """Run the season of a layout.

    Parameters
    ----------
    layout : Layout
        Arrays of a site, any of them with a leading scenario axis.
    progress : callable, optional
        Called with (days done, days in all).

    Returns
    -------
    Course
        Arrays with a leading scenario axis.

    Notes
    -----
    Feed, oxygen and ammonia of a day are solved together (`FastWater.settle`), the slower water follows. Weight by the
    midpoint rule, water by backward Euler.
    """
    scenarios, tanks = scenario_count(layout), len(layout.tanks)
    climate = build_climate(layout)
    layout = _with_scenario_axis(layout)
    fish = FishDay(layout, scenarios)
    water = WaterDay(layout, scenarios, (climate.leaf_co2_exchange, climate.sump_co2_exchange, climate.co2_saturation))
    fast = FastWater(layout, climate, water.film, scenarios)
    record = Record()
    for day in range(layout.days):
        tan, tan_sump = water.reset_to_tests(day, fast.levels.tan, fast.levels.tan_sump)
        fish.happen(day)
        capacity = fast.start(day, tan, tan_sump)
        morning = water.morning(day, capacity, tan, tan_sump, fast.levels.oxygen)
        settled = fast.settle(fish, morning, water.chloride)
        settled, morning = fast.refine(settled, morning)
        fast.end(settled)
        eating, (tan_star, nitrite_star, *_) = settled.eating, settled.nitrogen
        fish.grow(eating)
        fish.die(
            day, settled.oxygen.leaf_mg_l[:, :tanks], tan_star.leaf_mg_l[:, :tanks], morning.toxic_share,
            nitrite_star.leaf_mg_l[:, :tanks],
        )  # fmt: skip
        waste = fish.waste(eating, settled.oxygen_used_g[:, :tanks])
        evening = water.evening(day, morning, waste, tan_star, nitrite_star, settled.sump_oxygen_used_g)
        record.note(
            settled.rounds, settled.apart,
            fish.day_levels(eating)
            | {
                "oxygen_mg_l": settled.oxygen.leaf_mg_l, "oxygen_used_g": settled.oxygen_used_g,
                "sump_oxygen_mg_l": settled.oxygen.sump_mg_l, "sump_oxygen_used_g": settled.sump_oxygen_used_g,
                "tan_mg_l": tan_star.leaf_mg_l, "nitrified_g": tan_star.removed_g,
                "sump_tan_mg_l": tan_star.sump_mg_l, "sump_tan_load_g": eating.urea_n + morning.sump_tan_g,
            }
            | water.day_levels(morning, waste, nitrite_star, evening),
        )  # fmt: skip
        if progress is not None:
            progress(day + 1, layout.days)
    tables = record.tables()
    return record.course(
        fish.tables(water_tables(tables, layout, water.volume, water.dosing.salt_per_alkalinity))
        | {
            "leaf_exchange_m3_day": climate.leaf_exchange, "leaf_exchange_load_g": climate.leaf_exchange_load,
            "capacity_g": climate.capacity, "sump_exchange_m3_day": climate.sump_exchange,
            "sump_exchange_load_g": climate.sump_exchange_load,
        },
        fish.transfers,
    )  # fmt: skip
