"""The water of the loops through a day: oxygen and ammonia that settle with the fish, then what moves more slowly."""

from __future__ import annotations

import math

from stocksim.compiled import jitable
from stocksim.engine.days.fish import appetite_in_water, clear, eat
from stocksim.engine.days.rows import *
from stocksim.fish.energetics import CARBON_DIOXIDE_PER_OXYGEN
from stocksim.plants.uptake import HALF_SATURATION_MINERAL_MG_L, MINERALS
from stocksim.water.alkalinity import ALKALINITY_PER_NITRIFIED
from stocksim.water.ammonia import unionized_share
from stocksim.water.buffering import chalk_until_saturated, dose_within_limits
from stocksim.water.carbonate import CALCIUM_CARBONATE_MG_MEQ, CARBON_DIOXIDE_G_MOL, equilibrium_ph
from stocksim.water.loop import balance_demand, balance_linear, balance_removal
from stocksim.water.nitrification import HALF_SATURATION_TAN_MG_L
from stocksim.water.nitrite import HALF_SATURATION_NITRITE_MG_L, OXYGEN_TO_NITRATE, OXYGEN_TO_NITRITE
from stocksim.water.solids import (
    ALKALINITY_PER_NITRATE_NITROGEN,
    ANOXIC_SHARE,
    HALF_SATURATION_NITRATE_MG_L,
    LABILE_SHARE,
    OXYGEN_PER_NITRATE_NITROGEN,
)

# g CaCO3 per g nitrogen: nitrification takes 7.14; ammonia set free from organic nitrogen gives 3.57 (NH3 takes up a
# proton), and so do nitrate uptake and denitrification (charge balance, molar masses).
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
def begin_water(given: Given, state: State) -> None:
    """Fill the loops with the water of the first morning, and the films as they start."""
    leaf, sump, unit, loop_of = state.leaf, state.sump, state.unit, given.loop_of
    unit_start, loop, supply, sump_solute = given.unit, given.loop, given.solute, state.sump_solute
    solute, sediment, settled = state.solute, state.sediment, state.settled
    clear(leaf)
    clear(sump)
    clear(unit)
    clear(sediment)
    clear(settled)
    for k in range(sump.shape[1]):
        sump[SUMP_OXYGEN, k] = given.loop_day[0, SATURATION, k]
        sump[SUMP_NITRITE, k], sump[SUMP_NITRATE, k] = loop[START_NITRITE, k], loop[START_NITRATE, k]
        for row in range(SOLUTE_COUNT):
            sump_solute[row, k] = supply[START, row, k]
        sump_solute[CO2, k] = given.loop_day[0, CO2_SATURATION, k]
    for i in range(loop_of.size):
        k = loop_of[i]
        leaf[OXYGEN, i], leaf[NITRITE, i] = sump[SUMP_OXYGEN, k], sump[SUMP_NITRITE, k]
        leaf[NITRATE, i] = sump[SUMP_NITRATE, k]
        for row in range(SOLUTE_COUNT):
            solute[row, i] = sump_solute[row, k]
        # nothing is known of the day before the first: it is looked at closely
        leaf[TAN_MOVE, i], leaf[NITRITE_MOVE, i], leaf[GROWN, i] = math.inf, math.inf, 1.0
    tanks = loop_of.size - unit.shape[1]
    for u in range(unit.shape[1]):
        unit[AMMONIA_FILM, u], unit[NITRITE_FILM, u] = (
            unit_start[START_AMMONIA_FILM, u],
            unit_start[START_NITRITE_FILM, u],
        )
        # a mature film whose share the first day's water will tell counts whole
        if not math.isnan(unit[AMMONIA_FILM, u]):
            leaf[GROWN, tanks + u] = unit[AMMONIA_FILM, u]
    hold_alkalinity(given, state)
    set_ph(given, state, 0)


@jitable
def take_tests(given: Given, mornings: Mornings, state: State, day: int) -> None:
    """Set the loops' water to what tests measured this morning."""
    loop_of, leaf, sump_solute, sump = given.loop_of, state.leaf, state.sump_solute, state.sump
    solute = state.solute
    for n in range(mornings.level.size):
        if mornings.test[n, TEST_DAY] != day:
            continue
        k, key, level = mornings.test[n, TEST_LOOP], mornings.test[n, TEST_KEY], mornings.level[n]
        if key == TEST_TAN:
            sump[SUMP_TAN, k] = level
        elif key == TEST_NITRITE:
            sump[SUMP_NITRITE, k] = level
        elif key == TEST_NITRATE:
            sump[SUMP_NITRATE, k] = level
        else:
            sump_solute[key, k] = level
        for i in range(loop_of.size):
            if loop_of[i] != k:
                continue
            if key == TEST_TAN:
                leaf[TAN, i] = level
            elif key == TEST_NITRITE:
                leaf[NITRITE, i] = level
            elif key == TEST_NITRATE:
                leaf[NITRATE, i] = level
            else:
                solute[key, i] = level
        hold_alkalinity(given, state)


@jitable
def hold_alkalinity(given: Given, state: State) -> None:
    """Sum up the alkalinity in the water of each loop. [g]"""
    loop_of, vessel, loop, sump_solute = given.loop_of, given.leaf, given.loop, state.sump_solute
    sump, solute = state.sump, state.solute
    for k in range(sump.shape[1]):
        sump[HELD_ALKALINITY, k] = sump_solute[ALKALINITY, k] * loop[SUMP_VOLUME, k]
    for i in range(loop_of.size):
        sump[HELD_ALKALINITY, loop_of[i]] += solute[ALKALINITY, i] * vessel[VOLUME, i]


@jitable
def set_ph(given: Given, state: State, day: int) -> None:
    """PH of the tanks: the keeper's where given, else from alkalinity and carbon dioxide."""
    loop_today, loop_of, loop, leaf = given.loop_day[day], given.loop_of, given.loop, state.leaf
    unit, solute = state.unit, state.solute
    for i in range(loop_of.size - unit.shape[1]):
        k = loop_of[i]
        leaf[PH, i] = loop[PH_GIVEN, k]
        if math.isnan(loop[PH_GIVEN, k]):
            leaf[PH, i] = equilibrium_ph(
                solute[ALKALINITY, i], max(solute[CO2, i], LEAST_CO2_MG_L), loop_today[FIRST, k],
                loop_today[SECOND, k], loop_today[ION_PRODUCT, k],
            )  # fmt: skip


@jitable
def water_morning(given: Given, state: State, day: int) -> None:
    """Loads and doses that follow from what the night left, and the share of ammonia that is toxic today."""
    sump, loop_today, loop_of, loop = state.sump, given.loop_day[day], given.loop_of, given.loop
    leaf, unit, sediment, settled = state.leaf, state.unit, state.sediment, state.settled
    for k in range(sump.shape[1]):
        broken = loop_today[BROKEN_DOWN, k]
        for row, solid in ((FREED_N, 1), (FREED_P, 2), (FREED_O, 3)):
            sump[row, k] = broken * (sediment[solid, k] + settled[solid, k])
        anoxic = ANOXIC_SHARE * (sump[SUMP_NITRATE, k] / (HALF_SATURATION_NITRATE_MG_L + sump[SUMP_NITRATE, k]))
        sump[NITRATE_WANTED, k] = ANOXIC_SHARE / OXYGEN_PER_NITRATE_NITROGEN * sump[FREED_O, k]
        sump[SUMP_DEMAND, k] = sump[FREED_O, k] * (1.0 - anoxic)
        sump[SUMP_AMMONIA, k] = sump[FREED_N, k] + loop_today[AMMONIA_DOSE, k]
        sump[OUTFLOW, k] = loop[DRAWN_OFF, k] + loop_today[EXCHANGED, k]
        sump[TOP_UP, k] = loop[LOSS, k] + sump[OUTFLOW, k]
        sump[DOSE, k] = _dose(given, state, day, k)
    for i in range(loop_of.size - unit.shape[1]):
        leaf[TOXIC_SHARE, i] = unionized_share(leaf[PH, i], loop_today[PKA, loop_of[i]])


@jitable
def _dose(given: Given, state: State, day: int, k: int) -> float:
    """Alkalinity dosed today towards the loop's target; of chalk what dissolves. [g CaCO3]"""
    loop_today, loop_of, loop, leaf = given.loop_day[day], given.loop_of, given.loop, state.leaf
    unit, sump_solute, sump = state.unit, state.sump_solute, state.sump
    target = loop[TARGET_ALKALINITY, k]
    if math.isnan(target):
        return 0.0
    today, leaf, water = loop_today, leaf, loop[LOOP_WATER, k]
    ph, tan = 0.0, 0.0
    for i in range(loop_of.size - unit.shape[1]):
        if loop_of[i] == k:
            ph, tan = max(ph, leaf[PH, i]), max(tan, leaf[TAN, i])
    dose = dose_within_limits(
        sump[HELD_ALKALINITY, k] / water, target, ph, tan, loop[AMMONIA_LIMIT, k],
        loop[MOST_PH_RISE, k], today[PKA, k], today[FIRST, k], today[SECOND, k], today[ION_PRODUCT, k],
    )  # fmt: skip
    if loop[IS_CHALK, k] > 0.0 and dose > 0.0:
        # it is poured into the sump, and stops where that water holds all the lime it can
        alkalinity, dioxide = sump_solute[ALKALINITY, k], sump_solute[CO2, k]
        sump_ph = loop[PH_GIVEN, k]
        if math.isnan(sump_ph):
            sump_ph = equilibrium_ph(alkalinity, dioxide, today[FIRST, k], today[SECOND, k], today[ION_PRODUCT, k])
        dose = min(
            dose,
            chalk_until_saturated(
                sump_solute[CALCIUM, k], alkalinity, sump_ph, today[FIRST, k], today[SECOND, k],
                today[ION_PRODUCT, k], today[CALCITE, k],
            ),
        )  # fmt: skip
    return dose * water


@jitable
def settle(given: Given, state: State, day: int) -> tuple[int, float]:
    """Let the fish eat in the water that their feed makes; the rounds it took, and what they left apart.

    Appetite falls with the oxygen and ammonia that the feed itself makes. Each round takes the appetite's slope into
    the loop balance (Newton), so that an overstocked tank settles within the day.
    """
    leaf, sump = state.leaf, state.sump
    for i in range(leaf.shape[1]):
        leaf[OXYGEN_GUESS, i], leaf[TAN_GUESS, i] = leaf[OXYGEN, i], leaf[TAN, i]
    for k in range(sump.shape[1]):
        sump[NEW_SUMP_TAN, k], sump[NEW_SUMP_NITRITE, k] = sump[SUMP_TAN, k], sump[SUMP_NITRITE, k]
    appetite_in_water(given, state, leaf[OXYGEN_GUESS], leaf[TAN_GUESS])
    rounds, apart = 0, 0.0
    for rounds in range(1, MOST_ROUNDS + 1):
        eat(given, state)
        _ammonia(given, state)
        _nitrite(given, state)
        oxygen_balance(given, state, day, True)
        apart = appetite_in_water(given, state, leaf[NEW_OXYGEN], leaf[NEW_TAN])
        if apart < AGREED:
            break
        if rounds < MOST_ROUNDS:
            _guess_next(leaf, rounds)
            appetite_in_water(given, state, leaf[OXYGEN_GUESS], leaf[TAN_GUESS])
    for k in range(sump.shape[1]):
        sump[TAN_OUT, k] = sump[OUTFLOW, k] * sump[NEW_SUMP_TAN, k]
        sump[NITRITE_OUT, k] = sump[OUTFLOW, k] * sump[NEW_SUMP_NITRITE, k]
    return rounds, apart


@jitable
def _ammonia(given: Given, state: State) -> None:
    """TAN of the day; what fish eat less where it is higher goes in as their slope."""
    leaf, sump, loop_of, vessel, loop = state.leaf, state.sump, given.loop_of, given.leaf, given.loop
    for i in range(loop_of.size):
        volume, slope = vessel[VOLUME, i], leaf[TAN_SLOPE, i]
        leaf[GAIN_ROW, i] = volume + vessel[FLOW, i] - slope
        leaf[LOAD_ROW, i] = volume * leaf[TAN, i] + leaf[FISH_TAN, i] - slope * leaf[TAN_GUESS, i]
    for k in range(sump.shape[1]):
        store = loop[SUMP_VOLUME, k]
        sump[SUMP_GAIN_ROW, k] = store + loop[RETURNED, k] + sump[OUTFLOW, k]
        sump[SUMP_LOAD_ROW, k] = store * sump[SUMP_TAN, k] + sump[SUMP_AMMONIA, k] + sump[UREA, k]
    balance_removal(
        leaf[GAIN_ROW], leaf[LOAD_ROW], vessel[FLOW], sump[SUMP_GAIN_ROW], sump[SUMP_LOAD_ROW], loop_of,
        leaf[AMMONIA_CAPACITY], HALF_SATURATION_TAN_MG_L, leaf[NEW_TAN], sump[NEW_SUMP_TAN], leaf[NITRIFIED],
    )  # fmt: skip


@jitable
def _nitrite(given: Given, state: State) -> None:
    """Nitrite of the day when so much ammonia is nitrified."""
    leaf, sump, loop_of, vessel, loop = state.leaf, state.sump, given.loop_of, given.leaf, given.loop
    for i in range(loop_of.size):
        leaf[GAIN_ROW, i] = vessel[VOLUME, i] + vessel[FLOW, i]
        leaf[LOAD_ROW, i] = vessel[VOLUME, i] * leaf[NITRITE, i] + leaf[NITRIFIED, i]
    for k in range(sump.shape[1]):
        sump[SUMP_LOAD_ROW, k] = loop[SUMP_VOLUME, k] * sump[SUMP_NITRITE, k]
    balance_removal(
        leaf[GAIN_ROW], leaf[LOAD_ROW], vessel[FLOW], sump[SUMP_GAIN_ROW], sump[SUMP_LOAD_ROW], loop_of,
        leaf[NITRITE_CAPACITY], HALF_SATURATION_NITRITE_MG_L, leaf[NEW_NITRITE], sump[NEW_SUMP_NITRITE],
        leaf[OXIDIZED],
    )  # fmt: skip


@jitable
def oxygen_balance(given: Given, state: State, day: int, is_settling: bool) -> None:
    """Oxygen of the day, of which fish, films and what decays in the sump use what they want or all there is.

    While feed settles, what fish eat less where oxygen is lower goes in as their slope.
    """
    leaf, sump, leaf_today = state.leaf, state.sump, given.leaf_day[day]
    loop_today, loop_of, vessel, loop = given.loop_day[day], given.loop_of, given.leaf, given.loop
    unit = state.unit
    tanks = loop_of.size - unit.shape[1]
    for i in range(loop_of.size):
        slope = leaf[OXYGEN_SLOPE, i] if is_settling else 0.0
        leaf[GAIN_ROW, i] = vessel[VOLUME, i] + vessel[FLOW, i] + leaf_today[OXYGEN_EXCHANGE, i] + slope
        leaf[LOAD_ROW, i] = vessel[VOLUME, i] * leaf[OXYGEN, i] + leaf_today[OXYGEN_BROUGHT, i]
        leaf[LOAD_ROW, i] += slope * leaf[OXYGEN_GUESS, i]
        leaf[DEMAND, i] = leaf[FISH_OXYGEN, i]
        if i >= tanks:
            leaf[DEMAND, i] = OXYGEN_TO_NITRITE * leaf[NITRIFIED, i] + OXYGEN_TO_NITRATE * leaf[OXIDIZED, i]
    for k in range(sump.shape[1]):
        store = loop[SUMP_VOLUME, k]
        sump[SUMP_GAIN_ROW, k] = store + loop[RETURNED, k] + loop_today[SUMP_EXCHANGE, k]
        sump[SUMP_LOAD_ROW, k] = store * sump[SUMP_OXYGEN, k] + loop_today[SUMP_BROUGHT, k]
        sump[NEW_SUMP_OXYGEN, k] = sump[SUMP_OXYGEN, k]
    balance_demand(
        leaf[GAIN_ROW], leaf[LOAD_ROW], vessel[FLOW], sump[SUMP_GAIN_ROW], sump[SUMP_LOAD_ROW], loop_of,
        leaf[DEMAND], sump[SUMP_DEMAND], leaf[NEW_OXYGEN], sump[NEW_SUMP_OXYGEN], leaf[OXYGEN_USED],
        sump[SUMP_OXYGEN_USED],
    )  # fmt: skip
    if is_settling:
        for i in range(tanks):
            leaf[OXYGEN_USED, i] += leaf[OXYGEN_SLOPE, i] * (leaf[NEW_OXYGEN, i] - leaf[OXYGEN_GUESS, i])


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
def evening(given: Given, state: State, day: int) -> None:
    """Balance what moves more slowly, and make tonight's water the next morning's."""
    leaf, sump, unit, loop_of = state.leaf, state.sump, state.unit, given.loop_of
    tanks = loop_of.size - unit.shape[1]
    _nitrate(given, state, day)
    for row in range(SOLUTE_COUNT):
        _solute(given, state, day, row)
    _minerals_taken(given, state, day)
    _keep_solids(given, state, day)
    hold_alkalinity(given, state)
    set_ph(given, state, day)
    for i in range(loop_of.size):
        leaf[OXYGEN, i], leaf[TAN, i], leaf[NITRITE, i] = leaf[NEW_OXYGEN, i], leaf[NEW_TAN, i], leaf[NEW_NITRITE, i]
    for k in range(sump.shape[1]):
        sump[SUMP_OXYGEN, k], sump[SUMP_TAN, k] = sump[NEW_SUMP_OXYGEN, k], sump[NEW_SUMP_TAN, k]
        sump[SUMP_NITRITE, k] = sump[NEW_SUMP_NITRITE, k]
    for u in range(unit.shape[1]):
        unit[AMMONIA_FILM, u], unit[NITRITE_FILM, u] = unit[NEXT_AMMONIA_FILM, u], unit[NEXT_NITRITE_FILM, u]
        leaf[GROWN, tanks + u] = unit[AMMONIA_FILM, u]


@jitable
def _nitrate(given: Given, state: State, day: int) -> None:
    """Balance nitrate; crops and denitrification take it by a rate that falls with it, implicit in the day."""
    leaf, sump, unit, unit_today = state.leaf, state.sump, state.unit, given.unit_day[day]
    loop_of, vessel, loop = given.loop_of, given.leaf, given.loop
    tanks = loop_of.size - unit.shape[1]
    for i in range(loop_of.size):
        leaf[GAIN_ROW, i] = vessel[VOLUME, i] + vessel[FLOW, i]
        leaf[LOAD_ROW, i] = vessel[VOLUME, i] * leaf[NITRATE, i]
    for u in range(unit.shape[1]):
        i = tanks + u
        # what is taken for each mg/L of nitrate; made the amount below
        unit[TAKEN, u] = unit_today[UPTAKE, u] / (HALF_SATURATION_UPTAKE_MG_L + leaf[NITRATE, i])
        leaf[GAIN_ROW, i] += unit[TAKEN, u]
        leaf[LOAD_ROW, i] += leaf[OXIDIZED, i]
    for k in range(sump.shape[1]):
        store = loop[SUMP_VOLUME, k]
        sump[DENITRIFIED, k] = sump[NITRATE_WANTED, k] / (HALF_SATURATION_NITRATE_MG_L + sump[SUMP_NITRATE, k])
        sump[SUMP_GAIN_ROW, k] = store + loop[RETURNED, k] + sump[OUTFLOW, k] + sump[DENITRIFIED, k]
        sump[SUMP_LOAD_ROW, k] = store * sump[SUMP_NITRATE, k] + sump[TOP_UP, k] * loop[SOURCE_NITRATE, k]
    balance_linear(
        leaf[GAIN_ROW], leaf[LOAD_ROW], vessel[FLOW], vessel[FLOW], sump[SUMP_GAIN_ROW], sump[SUMP_LOAD_ROW],
        loop_of, leaf[NITRATE], sump[SUMP_NITRATE],
    )  # fmt: skip
    for k in range(sump.shape[1]):
        sump[DENITRIFIED, k] *= sump[SUMP_NITRATE, k]
        sump[UPTAKEN, k] = 0.0
    for u in range(unit.shape[1]):
        unit[TAKEN, u] *= leaf[NITRATE, tanks + u]
        sump[UPTAKEN, loop_of[tanks + u]] += unit[TAKEN, u]
    for k in range(sump.shape[1]):
        sump[NITRATE_TAKEN, k] = sump[UPTAKEN, k] + sump[DENITRIFIED, k]


@jitable
def _solute(given: Given, state: State, day: int, row: int) -> None:
    """Balance one of the solutes that are linear in their own level."""
    leaf, sump, leaf_today, loop_of = state.leaf, state.sump, given.leaf_day[day], given.loop_of
    vessel, loop, supply, unit = given.leaf, given.loop, given.solute, state.unit
    sump_solute, solute, waste = state.sump_solute, state.solute, state.waste
    tanks = loop_of.size - unit.shape[1]
    for i in range(loop_of.size):
        leaf[GAIN_ROW, i] = vessel[VOLUME, i] + vessel[FLOW, i]
        leaf[LOAD_ROW, i] = vessel[VOLUME, i] * solute[row, i]
        leaf[RETURNED_ROW, i] = vessel[FLOW, i]
        if row >= SOLIDS:
            leaf[RETURNED_ROW, i] *= leaf_today[SOLIDS_PASSING, i]
        if row >= FROM_FISH and i < tanks:
            leaf[LOAD_ROW, i] += waste[row - FROM_FISH, i]
    for k in range(sump.shape[1]):
        sump[SUMP_GAIN_ROW, k] = loop[SUMP_VOLUME, k] + loop[RETURNED, k] + sump[OUTFLOW, k]
        sump[SUMP_LOAD_ROW, k] = (
            loop[SUMP_VOLUME, k] * sump_solute[row, k]
            + sump[TOP_UP, k] * supply[SOURCE, row, k]
            + sump[DOSE, k] * supply[PER_ALKALINITY, row, k]
        )
        if row >= SOLIDS:
            sump[SUMP_GAIN_ROW, k] += SUMP_TRAPPED_SHARE * loop[RETURNED, k]
    if row in (ALKALINITY, CO2):
        _carbonate_loads(given, state, day, row)
    elif CALCIUM <= row <= PHOSPHORUS:
        _mineral_uptake(given, state, day, row)
        if row == PHOSPHORUS:
            for k in range(sump.shape[1]):
                sump[SUMP_LOAD_ROW, k] += sump[FREED_P, k]
    balance_linear(
        leaf[GAIN_ROW], leaf[LOAD_ROW], vessel[FLOW], leaf[RETURNED_ROW], sump[SUMP_GAIN_ROW],
        sump[SUMP_LOAD_ROW], loop_of, solute[row], sump_solute[row],
    )  # fmt: skip


@jitable
def _carbonate_loads(given: Given, state: State, day: int, row: int) -> None:
    """Alkalinity made (+) or used (-) by living things; all of it moves carbon dioxide the other way.

    Carbon dioxide is breathed out too, and goes to the air.
    """
    leaf, sump, leaf_today = state.leaf, state.sump, given.leaf_day[day]
    loop_today, loop_of, unit = given.loop_day[day], given.loop_of, state.unit
    tanks = loop_of.size - unit.shape[1]
    for i in range(loop_of.size):
        made = ALKALINITY_PER_FREED * leaf[FISH_TAN, i]
        if i >= tanks:
            made = ALKALINITY_PER_FREED * unit[TAKEN, i - tanks] - ALKALINITY_PER_NITRIFIED * leaf[NITRIFIED, i]
        if row == ALKALINITY:
            leaf[LOAD_ROW, i] += made
            continue
        exchange = leaf_today[CO2_EXCHANGE, i]
        leaf[GAIN_ROW, i] += exchange
        leaf[LOAD_ROW, i] += exchange * loop_today[CO2_SATURATION, loop_of[i]] - CO2_PER_ALKALINITY * made
        if i < tanks:
            leaf[LOAD_ROW, i] += CARBON_DIOXIDE_PER_OXYGEN * leaf[OXYGEN_USED, i]
    for k in range(sump.shape[1]):
        made = ALKALINITY_PER_FREED * (sump[UREA, k] + sump[FREED_N, k] + sump[DENITRIFIED, k])
        if row == ALKALINITY:
            sump[SUMP_LOAD_ROW, k] += made
            continue
        exchange = loop_today[SUMP_CO2_EXCHANGE, k]
        sump[SUMP_GAIN_ROW, k] += exchange
        breathed = sump[SUMP_OXYGEN_USED, k] + OXYGEN_PER_NITRATE_NITROGEN * sump[DENITRIFIED, k]
        sump[SUMP_LOAD_ROW, k] += CARBON_DIOXIDE_PER_OXYGEN * breathed - CO2_PER_ALKALINITY * made
        sump[SUMP_LOAD_ROW, k] += exchange * loop_today[CO2_SATURATION, k]


@jitable
def _mineral_uptake(given: Given, state: State, day: int, row: int) -> None:
    """Let crops take a mineral in proportion to their nitrogen, by its level; implicit in the day's balance."""
    unit_today, loop_of, leaf, unit = given.unit_day[day], given.loop_of, state.leaf, state.unit
    solute = state.solute
    tanks, mineral = loop_of.size - unit.shape[1], row - CALCIUM
    for u in range(unit.shape[1]):
        i = tanks + u
        per_level = unit_today[CALCIUM_PER_N + mineral, u] * unit[TAKEN, u]
        per_level /= _HALF_MINERAL[mineral] + solute[row, i]
        unit[TAKEN_CALCIUM + mineral, u] = per_level
        leaf[GAIN_ROW, i] += per_level


@jitable
def _minerals_taken(given: Given, state: State, day: int) -> None:
    """What crops took of each mineral at the day's new levels. [g/day]"""
    loop_of, unit, solute = given.loop_of, state.unit, state.solute
    tanks = loop_of.size - unit.shape[1]
    for mineral in range(MINERAL_COUNT):
        for u in range(unit.shape[1]):
            unit[TAKEN_CALCIUM + mineral, u] *= solute[CALCIUM + mineral, tanks + u]


@jitable
def _keep_solids(given: Given, state: State, day: int) -> None:
    """Move trapped solids into sediment and settlers, less what broke down; empty the settlers on their days."""
    sump, loop_today, leaf_today = state.sump, given.loop_day[day], given.leaf_day[day]
    loop_of, vessel, loop, unit = given.loop_of, given.leaf, given.loop, state.unit
    sump_solute, solute, sediment = state.sump_solute, state.solute, state.sediment
    settled = state.settled
    tanks = loop_of.size - unit.shape[1]
    for k in range(sump.shape[1]):
        for solid in range(POOL_COUNT):
            row = SOLIDS + solid
            in_beds = SUMP_TRAPPED_SHARE * loop[RETURNED, k] * sump_solute[row, k]
            in_settlers = 0.0
            for i in range(loop_of.size):
                if loop_of[i] == k:
                    flow = vessel[FLOW, i]
                    kept = (flow - flow * leaf_today[SOLIDS_PASSING, i]) * solute[row, i]
                    if i < tanks:
                        in_settlers += kept
                    else:
                        in_beds += kept
            left = 1.0 - loop_today[BROKEN_DOWN, k]
            sediment[solid, k] = left * sediment[solid, k] + LABILE_SHARE * in_beds
            settled[solid, k] = left * settled[solid, k] + LABILE_SHARE * in_settlers
            taken = settled[solid, k] * loop_today[EMPTIED, k]
            settled[solid, k] -= taken
            drawn = (1.0 - LABILE_SHARE) * in_settlers + taken
            if row == SOLIDS_N:
                sump[DRAWN_N, k] = drawn
                sump[SLUDGE_N, k] = drawn + (1.0 - LABILE_SHARE) * in_beds
            elif row == SOLIDS_N + 1:
                sump[DRAWN_P, k] = drawn
