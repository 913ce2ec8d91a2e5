"""Fish through a day: events of the morning, appetite, eating, growing, dying, and the waste they leave."""

from __future__ import annotations

import math

from stocksim.compiled import jitable
from stocksim.engine.days.hunting import be_swallowed
from stocksim.engine.days.rows import *
from stocksim.fish.appetite import ammonia_appetite, oxygen_appetite
from stocksim.fish.energetics import (
    AMMONIA_SHARE_OF_EXCRETION,
    NON_FAECAL_LOSS_SHARE,
    OXYCALORIFIC_KJ_G,
    PROTEIN_PER_NITROGEN,
    day_budget,
    day_needs,
)
from stocksim.fish.ration import table_cell
from stocksim.fish.spread import share_holding_mass, split, split_share
from stocksim.fish.survival import condition_hazard, death_hazard
from stocksim.water.nitrite import nitrite_appetite, nitrite_lethal, nitrite_limit

# Body potassium and phosphorus [g/g wet weight], from memory of whole-fish analyses.
BODY_POTASSIUM, BODY_PHOSPHORUS = 0.003, 0.0045
# Share of feed phosphorus that is absorbed, 0.4-0.7 (from memory); the rest goes with the solids.
PHOSPHORUS_DIGESTIBILITY = 0.6
# Feed that wild fish let lie while they learn to take it: half (assumed, no source).
TRAINING_SPILLED_SHARE = 0.5


@jitable
def begin_fish(now: Now) -> None:
    """Put each column's fish of the file into the season."""
    fish = now.fish
    for c in range(fish.shape[1]):
        fish[ALIVE, c] = fish[COUNT, c]
        fish[WEIGHT, c] = fish[GREATEST, c] = fish[START_WEIGHT, c]
        fish[SPARED, c], fish[SPREAD, c] = 0.0, fish[START_SPREAD, c]
        fish[SHARE, c] = 1.0


@jitable
def happen(now: Now, mornings: Mornings, day: int, transfer: FloatArray) -> None:
    """Let the events of a morning happen: number and mass are conserved exactly.

    A part taken by size leaves the rest with its own mean and spread.
    """
    fish = now.fish
    for e in range(mornings.event.shape[0]):
        if mornings.event[e, EVENT_DAY] != day:
            continue
        kind = mornings.event[e, EVENT_KIND]
        if kind == CARRY:
            _carry(fish, mornings.event[e], transfer[e])
        elif kind == GRADE:
            _grade(fish, mornings.event[e], mornings.amount[e], transfer[e])
        elif kind == TAKE:
            _take(fish, mornings.event[e], mornings.amount[e], transfer[e])
        elif kind == ADD:
            _add(fish, mornings.event[e], mornings.amount[e], transfer[e])
        else:
            _find(fish, mornings.event[e], mornings.amount[e], transfer[e])


@jitable
def _tell(transfer: FloatArray, went: float, mass: float, asked: float, had: float) -> None:
    transfer[WENT], transfer[WENT_MASS], transfer[ASKED], transfer[HAD] = went, mass, asked, had


@jitable
def _carry(fish: FloatArray, event: IntArray, transfer: FloatArray) -> None:
    """All fish of a column go on in another."""
    source, target = event[EVENT_SOURCE], event[EVENT_TARGET]
    moved = fish[ALIVE, source]
    _tell(transfer, moved, moved * fish[WEIGHT, source], math.nan, moved)
    for row in (ALIVE, WEIGHT, GREATEST, SPARED, SPREAD):
        fish[row, target] = fish[row, source]
    fish[ALIVE, source] = 0.0


@jitable
def _grade(fish: FloatArray, event: IntArray, amount: FloatArray, transfer: FloatArray) -> None:
    """The larger fish of a column become another."""
    source, target = event[EVENT_SOURCE], event[EVENT_TARGET]
    there = fish[ALIVE, source]
    parts = _by_size(fish[WEIGHT, source], fish[SPREAD, source], amount)
    _set(fish, target, source, there * parts.share_above, parts.mean_above_g, parts.cv_above)
    _set(fish, source, source, there * parts.share_below, parts.mean_below_g, parts.cv_below)
    _tell(transfer, fish[ALIVE, target], fish[ALIVE, target] * fish[WEIGHT, target], math.nan, there)


@jitable
def _take(fish: FloatArray, event: IntArray, amount: FloatArray, transfer: FloatArray) -> None:
    """Fish leave for good."""
    column, which = event[EVENT_SOURCE], event[EVENT_WHICH]
    there, weight, spread = fish[ALIVE, column], fish[WEIGHT, column], fish[SPREAD, column]
    if not math.isnan(amount[EVENT_ABOVE]):
        parts = split(weight, spread, amount[EVENT_ABOVE])
        taken = there * parts.share_above
        _set(fish, column, column, there * parts.share_below, parts.mean_below_g, parts.cv_below)
        _tell(transfer, taken, taken * parts.mean_above_g, math.nan, there)
        return
    had, asked = there, amount[EVENT_FISH]
    if not math.isnan(amount[EVENT_WEIGHT]):
        had, asked = there * weight, amount[EVENT_WEIGHT]
    share = amount[EVENT_SHARE]
    if math.isnan(share):
        # all where there is less than was asked for
        share = min(asked / had, 1.0) if had > 0.0 else 1.0
    if not math.isnan(amount[EVENT_WEIGHT]):
        share = _number_share(share, spread, which)
    taken = there * share
    left = there - taken
    if which == ANY:
        fish[ALIVE, column] = left
        _tell(transfer, taken, taken * weight, asked, had)
        return
    parts = split_share(weight, spread, share if which == LARGEST else 1.0 - share)
    mean, rest = (parts.mean_below_g, parts.cv_below) if which == LARGEST else (parts.mean_above_g, parts.cv_above)
    _set(fish, column, column, left, mean if left > 0.0 else weight, rest)
    # what is taken is what the rest lacks, so that mass is conserved to rounding
    _tell(transfer, taken, there * weight - left * fish[WEIGHT, column], asked, had)


@jitable
def _add(fish: FloatArray, event: IntArray, amount: FloatArray, transfer: FloatArray) -> None:
    """More fish come to a column; their spread is the column's."""
    column, count, weight = event[EVENT_TARGET], amount[EVENT_FISH], amount[EVENT_WEIGHT]
    there, mean, spread = fish[ALIVE, column], fish[WEIGHT, column], fish[SPREAD, column]
    number = there + count
    new_mean = (there * mean + count * weight) / number
    squares = (there * mean * mean + count * weight * weight) / number * (1.0 + spread * spread)
    fish[GREATEST, column] = (there * fish[GREATEST, column] + count * weight) / number
    fish[SPARED, column] *= there / number
    fish[SPREAD, column] = math.sqrt(max(squares / (new_mean * new_mean) - 1.0, 0.0))
    fish[WEIGHT, column], fish[ALIVE, column] = new_mean, number
    _tell(transfer, count, count * weight, math.nan, count)


@jitable
def _find(fish: FloatArray, event: IntArray, amount: FloatArray, transfer: FloatArray) -> None:
    """Fish of a column are as many and as heavy as they were found, in the condition that was reckoned."""
    column = event[EVENT_TARGET]
    had, weight = fish[ALIVE, column], fish[WEIGHT, column]
    number = had if math.isnan(amount[EVENT_FISH]) else amount[EVENT_FISH]
    mean = weight if math.isnan(amount[EVENT_WEIGHT]) else amount[EVENT_WEIGHT]
    _set(fish, column, column, number, mean, fish[SPREAD, column])
    _tell(transfer, number - had, number * mean - had * weight, math.nan, had)


@jitable
def _by_size(weight_g: float, spread: float, amount: FloatArray):  # type: ignore[no-untyped-def]
    if math.isnan(amount[EVENT_ABOVE]):
        return split_share(weight_g, spread, amount[EVENT_SHARE])
    return split(weight_g, spread, amount[EVENT_ABOVE])


@jitable
def _number_share(mass_share: float, spread: float, which: int) -> float:
    """Share of the number that holds a share of the mass."""
    if which == LARGEST:
        return share_holding_mass(spread, mass_share)
    if which == SMALLEST:
        return 1.0 - share_holding_mass(spread, 1.0 - mass_share)
    return mass_share


@jitable
def _set(fish: FloatArray, column: int, source: int, number: float, mean: float, spread: float) -> None:
    """Give a column its fish, in the condition of those they came from; one left empty keeps its spread."""
    if number > 0.0:
        fish[SPREAD, column] = spread
    weight = fish[WEIGHT, source]
    greatest, spared = fish[GREATEST, source] / weight * mean, fish[SPARED, source] / weight * mean
    fish[ALIVE, column], fish[WEIGHT, column] = number, mean
    fish[GREATEST, column], fish[SPARED, column] = greatest, spared


@jitable
def wake(now: Now, tables: FeedTables, day: int) -> None:
    """Set the day's appetite, maintenance and rations, at the weight expected at mid-day.

    Nitrite and chloride are those of the morning: they move slowly.
    """
    fish, tank_of, leaf, loop_of, loop = now.fish, now.tank_of, now.leaf, now.loop_of, now.loop
    for c in range(tank_of.size):
        tank = tank_of[c]
        k = loop_of[tank]
        fish[HERE, c] = fish[ALIVE, c] if day >= fish[STOCKED_DAY, c] else 0.0
        fish[BORNE_NITRITE, c] = nitrite_limit(fish[NITRITE_BORNE, c], loop[CHLORIDE, k], fish[IS_PROTECTED, c])
        fish[LETHAL_NITRITE, c] = nitrite_lethal(
            fish[NITRITE_LETHAL, c], fish[TESTED_CHLORIDE, c], loop[CHLORIDE, k], fish[IS_PROTECTED, c],
            fish[BORNE_NITRITE, c],
        )  # fmt: skip
        fish[NITRITE_SHARE, c] = nitrite_appetite(leaf[NITRITE, tank], fish[BORNE_NITRITE, c], fish[LETHAL_NITRITE, c])
        fish[HUNGER, c] = fish[APPETITE, c] * fish[WEIGHT, c] ** fish[INTAKE_EXPONENT, c]
    for c in range(tank_of.size):
        by_appetite = fish[GOES_BY_APPETITE, c] > 0.0
        ramp = loop[RAMP, loop_of[tank_of[c]]]
        ration = fish[RATION, c] * fish[NITRITE_SHARE, c]
        if by_appetite:
            ration *= ramp * fish[FED_SHARE, c]
        expected = ration * fish[SHARE, c]
        fish[OFFERED_EACH, c] = fish[CAP, c] = math.inf
        if not by_appetite:
            fish[OFFERED_EACH, c] = _offered_each(now, tables, c) * fish[FED_SHARE, c] * ramp
            fish[CAP, c] = fish[OFFERED_EACH, c] * (1.0 - fish[SPILLED_SHARE, c])
            expected = min(expected, fish[CAP, c] / fish[HUNGER, c] if fish[HUNGER, c] > 0.0 else 1.0)
        needs = day_needs(
            fish[WEIGHT, c], fish[APPETITE, c], fish[INTAKE_EXPONENT, c], fish[MAINTENANCE, c], expected,
            fish[FEED_ENERGY, c], fish[GROWTH_EFFICIENCY, c], fish[FASTING_LOSS, c], fish[BODY_ENERGY, c], 1.0,
            fish[GREATEST, c],
        )  # fmt: skip
        fish[MOST, c], fish[NEED, c] = needs.appetite_g * ration, needs.maintenance_kj
        fish[SPILLED, c] = fish[SPILLED_SHARE, c] / (1.0 - fish[SPILLED_SHARE, c])
        if fish[IN_TRAINING, c] > 0.0:
            # wild fish that learn to take feed keep their weight at best, and let much of it lie
            fish[SPILLED, c] = max(TRAINING_SPILLED_SHARE / (1.0 - TRAINING_SPILLED_SHARE), fish[SPILLED, c])
            # no more lies there than the rule offers
            offered = min(fish[CAP, c], fish[OFFERED_EACH, c] / (1.0 + fish[SPILLED, c]))
            fish[CAP, c] = min(fish[NEED, c] / fish[FEED_ENERGY, c], offered)


@jitable
def _offered_each(now: Now, tables: FeedTables, column: int) -> float:
    """Feed that an amount rule gives a fish of a column on a day that it feeds. [g/day]

    A tank's amount is shared by appetite among the tank's columns that go by such an amount, what beds ask for among
    those of the loop.
    """
    fish, tank_of, loop_of = now.fish, now.tank_of, now.loop_of
    tank = tank_of[column]
    table = tables.of_column[column]
    offered = 0.0
    if table >= 0:
        rows, columns = tables.size[table, 0], tables.size[table, 1]
        percent = table_cell(
            fish[WEIGHT, column], fish[WATER_C, column], tables.weight[table, :columns],
            tables.temperature[table, :rows], tables.percent[table],
        )  # fmt: skip
        offered = percent / 100.0 * fish[WEIGHT, column]
    by_tank = not math.isnan(fish[TANK_FEED, column])
    by_beds = not math.isnan(fish[BED_LED_FEED, column])
    if by_tank or by_beds:
        together = 0.0
        for other in range(tank_of.size):
            if by_beds:
                shares = loop_of[tank_of[other]] == loop_of[tank] and not math.isnan(fish[BED_LED_FEED, other])
            else:
                shares = tank_of[other] == tank and not math.isnan(fish[TANK_FEED, other])
            if shares:
                together += fish[HUNGER, other] * fish[HERE, other]
        amount = fish[BED_LED_FEED, column] if by_beds else fish[TANK_FEED, column]
        offered = amount * (fish[HUNGER, column] / together) if together > 0.0 else 0.0
    return offered


@jitable
def appetite_in_water(now: Now, oxygen: FloatArray, tan: FloatArray) -> float:
    """Share of appetite that this water would leave each column, kept as tried; the greatest move since the last.

    Its slopes by oxygen and by TAN are kept beside it.
    """
    fish, tank_of, leaf = now.fish, now.tank_of, now.leaf
    fish, apart = fish, 0.0
    for c in range(tank_of.size):
        tank = tank_of[c]
        toxic = tan[tank] * leaf[TOXIC_SHARE, tank]
        by_oxygen, oxygen_slope = oxygen_appetite(oxygen[tank], fish[OXYGEN_LETHAL, c], fish[OXYGEN_FULL, c])
        by_toxic, toxic_slope = ammonia_appetite(toxic, fish[TOXIC_FULL, c], fish[TOXIC_ACUTE, c])
        share = by_oxygen * by_toxic
        apart = max(apart, abs(share - fish[TRIED, c]))
        fish[TRIED, c] = share
        fish[BY_OXYGEN, c], fish[BY_TOXIC, c] = oxygen_slope * by_toxic, by_oxygen * toxic_slope
    return apart


@jitable
def expect(now: Now) -> None:
    """What the fish would eat and excrete in the morning's water."""
    appetite_in_water(now, now.leaf[OXYGEN], now.leaf[TAN])
    eat(now)


@jitable
def eat(now: Now) -> None:
    """What the fish eat, use and excrete if the water leaves them the share of appetite just tried.

    Tanks get the sums, and their slopes over the tank's own oxygen and TAN.
    """
    fish, tank_of, leaf, loop_of, loop = now.fish, now.tank_of, now.leaf, now.loop_of, now.loop
    for i in range(leaf.shape[1]):
        leaf[FISH_OXYGEN, i], leaf[FISH_TAN, i] = 0.0, 0.0
        leaf[OXYGEN_SLOPE, i], leaf[TAN_SLOPE, i] = 0.0, 0.0
    for k in range(loop.shape[1]):
        loop[UREA, k] = 0.0
    for c in range(tank_of.size):
        tank, here = tank_of[c], fish[HERE, c]
        share = fish[TRIED, c]
        fish[SHARE, c] = share
        wished = fish[MOST, c] * share
        eaten = min(wished, fish[CAP, c])
        budget = day_budget(
            eaten, fish[NEED, c], fish[FEED_ENERGY, c], fish[FEED_DIGESTED_N, c], fish[GROWTH_EFFICIENCY, c],
            fish[FASTING_LOSS, c], fish[BODY_ENERGY, c], fish[BODY_PROTEIN, c], fish[WEIGHT, c], fish[GREATEST, c],
            fish[SPARED, c],
        )  # fmt: skip
        fish[SPARED_CHANGE, c] = budget.spared_change_g
        fish[EATEN, c], fish[GAIN_EACH, c], fish[GAIN, c] = here * eaten, budget.gain_g, here * budget.gain_g
        fish[OXYGEN_USE, c], fish[EXCRETED, c] = here * budget.oxygen_g, here * budget.excreted_nitrogen_g
        fish[OFFERED, c] = _all_offered(fish, c)
        leaf[FISH_OXYGEN, tank] += fish[OXYGEN_USE, c]
        leaf[FISH_TAN, tank] += AMMONIA_SHARE_OF_EXCRETION * fish[EXCRETED, c]
        loop[UREA, loop_of[tank]] += (1.0 - AMMONIA_SHARE_OF_EXCRETION) * fish[EXCRETED, c]
        if wished <= fish[CAP, c]:
            fed = here * fish[MOST, c]
            kept = fish[GROWTH_EFFICIENCY, c] if budget.retained_energy_kj > 0.0 else fish[FASTING_LOSS, c]
            body_n_per_kj = fish[BODY_PROTEIN, c] / PROTEIN_PER_NITROGEN / fish[BODY_ENERGY, c]
            if budget.retained_energy_kj != 0.0:  # spared nitrogen goes with the gain in proportion
                body_n_per_kj += budget.spared_change_g / budget.retained_energy_kj
            oxygen_per_eaten = fish[FEED_ENERGY, c] * (1.0 - NON_FAECAL_LOSS_SHARE - kept) / OXYCALORIFIC_KJ_G
            tan_per_eaten = AMMONIA_SHARE_OF_EXCRETION * (
                fish[FEED_DIGESTED_N, c] - kept * fish[FEED_ENERGY, c] * body_n_per_kj
            )
            leaf[OXYGEN_SLOPE, tank] += fed * fish[BY_OXYGEN, c] * oxygen_per_eaten
            leaf[TAN_SLOPE, tank] += fed * fish[BY_TOXIC, c] * tan_per_eaten
    for tank in range(leaf.shape[1]):
        leaf[TAN_SLOPE, tank] = min(leaf[TAN_SLOPE, tank], 0.0) * leaf[TOXIC_SHARE, tank]


@jitable
def _all_offered(fish: FloatArray, column: int) -> float:
    """Feed that the keeper gave a whole column: what was eaten and spilled, or the amount that the rule offers."""
    given_g = fish[EATEN, column] * (1.0 + fish[SPILLED, column])
    # rules led by beds stop where fish stop eating, as a keeper would
    if fish[GOES_BY_APPETITE, column] > 0.0 or fish[IS_BED_LED, column] > 0.0:
        return given_g
    return max(fish[HERE, column] * fish[OFFERED_EACH, column], given_g)


@jitable
def grow_and_die(now: Now) -> None:
    """Add the day's gain to the fish that are there, take out its deaths, and leave their waste in the tanks.

    Levels are those of the day's end. What tankmates swallow goes first: the water takes its part of the rest.
    """
    fish, tank_of, leaf = now.fish, now.tank_of, now.leaf
    for tank in range(leaf.shape[1]):
        for row in range(FROM_FISH_COUNT):
            leaf[WASTE + row, tank] = 0.0
    for c in range(tank_of.size):
        if fish[HERE, c] > 0.0:
            fish[WEIGHT, c] += fish[GAIN_EACH, c]
            fish[SPARED, c] += fish[SPARED_CHANGE, c]
        fish[GREATEST, c] = max(fish[GREATEST, c], fish[WEIGHT, c])
    be_swallowed(now)
    for c in range(tank_of.size):
        tank, swallowed = tank_of[c], fish[SWALLOWED, c]
        hazard = death_hazard(
            leaf[NEW_OXYGEN, tank], fish[OXYGEN_LETHAL, c], leaf[NEW_TAN, tank] * leaf[TOXIC_SHARE, tank],
            fish[TOXIC_ACUTE, c], leaf[NEW_NITRITE, tank], fish[LETHAL_NITRITE, c],
        )  # fmt: skip
        hazard += fish[HAZARD, c] + condition_hazard(fish[WEIGHT, c], fish[GREATEST, c])
        fish[DEATHS, c] = swallowed - math.expm1(-hazard) * (fish[HERE, c] - swallowed)
        fish[ALIVE, c] -= fish[DEATHS, c]
        _leave_waste(fish, c, leaf, tank)


@jitable
def _leave_waste(fish: FloatArray, column: int, leaf: FloatArray, tank: int) -> None:
    """Dissolved potassium and phosphorus, then solids with their nitrogen, phosphorus and oxygen demand. [g/day]"""
    c, eaten = column, fish[EATEN, column]
    uneaten, gain = fish[OFFERED, column] - eaten, fish[GAIN, column]
    leaf[WASTE, tank] += (eaten + uneaten) * fish[FEED_POTASSIUM, c] - gain * BODY_POTASSIUM
    leaf[WASTE + 1, tank] += eaten * fish[FEED_PHOSPHORUS, c] * PHOSPHORUS_DIGESTIBILITY - gain * BODY_PHOSPHORUS
    leaf[WASTE + 2, tank] += (
        eaten * fish[FEED_DRY, c] * (1.0 - fish[FEED_DIGESTED_DRY, c]) + uneaten * fish[FEED_DRY, c]
    )
    leaf[WASTE + 3, tank] += (
        eaten * (fish[FEED_NITROGEN, c] - fish[FEED_DIGESTED_N, c]) + uneaten * fish[FEED_NITROGEN, c]
    )
    leaf[WASTE + 4, tank] += (eaten * (1.0 - PHOSPHORUS_DIGESTIBILITY) + uneaten) * fish[FEED_PHOSPHORUS, c]
    undigested_kj = eaten * (fish[FEED_GROSS_ENERGY, c] - fish[FEED_ENERGY, c]) + uneaten * fish[FEED_GROSS_ENERGY, c]
    leaf[WASTE + 5, tank] += undigested_kj / OXYCALORIFIC_KJ_G
