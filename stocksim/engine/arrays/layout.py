"""A site turned into arrays: one column a cohort, a leaf of the loop (tank, bed, biofilter), a loop."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.arrays.beds import Planting, build_planting
from stocksim.engine.arrays.fish import Happening, Rations, Stay, fish_columns, membership
from stocksim.engine.arrays.water import Waterworks, build_waterworks
from stocksim.heat.temperatures import water_c
from stocksim.site.bed_kinds import BED_KINDS, BIOFILTER_KINDS
from stocksim.site.beds import bed_film_m2, bed_flow_m3_day, bed_water_m3
from stocksim.site.loop_water import open_sump_m3, tank_depth_m, tank_film_m2
from stocksim.site.model import BedTable, BiofilterTable, Diffuser, MeasuredTransfer
from stocksim.site.quantities import DEFAULT_TANK_DEPTH_M
from stocksim.site.reading import Site
from stocksim.water.gas import diffuser_fouling
from stocksim.water.oxygen import diffuser_standard_transfer

FloatArray = NDArray[np.float64]

# Water that trickles or drains makes up half of its oxygen deficit in a pass: exchange volume equal to the flow
# (assumption, no source).
TRICKLING_EXCHANGE_SHARE = 1.0


def sums_by(values: FloatArray, members: FloatArray) -> FloatArray:
    """Sums of the rows that belong to each column, scenario by scenario.

    Parameters
    ----------
    values : ndarray, shape (..., row)
        What is summed.
    members : ndarray, shape (row, column)
        1 where the row belongs to the column.

    Returns
    -------
    ndarray, shape (..., column)
        As ``values @ members``, which rounds many scenarios otherwise than one.
    """
    return np.asarray((values[..., None] * members).sum(axis=-2))


@dataclass(frozen=True)
class Layout:
    """Arrays of a site.

    Any float array may carry a leading scenario axis, (scenario, column) instead of (column,), and ``elevation_m`` be
    an array of scenarios; but not ``cohort_tank`` and ``leaf_loop``, which say what the site is.

    Parameters
    ----------
    start : date
        First day.
    days : int
        Number of days.
    stays : tuple of Stay
        What each fish column is: a cohort's stay in one tank on one feed by one rule.
    happenings : tuple of Happening
        Moves, gradings, harvests and the like between columns, in order.
    cohorts, tanks, units, loops : tuple of str
        Column names, a cohort's once for each of its stays; ``units`` are the beds and biofilters that loop water runs
        through. Leaves are tanks then units.
    cohort_tank, leaf_loop : ndarray, shape (cohort, tank), (leaf, loop)
        1 where the row belongs to the column.
    count, start_weight_g, ration_fraction, spilled_share : ndarray, shape (cohort,)
        Fish stocked, their weight [g], ration rule. [-]
    size_spread : ndarray, shape (cohort,)
        Standard deviation over mean of the weights of fish as they come. [-]
    stocked_day, until_day : ndarray of int, shape (cohort,)
        Day of the season on whose morning the column begins, and from which its fish are in another column.
    rations : Rations
        Feeding rules by column.
    daily_hazard : ndarray, shape (day, cohort)
        Deaths to expect whatever the water's chemistry: of every day, of cold and heat, of feed training. [1/day]
    cold_hazard, heat_hazard : ndarray, shape (day, cohort)
        What cold and heat have in it. [1/day]
    everyday_hazard : ndarray, shape (cohort,)
        What the deaths of every day have in it. [1/day]
    temperature_change_c : ndarray, shape (day, cohort)
        Change of the fish's water from the day before. [degC]
    species : mapping of str to ndarray, shape (cohort,)
        Species values by their library key.
    appetite_at_1g, maintenance_per_kg : ndarray, shape (day, cohort)
        Of each day's temperature. [g/day], [kJ/kg^0.8/day]
    feed_energy_kj_g, feed_gross_kj_g : ndarray, shape (cohort,)
        Digestible and gross energy of the cohort's feed. [kJ/g]
    feed_nitrogen, feed_digested_nitrogen, feed_potassium, feed_phosphorus, feed_dry_matter : ndarray, shape (cohort,)
        Content of the cohort's feed. [g/g]
    feed_digested_dry_matter : ndarray, shape (cohort,)
        Share of eaten dry matter that is digested. [-]
    temperature_c : ndarray, shape (day, loop)
        Water temperature. [degC]
    volume_m3, flow_m3_day, surface_m2, device_g_day, pass_exchange_m3_day, film_m2 : ndarray, shape (leaf,)
        Water, flow from the sump, open surface, standard transfer of devices, exchange of trickling water, film.
    sump_volume_m3, sump_surface_m2, sump_device_g_day : ndarray, shape (loop,)
        Of each loop.
    return_drop_m : ndarray, shape (loop,)
        Height that water falls on its way back into the sump. [m]
    film_pace : ndarray, shape (day, loop)
        What whole films turn over what their surface and temperature tell: 1, but where that is uncertain. [-]
    film_growth : ndarray, shape (oxidizer, loop)
        Growth of ammonia, then of nitrite oxidizers over what their food and temperature tell: 1, but where that is
        uncertain. [-]
    elevation_m : float
        Height above the sea. [m]
    density_limit, growth_density : ndarray, shape (cohort,)
        Stocking density at the keeper's level that the species bears in its tank, and that of its own kind above which
        growth alone falls, infinite where that is not told. [kg/m3]
    planted_m2, rated_m2, ratio_low, ratio_high : ndarray, shape (day, loop)
        Planted area fed by loop water, the part of it that has a published feed ratio [m2], and the band of that
        ratio. [g/m2/day] NaN as in `Planting`.
    ration_by_day : ndarray, shape (day, loop)
        Share of the ration rule that every cohort of the loop is fed that day: 1, or the loop's feeding ramp. [-]
    """

    start: dt.date
    days: int
    stays: tuple[Stay, ...]
    happenings: tuple[Happening, ...]
    cohorts: tuple[str, ...]
    tanks: tuple[str, ...]
    units: tuple[str, ...]
    loops: tuple[str, ...]
    cohort_tank: FloatArray
    leaf_loop: FloatArray
    count: FloatArray
    start_weight_g: FloatArray
    ration_fraction: FloatArray
    spilled_share: FloatArray
    size_spread: FloatArray
    stocked_day: NDArray[np.int64]
    until_day: NDArray[np.int64]
    rations: Rations
    daily_hazard: FloatArray
    cold_hazard: FloatArray
    heat_hazard: FloatArray
    everyday_hazard: FloatArray
    temperature_change_c: FloatArray
    species: Mapping[str, FloatArray]
    appetite_at_1g: FloatArray
    maintenance_per_kg: FloatArray
    feed_energy_kj_g: FloatArray
    feed_gross_kj_g: FloatArray
    feed_nitrogen: FloatArray
    feed_digested_nitrogen: FloatArray
    feed_potassium: FloatArray
    feed_phosphorus: FloatArray
    feed_dry_matter: FloatArray
    feed_digested_dry_matter: FloatArray
    temperature_c: FloatArray
    volume_m3: FloatArray
    flow_m3_day: FloatArray
    surface_m2: FloatArray
    device_g_day: FloatArray
    pass_exchange_m3_day: FloatArray
    film_m2: FloatArray
    sump_volume_m3: FloatArray
    sump_surface_m2: FloatArray
    sump_device_g_day: FloatArray
    return_drop_m: FloatArray
    film_pace: FloatArray
    film_growth: FloatArray
    elevation_m: float
    water: Waterworks
    density_limit: FloatArray
    growth_density: FloatArray
    planted_m2: FloatArray
    rated_m2: FloatArray
    ratio_low: FloatArray
    ratio_high: FloatArray
    ration_by_day: FloatArray

    def stay_on(self, cohort: str, day: int) -> Stay:
        """Where and how a cohort lives on a day of the season; its first stay before it is there."""
        columns = [at for at, name in enumerate(self.cohorts) if name == cohort]
        begun = [at for at in columns if self.stocked_day[at] <= day]
        return self.stays[begun[-1] if begun else columns[0]]

    @property
    def loop_water_m3(self) -> FloatArray:
        """Water of each loop in sump, tanks, beds and biofilters, shape (..., loop). [m3]"""
        return sums_by(self.volume_m3, self.leaf_loop) + self.sump_volume_m3

    @property
    def roots(self) -> tuple[str, ...]:
        """The file's cohort that each column's fish came from."""
        return tuple(stay.root for stay in self.stays)

    @property
    def tank_of(self) -> NDArray[np.int64]:
        """Tank of each column, shape (cohort,)."""
        return _place_of(self.cohort_tank)

    @property
    def loop_of(self) -> NDArray[np.int64]:
        """Loop of each tank, bed and biofilter, shape (leaf,)."""
        return _place_of(self.leaf_loop)

    @property
    def cohort_loop(self) -> FloatArray:
        """1 where the cohort's tank belongs to the loop, shape (cohort, loop)."""
        return self.cohort_tank @ self.leaf_loop[: len(self.tanks)]


def _place_of(members: FloatArray) -> NDArray[np.int64]:
    """Column of the 1 in each row."""
    return np.asarray(members.argmax(axis=1) if members.size else np.zeros(len(members)), np.int64)


def standard_transfer(supply: object) -> float:
    """Standard oxygen transfer of a supply table. [g/day]"""
    if isinstance(supply, Diffuser):
        return float(diffuser_standard_transfer(supply.power) * diffuser_fouling(supply.uncleaned_months))
    return supply.transfer if isinstance(supply, MeasuredTransfer) else 0.0


class _Leaf:
    """Water side of one tank, bed or biofilter."""

    def __init__(
        self,
        loop: str,
        volume: float,
        flow: float,
        surface: float,
        supply: object,
        film: float,
        trickles: bool,
    ):
        self.loop, self.volume, self.flow, self.surface, self.film = loop, volume, flow, surface, film
        self.device = standard_transfer(supply)
        self.pass_exchange = TRICKLING_EXCHANGE_SHARE * flow if trickles else 0.0


def _bed_leaf(bed: BedTable) -> _Leaf:
    water = BED_KINDS[bed.kind].water
    assert water is not None
    return _Leaf(
        bed.loop, bed_water_m3(bed), bed_flow_m3_day(bed), 0.0, bed.oxygen_supply, bed_film_m2(bed), water.trickles
    )


def build_layout(site: Site, planting: Planting | None = None) -> Layout:
    """Arrays of a site.

    Parameters
    ----------
    site : Site
        A checked site.
    planting : Planting, optional
        What is planted on it, where that is at hand.

    Returns
    -------
    Layout
        One scenario, without leading axes.
    """
    file = site.file
    loops, tanks = tuple(file.loops), tuple(file.tanks)
    leaves = {
        key: _Leaf(t.loop, t.volume, t.flow, t.volume / tank_depth_m(t), t.oxygen_supply, tank_film_m2(t), False)
        for key, t in file.tanks.items()
    }
    beds = [(f"beds.{key}", bed) for key, bed in file.beds.items() if BED_KINDS[bed.kind].is_on_loop]
    filters = [(f"biofilters.{key}", unit) for key, unit in file.biofilters.items()]
    tables: list[tuple[str, BedTable | BiofilterTable]] = [*beds, *filters]
    units = {key: _bed_leaf(bed) for key, bed in beds}
    units |= {
        key: _Leaf(
            b.loop, b.media_volume, b.flow, 0.0, b.oxygen_supply, b.media_volume * b.specific_surface,
            BIOFILTER_KINDS[b.kind].trickles,
        )
        for key, b in filters
    }  # fmt: skip
    every = [*leaves.values(), *units.values()]

    def of_leaf(name: str) -> FloatArray:
        return np.array([getattr(leaf, name) for leaf in every], float)

    planting = planting or build_planting(site)
    temperature = np.stack(list(water_c(site).values()), axis=-1)
    leaf_loop = membership([leaf.loop for leaf in every], loops)
    sump = np.array([open_sump_m3(file, key) for key in loops], float)
    return Layout(
        start=file.season.start,
        days=site.days,
        tanks=tanks,
        units=tuple(units),
        loops=loops,
        leaf_loop=leaf_loop,
        temperature_c=temperature,
        volume_m3=of_leaf("volume"),
        flow_m3_day=of_leaf("flow"),
        surface_m2=of_leaf("surface"),
        device_g_day=of_leaf("device"),
        pass_exchange_m3_day=of_leaf("pass_exchange"),
        film_m2=of_leaf("film"),
        sump_volume_m3=sump,
        sump_surface_m2=sump / np.array([t.depth or DEFAULT_TANK_DEPTH_M for t in file.loops.values()], float),
        sump_device_g_day=np.array([standard_transfer(t.oxygen_supply) for t in file.loops.values()], float),
        return_drop_m=np.array([t.return_drop for t in file.loops.values()], float),
        film_pace=np.ones(temperature.shape),
        film_growth=np.ones((2, len(loops))),
        elevation_m=file.site.elevation or 0.0,
        water=build_waterworks(site, tables, temperature, planting.stands),
        planted_m2=planting.loop_area_m2,
        rated_m2=planting.rated_area_m2,
        ratio_low=planting.ratio_low,
        ratio_high=planting.ratio_high,
        ration_by_day=_ration_by_day(site),
        **fish_columns(site, temperature, leaf_loop[: len(tanks)], planting),
    )


def _ration_by_day(site: Site) -> FloatArray:
    """Share of the ration by the loops' feeding ramps, shape (day, loop); 1 before a ramp begins."""
    shares = np.ones((site.days, len(site.file.loops)))
    for column, loop in enumerate(site.file.loops.values()):
        for step in loop.feeding_ramp:
            shares[(step.start - site.file.season.start).days :, column] = step.share
    return shares


def first_days(layout: Layout, days: int) -> Layout:
    """The first days of a layout.

    Parameters
    ----------
    layout : Layout
        Arrays of a site, with or without scenario axes.
    days : int
        Number of days to keep, 1 or more.

    Returns
    -------
    Layout
        Its season ends after them; what happens on them stays the same to the last digit.
    """
    kept = min(days, layout.days)
    by_day = (
        "appetite_at_1g", "maintenance_per_kg", "temperature_c", "planted_m2", "rated_m2", "ratio_low",
        "ratio_high", "ration_by_day", "daily_hazard", "cold_hazard", "heat_hazard",
        "temperature_change_c", "film_pace",
    )  # fmt: skip
    of_water = (
        "changed_m3", "exchanged_m3", "ammonia_dose_g", "passing", "emptied", "uptake_g", "minerals_per_n",
        "alkalinity_per_n",
    )  # fmt: skip
    works = layout.water
    return replace(
        layout,
        days=kept,
        rations=layout.rations.first_days(kept),
        water=replace(works, **{key: getattr(works, key)[..., :kept, :] for key in of_water}),
        **{key: getattr(layout, key)[..., :kept, :] for key in by_day},
    )
