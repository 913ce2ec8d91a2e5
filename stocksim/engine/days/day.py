"""A season, day by day, top to bottom."""

from __future__ import annotations

from stocksim.compiled import compiled, jitable
from stocksim.engine.days.films import film_morning, film_oxygen, fine_nitrogen, mark_moving
from stocksim.engine.days.fish import begin_fish, expect, grow_and_die, happen, wake
from stocksim.engine.days.keeping import keep
from stocksim.engine.days.rows import FeedTables, Fine, Given, Kept, Mornings, State
from stocksim.engine.days.waters import begin_water, evening, oxygen_balance, settle, take_tests, water_morning


@compiled
def seasons(
    many: Given,
    mornings: Mornings,
    feeding: FeedTables,
    state: State,
    fine: Fine,
    course: Kept,
    first: int,
    last: int,
    begins: bool,
) -> None:
    """Days of many scenarios, one scenario after the other.

    Parameters
    ----------
    many : Given
        Float tables lead with a scenario axis, of one where nothing in them differs.
    mornings, feeding : Mornings, FeedTables
        Of all scenarios.
    state : State
        Of one scenario.
    fine : Fine
        Room to work in.
    course : Kept
        Filled; tables lead with the scenario axis.
    first, last : int
        Days to run, the last one left out.
    begins : bool
        Whether the season begins here; else ``state`` is what the day before left, of the only scenario.

    Notes
    -----
    Feed, oxygen and ammonia of a day are solved together, the slower water follows. Weight by the midpoint rule, water
    by backward Euler.
    """
    for s in range(course.rounds.shape[0]):
        given = Given(
            many.tank_of, many.loop_of, many.fish[at(s, many.fish)], many.fish_day[at(s, many.fish_day)],
            many.leaf[at(s, many.leaf)], many.leaf_day[at(s, many.leaf_day)], many.unit[at(s, many.unit)],
            many.unit_day[at(s, many.unit_day)], many.loop[at(s, many.loop)], many.loop_day[at(s, many.loop_day)],
            many.solute[at(s, many.solute)],
        )  # fmt: skip
        kept = Kept(
            course.fish[s], course.leaf[s], course.tank[s], course.unit[s], course.loop[s], course.rounds[s],
            course.apart[s], course.transfer[s],
        )  # fmt: skip
        if begins:
            begin_fish(given, state)
            begin_water(given, state)
        for day in range(first, last):
            take_tests(given, mornings, state, day)
            happen(mornings, state, day, kept.transfer)
            film_oxygen(given, state, day)
            water_morning(given, state, day)
            wake(given, feeding, state, day)
            expect(given, state)
            film_morning(given, state, day)
            kept.rounds[day], kept.apart[day] = settle(given, state, day)
            if mark_moving(given, state):
                fine_nitrogen(given, state, fine, day)
                oxygen_balance(given, state, day, False)
            grow_and_die(given, state, day)
            evening(given, state, day)
            keep(given, state, day, kept)


@jitable
def at(scenario, table):  # type: ignore[no-untyped-def]
    """Place of a scenario in a table of all of them, or of one."""
    return scenario if table.shape[0] > 1 else 0
