"""Fish through a day: events of the morning, appetite, eating, growing, dying, and the waste they leave."""

from __future__ import annotations

import math

from stocksim.compiled import jitable
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
from stocksim.fish.survival import condition_hazard, death_hazard, nitrite_appetite
from stocksim.water.nitrite import nitrite_limit

# Body potassium and phosphorus [g/g wet weight], from memory of whole-fish analyses.
BODY_POTASSIUM, BODY_PHOSPHORUS = 0.003, 0.0045
# Share of feed phosphorus that is absorbed, 0.4-0.7 (from memory); the rest goes with the solids.
PHOSPHORUS_DIGESTIBILITY = 0.6
# Feed that wild fish let lie while they learn to take it: half (assumed, no source).
TRAINING_SPILLED_SHARE = 0.5


@jitable
def clear(table: FloatArray) -> None:
    """Set a table to zeros; by loops, which compile many times quicker than slices."""
    for row in range(table.shape[0]):
        for column in range(table.shape[1]):
            table[row, column] = 0.0


@jitable
def begin_fish(given: Given, state: State) -> None:
    """Put each column's fish of the file into the season."""
    tank_of, fish, live, waste = given.tank_of, given.fish, state.live, state.waste
    clear(live)
    clear(waste)
    for c in range(tank_of.size):
        live[ALIVE, c] = fish[COUNT, c]
        live[WEIGHT, c] = live[GREATEST, c] = fish[START_WEIGHT, c]
        live[SPREAD, c] = fish[START_SPREAD, c]
        live[SHARE, c] = 1.0


@jitable
def happen(mornings: Mornings, state: State, day: int, transfer: FloatArray) -> None:
    """Let the events of a morning happen: number and mass are conserved exactly.

    A part taken by size leaves the rest with its own mean and spread.
    """
    live = state.live
    for e in range(mornings.event.shape[0]):
        if mornings.event[e, EVENT_DAY] != day:
            continue
        kind = mornings.event[e, EVENT_KIND]
        if kind == CARRY:
            _carry(live, mornings.event[e], transfer[e])
        elif kind == GRADE:
            _grade(live, mornings.event[e], mornings.amount[e], transfer[e])
        elif kind == TAKE:
            _take(live, mornings.event[e], mornings.amount[e], transfer[e])
        else:
            _add(live, mornings.event[e], mornings.amount[e], transfer[e])


@jitable
def _tell(transfer: FloatArray, went: float, mass: float, asked: float, had: float) -> None:
    transfer[WENT], transfer[WENT_MASS], transfer[ASKED], transfer[HAD] = went, mass, asked, had


@jitable
def _carry(live: FloatArray, event: IntArray, transfer: FloatArray) -> None:
    """All fish of a column go on in another."""
    source, target = event[EVENT_SOURCE], event[EVENT_TARGET]
    moved = live[ALIVE, source]
    _tell(transfer, moved, moved * live[WEIGHT, source], math.nan, moved)
    for row in (ALIVE, WEIGHT, GREATEST, SPREAD):
        live[row, target] = live[row, source]
    live[ALIVE, source] = 0.0


@jitable
def _grade(live: FloatArray, event: IntArray, amount: FloatArray, transfer: FloatArray) -> None:
    """The larger fish of a column become another."""
    source, target = event[EVENT_SOURCE], event[EVENT_TARGET]
    there = live[ALIVE, source]
    parts = _by_size(live[WEIGHT, source], live[SPREAD, source], amount)
    condition = live[GREATEST, source] / live[WEIGHT, source]
    _set(live, target, there * parts.share_above, parts.mean_above_g, parts.cv_above, condition)
    _set(live, source, there * parts.share_below, parts.mean_below_g, parts.cv_below, condition)
    _tell(transfer, live[ALIVE, target], live[ALIVE, target] * live[WEIGHT, target], math.nan, there)


@jitable
def _take(live: FloatArray, event: IntArray, amount: FloatArray, transfer: FloatArray) -> None:
    """Fish leave for good."""
    column, which = event[EVENT_SOURCE], event[EVENT_WHICH]
    there, weight, spread = live[ALIVE, column], live[WEIGHT, column], live[SPREAD, column]
    condition = live[GREATEST, column] / weight
    if not math.isnan(amount[EVENT_ABOVE]):
        parts = split(weight, spread, amount[EVENT_ABOVE])
        taken = there * parts.share_above
        _set(live, column, there * parts.share_below, parts.mean_below_g, parts.cv_below, condition)
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
        live[ALIVE, column] = left
        _tell(transfer, taken, taken * weight, asked, had)
        return
    parts = split_share(weight, spread, share if which == LARGEST else 1.0 - share)
    mean, rest = (parts.mean_below_g, parts.cv_below) if which == LARGEST else (parts.mean_above_g, parts.cv_above)
    _set(live, column, left, mean if left > 0.0 else weight, rest, condition)
    # what is taken is what the rest lacks, so that mass is conserved to rounding
    _tell(transfer, taken, there * weight - left * live[WEIGHT, column], asked, had)


@jitable
def _add(live: FloatArray, event: IntArray, amount: FloatArray, transfer: FloatArray) -> None:
    """More fish come to a column; their spread is the column's."""
    column, count, weight = event[EVENT_TARGET], amount[EVENT_FISH], amount[EVENT_WEIGHT]
    there, mean, spread = live[ALIVE, column], live[WEIGHT, column], live[SPREAD, column]
    number = there + count
    new_mean = (there * mean + count * weight) / number
    squares = (there * mean * mean + count * weight * weight) / number * (1.0 + spread * spread)
    live[GREATEST, column] = (there * live[GREATEST, column] + count * weight) / number
    live[SPREAD, column] = math.sqrt(max(squares / (new_mean * new_mean) - 1.0, 0.0))
    live[WEIGHT, column], live[ALIVE, column] = new_mean, number
    _tell(transfer, count, count * weight, math.nan, count)


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
def _set(live: FloatArray, column: int, number: float, mean: float, spread: float, condition: float) -> None:
    """Give a column its fish, in the condition of those they came from; one left empty keeps its spread."""
    if number > 0.0:
        live[SPREAD, column] = spread
    live[ALIVE, column], live[WEIGHT, column], live[GREATEST, column] = number, mean, condition * mean


@jitable
def wake(given: Given, tables: FeedTables, state: State, day: int) -> None:
    """Set the day's appetite, maintenance and rations, at the weight expected at mid-day.

    Nitrite and chloride are those of the morning: they move slowly.
    """
    live, fish, fish_today = state.live, given.fish, given.fish_day[day]
    loop_today, tank_of, loop_of, leaf = given.loop_day[day], given.tank_of, given.loop_of, state.leaf
    sump_solute = state.sump_solute
    for c in range(tank_of.size):
        tank = tank_of[c]
        k = loop_of[tank]
        live[HERE, c] = live[ALIVE, c] if day >= fish[STOCKED_DAY, c] else 0.0
        live[BORNE_NITRITE, c] = nitrite_limit(fish[NITRITE_BORNE, c], sump_solute[CHLORIDE, k], fish[IS_PROTECTED, c])
        live[NITRITE_SHARE, c] = nitrite_appetite(leaf[NITRITE, tank], live[BORNE_NITRITE, c])
        live[HUNGER, c] = fish_today[APPETITE, c] * live[WEIGHT, c] ** fish[INTAKE_EXPONENT, c]
    for c in range(tank_of.size):
        by_appetite = fish[GOES_BY_APPETITE, c] > 0.0
        ramp = loop_today[RAMP, loop_of[tank_of[c]]]
        ration = fish[RATION, c] * live[NITRITE_SHARE, c]
        if by_appetite:
            ration *= ramp * fish_today[FED_SHARE, c]
        expected = ration * live[SHARE, c]
        live[OFFERED_EACH, c] = live[CAP, c] = math.inf
        if not by_appetite:
            live[OFFERED_EACH, c] = _offered_each(given, tables, state, day, c) * fish_today[FED_SHARE, c] * ramp
            live[CAP, c] = live[OFFERED_EACH, c] * (1.0 - fish[SPILLED_SHARE, c])
            expected = min(expected, live[CAP, c] / live[HUNGER, c] if live[HUNGER, c] > 0.0 else 1.0)
        needs = day_needs(
            live[WEIGHT, c], fish_today[APPETITE, c], fish[INTAKE_EXPONENT, c], fish_today[MAINTENANCE, c], expected,
            fish[FEED_ENERGY, c], fish[GROWTH_EFFICIENCY, c], fish[FASTING_LOSS, c], fish[BODY_ENERGY, c], 1.0,
            live[GREATEST, c],
        )  # fmt: skip
        live[MOST, c], live[NEED, c] = needs.appetite_g * ration, needs.maintenance_kj
        live[SPILLED, c] = fish[SPILLED_SHARE, c] / (1.0 - fish[SPILLED_SHARE, c])
        if fish_today[IN_TRAINING, c] > 0.0:
            # wild fish that learn to take feed keep their weight at best, and let much of it lie
            live[SPILLED, c] = max(TRAINING_SPILLED_SHARE / (1.0 - TRAINING_SPILLED_SHARE), live[SPILLED, c])
            # no more lies there than the rule offers
            offered = min(live[CAP, c], live[OFFERED_EACH, c] / (1.0 + live[SPILLED, c]))
            live[CAP, c] = min(live[NEED, c] / fish[FEED_ENERGY, c], offered)


@jitable
def _offered_each(given: Given, tables: FeedTables, state: State, day: int, column: int) -> float:
    """Feed that an amount rule gives a fish of a column on a day that it feeds. [g/day]

    A tank's amount is shared by appetite among the tank's columns that go by such an amount, what beds ask for among
    those of the loop.
    """
    live, fish, fish_today, tank_of = state.live, given.fish, given.fish_day[day], given.tank_of
    loop_of = given.loop_of
    tank = tank_of[column]
    table = tables.of_column[column]
    offered = 0.0
    if table >= 0:
        rows, columns = tables.size[table, 0], tables.size[table, 1]
        percent = table_cell(
            live[WEIGHT, column], fish_today[WATER_C, column], tables.weight[table, :columns],
            tables.temperature[table, :rows], tables.percent[table],
        )  # fmt: skip
        offered = percent / 100.0 * live[WEIGHT, column]
    by_tank = not math.isnan(fish[TANK_FEED, column])
    by_beds = not math.isnan(fish_today[BED_LED_FEED, column])
    if by_tank or by_beds:
        together = 0.0
        for other in range(tank_of.size):
            if by_beds:
                shares = loop_of[tank_of[other]] == loop_of[tank] and not math.isnan(fish_today[BED_LED_FEED, other])
            else:
                shares = tank_of[other] == tank and not math.isnan(fish[TANK_FEED, other])
            if shares:
                together += live[HUNGER, other] * live[HERE, other]
        amount = fish_today[BED_LED_FEED, column] if by_beds else fish[TANK_FEED, column]
        offered = amount * (live[HUNGER, column] / together) if together > 0.0 else 0.0
    return offered


@jitable
def appetite_in_water(given: Given, state: State, oxygen: FloatArray, tan: FloatArray) -> float:
    """Share of appetite that this water would leave each column, kept as tried; the greatest move since the last.

    Its slopes by oxygen and by TAN are kept beside it.
    """
    tank_of, fish, live, leaf = given.tank_of, given.fish, state.live, state.leaf
    live, fish, apart = live, fish, 0.0
    for c in range(tank_of.size):
        tank = tank_of[c]
        toxic = tan[tank] * leaf[TOXIC_SHARE, tank]
        by_oxygen, oxygen_slope = oxygen_appetite(oxygen[tank], fish[OXYGEN_LETHAL, c], fish[OXYGEN_FULL, c])
        by_toxic, toxic_slope = ammonia_appetite(toxic, fish[TOXIC_FULL, c], fish[TOXIC_ACUTE, c])
        share = by_oxygen * by_toxic
        apart = max(apart, abs(share - live[TRIED, c]))
        live[TRIED, c] = share
        live[BY_OXYGEN, c], live[BY_TOXIC, c] = oxygen_slope * by_toxic, by_oxygen * toxic_slope
    return apart


@jitable
def expect(given: Given, state: State) -> None:
    """What the fish would eat and excrete in the morning's water."""
    appetite_in_water(given, state, state.leaf[OXYGEN], state.leaf[TAN])
    eat(given, state)


@jitable
def eat(given: Given, state: State) -> None:
    """What the fish eat, use and excrete if the water leaves them the share of appetite just tried.

    Tanks get the sums, and their slopes over the tank's own oxygen and TAN.
    """
    live, fish, leaf, tank_of = state.live, given.fish, state.leaf, given.tank_of
    loop_of, sump, waste = given.loop_of, state.sump, state.waste
    for i in range(leaf.shape[1]):
        leaf[FISH_OXYGEN, i], leaf[FISH_TAN, i] = 0.0, 0.0
        leaf[OXYGEN_SLOPE, i], leaf[TAN_SLOPE, i] = 0.0, 0.0
    for k in range(sump.shape[1]):
        sump[UREA, k] = 0.0
    for c in range(tank_of.size):
        tank, here = tank_of[c], live[HERE, c]
        share = live[TRIED, c]
        live[SHARE, c] = share
        wished = live[MOST, c] * share
        eaten = min(wished, live[CAP, c])
        budget = day_budget(
            eaten, live[NEED, c], fish[FEED_ENERGY, c], fish[FEED_DIGESTED_N, c], fish[GROWTH_EFFICIENCY, c],
            fish[FASTING_LOSS, c], fish[BODY_ENERGY, c], fish[BODY_PROTEIN, c],
        )  # fmt: skip
        live[EATEN, c], live[GAIN_EACH, c], live[GAIN, c] = here * eaten, budget.gain_g, here * budget.gain_g
        live[OXYGEN_USE, c], live[EXCRETED, c] = here * budget.oxygen_g, here * budget.excreted_nitrogen_g
        live[OFFERED, c] = _all_offered(live, fish, c)
        leaf[FISH_OXYGEN, tank] += live[OXYGEN_USE, c]
        leaf[FISH_TAN, tank] += AMMONIA_SHARE_OF_EXCRETION * live[EXCRETED, c]
        sump[UREA, loop_of[tank]] += (1.0 - AMMONIA_SHARE_OF_EXCRETION) * live[EXCRETED, c]
        if wished <= live[CAP, c]:
            fed = here * live[MOST, c]
            kept = fish[GROWTH_EFFICIENCY, c] if budget.retained_energy_kj > 0.0 else fish[FASTING_LOSS, c]
            body_n_per_kj = fish[BODY_PROTEIN, c] / PROTEIN_PER_NITROGEN / fish[BODY_ENERGY, c]
            oxygen_per_eaten = fish[FEED_ENERGY, c] * (1.0 - NON_FAECAL_LOSS_SHARE - kept) / OXYCALORIFIC_KJ_G
            tan_per_eaten = AMMONIA_SHARE_OF_EXCRETION * (
                fish[FEED_DIGESTED_N, c] - kept * fish[FEED_ENERGY, c] * body_n_per_kj
            )
            leaf[OXYGEN_SLOPE, tank] += fed * live[BY_OXYGEN, c] * oxygen_per_eaten
            leaf[TAN_SLOPE, tank] += fed * live[BY_TOXIC, c] * tan_per_eaten
    for tank in range(waste.shape[1]):
        leaf[TAN_SLOPE, tank] = min(leaf[TAN_SLOPE, tank], 0.0) * leaf[TOXIC_SHARE, tank]


@jitable
def _all_offered(live: FloatArray, fish: FloatArray, column: int) -> float:
    """Feed that the keeper gave a whole column: what was eaten and spilled, or the amount that the rule offers."""
    given_g = live[EATEN, column] * (1.0 + live[SPILLED, column])
    # rules led by beds stop where fish stop eating, as a keeper would
    if fish[GOES_BY_APPETITE, column] > 0.0 or fish[IS_BED_LED, column] > 0.0:
        return given_g
    return max(live[HERE, column] * live[OFFERED_EACH, column], given_g)


@jitable
def grow_and_die(given: Given, state: State, day: int) -> None:
    """Add the day's gain to the fish that are there, take out its deaths, and leave their waste in the tanks.

    Levels are those of the day's end.
    """
    live, fish, leaf, fish_today = state.live, given.fish, state.leaf, given.fish_day[day]
    tank_of, waste = given.tank_of, state.waste
    for tank in range(waste.shape[1]):
        for row in range(FROM_FISH_COUNT):
            waste[row, tank] = 0.0
    for c in range(tank_of.size):
        tank, here = tank_of[c], live[HERE, c]
        if here > 0.0:
            live[WEIGHT, c] += live[GAIN_EACH, c]
        live[GREATEST, c] = max(live[GREATEST, c], live[WEIGHT, c])
        hazard = death_hazard(
            leaf[NEW_OXYGEN, tank], fish[OXYGEN_LETHAL, c], leaf[NEW_TAN, tank] * leaf[TOXIC_SHARE, tank],
            fish[TOXIC_ACUTE, c], leaf[NEW_NITRITE, tank], live[BORNE_NITRITE, c],
        )  # fmt: skip
        hazard += fish_today[HAZARD, c] + condition_hazard(live[WEIGHT, c], live[GREATEST, c])
        live[DEATHS, c] = -math.expm1(-hazard) * here
        live[ALIVE, c] -= live[DEATHS, c]
        _leave_waste(live, fish, c, waste[:, tank])


@jitable
def _leave_waste(live: FloatArray, fish: FloatArray, column: int, waste: FloatArray) -> None:
    """Dissolved potassium and phosphorus, then solids with their nitrogen, phosphorus and oxygen demand. [g/day]"""
    c, eaten = column, live[EATEN, column]
    uneaten, gain = live[OFFERED, column] - eaten, live[GAIN, column]
    waste[0] += (eaten + uneaten) * fish[FEED_POTASSIUM, c] - gain * BODY_POTASSIUM
    waste[1] += eaten * fish[FEED_PHOSPHORUS, c] * PHOSPHORUS_DIGESTIBILITY - gain * BODY_PHOSPHORUS
    waste[2] += eaten * fish[FEED_DRY, c] * (1.0 - fish[FEED_DIGESTED_DRY, c]) + uneaten * fish[FEED_DRY, c]
    waste[3] += eaten * (fish[FEED_NITROGEN, c] - fish[FEED_DIGESTED_N, c]) + uneaten * fish[FEED_NITROGEN, c]
    waste[4] += (eaten * (1.0 - PHOSPHORUS_DIGESTIBILITY) + uneaten) * fish[FEED_PHOSPHORUS, c]
    undigested_kj = eaten * (fish[FEED_GROSS_ENERGY, c] - fish[FEED_ENERGY, c]) + uneaten * fish[FEED_GROSS_ENERGY, c]
    waste[5] += undigested_kj / OXYCALORIFIC_KJ_G
