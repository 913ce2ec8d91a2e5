"""The films of beds, biofilters and tank walls through a day: what they nitrify, and how they grow with it."""

from __future__ import annotations

import math

from stocksim.compiled import jitable
from stocksim.engine.days.rows import *
from stocksim.water.alkalinity import alkalinity_limited
from stocksim.water.loop import balance_removal, removal_level
from stocksim.water.maturity import HALF_ALKALINITY_MG_L, OXIDIZERS, SEED, equilibrium_maturity, wintered_maturity
from stocksim.water.nitrification import HALF_SATURATION_OXYGEN_MG_L, HALF_SATURATION_TAN_MG_L, oxygen_share
from stocksim.water.nitrite import HALF_SATURATION_NITRITE_MG_L, NITRITE_PER_AMMONIA_RATE
from stocksim.water.solids import ALKALINITY_PER_NITRATE_NITROGEN
from stocksim.water.steps import extrapolated, logistic_step

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
# A test makes a film this many times as strong at least, as a new film is of a full one, and at most (assumed): one
# kit that reads too low shall not make a grown film of a young one. Less than this a home kit does not tell from
# nothing
# (assumed), so that such a test makes no film weaker. [mg/L N]
WEAKEST_BY_TEST, STRONGEST_BY_TEST, LEAST_TESTED_MG_L = 0.001, 5.0, 0.05
_HALVINGS, _SAME = 60, 1e-9


@jitable
def film_oxygen(now: Now) -> None:
    """What the films' surfaces could nitrify today with the oxygen that reaches them. [g/day]

    Walls lie in the water of the tank, of which they use little: what fish left of its oxygen last evening counts.
    """
    leaf, loop_of, loop = now.leaf, now.loop_of, now.loop
    tanks = loop_of.size - now.unit.shape[1]
    for i in range(loop_of.size):
        whole = leaf[FILM_CAPACITY, i]
        leaf[WORKING, i] = 0.0
        if i < tanks:
            leaf[WORKING, i] = whole * leaf[OXYGEN, i] / (HALF_SATURATION_OXYGEN_MG_L + leaf[OXYGEN, i])
        elif whole > 0.0:
            flow = leaf[FLOW, i]
            brought = leaf[OXYGEN_BROUGHT, i] + flow * loop[SUMP_OXYGEN, loop_of[i]]
            exchange = flow + leaf[OXYGEN_EXCHANGE, i]
            leaf[WORKING, i] = whole * oxygen_share(whole * leaf[GROWN, i], leaf[TAN, i], exchange, brought)


@jitable
def film_morning(now: Now) -> None:
    """What the films can do today, from the water the night left and the alkalinity that the day will have.

    Fish are taken to excrete what they would in the morning's water, crops and sediment to take as much as yesterday.
    """
    leaf, loop_of, loop = now.leaf, now.loop_of, now.loop
    tanks = loop_of.size - now.unit.shape[1]
    for k in range(loop.shape[1]):
        working, ammonia = 0.0, loop[SUMP_TAN, k] * loop[SUMP_VOLUME, k]
        free = 0.0
        freed = loop[UREA, k] + loop[FREED_N, k]
        for i in range(loop_of.size):
            if loop_of[i] == k:
                working += leaf[WORKING, i] * leaf[GROWN, i]
                ammonia += leaf[TAN, i] * leaf[VOLUME, i]
                freed += leaf[FISH_TAN, i]
                if i < tanks:
                    free = max(free, leaf[TOXIC_SHARE, i])
        held = loop[HELD_ALKALINITY, k] + loop[DOSE, k] + loop[TOP_UP, k] * loop[SOURCE + ALKALINITY, k]
        held += ALKALINITY_PER_NITRATE_NITROGEN * freed + loop[NITRATE_ALKALINITY, k]
        available = ammonia + freed + loop[AMMONIA_DOSE, k]
        of_loop, loop[NITRIFIED_BEFORE, k] = alkalinity_limited(
            held, loop[LOOP_WATER, k] + loop[OUTFLOW, k], working, available, loop[NITRIFIED_BEFORE, k]
        )
        for i in range(loop_of.size):
            if loop_of[i] == k:
                leaf[FREE_SHARE, i] = free
                _leaf_morning(leaf, i, of_loop, loop[SUMP_TAN, k])
    correct_films(now)
    for i in range(loop_of.size):
        found = film_step(
            leaf, i, leaf[AMMONIA_FILM, i], leaf[NITRITE_FILM, i], leaf[TAN, i], leaf[NITRITE, i], leaf[DECAY, i], 1.0
        )
        leaf[AMMONIA_CAPACITY, i], leaf[NITRITE_CAPACITY, i] = found[0], found[1]
        leaf[NEXT_AMMONIA_FILM, i], leaf[NEXT_NITRITE_FILM, i] = found[2], found[3]


@jitable
def _leaf_morning(leaf: FloatArray, i: int, loop_alkalinity: float, sump_tan: float) -> None:
    """Alkalinity that a leaf ends the day with, and what a whole film could do at that."""
    volume, flow, freed = leaf[VOLUME, i], leaf[FLOW, i], leaf[FISH_TAN, i]
    held = volume * leaf[ALKALINITY, i] + flow * loop_alkalinity + ALKALINITY_PER_NITRATE_NITROGEN * freed
    left, leaf[FILM_NITRIFIED_BEFORE, i] = alkalinity_limited(
        held, volume + flow, leaf[WORKING, i] * leaf[GROWN, i], volume * leaf[TAN, i] + flow * sump_tan + freed,
        leaf[FILM_NITRIFIED_BEFORE, i],
    )  # fmt: skip
    buffered = left / (HALF_ALKALINITY_MG_L + left)
    air = leaf[OXYGEN, i]
    leaf[WELL_FED_AMMONIA, i] = leaf[AMMONIA_GROWTH, i] * (air / (_AMMONIA_HALF_OXYGEN + air)) * buffered
    leaf[WELL_FED_NITRITE, i] = leaf[NITRITE_GROWTH, i] * (air / (_NITRITE_HALF_OXYGEN + air)) * buffered
    leaf[SURFACE, i] = leaf[WORKING, i] * buffered
    if math.isnan(leaf[AMMONIA_FILM, i]) or math.isnan(leaf[NITRITE_FILM, i]):
        still = film_growth(leaf, i, MATURE_FOOD_MG_L, MATURE_FOOD_MG_L)
        asleep = wintered_maturity(leaf[DECAY, i])
        if math.isnan(leaf[AMMONIA_FILM, i]):
            leaf[AMMONIA_FILM, i] = max(equilibrium_maturity(still[0], leaf[DECAY, i]), asleep)
        if math.isnan(leaf[NITRITE_FILM, i]):
            leaf[NITRITE_FILM, i] = max(equilibrium_maturity(still[1], leaf[DECAY, i]), asleep)


@jitable
def correct_films(now: Now) -> None:
    """Set the films of the loops that were tested this morning to what the tests tell of them."""
    loop = now.loop
    for k in range(loop.shape[1]):
        for which in range(2):
            loop[AMMONIA_FILM_FROM + which, k], loop[AMMONIA_FILM_TO + which, k] = 0.0, 0.0
            loop[AMMONIA_FILM_BOUND + which, k] = 0.0
            if not math.isnan(loop[TESTED_TAN + which, k]) and _tells_of_films(now, k, which):
                _correct_film(now, k, which)


@jitable
def _tells_of_films(now: Now, k: int, which: int) -> bool:
    """Whether a test of loop ``k`` tells how strong its films are.

    It does while fish feed them, today and yesterday. On the first morning nothing stands beside it: then it does where
    the films are mature, so that the loop is taken to be at rest.
    """
    leaf, loop_of, loop = now.leaf, now.loop_of, now.loop
    is_first, tanks = math.isnan(loop[WAS_TAN + which, k]), loop_of.size - now.unit.shape[1]
    given, surface = 0.0, 0.0
    for i in range(loop_of.size):
        if loop_of[i] != k:
            continue
        if i < tanks:
            given += leaf[FISH_TAN, i]
        else:
            surface += leaf[SURFACE, i]
            if is_first and not math.isnan(leaf[START_AMMONIA_FILM + which, i]):
                return False
    if loop[AMMONIA_DOSE, k] > 0.0 or not given > 0.0 or not surface > 0.0:
        return False
    return is_first or loop[FISH_TAN_WAS, k] > 0.0


@jitable
def _correct_film(now: Now, k: int, which: int) -> None:
    """Make the ammonia (0) or nitrite oxidizers (1) of a loop so strong that its balance agrees with a test.

    The loop is taken to produce, and its level to move, as reckoned: at the tested level films and outflow together
    take what they took at the level that the test overrules. On the first morning they take the day's load.
    """
    leaf, loop_of, loop = now.leaf, now.loop_of, now.loop
    outflow = loop[DRAWN_OFF, k] + loop[OVERFLOW, k]  # a water change of today comes after the test
    tested, was = loop[TESTED_TAN + which, k], loop[WAS_TAN + which, k]
    _make_food(now, k, which, outflow)
    if math.isnan(was):
        arriving, taken = _at_rest(now, k, which, outflow)
    else:
        before = loop[SUMP_WAS_TAN + which, k]
        arriving = max(before + tested - was, min(before, LEAST_TESTED_MG_L))
        taken = _film_takes(now, k, which, 1.0, before) + outflow * before
    needed = taken - outflow * arriving
    is_told = tested > LEAST_TESTED_MG_L
    low, high = WEAKEST_BY_TEST if is_told else 1.0, STRONGEST_BY_TEST
    if _film_takes(now, k, which, low, arriving) > needed * (1.0 + _SAME):
        high, loop[AMMONIA_FILM_BOUND + which, k] = low, -1.0 if is_told else 0.0
    elif _film_takes(now, k, which, high, arriving) < needed * (1.0 - _SAME):
        low, loop[AMMONIA_FILM_BOUND + which, k] = high, 1.0
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        if _film_takes(now, k, which, middle, arriving) < needed:
            low = middle
        else:
            high = middle
    whole, old, new = 0.0, 0.0, 0.0
    for i in range(loop_of.size - now.unit.shape[1], loop_of.size):
        if loop_of[i] == k:
            film, surface = leaf[AMMONIA_FILM + which, i], leaf[SURFACE, i]
            leaf[AMMONIA_FILM + which, i] = min(max(high * film, SEED), 1.0)
            whole += surface
            old += surface * film
            new += surface * leaf[AMMONIA_FILM + which, i]
    loop[AMMONIA_FILM_FROM + which, k], loop[AMMONIA_FILM_TO + which, k] = old / whole, new / whole


@jitable
def _make_food(now: Now, k: int, which: int, outflow: float) -> None:
    """Nitrite that is made in each unit itself, beside the oxidizers that take it, into ``REMOVED_ROW``. [g/day]

    By the ammonia oxidizers at the sump's level; on the first morning, which has none, they share the day's load.
    """
    leaf, loop_of, loop = now.leaf, now.loop_of, now.loop
    tanks, whole = loop_of.size - now.unit.shape[1], 0.0
    is_first = math.isnan(loop[WAS_TAN + which, k])
    for i in range(tanks, loop_of.size):
        if loop_of[i] == k:
            leaf[REMOVED_ROW, i] = 0.0
            if which == 1 and leaf[FLOW, i] > 0.0:
                capacity = leaf[SURFACE, i] * leaf[AMMONIA_FILM, i]
                level = removal_level(
                    loop[SUMP_TAN, k], leaf[FLOW, i], 0.0, leaf[FLOW, i], capacity, HALF_SATURATION_TAN_MG_L
                )[0]
                share = 1.0 if is_first else level / (HALF_SATURATION_TAN_MG_L + level)
                leaf[REMOVED_ROW, i] = capacity * share
                whole += capacity
    if which == 1 and is_first and whole > 0.0:
        brought = max(_at_rest(now, k, which, outflow)[1], 0.0) / whole
        for i in range(tanks, loop_of.size):
            if loop_of[i] == k:
                leaf[REMOVED_ROW, i] *= brought


@jitable
def _at_rest(now: Now, k: int, which: int, outflow: float) -> tuple[float, float]:
    """Level that reaches the films of a loop at rest at what was tested [mg/L], and what its day brings. [g/day]"""
    leaf, loop_of, loop = now.leaf, now.loop_of, now.loop
    given, flow = 0.0, 0.0
    for i in range(loop_of.size - now.unit.shape[1]):
        if loop_of[i] == k:
            given += leaf[FISH_TAN, i]
            flow += leaf[FLOW, i]
    brought = given + loop[UREA, k] + loop[SUMP_AMMONIA, k]
    if which == 1:
        return max(loop[TESTED_NITRITE, k], LEAST_TESTED_MG_L), brought - outflow * loop[SUMP_TAN, k]
    # tanks stand above the sump by what their fish add
    return max(loop[TESTED_TAN, k] - (given / flow if flow > 0.0 else 0.0), LEAST_TESTED_MG_L), brought


@jitable
def _film_takes(now: Now, k: int, which: int, factor: float, arriving: float) -> float:
    """What the films of a loop, so many times as strong, take a day of water that reaches them at a level. [g/day]"""
    leaf, loop_of, taken = now.leaf, now.loop_of, 0.0
    half = HALF_SATURATION_TAN_MG_L if which == 0 else HALF_SATURATION_NITRITE_MG_L
    rate = 1.0 if which == 0 else NITRITE_PER_AMMONIA_RATE
    for i in range(loop_of.size - now.unit.shape[1], loop_of.size):
        flow = leaf[FLOW, i]
        if loop_of[i] == k and flow > 0.0:
            capacity = rate * leaf[SURFACE, i] * min(max(factor * leaf[AMMONIA_FILM + which, i], SEED), 1.0)
            level = removal_level(arriving, flow, leaf[REMOVED_ROW, i], flow, capacity, half)[0]
            taken += capacity * level / (half + level)
    return taken


@jitable
def film_growth(leaf: FloatArray, column: int, tan: float, nitrite: float) -> tuple[float, float]:
    """Growth of a leaf's ammonia and nitrite oxidizers on their food in today's water. [1/day]"""
    free = tan * leaf[FREE_SHARE, column]
    return (
        leaf[WELL_FED_AMMONIA, column] * tan / ((_HALF_TAN + tan) * (1.0 + free / _AMMONIA_HINDERED)),
        leaf[WELL_FED_NITRITE, column] * nitrite / ((_HALF_NITRITE + nitrite) * (1.0 + free / _NITRITE_HINDERED)),
    )


@jitable
def film_step(
    leaf: FloatArray, column: int, ammonia_film: float, nitrite_film: float, tan: float, nitrite: float, decay: float,
    days: float,
) -> tuple[float, float, float, float]:  # fmt: skip
    """Capacity of a leaf's films for ammonia and nitrite over a step [g/day], and the films at its end."""
    growth = film_growth(leaf, column, tan, nitrite)
    mean, end = logistic_step(ammonia_film, growth[0], decay, days)
    nitrite_mean, nitrite_end = logistic_step(nitrite_film, growth[1], decay, days)
    surface = leaf[SURFACE, column]
    return (
        surface * mean, NITRITE_PER_AMMONIA_RATE * surface * nitrite_mean,
        min(max(end, SEED), 1.0), min(max(nitrite_end, SEED), 1.0),
    )  # fmt: skip


@jitable
def mark_moving(now: Now) -> bool:
    """Mark the loops whose nitrogen one step a day is too coarse for; whether there is any.

    Keeps by how much one step of the day moves TAN and nitrite.
    """
    leaf, loop_of, loop = now.leaf, now.loop_of, now.loop
    for k in range(loop.shape[1]):
        loop[IS_MOVING, k] = 0.0
    found = False
    for i in range(loop_of.size):
        tan, nitrite = leaf[NEW_TAN, i] - leaf[TAN, i], leaf[NEW_NITRITE, i] - leaf[NITRITE, i]
        if abs(tan - leaf[TAN_MOVE, i]) > max(BEND_MG_L, BEND_SHARE * leaf[NEW_TAN, i]) or abs(
            nitrite - leaf[NITRITE_MOVE, i]
        ) > max(BEND_MG_L, BEND_SHARE * leaf[NEW_NITRITE, i]):
            loop[IS_MOVING, loop_of[i]] = 1.0
            found = True
        leaf[TAN_MOVE, i], leaf[NITRITE_MOVE, i] = tan, nitrite
    return found


@jitable
def fine_nitrogen(now: Now) -> None:
    """Do the day's nitrogen again in two and in three steps in the loops that move fast, and extrapolate.

    Where a level would come out below zero the day in three steps stands instead.
    """
    leaf, loop = now.leaf, now.loop
    for i in range(leaf.shape[1]):
        leaf[OXYGEN_SLOPE, i], leaf[TAN_SLOPE, i] = 0.0, 0.0  # what fish eat is settled
    _in_steps(now, 2)
    _in_steps(now, 3)
    for k in range(loop.shape[1]):
        if loop[IS_MOVING, k] > 0.0:
            _extrapolate(now, k)


@jitable
def _in_steps(now: Now, steps: int) -> None:
    """The day's nitrogen in two or three steps."""
    leaf, loop_of, loop = now.leaf, now.loop_of, now.loop
    block, sump_block = LEAF_STEPS + (steps - 1) * LEAF_BLOCK, LOOP_STEPS + (steps - 1) * LOOP_BLOCK
    film, other = block + STEP_AMMONIA_FILM, block + STEP_NITRITE_FILM
    begin_steps(now, block, sump_block)
    for i in range(loop_of.size):
        leaf[block + STEP_TAN, i], leaf[block + STEP_NITRITE, i] = leaf[TAN, i], leaf[NITRITE, i]
        leaf[film, i], leaf[other, i] = leaf[AMMONIA_FILM, i], leaf[NITRITE_FILM, i]
    for k in range(loop.shape[1]):
        loop[sump_block + STEP_SUMP_TAN, k] = loop[SUMP_TAN, k]
        loop[sump_block + STEP_SUMP_NITRITE, k] = loop[SUMP_NITRITE, k]
    for _ in range(steps):
        for i in range(loop_of.size):
            found = film_step(
                leaf, i, leaf[film, i], leaf[other, i], leaf[block + STEP_TAN, i], leaf[block + STEP_NITRITE, i],
                leaf[DECAY, i], 1.0 / steps,
            )  # fmt: skip
            leaf[block + STEP_AMMONIA_CAPACITY, i], leaf[block + STEP_NITRITE_CAPACITY, i] = found[0], found[1]
            leaf[film, i], leaf[other, i] = found[2], found[3]
        nitrogen_step(now, steps, block, sump_block, block + STEP_TAN, sump_block + STEP_SUMP_TAN)


@jitable
def begin_steps(now: Now, block: int, sump_block: int) -> None:
    """Nothing is nitrified yet, and nothing has left, in a block of rows."""
    leaf, loop = now.leaf, now.loop
    for i in range(leaf.shape[1]):
        leaf[block + STEP_NITRIFIED, i], leaf[block + STEP_OXIDIZED, i] = 0.0, 0.0
    for k in range(loop.shape[1]):
        loop[sump_block + STEP_TAN_OUT, k], loop[sump_block + STEP_NITRITE_OUT, k] = 0.0, 0.0


@jitable
def nitrogen_step(now: Now, steps: int, block: int, sump_block: int, before: int, sump_before: int) -> None:
    """TAN, then nitrite when so much ammonia is nitrified, over one of so many equal steps of the day.

    Goes from the levels in the rows ``before`` and the next (of the sumps ``sump_before``) to those of a block, which
    hold the first guess of the sumps. While feed settles what fish eat less where TAN is higher goes in as their slope.
    """
    leaf, loop_of, loop = now.leaf, now.loop_of, now.loop
    days = 1.0 / steps
    for i in range(loop_of.size):
        store, slope = leaf[VOLUME, i] * steps, leaf[TAN_SLOPE, i]
        leaf[GAIN_ROW, i] = store + leaf[FLOW, i] - slope
        leaf[LOAD_ROW, i] = store * leaf[before, i] + leaf[FISH_TAN, i] - slope * leaf[TAN_GUESS, i]
    for k in range(loop.shape[1]):
        store = loop[SUMP_VOLUME, k] * steps
        loop[SUMP_GAIN_ROW, k] = store + loop[RETURNED, k] + loop[OUTFLOW, k]
        loop[SUMP_LOAD_ROW, k] = store * loop[sump_before, k] + loop[SUMP_AMMONIA, k] + loop[UREA, k]
    balance_removal(
        leaf[GAIN_ROW], leaf[LOAD_ROW], leaf[FLOW], loop[SUMP_GAIN_ROW], loop[SUMP_LOAD_ROW], loop_of,
        leaf[block + STEP_AMMONIA_CAPACITY], HALF_SATURATION_TAN_MG_L, leaf[block + STEP_TAN],
        loop[sump_block + STEP_SUMP_TAN], leaf[REMOVED_ROW],
    )  # fmt: skip
    for i in range(loop_of.size):
        store = leaf[VOLUME, i] * steps
        leaf[block + STEP_NITRIFIED, i] += days * leaf[REMOVED_ROW, i]
        leaf[GAIN_ROW, i] = store + leaf[FLOW, i]
        leaf[LOAD_ROW, i] = store * leaf[before + 1, i] + leaf[REMOVED_ROW, i]
    for k in range(loop.shape[1]):
        loop[SUMP_LOAD_ROW, k] = loop[SUMP_VOLUME, k] * steps * loop[sump_before + 1, k]
    balance_removal(
        leaf[GAIN_ROW], leaf[LOAD_ROW], leaf[FLOW], loop[SUMP_GAIN_ROW], loop[SUMP_LOAD_ROW], loop_of,
        leaf[block + STEP_NITRITE_CAPACITY], HALF_SATURATION_NITRITE_MG_L, leaf[block + STEP_NITRITE],
        loop[sump_block + STEP_SUMP_NITRITE], leaf[REMOVED_ROW],
    )  # fmt: skip
    for i in range(loop_of.size):
        leaf[block + STEP_OXIDIZED, i] += days * leaf[REMOVED_ROW, i]
    for k in range(loop.shape[1]):
        out = days * loop[OUTFLOW, k]
        loop[sump_block + STEP_TAN_OUT, k] += out * loop[sump_block + STEP_SUMP_TAN, k]
        loop[sump_block + STEP_NITRITE_OUT, k] += out * loop[sump_block + STEP_SUMP_NITRITE, k]


@jitable
def _best(table: FloatArray, first: int, rows: int, row: int, column: int) -> float:
    """End of the day by the three blocks of a table."""
    one, two = table[first + row, column], table[first + rows + row, column]
    return extrapolated(one, two, table[first + 2 * rows + row, column])


@jitable
def _extrapolate(now: Now, k: int) -> None:
    """Put the fine day of loop ``k`` in the place of the coarse one."""
    leaf, loop_of, loop = now.leaf, now.loop_of, now.loop
    lowest = 0.0
    for row in range(LOOP_BLOCK):
        lowest = min(lowest, _best(loop, LOOP_STEPS, LOOP_BLOCK, row, k))
    for i in range(loop_of.size):
        if loop_of[i] == k:
            for row in range(STEP_AMMONIA_CAPACITY):
                lowest = min(lowest, _best(leaf, LEAF_STEPS, LEAF_BLOCK, row, i))
    is_sound = lowest >= 0.0
    for row in range(LOOP_BLOCK):
        best = _best(loop, LOOP_STEPS, LOOP_BLOCK, row, k)
        loop[LOOP_STEPS + row, k] = best if is_sound else loop[LOOP_STEPS + 2 * LOOP_BLOCK + row, k]
    for i in range(loop_of.size):
        if loop_of[i] != k:
            continue
        for row in range(STEP_AMMONIA_CAPACITY):
            best = _best(leaf, LEAF_STEPS, LEAF_BLOCK, row, i)
            leaf[LEAF_STEPS + row, i] = best if is_sound else leaf[LEAF_STEPS + 2 * LEAF_BLOCK + row, i]
        leaf[TAN_MOVE, i] = leaf[NEW_TAN, i] - leaf[TAN, i]
        leaf[NITRITE_MOVE, i] = leaf[NEW_NITRITE, i] - leaf[NITRITE, i]
        for row in (STEP_AMMONIA_FILM, STEP_NITRITE_FILM):
            best = _best(leaf, LEAF_STEPS, LEAF_BLOCK, row, i)
            best = best if is_sound else leaf[LEAF_STEPS + 2 * LEAF_BLOCK + row, i]
            leaf[LEAF_STEPS + row, i] = min(max(best, SEED), 1.0)
