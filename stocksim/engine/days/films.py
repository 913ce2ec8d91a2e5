"""The films of beds and biofilters through a day: what they nitrify, and how they grow or shrink with it."""

from __future__ import annotations

import math

from stocksim.compiled import jitable
from stocksim.engine.days.rows import *
from stocksim.water.alkalinity import alkalinity_limited
from stocksim.water.extrapolation import extrapolated
from stocksim.water.logistic import logistic_step
from stocksim.water.loop import balance_removal
from stocksim.water.maturity import HALF_ALKALINITY_MG_L, OXIDIZERS, SEED, equilibrium_maturity
from stocksim.water.nitrification import HALF_SATURATION_TAN_MG_L, oxygen_share
from stocksim.water.nitrite import HALF_SATURATION_NITRITE_MG_L, NITRITE_PER_AMMONIA_RATE
from stocksim.water.solids import ALKALINITY_PER_NITRATE_NITROGEN

_AMMONIA, _NITRITE = OXIDIZERS["ammonia"], OXIDIZERS["nitrite"]
_HALF_TAN, _HALF_NITRITE = _AMMONIA.half_food_mg_l, _NITRITE.half_food_mg_l
_AMMONIA_HALF_OXYGEN, _NITRITE_HALF_OXYGEN = _AMMONIA.half_oxygen_mg_l, _NITRITE.half_oxygen_mg_l
_AMMONIA_HINDERED, _NITRITE_HINDERED = _AMMONIA.inhibition_mg_l, _NITRITE.inhibition_mg_l

# Food that keeps a film which is mature on the first morning [mg/L N]: an ordinary loop's, assumed.
MATURE_FOOD_MG_L = 0.3
# One step a day is too coarse for a loop's nitrogen where TAN or nitrite changes its pace: where the day's change
# differs from yesterday's by this much [mg/L], and by this share of the level. Chosen so that the day keeps within
# 5 % or 0.02 mg/L of a stiff solver (the tests).
BEND_MG_L, BEND_SHARE = 0.001, 0.002

# Rows of fine steps: levels at the end of the day done in steps, what the steps did, and what a step needs
FINE_TAN, FINE_NITRITE, FINE_NITRIFIED, FINE_OXIDIZED, STEP_AMMONIA, STEP_NITRITE, STEP_REMOVED = range(7)
FINE_ROWS = 7
FINE_SUMP_TAN, FINE_SUMP_NITRITE, FINE_TAN_OUT, FINE_NITRITE_OUT = range(4)
FINE_SUMP_ROWS = 4
# rows of the coarse day with those of the fine one
_LEAF_PAIRS = (
    (NEW_TAN, FINE_TAN), (NEW_NITRITE, FINE_NITRITE), (NITRIFIED, FINE_NITRIFIED), (OXIDIZED, FINE_OXIDIZED),
)  # fmt: skip
_SUMP_PAIRS = (
    (NEW_SUMP_TAN, FINE_SUMP_TAN), (NEW_SUMP_NITRITE, FINE_SUMP_NITRITE), (TAN_OUT, FINE_TAN_OUT),
    (NITRITE_OUT, FINE_NITRITE_OUT),
)  # fmt: skip


@jitable
def film_oxygen(given: Given, state: State, day: int) -> None:
    """What the films' surfaces could nitrify today with the oxygen that reaches them. [g/day]"""
    leaf, leaf_today, loop_of, vessel = state.leaf, given.leaf_day[day], given.loop_of, given.leaf
    sump = state.sump
    for i in range(loop_of.size):
        whole = leaf_today[FILM_CAPACITY, i]
        leaf[WORKING, i] = 0.0
        if whole > 0.0:
            flow = vessel[FLOW, i]
            brought = leaf_today[OXYGEN_BROUGHT, i] + flow * sump[SUMP_OXYGEN, loop_of[i]]
            exchange = flow + leaf_today[OXYGEN_EXCHANGE, i]
            leaf[WORKING, i] = whole * oxygen_share(whole * leaf[GROWN, i], leaf[TAN, i], exchange, brought)


@jitable
def film_morning(given: Given, state: State, day: int) -> None:
    """What the films can do today, from the water the night left and the alkalinity that the day will have.

    Fish are taken to excrete what they would in the morning's water, crops and sediment to take as much as yesterday.
    """
    leaf, unit, sump, loop_today = state.leaf, state.unit, state.sump, given.loop_day[day]
    loop_of, vessel, loop, supply = given.loop_of, given.leaf, given.loop, given.solute
    tanks = loop_of.size - unit.shape[1]
    for k in range(sump.shape[1]):
        working, ammonia = 0.0, sump[SUMP_TAN, k] * loop[SUMP_VOLUME, k]
        freed = sump[UREA, k] + sump[FREED_N, k]
        for i in range(loop_of.size):
            if loop_of[i] == k:
                working += leaf[WORKING, i] * leaf[GROWN, i]
                ammonia += leaf[TAN, i] * vessel[VOLUME, i]
                freed += leaf[FISH_TAN, i]
        held = sump[HELD_ALKALINITY, k] + sump[DOSE, k] + sump[TOP_UP, k] * supply[SOURCE, ALKALINITY, k]
        held += ALKALINITY_PER_NITRATE_NITROGEN * (freed + sump[NITRATE_TAKEN, k])
        available = ammonia + freed + loop_today[AMMONIA_DOSE, k]
        of_loop, sump[NITRIFIED_BEFORE, k] = alkalinity_limited(
            held, loop[LOOP_WATER, k] + sump[OUTFLOW, k], working, available, sump[NITRIFIED_BEFORE, k]
        )
        for u in range(unit.shape[1]):
            i = tanks + u
            if loop_of[i] == k:
                _unit_morning(given, state, day, u, i, of_loop, sump[SUMP_TAN, k])


@jitable
def _unit_morning(
    given: Given, state: State, day: int, u: int, i: int, loop_alkalinity: float, sump_tan: float
) -> None:
    """Alkalinity that a unit ends the day with, and what its films can do at that."""
    leaf, unit, unit_today, vessel = state.leaf, state.unit, given.unit_day[day], given.leaf
    solute = state.solute
    volume, flow = vessel[VOLUME, i], vessel[FLOW, i]
    left, unit[UNIT_NITRIFIED_BEFORE, u] = alkalinity_limited(
        volume * solute[ALKALINITY, i] + flow * loop_alkalinity, volume + flow,
        leaf[WORKING, i] * leaf[GROWN, i], volume * leaf[TAN, i] + flow * sump_tan, unit[UNIT_NITRIFIED_BEFORE, u],
    )  # fmt: skip
    buffered = left / (HALF_ALKALINITY_MG_L + left)
    air = leaf[OXYGEN, i]
    unit[WELL_FED_AMMONIA, u] = unit_today[AMMONIA_GROWTH, u] * (air / (_AMMONIA_HALF_OXYGEN + air)) * buffered
    unit[WELL_FED_NITRITE, u] = unit_today[NITRITE_GROWTH, u] * (air / (_NITRITE_HALF_OXYGEN + air)) * buffered
    unit[SURFACE, u] = leaf[WORKING, i] * buffered
    if math.isnan(unit[AMMONIA_FILM, u]) or math.isnan(unit[NITRITE_FILM, u]):
        still = film_growth(unit, u, MATURE_FOOD_MG_L, MATURE_FOOD_MG_L)
        if math.isnan(unit[AMMONIA_FILM, u]):
            unit[AMMONIA_FILM, u] = equilibrium_maturity(still[0], unit_today[DECAY, u])
        if math.isnan(unit[NITRITE_FILM, u]):
            unit[NITRITE_FILM, u] = equilibrium_maturity(still[1], unit_today[DECAY, u])
    found = film_step(
        unit, u, unit[AMMONIA_FILM, u], unit[NITRITE_FILM, u], leaf[TAN, i], leaf[NITRITE, i], unit_today[DECAY, u], 1.0
    )
    leaf[AMMONIA_CAPACITY, i], leaf[NITRITE_CAPACITY, i] = found[0], found[1]
    unit[NEXT_AMMONIA_FILM, u], unit[NEXT_NITRITE_FILM, u] = found[2], found[3]


@jitable
def film_growth(unit: FloatArray, column: int, tan: float, nitrite: float) -> tuple[float, float]:
    """Growth of a unit's ammonia and nitrite oxidizers on their food in today's water. [1/day]"""
    hinders, hinders_more = tan / _AMMONIA_HINDERED, tan / _NITRITE_HINDERED
    hinders, hinders_more = hinders * hinders, hinders_more * hinders_more
    return (
        unit[WELL_FED_AMMONIA, column] * tan / ((_HALF_TAN + tan) * (1.0 + hinders * hinders)),
        unit[WELL_FED_NITRITE, column] * nitrite / ((_HALF_NITRITE + nitrite) * (1.0 + hinders_more * hinders_more)),
    )


@jitable
def film_step(
    unit: FloatArray, column: int, ammonia_film: float, nitrite_film: float, tan: float, nitrite: float, decay: float,
    days: float,
) -> tuple[float, float, float, float]:  # fmt: skip
    """Capacity of a unit's films for ammonia and nitrite over a step [g/day], and the films at its end."""
    growth = film_growth(unit, column, tan, nitrite)
    mean, end = logistic_step(ammonia_film, growth[0], decay, days)
    nitrite_mean, nitrite_end = logistic_step(nitrite_film, growth[1], decay, days)
    surface = unit[SURFACE, column]
    return (
        surface * mean, NITRITE_PER_AMMONIA_RATE * surface * nitrite_mean,
        min(max(end, SEED), 1.0), min(max(nitrite_end, SEED), 1.0),
    )  # fmt: skip


@jitable
def mark_moving(given: Given, state: State) -> bool:
    """Mark the loops whose nitrogen one step a day is too coarse for; whether there is any.

    Keeps by how much one step of the day moves TAN and nitrite.
    """
    leaf, sump, loop_of = state.leaf, state.sump, given.loop_of
    for k in range(sump.shape[1]):
        sump[IS_MOVING, k] = 0.0
    found = False
    for i in range(loop_of.size):
        tan, nitrite = leaf[NEW_TAN, i] - leaf[TAN, i], leaf[NEW_NITRITE, i] - leaf[NITRITE, i]
        if abs(tan - leaf[TAN_MOVE, i]) > max(BEND_MG_L, BEND_SHARE * leaf[NEW_TAN, i]) or abs(
            nitrite - leaf[NITRITE_MOVE, i]
        ) > max(BEND_MG_L, BEND_SHARE * leaf[NEW_NITRITE, i]):
            sump[IS_MOVING, loop_of[i]] = 1.0
            found = True
        leaf[TAN_MOVE, i], leaf[NITRITE_MOVE, i] = tan, nitrite
    return found


@jitable
def fine_nitrogen(given: Given, state: State, fine: Fine, day: int) -> None:
    """Do the day's nitrogen again in two and in three steps in the loops that move fast, and extrapolate.

    Where a level would come out below zero the day in three steps stands instead.
    """
    sump = state.sump
    _in_steps(given, state, fine, day, 2)
    _in_steps(given, state, fine, day, 3)
    for k in range(sump.shape[1]):
        if sump[IS_MOVING, k] > 0.0:
            _extrapolate(given, state, fine, k)


@jitable
def _in_steps(given: Given, state: State, steps_of: Fine, day: int, steps: int) -> None:
    """The day's nitrogen in two or three steps."""
    leaf, unit, sump, unit_today = state.leaf, state.unit, state.sump, given.unit_day[day]
    loop_of = given.loop_of
    fine, fine_sump, film = steps_of.leaf[steps - 2], steps_of.sump[steps - 2], steps_of.film[steps - 2]
    tanks, days = loop_of.size - unit.shape[1], 1.0 / steps
    for i in range(loop_of.size):
        fine[FINE_TAN, i], fine[FINE_NITRITE, i] = leaf[TAN, i], leaf[NITRITE, i]
        fine[FINE_NITRIFIED, i], fine[FINE_OXIDIZED, i] = 0.0, 0.0
        fine[STEP_AMMONIA, i], fine[STEP_NITRITE, i] = 0.0, 0.0
    for k in range(sump.shape[1]):
        fine_sump[FINE_SUMP_TAN, k], fine_sump[FINE_SUMP_NITRITE, k] = sump[SUMP_TAN, k], sump[SUMP_NITRITE, k]
        fine_sump[FINE_TAN_OUT, k], fine_sump[FINE_NITRITE_OUT, k] = 0.0, 0.0
    for u in range(unit.shape[1]):
        film[0, u], film[1, u] = unit[AMMONIA_FILM, u], unit[NITRITE_FILM, u]
    for _ in range(steps):
        for u in range(unit.shape[1]):
            i = tanks + u
            found = film_step(
                unit, u, film[0, u], film[1, u], fine[FINE_TAN, i], fine[FINE_NITRITE, i],
                unit_today[DECAY, u], days,
            )  # fmt: skip
            fine[STEP_AMMONIA, i], fine[STEP_NITRITE, i], film[0, u], film[1, u] = found
        _nitrogen_step(given, state, fine, fine_sump, steps)


@jitable
def _nitrogen_step(given: Given, state: State, fine: FloatArray, fine_sump: FloatArray, steps: int) -> None:
    """TAN, then nitrite, over one of so many equal steps of the day."""
    loop_of, vessel, loop, leaf, sump = given.loop_of, given.leaf, given.loop, state.leaf, state.sump
    leaf, sump, days = leaf, sump, 1.0 / steps
    for i in range(loop_of.size):
        leaf[GAIN_ROW, i] = vessel[VOLUME, i] * steps + vessel[FLOW, i]
        leaf[LOAD_ROW, i] = vessel[VOLUME, i] * steps * fine[FINE_TAN, i] + leaf[FISH_TAN, i]
    for k in range(sump.shape[1]):
        store = loop[SUMP_VOLUME, k] * steps
        sump[SUMP_GAIN_ROW, k] = store + loop[RETURNED, k] + sump[OUTFLOW, k]
        sump[SUMP_LOAD_ROW, k] = store * fine_sump[FINE_SUMP_TAN, k] + sump[UREA, k] + sump[SUMP_AMMONIA, k]
    balance_removal(
        leaf[GAIN_ROW], leaf[LOAD_ROW], vessel[FLOW], sump[SUMP_GAIN_ROW], sump[SUMP_LOAD_ROW], loop_of,
        fine[STEP_AMMONIA], HALF_SATURATION_TAN_MG_L, fine[FINE_TAN], fine_sump[FINE_SUMP_TAN], fine[STEP_REMOVED],
    )  # fmt: skip
    for i in range(loop_of.size):
        fine[FINE_NITRIFIED, i] += days * fine[STEP_REMOVED, i]
        leaf[LOAD_ROW, i] = vessel[VOLUME, i] * steps * fine[FINE_NITRITE, i] + fine[STEP_REMOVED, i]
    for k in range(sump.shape[1]):
        sump[SUMP_LOAD_ROW, k] = loop[SUMP_VOLUME, k] * steps * fine_sump[FINE_SUMP_NITRITE, k]
    balance_removal(
        leaf[GAIN_ROW], leaf[LOAD_ROW], vessel[FLOW], sump[SUMP_GAIN_ROW], sump[SUMP_LOAD_ROW], loop_of,
        fine[STEP_NITRITE], HALF_SATURATION_NITRITE_MG_L, fine[FINE_NITRITE], fine_sump[FINE_SUMP_NITRITE],
        fine[STEP_REMOVED],
    )  # fmt: skip
    for i in range(loop_of.size):
        fine[FINE_OXIDIZED, i] += days * fine[STEP_REMOVED, i]
    for k in range(sump.shape[1]):
        fine_sump[FINE_TAN_OUT, k] += days * sump[OUTFLOW, k] * fine_sump[FINE_SUMP_TAN, k]
        fine_sump[FINE_NITRITE_OUT, k] += days * sump[OUTFLOW, k] * fine_sump[FINE_SUMP_NITRITE, k]


@jitable
def _extrapolate(given: Given, state: State, fine: Fine, k: int) -> None:
    """Put the fine day of loop ``k`` in the place of the coarse one."""
    loop_of, leaf, unit, sump = given.loop_of, state.leaf, state.unit, state.sump
    leaf, sump, halves, thirds = leaf, sump, fine.leaf[0], fine.leaf[1]
    half_sump, third_sump = fine.sump[0], fine.sump[1]
    tanks = loop_of.size - unit.shape[1]
    lowest = 0.0
    for coarse, row in _SUMP_PAIRS:
        lowest = min(lowest, extrapolated(sump[coarse, k], half_sump[row, k], third_sump[row, k]))
    for i in range(loop_of.size):
        if loop_of[i] == k:
            for coarse, row in _LEAF_PAIRS:
                lowest = min(lowest, extrapolated(leaf[coarse, i], halves[row, i], thirds[row, i]))
    is_sound = lowest >= 0.0
    for coarse, row in _SUMP_PAIRS:
        best = extrapolated(sump[coarse, k], half_sump[row, k], third_sump[row, k])
        sump[coarse, k] = best if is_sound else third_sump[row, k]
    for i in range(loop_of.size):
        if loop_of[i] != k:
            continue
        for coarse, row in _LEAF_PAIRS:
            best = extrapolated(leaf[coarse, i], halves[row, i], thirds[row, i])
            leaf[coarse, i] = best if is_sound else thirds[row, i]
        leaf[TAN_MOVE, i] = leaf[NEW_TAN, i] - leaf[TAN, i]
        leaf[NITRITE_MOVE, i] = leaf[NEW_NITRITE, i] - leaf[NITRITE, i]
        if i >= tanks:
            u = i - tanks
            for which in range(2):
                row = NEXT_AMMONIA_FILM + which
                one, two, three = unit[row, u], fine.film[0, which, u], fine.film[1, which, u]
                best = extrapolated(one, two, three) if is_sound else three
                unit[row, u] = min(max(best, SEED), 1.0)
