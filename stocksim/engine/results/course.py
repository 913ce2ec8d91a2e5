"""The course of a season, and what happens on its mornings."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.arrays.fish import Happening

FloatArray = NDArray[np.float64]


class Transfer(NamedTuple):
    """What really went from column ``source`` to column ``target`` (-1: from or to outside), shape (scenario,).

    ``wanted`` is the amount the event asked for and ``had`` what there was of it, fish, or g where it asked for a
    weight; ``wanted`` is NaN where it asked for no amount.
    """

    happening: Happening
    fish: FloatArray
    mass_g: FloatArray
    wanted: float
    had: FloatArray


# --- the course of a season: every array that the daily loop writes


LEAST_COUNT = 0.01  # of a fish: a cohort with fewer is gone, whatever crumb its expected survivors leave


@dataclass(frozen=True)
class Course:
    """What happened, day by day: arrays (scenario, day, column), rates per day, levels at the day's end.

    ``apart`` is by how much each day's shares of appetite were left unsettled after its ``rounds``.

    Fish amounts are per cohort (all its fish); ``fed_g`` is offered, ``eaten_g`` eaten. Leaves are tanks then units.
    Conserved quantities close to rounding: see the tests of balance.
    """

    # by cohort
    count: FloatArray
    deaths: FloatArray
    weight_g: FloatArray
    greatest_g: FloatArray
    size_spread: FloatArray
    fed_g: FloatArray
    eaten_g: FloatArray
    gain_g: FloatArray
    fish_oxygen_g: FloatArray
    excreted_nitrogen_g: FloatArray
    appetite_share: FloatArray
    spared_nitrogen_g: FloatArray  # put by in bodies that burn fat first, below 0 where given back [g/day]
    swallowed: FloatArray  # by tankmates, among the deaths
    swallowed_g: FloatArray
    # by leaf
    oxygen_mg_l: FloatArray
    oxygen_used_g: FloatArray
    tan_mg_l: FloatArray
    nitrified_g: FloatArray
    nitrite_mg_l: FloatArray
    nitrite_oxidized_g: FloatArray
    # by tank
    ph: FloatArray
    co2_mg_l: FloatArray
    # by unit
    film_capacity_g: FloatArray
    ammonia_maturity: FloatArray
    nitrite_maturity: FloatArray
    uptake_nitrogen_g: FloatArray
    uptake_calcium_g: FloatArray
    uptake_potassium_g: FloatArray
    uptake_phosphorus_g: FloatArray
    # by loop
    sump_oxygen_mg_l: FloatArray
    sump_oxygen_used_g: FloatArray
    sump_tan_mg_l: FloatArray
    sump_tan_load_g: FloatArray
    nitrate_mg_l: FloatArray
    sump_nitrite_mg_l: FloatArray
    nitrate_held_g: FloatArray
    alkalinity_mg_l: FloatArray
    potassium_mg_l: FloatArray
    phosphorus_mg_l: FloatArray
    calcium_mg_l: FloatArray
    solids_mg_l: FloatArray
    chloride_mg_l: FloatArray
    sodium_mg_l: FloatArray
    uptake_n_g: FloatArray
    denitrified_n_g: FloatArray
    buffer_g: FloatArray
    top_up_m3: FloatArray
    outflow_m3: FloatArray
    solids_n_made_g: FloatArray
    solids_n_freed_g: FloatArray
    solids_n_held_g: FloatArray
    sludge_n_g: FloatArray
    settler_n_g: FloatArray
    settler_p_g: FloatArray
    # what a test made of the loop's films: strength before and after, 0 where none; -1 or 1 where it wanted a weaker or
    # stronger film than one test may make it
    ammonia_film_from: FloatArray
    ammonia_film_to: FloatArray
    ammonia_film_bound: FloatArray
    nitrite_film_from: FloatArray
    nitrite_film_to: FloatArray
    nitrite_film_bound: FloatArray
    # of the climate
    leaf_exchange_m3_day: FloatArray
    leaf_exchange_load_g: FloatArray
    capacity_g: FloatArray
    sump_exchange_m3_day: FloatArray
    sump_exchange_load_g: FloatArray
    rounds: NDArray[np.int64]
    apart: FloatArray
    # stocking, moves, gradings and fish taken, in the order they happened
    transfers: tuple[Transfer, ...]

    @property
    def there_in_morning(self) -> NDArray[np.bool_]:
        """Whether a column's day begins with fish, after the morning's events, shape (scenario, day, cohort).

        Limits are judged by these: a day that kills every fish is judged too.
        """
        return self.count + self.deaths > LEAST_COUNT

    @property
    def dead_g(self) -> FloatArray:
        """Mass of each day's dead, shape (scenario, day, cohort): tankmates swallow the smaller ones, all others die at
        the mean of the evening. [g/day]"""
        return (self.deaths - self.swallowed) * self.weight_g + self.swallowed_g

    @property
    def grown_g(self) -> FloatArray:
        """Mass of the morning's fish with the day's gain, its dead among them, shape (scenario, day, cohort). [g]"""
        return (self.count + self.deaths - self.swallowed) * self.weight_g + self.swallowed_g

    @property
    def left_in_evening(self) -> NDArray[np.bool_]:
        """Whether fish of a column are alive at the day's end, shape (scenario, day, cohort)."""
        return self.count > LEAST_COUNT


def only(course: Course, scenario: int) -> Course:
    """The course of one scenario, its arrays with a scenario axis of one."""
    place = slice(scenario, scenario + 1)
    named = {
        field.name: part if len(part) == 1 else part[place]
        for field in fields(Course)
        if field.name != "transfers"
        for part in (getattr(course, field.name),)
    }
    transfers = tuple(
        one._replace(fish=one.fish[place], mass_g=one.mass_g[place], had=one.had[place]) for one in course.transfers
    )
    return Course(**named, transfers=transfers)


def of_day(course: Course, day: int) -> Course:
    """The course of one day, its arrays with a day axis of one; without transfers."""
    place = slice(day, day + 1)
    named = {
        field.name: part if part.shape[1] == 1 else part[:, place]
        for field in fields(Course)
        if field.name != "transfers"
        for part in (getattr(course, field.name),)
    }
    return Course(**named, transfers=())


def joined(courses: list[Course]) -> Course:
    """Courses of scenarios of one layout, one after the other; what is the same for all stays one."""
    if len(courses) == 1:
        return courses[0]
    named: dict[str, Any] = {}
    for field in fields(Course):
        parts = [getattr(course, field.name) for course in courses]
        if field.name != "transfers":
            of_all = all(len(part) == len(course.count) for part, course in zip(parts, courses, strict=True))
            named[field.name] = np.concatenate(parts) if of_all else parts[0]
    transfers = tuple(
        same[0]._replace(
            **{key: np.concatenate([getattr(one, key) for one in same]) for key in ("fish", "mass_g", "had")}
        )
        for same in zip(*(course.transfers for course in courses), strict=True)
    )
    return Course(**named, transfers=transfers)
