"""Names of the rows of a season's tables, and the tables.

A day reads and fills tables whose last axis is the cohort column, leaf (tanks, then units: beds and biofilters), unit
or loop; ``fish[WEIGHT, c]`` is the weight of the fish in column c. Masses in g, levels in mg/L, flows in m3/day.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

# Solutes whose balance is linear in their own level: alkalinity, carbon dioxide, chloride, sodium; what crops take and
# what fish give stand together. They are the first rows of leaf and loop.
ALKALINITY, CO2, CHLORIDE, SODIUM, CALCIUM, POTASSIUM, PHOSPHORUS, SOLIDS, SOLIDS_N, SOLIDS_P, SOLIDS_O = range(11)
SOLUTE_COUNT = 11
FROM_FISH = POTASSIUM  # the first of those that fish give; the rest follow
FROM_FISH_COUNT = SOLUTE_COUNT - FROM_FISH
MINERAL_COUNT = 3  # calcium, potassium, phosphorus: what crops take with their nitrogen
POOL_COUNT = 4  # solids with their nitrogen, phosphorus and oxygen demand

# fish: what a column's fish and feed are;
FISH_GIVEN = 0
(
    INTAKE_EXPONENT, GROWTH_EFFICIENCY, FASTING_LOSS, BODY_ENERGY, BODY_PROTEIN, OXYGEN_LETHAL, OXYGEN_FULL,
    TOXIC_FULL, TOXIC_ACUTE, NITRITE_BORNE, IS_PROTECTED, NITRITE_LETHAL, TESTED_CHLORIDE, FEED_ENERGY,
    FEED_GROSS_ENERGY, FEED_NITROGEN, FEED_DIGESTED_N, FEED_POTASSIUM, FEED_PHOSPHORUS, FEED_DRY, FEED_DIGESTED_DRY,
    SPILLED_SHARE, RATION, TANK_FEED, GOES_BY_APPETITE, IS_BED_LED, COUNT, START_WEIGHT, START_SPREAD, STOCKED_DAY,
) = range(FISH_GIVEN, FISH_GIVEN + 30)  # fmt: skip
# whom they eat, and who eats them;
FISH_COMPANY = FISH_GIVEN + 30
(
    PREY_DEEP, PREY_SLENDER, BODY_DEPTH, EATS_OWN, SIBLING_LOSS, SIBLING_LENGTH, USUAL_SPREAD, LENGTH_INTERCEPT,
    LENGTH_SLOPE, CONDITION, SPECIES, HUNTS, MEETS_HUNTERS,
) = range(FISH_COMPANY, FISH_COMPANY + 13)  # fmt: skip
# of each day;
FISH_TODAY = FISH_COMPANY + 13
APPETITE, MAINTENANCE, HAZARD, IN_TRAINING, FED_SHARE, BED_LED_FEED, WATER_C = range(FISH_TODAY, FISH_TODAY + 7)
# and how they are
FISH_STATE = FISH_TODAY + 7
(
    ALIVE, WEIGHT, GREATEST, SPARED, SPREAD, SHARE, HERE, MOST, NEED, CAP, OFFERED_EACH, SPILLED, BORNE_NITRITE,
    LETHAL_NITRITE, NITRITE_SHARE, BY_OXYGEN, BY_TOXIC, TRIED, OFFERED, EATEN, GAIN, GAIN_EACH, SPARED_CHANGE,
    OXYGEN_USE, EXCRETED, DEATHS, HUNGER,
) = range(FISH_STATE, FISH_STATE + 27)  # fmt: skip
FISH_MEETING = FISH_STATE + 27
(
    LENGTH, LENGTH_SPREAD, APPETITE_KJ, WANT_KJ, IN_REACH_KJ, SWALLOWED, SWALLOWED_G, SWALLOWED_SQUARE,
) = range(FISH_MEETING, FISH_MEETING + 8)  # fmt: skip
FISH_ROWS = FISH_MEETING + 8

# The day's nitrogen is done in one step, and where it moves fast in two and in three: each has a block of rows. In that
# of a leaf are, from its first row on,
(
    STEP_TAN, STEP_NITRITE, STEP_NITRIFIED, STEP_OXIDIZED, STEP_AMMONIA_CAPACITY, STEP_NITRITE_CAPACITY,
    STEP_AMMONIA_FILM, STEP_NITRITE_FILM,
) = range(8)  # fmt: skip
LEAF_BLOCK = 8
# in that of a loop
STEP_SUMP_TAN, STEP_SUMP_NITRITE, STEP_TAN_OUT, STEP_NITRITE_OUT = range(4)
LOOP_BLOCK = 4

# leaf, after the solutes: what it is; of each day; what fish leave in a tank, from this row on;
LEAF_GIVEN = SOLUTE_COUNT
VOLUME, FLOW, START_AMMONIA_FILM, START_NITRITE_FILM = range(LEAF_GIVEN, LEAF_GIVEN + 4)
LEAF_TODAY = LEAF_GIVEN + 4
(
    OXYGEN_EXCHANGE, OXYGEN_BROUGHT, FILM_CAPACITY, CO2_EXCHANGE, SOLIDS_PASSING, DECAY, AMMONIA_GROWTH,
    NITRITE_GROWTH,
) = range(LEAF_TODAY, LEAF_TODAY + 8)  # fmt: skip
WASTE = LEAF_TODAY + 8
# levels of the morning, its two films, what the day makes of them, and what its sums need
LEAF_STATE = WASTE + FROM_FISH_COUNT
(
    OXYGEN, TAN, NITRITE, NITRATE, GROWN, TAN_MOVE, NITRITE_MOVE, PH, TOXIC_SHARE,
    WORKING, FISH_OXYGEN, FISH_TAN, OXYGEN_SLOPE, TAN_SLOPE, OXYGEN_GUESS, TAN_GUESS, NEW_OXYGEN, DEMAND, OXYGEN_USED,
    GAIN_ROW, LOAD_ROW, RETURNED_ROW, REMOVED_ROW,
    OXYGEN_STEP, OXYGEN_RESULT, OXYGEN_PACE, TAN_STEP, TAN_RESULT, TAN_PACE,
    AMMONIA_FILM, NITRITE_FILM, WELL_FED_AMMONIA, WELL_FED_NITRITE, SURFACE, FILM_NITRIFIED_BEFORE, FREE_SHARE,
) = range(LEAF_STATE, LEAF_STATE + 36)  # fmt: skip
LEAF_STEPS = LEAF_STATE + 36
(
    NEW_TAN, NEW_NITRITE, NITRIFIED, OXIDIZED, AMMONIA_CAPACITY, NITRITE_CAPACITY, NEXT_AMMONIA_FILM,
    NEXT_NITRITE_FILM,
) = range(LEAF_STEPS, LEAF_STEPS + LEAF_BLOCK)  # fmt: skip
LEAF_ROWS = LEAF_STEPS + 3 * LEAF_BLOCK

# unit: of each day, and what its crops take
UNIT_TODAY = 0
UPTAKE, CALCIUM_PER_N, POTASSIUM_PER_N, PHOSPHORUS_PER_N, ALKALINITY_PER_N = range(UNIT_TODAY, UNIT_TODAY + 5)
UNIT_STATE = UNIT_TODAY + 5
TAKEN, TAKEN_CALCIUM, TAKEN_POTASSIUM, TAKEN_PHOSPHORUS = range(UNIT_STATE, UNIT_STATE + 4)
UNIT_ROWS = UNIT_STATE + 4

# loop, after the solutes of its sump: what it is; each solute of its source water, of its first morning, and in a gram
# of dosed alkalinity, from these rows on;
LOOP_GIVEN = SOLUTE_COUNT
(
    SUMP_VOLUME, LOOP_WATER, RETURNED, LOSS, DRAWN_OFF, SOURCE_NITRATE, START_NITRATE, START_NITRITE, PH_GIVEN,
    TARGET_ALKALINITY, MOST_PH_RISE, AMMONIA_LIMIT, IS_CHALK, SALT_PER_ALKALINITY, OVERFLOW,
) = range(LOOP_GIVEN, LOOP_GIVEN + 15)  # fmt: skip
SOURCE = LOOP_GIVEN + 15
START, PER_ALKALINITY = SOURCE + SOLUTE_COUNT, SOURCE + 2 * SOLUTE_COUNT
# of each day;
LOOP_TODAY = SOURCE + 3 * SOLUTE_COUNT
(
    SATURATION, SUMP_EXCHANGE, SUMP_BROUGHT, SUMP_CO2_EXCHANGE, CO2_SATURATION, PKA, FIRST, SECOND, ION_PRODUCT,
    CALCITE, BROKEN_DOWN, EXCHANGED, AMMONIA_DOSE, EMPTIED, RAMP,
) = range(LOOP_TODAY, LOOP_TODAY + 15)  # fmt: skip
# solids in beds and sump, and in settlers, from these rows on; levels in the sump, and sums of the loop's day
SEDIMENT, SETTLED = LOOP_TODAY + 15, LOOP_TODAY + 15 + POOL_COUNT
LOOP_STATE = SETTLED + POOL_COUNT
(
    SUMP_OXYGEN, SUMP_TAN, SUMP_NITRITE, SUMP_NITRATE, HELD_ALKALINITY, NITRATE_ALKALINITY, NITRIFIED_BEFORE,
    FREED_N, FREED_P, FREED_O, NITRATE_WANTED, SUMP_AMMONIA, SUMP_DEMAND, DOSE, OUTFLOW, TOP_UP, UREA,
    NEW_SUMP_OXYGEN, SUMP_OXYGEN_USED, DENITRIFIED, UPTAKEN, SLUDGE_N, DRAWN_N, DRAWN_P, IS_MOVING,
    SUMP_GAIN_ROW, SUMP_LOAD_ROW, ALKALINITY_USED,
) = range(LOOP_STATE, LOOP_STATE + 28)  # fmt: skip
# what this morning's tests found (NaN where nothing), what tanks and sump held before them, yesterday's ammonia of
# fish, and what the tests made of the films; of ammonia, then of nitrite
LOOP_TESTED = LOOP_STATE + 28
(
    TESTED_TAN, TESTED_NITRITE, WAS_TAN, WAS_NITRITE, SUMP_WAS_TAN, SUMP_WAS_NITRITE, FISH_TAN_WAS,
    AMMONIA_FILM_FROM, NITRITE_FILM_FROM, AMMONIA_FILM_TO, NITRITE_FILM_TO, AMMONIA_FILM_BOUND, NITRITE_FILM_BOUND,
) = range(LOOP_TESTED, LOOP_TESTED + 13)  # fmt: skip
LOOP_STEPS = LOOP_TESTED + 13
NEW_SUMP_TAN, NEW_SUMP_NITRITE, TAN_OUT, NITRITE_OUT = range(LOOP_STEPS, LOOP_STEPS + LOOP_BLOCK)
LOOP_ROWS = LOOP_STEPS + 3 * LOOP_BLOCK

# Kept: what a day leaves in the season's course, in the order of `course`
FISH_KEPT = (
    "count", "deaths", "weight_g", "greatest_g", "size_spread", "fed_g", "eaten_g", "gain_g", "fish_oxygen_g",
    "excreted_nitrogen_g", "appetite_share", "spared_nitrogen_g", "swallowed", "swallowed_g",
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
    "ammonia_film_from", "ammonia_film_to", "ammonia_film_bound",
    "nitrite_film_from", "nitrite_film_to", "nitrite_film_bound",
)  # fmt: skip

# Mornings.event: what happens to fish; Mornings.amount: the amount it asks for
CARRY, GRADE, TAKE, ADD, FIND = range(5)
ANY, LARGEST, SMALLEST = range(3)
EVENT_DAY, EVENT_KIND, EVENT_SOURCE, EVENT_TARGET, EVENT_WHICH = range(5)
EVENT_FISH, EVENT_WEIGHT, EVENT_SHARE, EVENT_ABOVE = range(4)
# Kept.transfer
WENT, WENT_MASS, ASKED, HAD = range(4)
# Mornings.test: what a test of the water measured; a solute's own row, or one of these, or from TEST_ADDED on the
# solute's row that the keeper raised by a level
TEST_DAY, TEST_LOOP, TEST_KEY = range(3)
TEST_TAN, TEST_NITRITE, TEST_NITRATE, TEST_PH, TEST_ADDED = range(SOLUTE_COUNT, SOLUTE_COUNT + 5)


class Given(NamedTuple):
    """What seasons are given: first axis scenarios, or one where nothing differs; rows of ``_GIVEN``, ``_TODAY``."""

    fish: FloatArray  # (scenario, row, column)
    fish_day: FloatArray  # (scenario, day, row, column)
    leaf: FloatArray  # (scenario, row, leaf)
    leaf_day: FloatArray  # (scenario, day, row, leaf)
    unit_day: FloatArray  # (scenario, day, row, unit)
    loop: FloatArray  # (scenario, row, loop)
    loop_day: FloatArray  # (scenario, day, row, loop)


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


class Now(NamedTuple):
    """A scenario on a day: what it is given and its state, changed in place; all rows as named above.

    Few tables, since each that a compiled function takes costs it as much as a dozen lines.
    """

    tank_of: IntArray  # tank of each column
    loop_of: IntArray  # loop of each leaf
    fish: FloatArray  # (row, column)
    leaf: FloatArray  # (row, leaf)
    unit: FloatArray  # (row, unit)
    loop: FloatArray  # (row, loop)


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
