"""Names of the rows of a season's tables, and the tables.

A day reads and fills tables whose last axis is the cohort column, leaf (tanks, then units: beds and biofilters), unit
or loop; ``live[WEIGHT, c]`` is the weight of the fish in column c. Masses in g, levels in mg/L, flows in m3/day.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

# Solutes whose balance is linear in their own level: alkalinity, carbon dioxide, chloride, sodium; what crops take and
# what fish give stand together.
ALKALINITY, CO2, CHLORIDE, SODIUM, CALCIUM, POTASSIUM, PHOSPHORUS, SOLIDS, SOLIDS_N, SOLIDS_P, SOLIDS_O = range(11)
SOLUTE_COUNT = 11
FROM_FISH = POTASSIUM  # the first of those that fish give; the rest follow
FROM_FISH_COUNT = SOLUTE_COUNT - FROM_FISH
MINERAL_COUNT = 3  # calcium, potassium, phosphorus: what crops take with their nitrogen
POOL_COUNT = 4  # solids with their nitrogen, phosphorus and oxygen demand

# Given.fish: what a column's fish and feed are
(
    INTAKE_EXPONENT, GROWTH_EFFICIENCY, FASTING_LOSS, BODY_ENERGY, BODY_PROTEIN, OXYGEN_LETHAL, OXYGEN_FULL,
    TOXIC_FULL, TOXIC_ACUTE, NITRITE_BORNE, IS_PROTECTED, FEED_ENERGY, FEED_GROSS_ENERGY, FEED_NITROGEN,
    FEED_DIGESTED_N, FEED_POTASSIUM, FEED_PHOSPHORUS, FEED_DRY, FEED_DIGESTED_DRY, SPILLED_SHARE, RATION,
    TANK_FEED, GOES_BY_APPETITE, IS_BED_LED, COUNT, START_WEIGHT, START_SPREAD, STOCKED_DAY,
) = range(28)  # fmt: skip
# Given.fish_day: of each day
APPETITE, MAINTENANCE, HAZARD, IN_TRAINING, FED_SHARE, BED_LED_FEED, WATER_C = range(7)
# Given.leaf, Given.leaf_day
VOLUME, FLOW = range(2)
OXYGEN_EXCHANGE, OXYGEN_BROUGHT, FILM_CAPACITY, CO2_EXCHANGE, SOLIDS_PASSING = range(5)
# Given.unit, Given.unit_day
START_AMMONIA_FILM, START_NITRITE_FILM = range(2)
DECAY, AMMONIA_GROWTH, NITRITE_GROWTH, UPTAKE, CALCIUM_PER_N, POTASSIUM_PER_N, PHOSPHORUS_PER_N = range(7)
# Given.loop, Given.loop_day
(
    SUMP_VOLUME, LOOP_WATER, RETURNED, LOSS, DRAWN_OFF, SOURCE_NITRATE, START_NITRATE, START_NITRITE, PH_GIVEN,
    TARGET_ALKALINITY, MOST_PH_RISE, AMMONIA_LIMIT, IS_CHALK, SALT_PER_ALKALINITY,
) = range(14)  # fmt: skip
(
    SATURATION, SUMP_EXCHANGE, SUMP_BROUGHT, SUMP_CO2_EXCHANGE, CO2_SATURATION, PKA, FIRST, SECOND, ION_PRODUCT,
    CALCITE, BROKEN_DOWN, EXCHANGED, AMMONIA_DOSE, EMPTIED, RAMP,
) = range(15)  # fmt: skip
# Given.solute: of each loop
SOURCE, START, PER_ALKALINITY = range(3)

# State.live: the fish of a column through the day
(
    ALIVE, WEIGHT, GREATEST, SPREAD, SHARE, HERE, MOST, NEED, CAP, OFFERED_EACH, SPILLED, BORNE_NITRITE,
    NITRITE_SHARE, BY_OXYGEN, BY_TOXIC, TRIED, OFFERED, EATEN, GAIN, GAIN_EACH, OXYGEN_USE, EXCRETED, DEATHS, HUNGER,
) = range(24)  # fmt: skip
LIVE_ROWS = 24
# State.leaf: levels of the morning, what the day makes of them, and what its sums need
(
    OXYGEN, TAN, NITRITE, NITRATE, GROWN, TAN_MOVE, NITRITE_MOVE, PH, TOXIC_SHARE,
    WORKING, AMMONIA_CAPACITY, NITRITE_CAPACITY, FISH_OXYGEN, FISH_TAN, OXYGEN_SLOPE, TAN_SLOPE,
    OXYGEN_GUESS, TAN_GUESS, NEW_OXYGEN, NEW_TAN, NEW_NITRITE, NITRIFIED, OXIDIZED, DEMAND, OXYGEN_USED,
    GAIN_ROW, LOAD_ROW, RETURNED_ROW,
    OXYGEN_STEP, OXYGEN_RESULT, OXYGEN_PACE, TAN_STEP, TAN_RESULT, TAN_PACE,
) = range(34)  # fmt: skip
LEAF_ROWS = 34
# State.sump
(
    SUMP_OXYGEN, SUMP_TAN, SUMP_NITRITE, SUMP_NITRATE, HELD_ALKALINITY, NITRATE_TAKEN, NITRIFIED_BEFORE,
    FREED_N, FREED_P, FREED_O, NITRATE_WANTED, SUMP_AMMONIA, SUMP_DEMAND, DOSE, OUTFLOW, TOP_UP, UREA,
    NEW_SUMP_OXYGEN, NEW_SUMP_TAN, NEW_SUMP_NITRITE, SUMP_OXYGEN_USED, TAN_OUT, NITRITE_OUT, DENITRIFIED, UPTAKEN,
    SLUDGE_N, DRAWN_N, DRAWN_P, WASTE_N, IS_MOVING, SUMP_GAIN_ROW, SUMP_LOAD_ROW,
) = range(32)  # fmt: skip
SUMP_ROWS = 32
# State.unit
(
    AMMONIA_FILM, NITRITE_FILM, NEXT_AMMONIA_FILM, NEXT_NITRITE_FILM, WELL_FED_AMMONIA, WELL_FED_NITRITE, SURFACE,
    UNIT_NITRIFIED_BEFORE, TAKEN, TAKEN_CALCIUM, TAKEN_POTASSIUM, TAKEN_PHOSPHORUS,
) = range(12)  # fmt: skip
UNIT_ROWS = 12

# Kept: what a day leaves in the season's course, in the order of `course`
FISH_KEPT = (
    "count", "deaths", "weight_g", "greatest_g", "size_spread", "fed_g", "eaten_g", "gain_g", "fish_oxygen_g",
    "excreted_nitrogen_g", "appetite_share",
)  # fmt: skip
LEAF_KEPT = ("oxygen_mg_l", "oxygen_used_g", "tan_mg_l", "nitrified_g", "nitrite_mg_l", "nitrite_oxidized_g")
TANK_KEPT = ("ph", "co2_mg_l")
UNIT_KEPT = (
    "film_capacity_g", "ammonia_maturity", "nitrite_maturity", "uptake_nitrogen_g", "uptake_calcium_g",
    "uptake_potassium_g", "uptake_phosphorus_g",
)  # fmt: skip
LOOP_KEPT = (
    "sump_oxygen_mg_l", "sump_oxygen_used_g", "sump_tan_mg_l", "sump_tan_load_g", "nitrate_mg_l", "sump_nitrite_mg_l",
    "nitrate_held_g", "alkalinity_mg_l", "potassium_mg_l", "phosphorus_mg_l", "calcium_mg_l", "solids_mg_l",
    "chloride_mg_l", "sodium_mg_l", "uptake_n_g", "denitrified_n_g", "buffer_g", "top_up_m3", "outflow_m3",
    "solids_n_made_g", "solids_n_freed_g", "solids_n_held_g", "sludge_n_g", "settler_n_g", "settler_p_g",
)  # fmt: skip

# Mornings.event: what happens to fish; Mornings.amount: the amount it asks for
CARRY, GRADE, TAKE, ADD = range(4)
ANY, LARGEST, SMALLEST = range(3)
EVENT_DAY, EVENT_KIND, EVENT_SOURCE, EVENT_TARGET, EVENT_WHICH = range(5)
EVENT_FISH, EVENT_WEIGHT, EVENT_SHARE, EVENT_ABOVE = range(4)
# Kept.transfer
WENT, WENT_MASS, ASKED, HAD = range(4)
# Mornings.test: what a test of the water measured; a solute's own row, or one of these
TEST_DAY, TEST_LOOP, TEST_KEY = range(3)
TEST_TAN, TEST_NITRITE, TEST_NITRATE = SOLUTE_COUNT, SOLUTE_COUNT + 1, SOLUTE_COUNT + 2


class Given(NamedTuple):
    """What a season of one scenario is given; rows as named above."""

    tank_of: IntArray  # tank of each column
    loop_of: IntArray  # loop of each leaf
    fish: FloatArray  # (row, column)
    fish_day: FloatArray  # (day, row, column)
    leaf: FloatArray  # (row, leaf)
    leaf_day: FloatArray  # (day, row, leaf)
    unit: FloatArray  # (row, unit)
    unit_day: FloatArray  # (day, row, unit)
    loop: FloatArray  # (row, loop)
    loop_day: FloatArray  # (day, row, loop)
    solute: FloatArray  # (row, solute, loop)


class Mornings(NamedTuple):
    """What the keeper does on some mornings, the same in every scenario; rows as named above."""

    event: IntArray  # (event, row)
    amount: FloatArray  # (event, row)
    test: IntArray  # (test, row)
    level: FloatArray  # (test,)


class FeedTables(NamedTuple):
    """Feeding tables of the columns that go by one, the same in every scenario."""

    of_column: IntArray  # (column,) -1 for none
    size: IntArray  # (table, 2) temperatures and weights
    temperature: FloatArray  # (table, temperature)
    weight: FloatArray  # (table, weight)
    percent: FloatArray  # (table, temperature, weight)


class State(NamedTuple):
    """What lives and flows, changed in place; rows as named above."""

    live: FloatArray  # (row, column)
    leaf: FloatArray  # (row, leaf)
    unit: FloatArray  # (row, unit)
    sump: FloatArray  # (row, loop)
    solute: FloatArray  # (solute, leaf)
    sump_solute: FloatArray  # (solute, loop)
    sediment: FloatArray  # (solid, loop) in beds and sump
    settled: FloatArray  # (solid, loop) in settlers
    waste: FloatArray  # (solute that fish give, tank)


class Fine(NamedTuple):
    """Room for a day's nitrogen in two steps and in three; rows as named in `films`."""

    leaf: FloatArray  # (length of step, row, leaf)
    sump: FloatArray  # (length of step, row, loop)
    film: FloatArray  # (length of step, ammonia or nitrite oxidizers, unit)


class Kept(NamedTuple):
    """The course of a season; rows as named above."""

    fish: FloatArray  # (day, row, column)
    leaf: FloatArray  # (day, row, leaf)
    tank: FloatArray  # (day, row, tank)
    unit: FloatArray  # (day, row, unit)
    loop: FloatArray  # (day, row, loop)
    rounds: IntArray  # (day,)
    apart: FloatArray  # (day,)
    transfer: FloatArray  # (event, row)
