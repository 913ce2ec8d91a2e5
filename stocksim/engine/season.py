"""The daily loop: fish eat, grow and breathe, the loops balance, for all scenarios at once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.course import Course, Record
from stocksim.engine.eating import FishDay
from stocksim.engine.film import by_day
from stocksim.engine.film_steps import Nitrogen
from stocksim.engine.layout import Layout
from stocksim.engine.settling import AGREED, Guess
from stocksim.engine.water_day import WaterDay
from stocksim.engine.water_tables import water_tables
from stocksim.water.carbonate import carbon_dioxide_saturation
from stocksim.water.gas import carbon_dioxide_exchange, water_drop_exchange
from stocksim.water.loop import balance_demand, balance_removal
from stocksim.water.nitrification import HALF_SATURATION_TAN_MG_L, nitrification_capacity, oxygen_share
from stocksim.water.nitrite import OXYGEN_TO_NITRATE, OXYGEN_TO_NITRITE
from stocksim.water.oxygen import BETA_FISH_WATER, device_exchange, oxygen_saturation, surface_exchange_velocity

FloatArray = NDArray[np.float64]
Progress = Callable[[int, int], None]

_MOST_ROUNDS = 80


class _Climate(NamedTuple):
    """All that depends on date and temperature alone; arrays lead with the day, then scenario (1 or all)."""

    appetite: FloatArray
    maintenance: FloatArray
    leaf_exchange: FloatArray
    leaf_exchange_load: FloatArray
    leaf_passing: FloatArray
    leaf_gain: FloatArray
    sump_exchange: FloatArray
    sump_exchange_load: FloatArray
    sump_gain: FloatArray
    capacity: FloatArray
    saturation: FloatArray
    leaf_co2_exchange: FloatArray
    sump_co2_exchange: FloatArray
    co2_saturation: FloatArray


def _climate(layout: Layout) -> _Climate:
    temperature = layout.temperature_c
    saturation = oxygen_saturation(temperature, layout.elevation_m)
    velocity = surface_exchange_velocity(temperature)
    at_leaf = layout.leaf_loop.T
    leaf_temperature, leaf_saturation = temperature @ at_leaf, saturation @ at_leaf
    device = device_exchange(layout.device_g_day[..., None, :], leaf_temperature)
    still = layout.surface_m2[..., None, :] * (velocity @ at_leaf) + layout.pass_exchange_m3_day[..., None, :]
    sump_device = device_exchange(layout.sump_device_g_day[..., None, :], temperature)
    returned = (layout.flow_m3_day @ layout.leaf_loop)[..., None, :]
    # at the sump's own level, which is the higher one: the careful side
    fall = water_drop_exchange(returned, layout.return_drop_m[..., None, :], temperature)
    sump_still = layout.sump_surface_m2[..., None, :] * velocity + fall
    passing = layout.flow_m3_day[..., None, :] + device + still
    parts = (
        layout.appetite_at_1g,
        layout.maintenance_per_kg,
        device + still,
        (BETA_FISH_WATER * device + still) * leaf_saturation,
        passing,
        layout.volume_m3[..., None, :] + passing,
        sump_device + sump_still,
        (BETA_FISH_WATER * sump_device + sump_still) * saturation,
        layout.sump_volume_m3[..., None, :] + returned + sump_device + sump_still,
        nitrification_capacity(layout.film_m2[..., None, :], leaf_temperature),
        saturation,
        carbon_dioxide_exchange(still, device),
        carbon_dioxide_exchange(sump_still, sump_device),
        carbon_dioxide_saturation(temperature, layout.elevation_m),
    )
    return _Climate(*(by_day(part) for part in parts))


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
    Feed, oxygen and ammonia of a day are solved together: appetite falls with the oxygen and ammonia that the feed
    itself makes. Each round takes the appetite's slope into the loop balance (Newton), so that an overstocked tank
    settles within the day. Weight by the midpoint rule, water by backward Euler.
    """
    scenarios, tanks = scenario_count(layout), len(layout.tanks)
    climate = _climate(layout)
    layout = _with_scenario_axis(layout)
    fish = FishDay(layout, scenarios)
    water = WaterDay(layout, scenarios, (climate.leaf_co2_exchange, climate.sump_co2_exchange, climate.co2_saturation))
    members, at_leaf = layout.leaf_loop, layout.leaf_loop.T
    units = len(layout.units)
    flow = layout.flow_m3_day
    sump_plain = layout.sump_volume_m3 + flow @ members
    leaf_store, sump_store = layout.volume_m3, layout.sump_volume_m3
    tan_gain_plain = leaf_store + flow

    def full(columns: int) -> FloatArray:
        return np.zeros((scenarios, columns))

    oxygen_sump = full(len(layout.loops)) + climate.saturation[0]
    oxygen = oxygen_sump @ at_leaf
    tan, tan_sump = full(tanks + units), full(len(layout.loops))
    oxygen_before, tan_before, tan_sump_before = oxygen, tan, tan_sump
    nitrite_sump_before = water.film.nitrite_sump
    # of the day before the day before
    earlier = (oxygen, tan, tan_sump, nitrite_sump_before)
    tan_gain_sloped = full(tanks + units) + tan_gain_plain
    oxygen_demand, oxygen_slope = full(tanks + units), full(tanks + units)
    settled_share = np.ones((scenarios, len(layout.cohorts)))
    record = Record()
    for day in range(layout.days):
        tan, tan_sump = water.reset_to_tests(day, tan, tan_sump)
        fish.happen(day)
        capacity, oxygen_gain, oxygen_sump_gain = climate.capacity[day], climate.leaf_gain[day], climate.sump_gain[day]
        oxygen_brought = climate.leaf_exchange_load[day]
        air = oxygen_share(
            water.film.active(capacity), tan, climate.leaf_passing[day],
            oxygen_brought + flow * oxygen_sump.dot(at_leaf),
        )  # fmt: skip
        morning = water.morning(day, capacity * air, tan, tan_sump, oxygen)
        toxic, outflow = morning.toxic_share, morning.outflow_m3
        tan_sump_gain = sump_plain + outflow
        # start from where levels are heading, by a parabola: the rounds below then have little left to do
        oxygen_guess = 3.0 * (oxygen - oxygen_before) + earlier[0]
        tan_guess = 3.0 * (tan - tan_before) + earlier[1]
        tan_sump_guess = np.maximum(3.0 * (tan_sump - tan_sump_before) + earlier[2], 0.0)
        nitrite_guess = np.maximum(3.0 * (water.film.nitrite_sump - nitrite_sump_before) + earlier[3], 0.0)
        earlier = (oxygen_before, tan_before, tan_sump_before, nitrite_sump_before)
        nitrite_sump_before = water.film.nitrite_sump
        share, slopes = fish.appetite_share(oxygen_guess[:, :tanks], tan_guess[:, :tanks], toxic)
        fish.wake(
            day, climate.appetite[day], climate.maintenance[day], settled_share, water.film.nitrite[:, :tanks],
            water.chloride,
        )  # fmt: skip
        oxygen_before, tan_before, tan_sump_before = oxygen, tan, tan_sump
        oxygen_ahead = tan_ahead = None
        tan_sump_stored = sump_store * tan_sump + morning.sump_tan_g
        oxygen_load = leaf_store * oxygen + oxygen_brought
        oxygen_sump_load = sump_store * oxygen_sump + climate.sump_exchange_load[day]
        tan_stored = leaf_store * tan
        for round_number in range(1, _MOST_ROUNDS + 1):
            eating = fish.eat(share, slopes, toxic)
            tan_gain, tan_load = tan_gain_plain, tan_stored.copy()
            tan_load[:, :tanks] += eating.tank_tan
            oxygen_demand[:, :tanks] = eating.tank_oxygen
            leaf_gain, leaf_load = oxygen_gain, oxygen_load
            if eating.tank_oxygen_slope is not None and eating.tank_tan_slope is not None:
                tan_gain = tan_gain_sloped
                tan_gain[:, :tanks] = tan_gain_plain[:, :tanks] - eating.tank_tan_slope
                tan_load[:, :tanks] -= eating.tank_tan_slope * tan_guess[:, :tanks]
                oxygen_slope[:, :tanks] = eating.tank_oxygen_slope
                leaf_gain, leaf_load = oxygen_gain + oxygen_slope, oxygen_load + oxygen_slope * oxygen_guess
            tan_star = balance_removal(
                tan_gain, tan_load, flow, tan_sump_gain, tan_sump_stored + eating.urea_n,
                members, morning.film.capacity, HALF_SATURATION_TAN_MG_L, tan_sump_guess,
            )  # fmt: skip
            nitrite_star = water.film.nitrite_balance(tan_star.removed_g, morning.film, outflow, nitrite_guess)
            oxygen_demand[:, tanks:] = (
                OXYGEN_TO_NITRITE * tan_star.removed_g[:, tanks:]
                + OXYGEN_TO_NITRATE * nitrite_star.removed_g[:, tanks:]
            )
            oxygen_star, sump_used = balance_demand(
                leaf_gain, leaf_load, flow, oxygen_sump_gain, oxygen_sump_load, members, oxygen_demand,
                morning.sump_oxygen_g, oxygen_sump,
            )  # fmt: skip
            new_share, _ = fish.appetite_share(oxygen_star.leaf_mg_l[:, :tanks], tan_star.leaf_mg_l[:, :tanks], toxic)
            apart = 0.0 if new_share is share else float(np.abs(new_share - share).max(initial=0.0))
            if apart < AGREED or round_number == _MOST_ROUNDS:
                break
            tan_sump_guess, nitrite_guess = tan_star.sump_mg_l, nitrite_star.sump_mg_l
            if oxygen_ahead is None or tan_ahead is None:
                oxygen_ahead, tan_ahead = Guess(), Guess()
            oxygen_guess = oxygen_ahead.following(oxygen_guess, oxygen_star.leaf_mg_l)
            tan_guess = tan_ahead.following(tan_guess, tan_star.leaf_mg_l)
            share, slopes = fish.appetite_share(oxygen_guess[:, :tanks], tan_guess[:, :tanks], toxic)
        used = oxygen_star.removed_g.copy()
        if eating.tank_oxygen_slope is not None:
            used += oxygen_slope * (oxygen_star.leaf_mg_l - oxygen_guess)
        sump_tan_load = eating.urea_n + morning.sump_tan_g
        found = Nitrogen(tan_star, nitrite_star)
        moving = water.film.is_moving(tan_before, found)
        if moving is not None:
            tan_load = full(tanks + units)
            tan_load[:, :tanks] = eating.tank_tan
            film, found = water.film.refine(
                morning.film, found, moving, (tan_before, tan_sump_before), (tan_load, sump_tan_load), outflow
            )
            morning = morning._replace(film=film)
            water.film.remember(tan_before, found)
            oxygen_demand[:, :tanks] = eating.tank_oxygen
            oxygen_demand[:, tanks:] = (
                OXYGEN_TO_NITRITE * found.tan.removed_g[:, tanks:]
                + OXYGEN_TO_NITRATE * found.nitrite.removed_g[:, tanks:]
            )
            oxygen_star, sump_used = balance_demand(
                oxygen_gain, oxygen_load, flow, oxygen_sump_gain, oxygen_sump_load, members, oxygen_demand,
                morning.sump_oxygen_g, oxygen_sump,
            )  # fmt: skip
            used = oxygen_star.removed_g.copy()
        oxygen, oxygen_sump = oxygen_star.leaf_mg_l, oxygen_star.sump_mg_l
        tan, tan_sump = found.tan.leaf_mg_l, found.tan.sump_mg_l
        settled_share = share
        fish.grow(eating)
        fish.die(day, oxygen[:, :tanks], tan[:, :tanks], toxic, found.nitrite.leaf_mg_l[:, :tanks])
        waste = fish.waste(eating, used[:, :tanks])
        evening = water.evening(day, morning, waste, found.tan, found.nitrite, sump_used)
        record.note(
            round_number, apart,
            fish.day_levels(eating)
            | {
                "oxygen_mg_l": oxygen, "oxygen_used_g": used, "tan_mg_l": tan,
                "nitrified_g": found.tan.removed_g, "sump_oxygen_mg_l": oxygen_sump, "sump_oxygen_used_g": sump_used,
                "sump_tan_mg_l": tan_sump, "sump_tan_load_g": sump_tan_load,
            }
            | water.day_levels(morning, waste, found.nitrite, evening),
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
