"""The water of the loops through a day: oxygen and ammonia that settle with the fish, then what moves more slowly."""

from __future__ import annotations

import math

from stocksim.compiled import jitable
from stocksim.engine.days.films import begin_steps, nitrogen_step
from stocksim.engine.days.fish import appetite_in_water, eat
from stocksim.engine.days.rows import *
from stocksim.fish.energetics import CARBON_DIOXIDE_PER_OXYGEN
from stocksim.plants.uptake import HALF_SATURATION_MINERAL_MG_L, MINERALS
from stocksim.water.alkalinity import ALKALINITY_PER_NITRIFIED
from stocksim.water.ammonia import unionized_share
from stocksim.water.buffering import chalk_until_saturated, dose_within_limits
from stocksim.water.carbonate import (
    CALCIUM_CARBONATE_MG_MEQ,
    CARBON_DIOXIDE_G_MOL,
    equilibrium_carbon_dioxide,
    equilibrium_ph,
)
from stocksim.water.loop import balance_demand, balance_linear
from stocksim.water.nitrite import OXYGEN_TO_NITRATE, OXYGEN_TO_NITRITE
from stocksim.water.solids import (
    ALKALINITY_PER_NITRATE_NITROGEN,
    ANOXIC_SHARE,
    HALF_SATURATION_NITRATE_MG_L,
    LABILE_SHARE,
    OXYGEN_PER_NITRATE_NITROGEN,
)

# g CaCO3 per g nitrogen: nitrification takes 7.14; ammonia set free from organic nitrogen gives 3.57 (NH3 takes up a
# proton), and so does denitrification (charge balance, molar masses); crops give back what their roots give off,
# by crop (engine/arrays/charge.py).
ALKALINITY_PER_FREED = ALKALINITY_PER_NITRATE_NITROGEN
# Carbon dioxide that moves with alkalinity, one mole for each equivalent [g/g CaCO3]
CO2_PER_ALKALINITY = CARBON_DIOXIDE_G_MOL / CALCIUM_CARBONATE_MG_MEQ
# Nitrate at half the rate of crop uptake [mg/L]: assumed; lettuce grows with log nitrate from 3 to 55 mg/L (Gent 2017,
# abstract read), so uptake falls off below a few mg/L.
HALF_SATURATION_UPTAKE_MG_L = 5.0
# Share of the suspended solids passing the sump that settles there (assumption, no source).
SUMP_TRAPPED_SHARE = 0.2
LEAST_CO2_MG_L = 0.05  # a floor for pH only: a large dose of hydroxide may use up all carbon dioxide for a day
_HALF_MINERAL = (
    HALF_SATURATION_MINERAL_MG_L[MINERALS[0]],
    HALF_SATURATION_MINERAL_MG_L[MINERALS[1]],
    HALF_SATURATION_MINERAL_MG_L[MINERALS[2]],
)

# Shares of appetite that the rounds of a day may leave apart [-], and the most rounds.
AGREED, MOST_ROUNDS = 1e-11, 80
# Rounds that follow Newton's rule and the secant; after them steps that turn back are shortened.
_QUICK_ROUNDS, _SHORTEST_PACE = 5, 1e-3


@jitable
def begin_water(now: Now) -> None:
    """Fill the loops with the water of the first morning, and the films as they start."""
    leaf, loop_of, loop = now.leaf, now.loop_of, now.loop
    for k in range(loop.shape[1]):
        loop[SUMP_OXYGEN, k] = loop[SATURATION, k]
        loop[SUMP_NITRITE, k], loop[SUMP_NITRATE, k] = loop[START_NITRITE, k], loop[START_NITRATE, k]
        for row in range(SOLUTE_COUNT):
            loop[row, k] = loop[START + row, k]
        loop[CO2, k] = loop[CO2_SATURATION, k]
    for i in range(loop_of.size):
        k = loop_of[i]
        leaf[OXYGEN, i], leaf[NITRITE, i] = loop[SUMP_OXYGEN, k], loop[SUMP_NITRITE, k]
        leaf[NITRATE, i] = loop[SUMP_NITRATE, k]
        for row in range(SOLUTE_COUNT):
            leaf[row, i] = loop[row, k]
        # nothing is known of the day before the first: it is looked at closely
        leaf[TAN_MOVE, i], leaf[NITRITE_MOVE, i], leaf[GROWN, i] = math.inf, math.inf, 1.0
        leaf[AMMONIA_FILM, i], leaf[NITRITE_FILM, i] = leaf[START_AMMONIA_FILM, i], leaf[START_NITRITE_FILM, i]
        # a mature film whose share the first day's water will tell counts whole
        if not math.isnan(leaf[AMMONIA_FILM, i]):
            leaf[GROWN, i] = leaf[AMMONIA_FILM, i]
    hold_alkalinity(now)
    set_ph(now)


@jitable
def take_tests(now: Now, mornings: Mornings, day: int) -> None:
    """Set the loops' water to what tests measured this morning, then add the salt that the keeper gave."""
    leaf, loop_of, loop = now.leaf, now.loop_of, now.loop
    for k in range(loop.shape[1]):
        loop[TESTED_TAN, k], loop[TESTED_NITRITE, k] = math.nan, math.nan
    for n in range(mornings.level.size):
        if mornings.test[n, TEST_DAY] != day:
            continue
        k, key, level = mornings.test[n, TEST_LOOP], mornings.test[n, TEST_KEY], mornings.level[n]
        if key in (TEST_TAN, TEST_NITRITE):
            _note_test(now, k, key, level, day)
        if key == TEST_TAN:
            loop[SUMP_TAN, k] = level
        elif key == TEST_NITRITE:
            loop[SUMP_NITRITE, k] = level
        elif key == TEST_NITRATE:
            loop[SUMP_NITRATE, k] = level
        elif key == TEST_PH:
            # with the alkalinity that is there, or was tested with it, pH tells the carbon dioxide
            loop[CO2, k] = _tested_dioxide(loop, k, level, loop[ALKALINITY, k])
        elif key >= TEST_ADDED:
            loop[key - TEST_ADDED, k] += level
        else:
            loop[key, k] = level
        for i in range(loop_of.size):
            if loop_of[i] != k:
                continue
            if key == TEST_TAN:
                leaf[TAN, i] = level
            elif key == TEST_NITRITE:
                leaf[NITRITE, i] = level
            elif key == TEST_NITRATE:
                leaf[NITRATE, i] = level
            elif key == TEST_PH:
                leaf[CO2, i], leaf[PH, i] = _tested_dioxide(loop, k, level, leaf[ALKALINITY, i]), level
            elif key >= TEST_ADDED:
                leaf[key - TEST_ADDED, i] += level
            else:
                leaf[key, i] = level
        hold_alkalinity(now)


@jitable
def _note_test(now: Now, k: int, key: int, level: float, day: int) -> None:
    """Note what a test found in loop ``k`` beside what tanks and sump held before it; nothing on the first morning."""
    leaf, loop_of, loop = now.leaf, now.loop_of, now.loop
    which = 0 if key == TEST_TAN else 1
    row, sump = (TAN, SUMP_TAN) if key == TEST_TAN else (NITRITE, SUMP_NITRITE)
    held, water, loop[FISH_TAN_WAS, k] = 0.0, 0.0, 0.0
    for i in range(loop_of.size - now.unit.shape[1]):
        if loop_of[i] == k:
            held += leaf[row, i] * leaf[VOLUME, i]
            water += leaf[VOLUME, i]
            loop[FISH_TAN_WAS, k] += leaf[FISH_TAN, i]
    loop[TESTED_TAN + which, k], loop[SUMP_WAS_TAN + which, k] = level, loop[sump, k]
    loop[WAS_TAN + which, k] = held / water if day > 0 and water > 0.0 else math.nan


@jitable
def _tested_dioxide(loop: FloatArray, k: int, ph: float, alkalinity: float) -> float:
    """Carbon dioxide of water of a tested pH. [mg/L]"""
    dioxide = equilibrium_carbon_dioxide(ph, alkalinity, loop[FIRST, k], loop[SECOND, k], loop[ION_PRODUCT, k])
    return max(dioxide, LEAST_CO2_MG_L)


@jitable
def hold_alkalinity(now: Now) -> None:
    """Sum up the alkalinity in the water of each loop. [g]"""
    leaf, loop_of, loop = now.leaf, now.loop_of, now.loop
    for k in range(loop.shape[1]):
        loop[HELD_ALKALINITY, k] = loop[ALKALINITY, k] * loop[SUMP_VOLUME, k]
    for i in range(loop_of.size):
        loop[HELD_ALKALINITY, loop_of[i]] += leaf[ALKALINITY, i] * leaf[VOLUME, i]


@jitable
def set_ph(now: Now) -> None:
    """PH of the tanks: the keeper's where given, else from alkalinity and carbon dioxide."""
    leaf, loop_of, unit, loop = now.leaf, now.loop_of, now.unit, now.loop
    for i in range(loop_of.size - unit.shape[1]):
        k = loop_of[i]
        leaf[PH, i] = loop[PH_GIVEN, k]
        if math.isnan(loop[PH_GIVEN, k]):
            leaf[PH, i] = equilibrium_ph(
                leaf[ALKALINITY, i], max(leaf[CO2, i], LEAST_CO2_MG_L), loop[FIRST, k],
                loop[SECOND, k], loop[ION_PRODUCT, k],
            )  # fmt: skip


@jitable
def water_morning(now: Now) -> None:
    """Loads and doses that follow from what the night left, and the share of ammonia that is toxic today."""
    leaf, loop_of, unit, loop = now.leaf, now.loop_of, now.unit, now.loop
    for k in range(loop.shape[1]):
        broken = loop[BROKEN_DOWN, k]
        for row, solid in ((FREED_N, 1), (FREED_P, 2), (FREED_O, 3)):
            loop[row, k] = broken * (loop[SEDIMENT + solid, k] + loop[SETTLED + solid, k])
        anoxic = ANOXIC_SHARE * (loop[SUMP_NITRATE, k] / (HALF_SATURATION_NITRATE_MG_L + loop[SUMP_NITRATE, k]))
        loop[NITRATE_WANTED, k] = ANOXIC_SHARE / OXYGEN_PER_NITRATE_NITROGEN * loop[FREED_O, k]
        loop[SUMP_DEMAND, k] = loop[FREED_O, k] * (1.0 - anoxic)
        loop[SUMP_AMMONIA, k] = loop[FREED_N, k] + loop[AMMONIA_DOSE, k]
        loop[OUTFLOW, k] = loop[DRAWN_OFF, k] + loop[EXCHANGED, k] + loop[OVERFLOW, k]
        loop[TOP_UP, k] = loop[LOSS, k] + loop[OUTFLOW, k]
        loop[DOSE, k] = _dose(now, k)
    for i in range(loop_of.size - unit.shape[1]):
        leaf[TOXIC_SHARE, i] = unionized_share(leaf[PH, i], loop[PKA, loop_of[i]])


@jitable
def _dose(now: Now, k: int) -> float:
    """Alkalinity dosed today towards the loop's target; of chalk what dissolves. [g CaCO3]

    The day is expected to use what yesterday did: the keeper gives that too, in portions.
    """
    leaf, loop_of, unit, loop = now.leaf, now.loop_of, now.unit, now.loop
    target = loop[TARGET_ALKALINITY, k]
    if math.isnan(target):
        return 0.0
    water = loop[LOOP_WATER, k]
    ph, tan = 0.0, 0.0
    for i in range(loop_of.size - unit.shape[1]):
        if loop_of[i] == k:
            ph, tan = max(ph, leaf[PH, i]), max(tan, leaf[TAN, i])
    used = loop[ALKALINITY_USED, k] / water
    dose = dose_within_limits(
        loop[HELD_ALKALINITY, k] / water, target, ph, tan, loop[AMMONIA_LIMIT, k],
        loop[MOST_PH_RISE, k], loop[PKA, k], loop[FIRST, k], loop[SECOND, k], loop[ION_PRODUCT, k], used,
    )  # fmt: skip
    if loop[IS_CHALK, k] > 0.0 and dose > 0.0:
        # it is poured into the sump, and stops where that water holds all the lime it can, which the day's use of
        # alkalinity makes more: water that holds too much already must first lose that
        alkalinity, dioxide = max(loop[ALKALINITY, k] - max(used, 0.0), 0.0), loop[CO2, k]
        sump_ph = loop[PH_GIVEN, k]
        if math.isnan(sump_ph):
            sump_ph = equilibrium_ph(alkalinity, dioxide, loop[FIRST, k], loop[SECOND, k], loop[ION_PRODUCT, k])
        room = chalk_until_saturated(
            loop[CALCIUM, k], alkalinity, sump_ph, loop[FIRST, k], loop[SECOND, k], loop[ION_PRODUCT, k],
            loop[CALCITE, k],
        )  # fmt: skip
        dose = min(dose, room)
    return dose * water


@jitable
def settle(now: Now) -> tuple[int, float]:
    """Let the fish eat in the water that their feed makes; the rounds it took, and what they left apart.

    Appetite falls with the oxygen and ammonia that the feed itself makes. Each round takes the appetite's slope into
    the loop balance (Newton), so that an overstocked tank settles within the day.
    """
    leaf, loop = now.leaf, now.loop
    for i in range(leaf.shape[1]):
        leaf[OXYGEN_GUESS, i], leaf[TAN_GUESS, i] = leaf[OXYGEN, i], leaf[TAN, i]
    for k in range(loop.shape[1]):
        loop[NEW_SUMP_TAN, k], loop[NEW_SUMP_NITRITE, k] = loop[SUMP_TAN, k], loop[SUMP_NITRITE, k]
    appetite_in_water(now, leaf[OXYGEN_GUESS], leaf[TAN_GUESS])
    rounds, apart = 0, 0.0
    for rounds in range(1, MOST_ROUNDS + 1):
        eat(now)
        begin_steps(now, LEAF_STEPS, LOOP_STEPS)
        nitrogen_step(now, 1, LEAF_STEPS, LOOP_STEPS, TAN, SUMP_TAN)
        oxygen_balance(now)
        apart = appetite_in_water(now, leaf[NEW_OXYGEN], leaf[NEW_TAN])
        if apart < AGREED:
            break
        if rounds < MOST_ROUNDS:
            _guess_next(leaf, rounds)
            appetite_in_water(now, leaf[OXYGEN_GUESS], leaf[TAN_GUESS])
    return rounds, apart


@jitable
def oxygen_balance(now: Now) -> None:
    """Oxygen of the day, of which fish, films and what decays in the sump use what they want or all there is.

    While feed settles what fish eat less where oxygen is lower goes in as their slope.
    """
    leaf, loop_of, unit, loop = now.leaf, now.loop_of, now.unit, now.loop
    tanks = loop_of.size - unit.shape[1]
    for i in range(loop_of.size):
        slope = leaf[OXYGEN_SLOPE, i]
        leaf[GAIN_ROW, i] = leaf[VOLUME, i] + leaf[FLOW, i] + leaf[OXYGEN_EXCHANGE, i] + slope
        leaf[LOAD_ROW, i] = leaf[VOLUME, i] * leaf[OXYGEN, i] + leaf[OXYGEN_BROUGHT, i]
        leaf[LOAD_ROW, i] += slope * leaf[OXYGEN_GUESS, i]
        leaf[DEMAND, i] = leaf[FISH_OXYGEN, i] + _film_oxygen_use(leaf, i)
    for k in range(loop.shape[1]):
        store = loop[SUMP_VOLUME, k]
        loop[SUMP_GAIN_ROW, k] = store + loop[RETURNED, k] + loop[SUMP_EXCHANGE, k]
        loop[SUMP_LOAD_ROW, k] = store * loop[SUMP_OXYGEN, k] + loop[SUMP_BROUGHT, k]
        loop[NEW_SUMP_OXYGEN, k] = loop[SUMP_OXYGEN, k]
    balance_demand(
        leaf[GAIN_ROW], leaf[LOAD_ROW], leaf[FLOW], loop[SUMP_GAIN_ROW], loop[SUMP_LOAD_ROW], loop_of,
        leaf[DEMAND], loop[SUMP_DEMAND], leaf[NEW_OXYGEN], loop[NEW_SUMP_OXYGEN], leaf[OXYGEN_USED],
        loop[SUMP_OXYGEN_USED],
    )  # fmt: skip
    for i in range(tanks):
        leaf[OXYGEN_USED, i] += leaf[OXYGEN_SLOPE, i] * (leaf[NEW_OXYGEN, i] - leaf[OXYGEN_GUESS, i])


@jitable
def _film_oxygen_use(leaf: FloatArray, i: int) -> float:
    """Oxygen that the films of a leaf use. [g/day]"""
    return OXYGEN_TO_NITRITE * leaf[NITRIFIED, i] + OXYGEN_TO_NITRATE * leaf[OXIDIZED, i]


@jitable
def _guess_next(leaf: FloatArray, rounds: int) -> None:
    """Levels to try next, where the last guesses led to the day's levels.

    Newton's rule takes in the fish's own appetite but not that less feed means less nitrification in the beds and so
    more oxygen: what is left shrinks by a steady factor a round, which the secant rule sees and removes. Appetite
    falls along broken lines, and in crowded water Newton's rule can circle a corner: then a leaf whose step turns back
    goes half as far, and one that does not goes a little further again.
    """
    for i in range(leaf.shape[1]):
        for guess, new, last_step, last_result, last_pace in (
            (OXYGEN_GUESS, NEW_OXYGEN, OXYGEN_STEP, OXYGEN_RESULT, OXYGEN_PACE),
            (TAN_GUESS, NEW_TAN, TAN_STEP, TAN_RESULT, TAN_PACE),
        ):
            result = leaf[new, i]
            step, before = result - leaf[guess, i], leaf[last_step, i]
            better = result
            if 1 < rounds <= _QUICK_ROUNDS:
                if abs(step) < 0.5 * abs(before):
                    better = result - step / (step - before) * (result - leaf[last_result, i])
            elif rounds > _QUICK_ROUNDS:
                pace = 1.0 if rounds == _QUICK_ROUNDS + 1 else leaf[last_pace, i]
                pace = max(0.5 * pace, _SHORTEST_PACE) if step * before < 0.0 else min(1.3 * pace, 1.0)
                leaf[last_pace, i] = pace
                better = leaf[guess, i] + pace * step
            leaf[last_step, i], leaf[last_result, i], leaf[guess, i] = step, result, better


@jitable
def evening(now: Now) -> None:
    """Balance what moves more slowly, and make tonight's water the next morning's."""
    leaf, loop_of, loop = now.leaf, now.loop_of, now.loop
    _nitrate(now)
    for row in range(SOLUTE_COUNT):
        _solute(now, row)
    _minerals_taken(now)
    _keep_solids(now)
    hold_alkalinity(now)
    set_ph(now)
    for i in range(loop_of.size):
        leaf[OXYGEN, i], leaf[TAN, i], leaf[NITRITE, i] = leaf[NEW_OXYGEN, i], leaf[NEW_TAN, i], leaf[NEW_NITRITE, i]
        leaf[AMMONIA_FILM, i], leaf[NITRITE_FILM, i] = leaf[NEXT_AMMONIA_FILM, i], leaf[NEXT_NITRITE_FILM, i]
        leaf[GROWN, i] = leaf[AMMONIA_FILM, i]
    for k in range(loop.shape[1]):
        loop[SUMP_OXYGEN, k], loop[SUMP_TAN, k] = loop[NEW_SUMP_OXYGEN, k], loop[NEW_SUMP_TAN, k]
        loop[SUMP_NITRITE, k] = loop[NEW_SUMP_NITRITE, k]


@jitable
def _nitrate(now: Now) -> None:
    """Balance nitrate; crops and denitrification take it by a rate that falls with it, implicit in the day."""
    leaf, loop_of, unit, loop = now.leaf, now.loop_of, now.unit, now.loop
    tanks = loop_of.size - unit.shape[1]
    for i in range(loop_of.size):
        leaf[GAIN_ROW, i] = leaf[VOLUME, i] + leaf[FLOW, i]
        leaf[LOAD_ROW, i] = leaf[VOLUME, i] * leaf[NITRATE, i] + leaf[OXIDIZED, i]
    for u in range(unit.shape[1]):
        i = tanks + u
        # what is taken for each mg/L of nitrate; made the amount below
        unit[TAKEN, u] = unit[UPTAKE, u] / (HALF_SATURATION_UPTAKE_MG_L + leaf[NITRATE, i])
        leaf[GAIN_ROW, i] += unit[TAKEN, u]
    for k in range(loop.shape[1]):
        store = loop[SUMP_VOLUME, k]
        loop[DENITRIFIED, k] = loop[NITRATE_WANTED, k] / (HALF_SATURATION_NITRATE_MG_L + loop[SUMP_NITRATE, k])
        loop[SUMP_GAIN_ROW, k] = store + loop[RETURNED, k] + loop[OUTFLOW, k] + loop[DENITRIFIED, k]
        loop[SUMP_LOAD_ROW, k] = store * loop[SUMP_NITRATE, k] + loop[TOP_UP, k] * loop[SOURCE_NITRATE, k]
    balance_linear(
        leaf[GAIN_ROW], leaf[LOAD_ROW], leaf[FLOW], leaf[FLOW], loop[SUMP_GAIN_ROW], loop[SUMP_LOAD_ROW],
        loop_of, leaf[NITRATE], loop[SUMP_NITRATE],
    )  # fmt: skip
    for k in range(loop.shape[1]):
        loop[DENITRIFIED, k] *= loop[SUMP_NITRATE, k]
        loop[UPTAKEN, k] = 0.0
        loop[NITRATE_ALKALINITY, k] = ALKALINITY_PER_FREED * loop[DENITRIFIED, k]
    for u in range(unit.shape[1]):
        unit[TAKEN, u] *= leaf[NITRATE, tanks + u]
        loop[UPTAKEN, loop_of[tanks + u]] += unit[TAKEN, u]
        loop[NITRATE_ALKALINITY, loop_of[tanks + u]] += unit[ALKALINITY_PER_N, u] * unit[TAKEN, u]


@jitable
def _solute(now: Now, row: int) -> None:
    """Balance one of the solutes that are linear in their own level."""
    leaf, loop_of, unit, loop = now.leaf, now.loop_of, now.unit, now.loop
    tanks = loop_of.size - unit.shape[1]
    for i in range(loop_of.size):
        leaf[GAIN_ROW, i] = leaf[VOLUME, i] + leaf[FLOW, i]
        leaf[LOAD_ROW, i] = leaf[VOLUME, i] * leaf[row, i]
        leaf[RETURNED_ROW, i] = leaf[FLOW, i]
        if row >= SOLIDS:
            leaf[RETURNED_ROW, i] *= leaf[SOLIDS_PASSING, i]
        if row >= FROM_FISH and i < tanks:
            leaf[LOAD_ROW, i] += leaf[WASTE + row - FROM_FISH, i]
    for k in range(loop.shape[1]):
        loop[SUMP_GAIN_ROW, k] = loop[SUMP_VOLUME, k] + loop[RETURNED, k] + loop[OUTFLOW, k]
        loop[SUMP_LOAD_ROW, k] = (
            loop[SUMP_VOLUME, k] * loop[row, k]
            + loop[TOP_UP, k] * loop[SOURCE + row, k]
            + loop[DOSE, k] * loop[PER_ALKALINITY + row, k]
        )
        if row >= SOLIDS:
            loop[SUMP_GAIN_ROW, k] += SUMP_TRAPPED_SHARE * loop[RETURNED, k]
    if row in (ALKALINITY, CO2):
        _carbonate_loads(now, row)
    elif CALCIUM <= row <= PHOSPHORUS:
        _mineral_uptake(now, row)
        if row == PHOSPHORUS:
            for k in range(loop.shape[1]):
                loop[SUMP_LOAD_ROW, k] += loop[FREED_P, k]
    balance_linear(
        leaf[GAIN_ROW], leaf[LOAD_ROW], leaf[FLOW], leaf[RETURNED_ROW], loop[SUMP_GAIN_ROW],
        loop[SUMP_LOAD_ROW], loop_of, leaf[row], loop[row],
    )  # fmt: skip


@jitable
def _carbonate_loads(now: Now, row: int) -> None:
    """Alkalinity made (+) or used (-) by living things; all of it moves carbon dioxide the other way.

    Carbon dioxide is breathed out too, and goes to the air.
    """
    leaf, loop_of, unit, loop = now.leaf, now.loop_of, now.unit, now.loop
    tanks = loop_of.size - unit.shape[1]
    if row == ALKALINITY:
        for k in range(loop.shape[1]):
            loop[ALKALINITY_USED, k] = 0.0
    for i in range(loop_of.size):
        made = ALKALINITY_PER_FREED * leaf[FISH_TAN, i] - ALKALINITY_PER_NITRIFIED * leaf[NITRIFIED, i]
        if i >= tanks:
            made += unit[ALKALINITY_PER_N, i - tanks] * unit[TAKEN, i - tanks]
        if row == ALKALINITY:
            leaf[LOAD_ROW, i] += made
            loop[ALKALINITY_USED, loop_of[i]] -= made
            continue
        exchange = leaf[CO2_EXCHANGE, i]
        leaf[GAIN_ROW, i] += exchange
        leaf[LOAD_ROW, i] += exchange * loop[CO2_SATURATION, loop_of[i]] - CO2_PER_ALKALINITY * made
        if i < tanks:
            breathed = max(leaf[OXYGEN_USED, i] - _film_oxygen_use(leaf, i), 0.0)  # by fish alone
            leaf[LOAD_ROW, i] += CARBON_DIOXIDE_PER_OXYGEN * breathed
    for k in range(loop.shape[1]):
        made = ALKALINITY_PER_FREED * (loop[UREA, k] + loop[FREED_N, k] + loop[DENITRIFIED, k])
        if row == ALKALINITY:
            loop[SUMP_LOAD_ROW, k] += made
            loop[ALKALINITY_USED, k] -= made
            continue
        exchange = loop[SUMP_CO2_EXCHANGE, k]
        loop[SUMP_GAIN_ROW, k] += exchange
        decayed = loop[SUMP_OXYGEN_USED, k] + OXYGEN_PER_NITRATE_NITROGEN * loop[DENITRIFIED, k]
        loop[SUMP_LOAD_ROW, k] += CARBON_DIOXIDE_PER_OXYGEN * decayed - CO2_PER_ALKALINITY * made
        # a steady inflow has met the air; what it displaces stands among the outflow
        loop[SUMP_LOAD_ROW, k] += (exchange + loop[OVERFLOW, k]) * loop[CO2_SATURATION, k]


@jitable
def _mineral_uptake(now: Now, row: int) -> None:
    """Let crops take a mineral in proportion to their nitrogen, by its level; implicit in the day's balance."""
    leaf, loop_of, unit = now.leaf, now.loop_of, now.unit
    tanks, mineral = loop_of.size - unit.shape[1], row - CALCIUM
    for u in range(unit.shape[1]):
        i = tanks + u
        per_level = unit[CALCIUM_PER_N + mineral, u] * unit[TAKEN, u]
        per_level /= _HALF_MINERAL[mineral] + leaf[row, i]
        unit[TAKEN_CALCIUM + mineral, u] = per_level
        leaf[GAIN_ROW, i] += per_level


@jitable
def _minerals_taken(now: Now) -> None:
    """What crops took of each mineral at the day's new levels. [g/day]"""
    leaf, loop_of, unit = now.leaf, now.loop_of, now.unit
    tanks = loop_of.size - unit.shape[1]
    for mineral in range(MINERAL_COUNT):
        for u in range(unit.shape[1]):
            unit[TAKEN_CALCIUM + mineral, u] *= leaf[CALCIUM + mineral, tanks + u]


@jitable
def _keep_solids(now: Now) -> None:
    """Move trapped solids into sediment and settlers, less what broke down; empty the settlers on their days."""
    leaf, loop_of, unit, loop = now.leaf, now.loop_of, now.unit, now.loop
    tanks = loop_of.size - unit.shape[1]
    for k in range(loop.shape[1]):
        for solid in range(POOL_COUNT):
            row = SOLIDS + solid
            in_beds = SUMP_TRAPPED_SHARE * loop[RETURNED, k] * loop[row, k]
            in_settlers = 0.0
            for i in range(loop_of.size):
                if loop_of[i] == k:
                    flow = leaf[FLOW, i]
                    kept = (flow - flow * leaf[SOLIDS_PASSING, i]) * leaf[row, i]
                    if i < tanks:
                        in_settlers += kept
                    else:
                        in_beds += kept
            left = 1.0 - loop[BROKEN_DOWN, k]
            loop[SEDIMENT + solid, k] = left * loop[SEDIMENT + solid, k] + LABILE_SHARE * in_beds
            loop[SETTLED + solid, k] = left * loop[SETTLED + solid, k] + LABILE_SHARE * in_settlers
            taken = loop[SETTLED + solid, k] * loop[EMPTIED, k]
            loop[SETTLED + solid, k] -= taken
            drawn = (1.0 - LABILE_SHARE) * in_settlers + taken
            if row == SOLIDS_N:
                loop[DRAWN_N, k] = drawn
                loop[SLUDGE_N, k] = drawn + (1.0 - LABILE_SHARE) * in_beds
            elif row == SOLIDS_N + 1:
                loop[DRAWN_P, k] = drawn
