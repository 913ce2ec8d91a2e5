"""The daily loop: fish eat, grow and breathe, the loops balance, for all scenarios at once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.eating import Eating, FishDay
from stocksim.engine.layout import Layout
from stocksim.engine.settling import AGREED, Guess
from stocksim.water.ammonia import unionized_fraction
from stocksim.water.loop import Star, balance_demand, balance_removal
from stocksim.water.nitrification import (
    HALF_SATURATION_TAN_MG_L,
    OXYGEN_PER_NITROGEN,
    nitrification_capacity,
    oxygen_share,
)
from stocksim.water.oxygen import (
    BETA_FISH_WATER,
    device_exchange,
    oxygen_saturation,
    surface_exchange_velocity,
)

FloatArray = NDArray[np.float64]
Progress = Callable[[int, int], None]

_MOST_ROUNDS = 80


class _Climate(NamedTuple):
    """All that depends on date and temperature alone; arrays lead with the day, then scenario (1 or all)."""

    appetite: FloatArray
    maintenance: FloatArray
    leaf_exchange: FloatArray
    leaf_exchange_load: FloatArray
    sump_exchange: FloatArray
    sump_exchange_load: FloatArray
    capacity: FloatArray
    toxic_share: FloatArray
    saturation: FloatArray


@dataclass(frozen=True)
class Course:
    """What happened, day by day: arrays (scenario, day, cohort | leaf | loop), rates per day, levels at the day's end.

    ``apart`` is by how much each day's shares of appetite were left unsettled after its ``rounds``.

    Fish amounts are per cohort (all its fish); ``fed_g`` is offered, ``eaten_g`` eaten. Conserved quantities close
    to rounding: see the tests of balance.
    """

    count: FloatArray
    weight_g: FloatArray
    fed_g: FloatArray
    eaten_g: FloatArray
    gain_g: FloatArray
    fish_oxygen_g: FloatArray
    excreted_nitrogen_g: FloatArray
    appetite_share: FloatArray
    oxygen_mg_l: FloatArray
    oxygen_used_g: FloatArray
    tan_mg_l: FloatArray
    nitrified_g: FloatArray
    sump_oxygen_mg_l: FloatArray
    sump_oxygen_used_g: FloatArray
    sump_tan_mg_l: FloatArray
    sump_tan_load_g: FloatArray
    leaf_exchange_m3_day: FloatArray
    leaf_exchange_load_g: FloatArray
    capacity_g: FloatArray
    sump_exchange_m3_day: FloatArray
    sump_exchange_load_g: FloatArray
    rounds: NDArray[np.int64]
    apart: FloatArray


def _day_first(array: FloatArray) -> FloatArray:
    """(day, column) or (scenario, day, column) as (day, scenario or 1, column), copied."""
    lead = array[None] if array.ndim == 2 else array
    return np.ascontiguousarray(np.moveaxis(lead, -2, 0))


def _climate(layout: Layout) -> _Climate:
    temperature = layout.temperature_c
    saturation = oxygen_saturation(temperature, layout.elevation_m)
    velocity = surface_exchange_velocity(temperature)
    at_leaf = layout.leaf_loop.T
    leaf_temperature, leaf_saturation = temperature @ at_leaf, saturation @ at_leaf
    device = device_exchange(layout.device_g_day[..., None, :], leaf_temperature)
    still = layout.surface_m2[..., None, :] * (velocity @ at_leaf) + layout.pass_exchange_m3_day[..., None, :]
    sump_device = device_exchange(layout.sump_device_g_day[..., None, :], temperature)
    sump_still = layout.sump_surface_m2[..., None, :] * velocity
    tank_temperature = leaf_temperature[..., : len(layout.tanks)]
    ph = layout.ph @ at_leaf[:, : len(layout.tanks)]
    parts = (
        layout.appetite_at_1g,
        layout.maintenance_per_kg,
        device + still,
        (BETA_FISH_WATER * device + still) * leaf_saturation,
        sump_device + sump_still,
        (BETA_FISH_WATER * sump_device + sump_still) * saturation,
        nitrification_capacity(layout.film_m2[..., None, :], leaf_temperature),
        unionized_fraction(ph[..., None, :], tank_temperature),
        saturation,
    )
    return _Climate(*(_day_first(part) for part in parts))


def scenario_count(layout: Layout) -> int:
    """Number of scenarios that the arrays of a layout hold."""
    arrays = [
        layout.count, layout.ration_fraction, layout.spilled_share, layout.start_weight_g, layout.volume_m3,
        layout.flow_m3_day, layout.surface_m2, layout.device_g_day, layout.pass_exchange_m3_day, layout.film_m2,
        layout.ph, layout.temperature_c[..., 0, :], layout.appetite_at_1g[..., 0, :],
    ]  # fmt: skip
    return max([array.shape[0] for array in arrays if array.ndim > 1], default=1)


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
    fish = FishDay(layout, scenarios)
    members = layout.leaf_loop
    units = len(layout.units)
    flow = layout.flow_m3_day
    returned = flow @ members
    leaf_store, sump_store = layout.volume_m3, layout.sump_volume_m3
    tan_gain_plain, tan_sump_gain = leaf_store + flow, sump_store + returned

    def full(columns: int) -> FloatArray:
        return np.zeros((scenarios, columns))

    oxygen_sump = full(len(layout.loops)) + climate.saturation[0]
    oxygen = oxygen_sump @ members.T
    tan, tan_sump = full(tanks + units), full(len(layout.loops))
    oxygen_before, tan_before, tan_sump_before = oxygen, tan, tan_sump
    tan_gain, tan_load, oxygen_demand = full(tanks + units), full(tanks + units), full(tanks + units)
    oxygen_slope = full(tanks + units)
    settled_share = np.ones((scenarios, len(layout.cohorts)))
    record = _Record(layout, scenarios, climate)
    for day in range(layout.days):
        toxic = climate.toxic_share[day]
        exchange, exchange_load = climate.leaf_exchange[day], climate.leaf_exchange_load[day]
        oxygen_gain = leaf_store + flow + exchange
        oxygen_sump_gain = sump_store + returned + climate.sump_exchange[day]
        # start from where oxygen and TAN are heading: the rounds below then have little left to do
        oxygen_guess, tan_guess = 2.0 * oxygen - oxygen_before, 2.0 * tan - tan_before
        tan_sump_guess = np.maximum(2.0 * tan_sump - tan_sump_before, 0.0)
        share, slopes = fish.appetite_share(oxygen_guess[:, :tanks], tan_guess[:, :tanks], toxic)
        fish.wake(day, climate.appetite[day], climate.maintenance[day], settled_share)
        capacity = climate.capacity[day] * oxygen_share(
            climate.capacity[day], tan, flow + exchange, exchange_load + flow * (oxygen_sump @ members.T)
        )
        oxygen_before, tan_before, tan_sump_before = oxygen, tan, tan_sump
        oxygen_ahead, tan_ahead = Guess(), Guess()
        for round_number in range(1, _MOST_ROUNDS + 1):
            eating = fish.eat(share, slopes, toxic)
            tan_gain[:] = tan_gain_plain
            tan_load[:] = leaf_store * tan_before
            tan_load[:, :tanks] += eating.tank_tan
            oxygen_demand[:, :tanks] = eating.tank_oxygen
            oxygen_slope[:, :tanks] = 0.0
            if eating.tank_oxygen_slope is not None and eating.tank_tan_slope is not None:
                tan_gain[:, :tanks] -= eating.tank_tan_slope
                tan_load[:, :tanks] -= eating.tank_tan_slope * tan_guess[:, :tanks]
                oxygen_slope[:, :tanks] = eating.tank_oxygen_slope
            tan_star = balance_removal(
                tan_gain, tan_load, flow, tan_sump_gain, sump_store * tan_sump + eating.sump_tan, members,
                capacity, HALF_SATURATION_TAN_MG_L, tan_sump_guess,
            )  # fmt: skip
            oxygen_demand[:, tanks:] = OXYGEN_PER_NITROGEN * tan_star.removed_g[:, tanks:]
            oxygen_star, sump_used = balance_demand(
                oxygen_gain + oxygen_slope,
                leaf_store * oxygen_before + exchange_load + oxygen_slope * oxygen_guess,
                flow, oxygen_sump_gain, sump_store * oxygen_sump + climate.sump_exchange_load[day], members,
                oxygen_demand, eating.sump_oxygen, oxygen_sump,
            )  # fmt: skip
            tan_sump_guess = tan_star.sump_mg_l
            used = oxygen_star.removed_g + oxygen_slope * (oxygen_star.leaf_mg_l - oxygen_guess)
            new_share, _ = fish.appetite_share(oxygen_star.leaf_mg_l[:, :tanks], tan_star.leaf_mg_l[:, :tanks], toxic)
            apart = np.maximum.reduce(np.abs(new_share - share), axis=None, initial=0.0)
            if apart < AGREED or round_number == _MOST_ROUNDS:
                break
            oxygen_guess = oxygen_ahead.following(oxygen_guess, oxygen_star.leaf_mg_l)
            tan_guess = tan_ahead.following(tan_guess, tan_star.leaf_mg_l)
            share, slopes = fish.appetite_share(oxygen_guess[:, :tanks], tan_guess[:, :tanks], toxic)
        oxygen, tan, oxygen_sump, tan_sump = (
            oxygen_star.leaf_mg_l,
            tan_star.leaf_mg_l,
            oxygen_star.sump_mg_l,
            tan_star.sump_mg_l,
        )
        settled_share = share
        fish.grow(eating)
        record.note(day, fish, eating, oxygen_star._replace(removed_g=used), tan_star, sump_used, round_number)
        record.apart[day] = apart
        if progress is not None:
            progress(day + 1, layout.days)
    return record.course()


class _Record:
    """Arrays of the course, filled a day at a time."""

    def __init__(self, layout: Layout, scenarios: int, climate: _Climate):
        self.climate, self.scenarios = climate, scenarios
        cohorts, leaves, loops = len(layout.cohorts), len(layout.tanks) + len(layout.units), len(layout.loops)

        def table(columns: int) -> FloatArray:
            return np.zeros((layout.days, scenarios, columns))

        fish = (
            "count",
            "weight_g",
            "fed_g",
            "eaten_g",
            "gain_g",
            "fish_oxygen_g",
            "excreted_nitrogen_g",
            "appetite_share",
        )
        leaf = ("oxygen_mg_l", "oxygen_used_g", "tan_mg_l", "nitrified_g")
        sump = ("sump_oxygen_mg_l", "sump_oxygen_used_g", "sump_tan_mg_l", "sump_tan_load_g")
        self.tables = (
            {key: table(cohorts) for key in fish}
            | {key: table(leaves) for key in leaf}
            | {key: table(loops) for key in sump}
        )
        self.rounds, self.apart = np.zeros(layout.days, dtype=int), np.zeros(layout.days)

    def note(
        self,
        day: int,
        fish: FishDay,
        eating: Eating,
        oxygen: Star,
        tan: Star,
        sump_used: FloatArray,
        rounds: int,
    ) -> None:
        """Write one day."""
        for key, value in (
            ("count", fish.here),
            ("weight_g", fish.weight),
            ("fed_g", eating.eaten_g * (1.0 + fish.spilled_per_eaten)),
            ("eaten_g", eating.eaten_g),
            ("gain_g", eating.gain_g),
            ("fish_oxygen_g", eating.oxygen_g),
            ("excreted_nitrogen_g", eating.excreted_g),
            ("appetite_share", eating.share),
            ("oxygen_mg_l", oxygen.leaf_mg_l),
            ("oxygen_used_g", oxygen.removed_g),
            ("sump_oxygen_mg_l", oxygen.sump_mg_l),
            ("sump_oxygen_used_g", sump_used),
            ("tan_mg_l", tan.leaf_mg_l),
            ("nitrified_g", tan.removed_g),
            ("sump_tan_mg_l", tan.sump_mg_l),
            ("sump_tan_load_g", eating.sump_tan),
        ):
            self.tables[key][day] = value
        self.rounds[day] = rounds

    def course(self) -> Course:
        """The filled arrays, scenario first."""
        climate = self.climate

        def scenario_first(array: FloatArray) -> FloatArray:
            return np.moveaxis(array, 0, 1)

        return Course(
            **{key: scenario_first(table) for key, table in self.tables.items()},
            leaf_exchange_m3_day=scenario_first(climate.leaf_exchange),
            leaf_exchange_load_g=scenario_first(climate.leaf_exchange_load),
            capacity_g=scenario_first(climate.capacity),
            sump_exchange_m3_day=scenario_first(climate.sump_exchange),
            sump_exchange_load_g=scenario_first(climate.sump_exchange_load),
            rounds=self.rounds,
            apart=self.apart,
        )
