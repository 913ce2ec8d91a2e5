"""A season, day by day, top to bottom.

Apart from `season`, for all that is compiled stands together.
"""

from __future__ import annotations

from stocksim.compiled import compiled, jitable
from stocksim.engine.days.films import film_morning, film_oxygen, fine_nitrogen, mark_moving
from stocksim.engine.days.fish import begin_fish, expect, grow_and_die, happen, wake
from stocksim.engine.days.rows import *
from stocksim.engine.days.waters import begin_water, evening, oxygen_balance, settle, take_tests, water_morning


@compiled
def seasons(
    given: Given,
    mornings: Mornings,
    feeding: FeedTables,
    now: Now,
    course: Kept,
    first: int,
    last: int,
    begins: bool,
) -> None:
    """Days of many scenarios, one scenario after the other.

    Parameters
    ----------
    given : Given
        Of all scenarios, or of one where nothing in a table differs.
    mornings, feeding : Mornings, FeedTables
        Of all scenarios.
    now : Now
        Room for one scenario; who is where of all.
    course : Kept
        Filled; tables lead with the scenario axis.
    first, last : int
        Days to run, the last one left out.
    begins : bool
        Whether the season begins here; else ``now`` is what the day before left, of the only scenario.

    Notes
    -----
    Feed, oxygen and ammonia of a day are solved together, the slower water follows. Weight by the midpoint rule, water
    by backward Euler.
    """
    for s in range(course.rounds.shape[0]):
        kept = Kept(
            course.fish[s], course.leaf[s], course.tank[s], course.unit[s], course.loop[s], course.rounds[s],
            course.apart[s], course.transfer[s],
        )  # fmt: skip
        if begins:
            _clear(now)
            _fill(now.fish, given.fish[at(s, given.fish)], FISH_GIVEN)
            _fill(now.leaf, given.leaf[at(s, given.leaf)], LEAF_GIVEN)
            _fill(now.loop, given.loop[at(s, given.loop)], LOOP_GIVEN)
            _take_day(given, now, s, 0)
            begin_fish(now)
            begin_water(now)
        for day in range(first, last):
            _take_day(given, now, s, day)
            take_tests(now, mornings, day)
            happen(now, mornings, day, kept.transfer)
            film_oxygen(now)
            water_morning(now)
            wake(now, feeding, day)
            expect(now)
            film_morning(now)
            kept.rounds[day], kept.apart[day] = settle(now)
            if mark_moving(now):
                fine_nitrogen(now)
                oxygen_balance(now)
            grow_and_die(now)
            evening(now)
            keep(now, day, kept)


@jitable
def at(scenario, table):  # type: ignore[no-untyped-def]
    """Place of a scenario in a table of all of them, or of one."""
    return scenario if table.shape[0] > 1 else 0


@jitable
def _take_day(given: Given, now: Now, s: int, day: int) -> None:
    """Put in what a scenario is given for a day."""
    _fill(now.fish, given.fish_day[at(s, given.fish_day), day], FISH_TODAY)
    _fill(now.leaf, given.leaf_day[at(s, given.leaf_day), day], LEAF_TODAY)
    _fill(now.unit, given.unit_day[at(s, given.unit_day), day], UNIT_TODAY)
    _fill(now.loop, given.loop_day[at(s, given.loop_day), day], LOOP_TODAY)


@jitable
def _fill(table: FloatArray, rows: FloatArray, first: int) -> None:
    """Copy rows into a table; by loops, which compile many times quicker than slices."""
    for row in range(rows.shape[0]):
        for column in range(rows.shape[1]):
            table[first + row, column] = rows[row, column]


@jitable
def _clear(now: Now) -> None:
    for table in (now.fish, now.leaf, now.unit, now.loop):
        for row in range(table.shape[0]):
            for column in range(table.shape[1]):
                table[row, column] = 0.0


# --- what a day leaves in the season's course


@jitable
def keep(now: Now, day: int, kept: Kept) -> None:
    """Write the day into the course, in the order of its tables' rows."""
    fish, leaf, unit, loop = now.fish, now.leaf, now.unit, now.loop
    _keep_fish(fish, kept.fish[day])
    tanks = leaf.shape[1] - unit.shape[1]
    for i in range(leaf.shape[1]):
        _put(kept.leaf[day], i, (leaf[OXYGEN, i], leaf[OXYGEN_USED, i], leaf[TAN, i], leaf[NITRIFIED, i],
                                 leaf[NITRITE, i], leaf[OXIDIZED, i]))  # fmt: skip
    for i in range(tanks):
        # below 0 the bases of a large dose have taken it from bicarbonate, which is carried as owed carbon dioxide
        _put(kept.tank[day], i, (leaf[PH, i], max(leaf[CO2, i], 0.0)))
    for u in range(unit.shape[1]):
        i = tanks + u
        _put(kept.unit[day], u, (leaf[AMMONIA_CAPACITY, i], leaf[AMMONIA_FILM, i], leaf[NITRITE_FILM, i],
                                 unit[TAKEN, u], unit[TAKEN_CALCIUM, u], unit[TAKEN_POTASSIUM, u],
                                 unit[TAKEN_PHOSPHORUS, u]))  # fmt: skip
    for k in range(loop.shape[1]):
        _keep_loop(now, k, kept.loop[day])


@jitable
def _put(table: FloatArray, column: int, values: tuple[float, ...]) -> None:
    for row in range(len(values)):
        table[row, column] = values[row]


@jitable
def _keep_fish(fish: FloatArray, table: FloatArray) -> None:
    for c in range(fish.shape[1]):
        _put(table, c, (
            fish[HERE, c] - fish[DEATHS, c], fish[DEATHS, c], fish[WEIGHT, c], fish[GREATEST, c], fish[SPREAD, c],
            fish[OFFERED, c], fish[EATEN, c], fish[GAIN, c], fish[OXYGEN_USE, c], fish[EXCRETED, c],
            fish[SHARE, c] * fish[NITRITE_SHARE, c], fish[HERE, c] * fish[SPARED_CHANGE, c],
            fish[SWALLOWED, c], fish[SWALLOWED_G, c],
        ))  # fmt: skip


@jitable
def _keep_loop(now: Now, k: int, table: FloatArray) -> None:
    leaf, loop_of, loop = now.leaf, now.loop_of, now.loop
    tanks = loop_of.size - now.unit.shape[1]
    nitrate_held = loop[SUMP_NITRATE, k] * loop[SUMP_VOLUME, k]
    solids_n = loop[SEDIMENT + 1, k] + loop[SETTLED + 1, k] + loop[SOLIDS_N, k] * loop[SUMP_VOLUME, k]
    made_n = 0.0
    for i in range(loop_of.size):
        if loop_of[i] == k:
            nitrate_held += leaf[NITRATE, i] * leaf[VOLUME, i]
            solids_n += leaf[SOLIDS_N, i] * leaf[VOLUME, i]
            if i < tanks:
                made_n += leaf[WASTE + SOLIDS_N - FROM_FISH, i]
    _put(table, k, (
        loop[SUMP_OXYGEN, k], loop[SUMP_OXYGEN_USED, k], loop[SUMP_TAN, k], loop[UREA, k] + loop[SUMP_AMMONIA, k],
        loop[SUMP_NITRATE, k], loop[SUMP_NITRITE, k], nitrate_held,
        loop[HELD_ALKALINITY, k] / loop[LOOP_WATER, k], loop[POTASSIUM, k], loop[PHOSPHORUS, k],
        loop[CALCIUM, k], loop[SOLIDS, k], loop[CHLORIDE, k], loop[SODIUM, k], loop[UPTAKEN, k],
        loop[DENITRIFIED, k], loop[DOSE, k] * loop[SALT_PER_ALKALINITY, k], loop[TOP_UP, k], loop[OUTFLOW, k],
        made_n, loop[FREED_N, k], solids_n, loop[SLUDGE_N, k] + loop[OUTFLOW, k] * loop[SOLIDS_N, k],
        loop[DRAWN_N, k], loop[DRAWN_P, k],
        loop[AMMONIA_FILM_FROM, k], loop[AMMONIA_FILM_TO, k], loop[AMMONIA_FILM_BOUND, k],
        loop[NITRITE_FILM_FROM, k], loop[NITRITE_FILM_TO, k], loop[NITRITE_FILM_BOUND, k],
    ))  # fmt: skip
