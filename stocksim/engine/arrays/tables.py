"""A layout as the tables that a day works on; many layouts stacked."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import fields, replace
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.arrays.fish import COMPANY_KEYS, Happening
from stocksim.engine.arrays.layout import Layout, sums_by
from stocksim.engine.arrays.water import ADDED, SOLUTES
from stocksim.engine.days import rows
from stocksim.engine.days.rows import FeedTables, Given, Kept, Mornings, Now
from stocksim.engine.days.waters import CO2_PER_ALKALINITY
from stocksim.memo import content_key
from stocksim.site.kinds import EVENT_KINDS, Act
from stocksim.water.ammonia import ammonia_pka
from stocksim.water.buffering import MOST_PH_RISE, SALTS
from stocksim.water.carbonate import calcite_solubility, carbon_dioxide_saturation, dissociation
from stocksim.water.gas import carbon_dioxide_exchange, water_drop_exchange
from stocksim.water.maturity import oxidizer_decay, oxidizer_growth
from stocksim.water.nitrification import nitrification_capacity
from stocksim.water.oxygen import BETA_FISH_WATER, device_exchange, oxygen_saturation, surface_exchange_velocity
from stocksim.water.solids import mineralized_share

FloatArray = NDArray[np.float64]

# Salts that take up carbon dioxide lift pH further than the dose's own rule reckons: in bare water 0.28 instead of 0.2
# with carbonates and 0.50 with hydroxides (measured in this project), so their daily rise is cut by that much.
SWING_BY_CARBON_DIOXIDE = 1.5
_PLENTY = 1e15  # mg/L: the half-saturation factors of growth are then 1

# Axes of the float arrays of a layout, its rations and its water, scenarios left out: by day or not, and then the
# column, leaf, unit or loop; others are told apart by name. One place: an array with one axis more has scenarios first.
_AXES: Mapping[str, int] = {
    "by_appetite": 1, "minerals_per_n": 3, "meals": 2, "start_level": 2, "source_level": 2, "maturity": 2,
    "film_growth": 2,
    **dict.fromkeys(
        (
            "daily_hazard", "cold_hazard", "heat_hazard", "temperature_change_c", "appetite_at_1g",
            "maintenance_per_kg", "temperature_c", "film_pace",
            "planted_m2", "rated_m2", "ratio_low", "ratio_high", "ration_by_day", "fed_today", "in_training",
            "bed_led_g", "changed_m3", "exchanged_m3", "ammonia_dose_g", "passing", "emptied", "uptake_g",
            "alkalinity_per_n",
        ),
        2,
    ),
}  # fmt: skip
_STRUCTURE = ("cohort_tank", "leaf_loop")  # who is where: the same in every scenario


class Climate(NamedTuple):
    """What a course tells of the exchange with the air and of the films' surfaces, (scenario or 1, day, column)."""

    leaf_exchange_m3_day: FloatArray
    leaf_exchange_load_g: FloatArray
    capacity_g: FloatArray
    sump_exchange_m3_day: FloatArray
    sump_exchange_load_g: FloatArray


_NAMES: dict[type, tuple[str, ...]] = {}  # fields of each kind of table, asked some thousand times


def float_arrays(table: Any) -> dict[str, FloatArray]:
    """Arrays of numbers of a layout, its rations or its water, by name."""
    if type(table) not in _NAMES:
        _NAMES[type(table)] = tuple(field.name for field in fields(table) if field.name not in _STRUCTURE)
    found = ((name, getattr(table, name)) for name in _NAMES[type(table)])
    return {name: value for name, value in found if isinstance(value, np.ndarray) and value.dtype.kind == "f"}


def _has_scenarios(name: str, array: FloatArray) -> bool:
    return array.ndim > _AXES.get(name, 1)


def scenario_count(layout: Layout) -> int:
    """Number of scenarios that the arrays of a layout hold: any of them may lead with an axis of so many."""
    sizes = {1} | {np.size(layout.elevation_m)}
    sizes |= {values.shape[0] for values in layout.species.values() if values.ndim > 1}
    for table in (layout, layout.rations, layout.water):
        sizes |= {array.shape[0] for name, array in float_arrays(table).items() if _has_scenarios(name, array)}
    return max(sizes)


def with_scenarios(layout: Layout, chosen: slice = slice(None)) -> Layout:
    """The layout with a scenario axis on every float array, of one scenario where it had none.

    Parameters
    ----------
    layout : Layout
        Any of its float arrays may have that axis already.
    chosen : slice
        Scenarios to keep.
    """

    if chosen == slice(None) and _LED in vars(layout):
        led_before: Layout | None = vars(layout)[_LED]
        return led_before or layout

    def lead(name: str, array: FloatArray) -> FloatArray:
        if not _has_scenarios(name, array):
            return array[None]
        return array if array.shape[0] == 1 else array[chosen]

    def led(table: Any) -> dict[str, Any]:
        return {name: lead(name, array) for name, array in float_arrays(table).items()}

    elevation: Any = np.atleast_1d(np.asarray(layout.elevation_m, float))
    made = replace(
        layout,
        species={key: lead(key, values) for key, values in layout.species.items()},
        rations=replace(layout.rations, **led(layout.rations)),
        water=replace(layout.water, **led(layout.water)),
        **led(layout) | {"elevation_m": elevation if elevation.size == 1 else elevation[chosen]},
    )
    vars(made)[_LED] = None
    if chosen == slice(None):
        vars(layout)[_LED] = made
    return made


# kept with a layout, for its season is asked by many: the same with scenario axes, None where it has them; its tables
_LED, _TABLES = "_led", "_tables"


def restructured(
    layout: Layout, happenings: tuple[Happening, ...] | None = None, cohort_tank: FloatArray | None = None
) -> Layout:
    """The layout with other happenings or other tanks for its fish, which have no scenarios: what is kept stays.

    Parameters
    ----------
    layout : Layout
        Arrays of a site.
    happenings, cohort_tank
        As of a `Layout`; as they are where left out.
    """
    new: dict[str, Any] = {} if happenings is None else {"happenings": happenings}
    new |= {} if cohort_tank is None else {"cohort_tank": cohort_tank}
    led = with_scenarios(layout)
    other, made = replace(led, **new), replace(layout, **new)
    if cohort_tank is None and _TABLES in vars(led):
        vars(other)[_TABLES] = vars(led)[_TABLES]
    vars(other)[_LED] = None
    vars(made)[_LED] = other
    return made


def tables(layout: Layout) -> tuple[Given, Climate]:
    """Tables of the days, scenarios first.

    Parameters
    ----------
    layout : Layout
        From `with_scenarios`.

    Returns
    -------
    tuple of Given and Climate
        Float tables lead with a scenario axis, of one where nothing in them differs. Nobody writes into them.
    """
    if _TABLES in vars(layout):
        kept: tuple[Given, Climate] = vars(layout)[_TABLES]
        return kept
    made = _tables(layout)
    if all(len(table) == 1 for table in made[0]):  # those of many are large, and asked for once
        vars(layout)[_TABLES] = made
    return made


def _tables(layout: Layout) -> tuple[Given, Climate]:
    leaf_day, sump, climate = _exchange(layout)
    given = Given(
        fish=_fish(layout),
        fish_day=_fish_day(layout),
        leaf=_stack(layout.volume_m3, layout.flow_m3_day, *np.moveaxis(layout.water.maturity, 1, 0)),
        leaf_day=leaf_day,
        unit_day=_unit_day(layout),
        loop=_loop(layout),
        loop_day=_loop_day(layout, sump),
    )
    return given, climate


def _stack(*columns: FloatArray) -> FloatArray:
    """Arrays (scenario or 1, ..., column) as one table (scenario or 1, ..., row, column)."""
    shape = np.broadcast_shapes(*(column.shape for column in columns))
    table = np.empty((*shape[:-1], len(columns), shape[-1]))
    for row, column in enumerate(columns):
        table[..., row, :] = column
    return table


def _fish(layout: Layout) -> FloatArray:
    species, rations = layout.species, layout.rations
    led = (~np.isnan(rations.bed_led_g)).all(axis=1)
    return _stack(
        species["intake_exponent"], species["growth_efficiency"], species["fasting_loss_fraction"],
        species["body_energy"], species["body_protein"], species["oxygen_lethal"], species["oxygen_full_appetite"],
        species["unionized_ammonia_design"], species["unionized_ammonia_acute"], species["nitrite_limit"],
        (species["chloride_protects"] > 0.0).astype(float), species["nitrite_lethal"],
        species["nitrite_lethal_chloride"], layout.feed_energy_kj_g, layout.feed_gross_kj_g,
        layout.feed_nitrogen, layout.feed_digested_nitrogen, layout.feed_potassium, layout.feed_phosphorus,
        layout.feed_dry_matter, layout.feed_digested_dry_matter, layout.spilled_share, layout.ration_fraction,
        rations.fixed_g, rations.by_appetite.astype(float)[None], led.astype(float), layout.count,
        layout.start_weight_g, layout.size_spread, np.asarray(layout.stocked_day, float)[None],
        *(species[key] for key in COMPANY_KEYS), *_meetings(layout),
    )  # fmt: skip


def _meetings(layout: Layout) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Species of each column as a number; whether it could hunt in its tank at any size; whether it meets a hunter."""
    names = [stay.table.species for stay in layout.stays]
    number = np.array([sorted(set(names)).index(name) for name in names], float)
    species, share = layout.species, np.maximum(layout.species["prey_share_deep"], layout.species["prey_share_slender"])
    same_tank = layout.cohort_tank @ layout.cohort_tank.T > 0.0
    kin = number[:, None] == number
    hunts = np.where(kin, species["eats_own"][..., None] > 0.0, share[..., None] > 0.0) & same_tank
    meets = hunts.any(axis=-2) | hunts.any(axis=-1) | (species["sibling_loss"] > 0.0)
    return number[None], hunts.any(axis=-1).astype(float), meets.astype(float)


def _fish_day(layout: Layout) -> FloatArray:
    rations = layout.rations
    return _stack(
        layout.appetite_at_1g, layout.maintenance_per_kg, layout.daily_hazard, rations.in_training, rations.fed_today,
        rations.bed_led_g, layout.temperature_c @ layout.cohort_loop.T,
    )  # fmt: skip


def _exchange(layout: Layout) -> tuple[FloatArray, tuple[FloatArray, ...], Climate]:
    """Exchange with the air by date and temperature: of the leaves, of the sumps, and what the course tells of it."""
    temperature, elevation = layout.temperature_c, np.asarray(layout.elevation_m)[:, None, None]
    saturation = oxygen_saturation(temperature, elevation)
    velocity = surface_exchange_velocity(temperature)
    at_leaf = layout.leaf_loop.T
    leaf_temperature, leaf_saturation = temperature @ at_leaf, saturation @ at_leaf
    device = device_exchange(layout.device_g_day[:, None], leaf_temperature)
    still = layout.surface_m2[:, None] * (velocity @ at_leaf) + layout.pass_exchange_m3_day[:, None]
    sump_device = device_exchange(layout.sump_device_g_day[:, None], temperature)
    returned = sums_by(layout.flow_m3_day, layout.leaf_loop)[:, None]
    # at the sump's own level, which is the higher one: the careful side
    fall = water_drop_exchange(returned, layout.return_drop_m[:, None], temperature)
    sump_still = layout.sump_surface_m2[:, None] * velocity + fall
    # a steady inflow comes saturated, and takes the place of as much of the sump's water
    overflow = layout.water.overflow_m3_day[:, None]
    brought = (BETA_FISH_WATER * device + still) * leaf_saturation
    sump_brought = (BETA_FISH_WATER * sump_device + sump_still + overflow) * saturation
    sump_exchange = sump_device + sump_still + overflow
    capacity = nitrification_capacity(layout.film_m2[:, None], leaf_temperature) * (layout.film_pace @ at_leaf)
    growth = layout.film_growth @ at_leaf  # (scenario, oxidizer, leaf)
    leaf_day = _stack(
        device + still, brought, capacity, carbon_dioxide_exchange(still, device), layout.water.passing,
        oxidizer_decay(leaf_temperature),
        growth[:, :1] * oxidizer_growth(leaf_temperature, _PLENTY, _PLENTY, _PLENTY, "ammonia"),
        growth[:, 1:] * oxidizer_growth(leaf_temperature, _PLENTY, _PLENTY, _PLENTY, "nitrite"),
    )  # fmt: skip
    sump = (
        saturation, sump_exchange, sump_brought, carbon_dioxide_exchange(sump_still, sump_device),
        carbon_dioxide_saturation(temperature, elevation),
    )  # fmt: skip
    return leaf_day, sump, Climate(device + still, brought, capacity, sump_exchange, sump_brought)


def _unit_day(layout: Layout) -> FloatArray:
    minerals = layout.water.minerals_per_n
    return _stack(layout.water.uptake_g, minerals[:, 0], minerals[:, 1], minerals[:, 2], layout.water.alkalinity_per_n)


def _loop(layout: Layout) -> FloatArray:
    works = layout.water
    salts = [SALTS[name] for name in works.salts]
    taken_up = np.array([salt.carbon_dioxide_g_per_alkalinity_g for salt in salts])
    return _stack(
        layout.sump_volume_m3, layout.loop_water_m3, sums_by(layout.flow_m3_day, layout.leaf_loop),
        works.loss_m3_day, works.drawn_off_m3, works.source_nitrate, works.start_nitrate, works.start_nitrite,
        works.ph_given, works.target_alkalinity,
        (MOST_PH_RISE / (1.0 + SWING_BY_CARBON_DIOXIDE * taken_up / CO2_PER_ALKALINITY))[None],
        _ammonia_limit(layout), np.array([name == "calcium_carbonate" for name in works.salts], float)[None],
        np.array([salt.salt_g_per_alkalinity_g for salt in salts])[None], works.overflow_m3_day, *_solutes(layout),
    )  # fmt: skip


def _loop_day(layout: Layout, sump: tuple[FloatArray, ...]) -> FloatArray:
    temperature, works = layout.temperature_c, layout.water
    return _stack(
        *sump, ammonia_pka(temperature), *dissociation(temperature), calcite_solubility(temperature),
        mineralized_share(temperature, 1.0), works.exchanged_m3, works.ammonia_dose_g, works.emptied,
        layout.ration_by_day,
    )  # fmt: skip


def _ammonia_limit(layout: Layout) -> FloatArray:
    """Lowest un-ionized ammonia limit of the fish of each loop, infinite without fish. [mg/L]"""
    limit = layout.species["unionized_ammonia_design"][..., None]
    return np.asarray(np.where(layout.cohort_loop > 0.0, limit, np.inf).min(axis=-2, initial=np.inf))


def _solutes(layout: Layout) -> Iterator[FloatArray]:
    """Rows of the source water and first morning's water [mg/L], and what a gram of dosed alkalinity brings [g/g]."""
    works = layout.water
    brings = np.zeros((len(SOLUTES), len(layout.loops)))
    for k, salt in enumerate(SALTS[name] for name in works.salts):
        brings[rows.ALKALINITY, k] = 1.0
        brings[rows.CO2, k] = -salt.carbon_dioxide_g_per_alkalinity_g
        for row, share in (
            (rows.POTASSIUM, salt.potassium_share),
            (rows.CALCIUM, salt.calcium_share),
            (rows.SODIUM, salt.sodium_share),
        ):
            brings[row, k] = share * salt.salt_g_per_alkalinity_g
    for levels in (works.source_level, works.start_level, brings[None]):
        yield from np.moveaxis(levels, 1, 0)


_ACTS = {Act.CARRY: rows.CARRY, Act.GRADE: rows.GRADE, Act.TAKE: rows.TAKE, Act.ADD: rows.ADD,
         Act.FIND: rows.FIND}  # fmt: skip
_WHICH = {"any": rows.ANY, "largest": rows.LARGEST, "smallest": rows.SMALLEST}


_TESTED = {"tan": rows.TEST_TAN, "nitrite_n": rows.TEST_NITRITE, "nitrate_n": rows.TEST_NITRATE, "ph": rows.TEST_PH}
_TESTED |= {f"{ADDED}{solute}": rows.TEST_ADDED + row for row, solute in enumerate(SOLUTES)}


def mornings(layout: Layout) -> Mornings:
    """Events and water tests of a layout."""
    kinds = [[h.day, _ACTS[EVENT_KINDS[h.kind].act], h.source, h.target, _WHICH[h.which]] for h in layout.happenings]
    amounts = [[h.fish, h.weight_g, h.share, h.above_g] for h in layout.happenings]
    tests = [
        (day, loop, _TESTED[key] if key in _TESTED else SOLUTES.index(key), level)
        for day, loop, levels in layout.water.tests
        for key, level in levels.items()
    ]
    tests.sort(key=lambda row: (row[0], max(row[2], rows.TEST_NITRATE)))  # pH after its alkalinity, what was added last
    return Mornings(
        np.array(kinds, np.int64).reshape(-1, 5),
        np.array(amounts, float).reshape(-1, 4),
        np.array([row[:3] for row in tests], np.int64).reshape(-1, 3),
        np.array([row[3] for row in tests], float),
    )


def feed_tables(layout: Layout) -> FeedTables:
    """Feeding tables of a layout, padded to one size."""
    found = layout.rations.tables
    of_column = np.full(len(layout.cohorts), -1, np.int64)
    most_rows = max([len(temperatures) for _, _, temperatures, _ in found], default=1)
    most_columns = max([len(weights) for _, weights, _, _ in found], default=1)
    number = max(len(found), 1)
    size = np.ones((number, 2), np.int64)
    temperature, weight = np.zeros((number, most_rows)), np.zeros((number, most_columns))
    percent = np.zeros((number, most_rows, most_columns))
    for n, (column, weights, temperatures, entries) in enumerate(found):
        of_column[column], size[n] = n, (len(temperatures), len(weights))
        temperature[n, : len(temperatures)], weight[n, : len(weights)] = temperatures, weights
        percent[n, : len(temperatures), : len(weights)] = entries
    return FeedTables(of_column, size, temperature, weight, percent)


def empty_now(layout: Layout, given: Given) -> Now:
    """Room for one scenario, and who is where."""
    return Now(
        tank_of=layout.tank_of,
        loop_of=layout.loop_of,
        fish=np.zeros((rows.FISH_ROWS, given.fish.shape[-1])),
        leaf=np.zeros((rows.LEAF_ROWS, given.leaf.shape[-1])),
        unit=np.zeros((rows.UNIT_ROWS, given.unit_day.shape[-1])),
        loop=np.zeros((rows.LOOP_ROWS, given.loop.shape[-1])),
    )


def empty_course(given: Given, scenarios: int, events: int) -> Kept:
    """Tables of zeros for the course of so many scenarios."""
    days, leaves = given.fish_day.shape[-3], given.leaf.shape[-1]
    units, loops = given.unit_day.shape[-1], given.loop.shape[-1]
    return Kept(
        fish=np.zeros((scenarios, days, len(rows.FISH_KEPT), given.fish.shape[-1])),
        leaf=np.zeros((scenarios, days, len(rows.LEAF_KEPT), leaves)),
        tank=np.zeros((scenarios, days, len(rows.TANK_KEPT), leaves - units)),
        unit=np.zeros((scenarios, days, len(rows.UNIT_KEPT), units)),
        loop=np.zeros((scenarios, days, len(rows.LOOP_KEPT), loops)),
        rounds=np.zeros((scenarios, days), np.int64),
        apart=np.zeros((scenarios, days)),
        transfer=np.zeros((scenarios, events, 4)),
    )


# --- layouts of one structure taken together: their numbers become scenarios of one layout


def structure_key(layout: Layout) -> bytes:
    """Digest of all of a layout that its scenarios share: equal for layouts that may be `stacked`."""
    rations, water = layout.rations, layout.water
    return content_key(
        layout.start, layout.days, layout.tanks, layout.units, layout.loops, layout.cohorts, layout.roots,
        layout.stocked_day, layout.until_day, layout.happenings, layout.cohort_tank, layout.leaf_loop,
        rations.by_appetite, rations.tables, water.salts, water.tests,
    )  # fmt: skip


def stacked(layouts: Sequence[Layout]) -> Layout:
    """Layouts of one `structure_key` as scenarios of one.

    Parameters
    ----------
    layouts : sequence of Layout
        Without scenario axes.

    Returns
    -------
    Layout
        The first, its numbers with a scenario axis where they differ; ``count`` always has one.
    """
    first = layouts[0]
    found: dict[str, Any] = {}
    by_layout = {id(layout): numbers_of(layout) for layout in layouts}  # equal scenarios share one
    mine, *others = by_layout.values()
    for name, array in mine.items():
        if not all(other[name] is array or np.array_equal(other[name], array, equal_nan=True) for other in others):
            found[name] = np.stack([by_layout[id(layout)][name] for layout in layouts])
    return with_numbers(first, {"count": np.stack([layout.count for layout in layouts])} | found)


def numbers_of(layout: Layout) -> dict[str, FloatArray]:
    """All arrays of numbers of a layout by name, as ``count``, ``species.body_energy`` or ``water.start_nitrate``."""
    found = float_arrays(layout) | {"elevation_m": np.asarray(layout.elevation_m, float)}
    found |= {f"species.{key}": array for key, array in layout.species.items()}
    for table in ("rations", "water"):
        found |= {f"{table}.{key}": array for key, array in float_arrays(getattr(layout, table)).items()}
    return found


def with_numbers(layout: Layout, arrays: Mapping[str, FloatArray]) -> Layout:
    """The layout with other arrays of numbers, named as in `numbers_of`."""
    own: dict[str, Any] = {}
    inner: dict[str, dict[str, Any]] = {"species": {}, "rations": {}, "water": {}}
    for name, array in arrays.items():
        table, _, key = name.rpartition(".")
        if table:
            inner[table][key] = array
        else:
            own[key] = float(array) if key == "elevation_m" and np.ndim(array) == 0 else array
    return replace(
        layout,
        species={**layout.species, **inner["species"]},
        rations=replace(layout.rations, **inner["rations"]),
        water=replace(layout.water, **inner["water"]),
        **own,
    )
