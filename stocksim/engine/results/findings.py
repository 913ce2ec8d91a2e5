"""Limits judged day by day: the day's worst hour, and what is found."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.arrays.layout import Layout
from stocksim.engine.arrays.tables import with_scenarios
from stocksim.engine.days.hours import Hours
from stocksim.engine.results.course import Course
from stocksim.engine.results.hours import day_hours
from stocksim.engine.results.mouths import predation_by_tank
from stocksim.fish.company import TOLERATED_PAIRS
from stocksim.fish.energetics import AMMONIA_SHARE_OF_EXCRETION
from stocksim.plants.area import planting_ratio
from stocksim.site.kinds import LIMITS, hard_limits
from stocksim.water.ammonia import unionized_fraction
from stocksim.water.nitrification import HALF_SATURATION_TAN_MG_L
from stocksim.water.nitrite import nitrite_limit

FloatArray = NDArray[np.float64]


class Extremes(NamedTuple):
    """Arrays (scenario, day, tank) [mg/L], and the hour at which oxygen is lowest, from 0 to 23. [h]"""

    oxygen_min_mg_l: FloatArray
    unionized_mg_l: FloatArray
    unionized_max_mg_l: FloatArray
    oxygen_min_hour: FloatArray


def tank_extremes(layout: Layout, course: Course) -> Extremes:
    """Worst levels of each day, from what follows the day's meals through the loop balance.

    Parameters
    ----------
    layout : Layout
        Arrays of the site.
    course : Course
        Its season.

    Returns
    -------
    Extremes
        Oxygen minimum, un-ionized ammonia mean and maximum, hour of the first.

    Notes
    -----
    `day_hours` of oxygen and TAN. pH is held at its daily value; it falls a little when fish
    breathe most, so the maximum is on the safe side.
    """
    return Judging(layout, course).extremes


# --- limits met or broken: what, where, when, by how much


class LimitSeries(NamedTuple):
    """One kind of limit over the season; arrays broadcast to (scenario, day, entity), NaN where it does not apply."""

    limit: str
    table: str
    entities: tuple[str, ...]
    value: FloatArray
    threshold: FloatArray
    margin_percent: FloatArray
    unit: str


class LimitWorst(NamedTuple):
    """How one kind of limit fared over the season; arrays of shape (scenario, entity).

    ``first_day`` is the first day broken, -1 where none is; value, threshold and margin are of ``worst_day``, the day
    of the smallest margin, which is infinite where the limit never applied.
    """

    limit: str
    table: str
    entities: tuple[str, ...]
    unit: str
    first_day: NDArray[np.int64]
    worst_day: NDArray[np.int64]
    worst_value: FloatArray
    threshold: FloatArray
    margin_percent: FloatArray
    days_broken: NDArray[np.int64]


@dataclass(frozen=True)
class Finding:
    """How a limit fared at one place.

    Parameters
    ----------
    limit : str
        Name of the limit, as ``density``.
    where : str
        Table of the site file, as ``tanks.cedar``.
    first_date : date or None
        First day it was broken.
    worst_date : date
        Day of the smallest margin.
    worst_value, threshold : float
        On that day, in ``unit``.
    unit : str
        Unit of both.
    margin_percent : float or None
        Distance from the limit in percent of it (temperature: of the species' bearable span); below 0 broken, None
        for an advisory.
    days_broken : int
        Number of days broken.
    """

    limit: str
    where: str
    first_date: dt.date | None
    worst_date: dt.date
    worst_value: float
    threshold: float
    unit: str
    margin_percent: float | None
    days_broken: int

    @property
    def is_broken(self) -> bool:
        """Whether a hard limit is broken; an advisory never is."""
        return self.margin_percent is not None and self.margin_percent < 0.0


class Judging:
    """What limits are judged by: a season's arrays, their first axis scenarios, and who is there in the morning.

    Parameters
    ----------
    layout, course : Layout, Course
        A season's arrays.
    extremes : Extremes, optional
        The worst hours of its days where they are at hand; else each is reckoned when first asked for: most limits
        never ask.
    """

    def __init__(self, layout: Layout, course: Course, extremes: Extremes | None = None):
        self.layout, self.course, self._extremes = with_scenarios(layout), course, extremes
        self.present: NDArray[np.bool_] = course.there_in_morning  # (scenario, day, cohort)

    @cached_property
    def extremes(self) -> Extremes:
        """Worst hour of each day, arrays (scenario, day, tank)."""
        return self._extremes or Extremes(self.oxygen_min[0], *self.unionized, self.oxygen_min[1])

    @cached_property
    def _hours(self) -> Hours:
        return day_hours(self.layout, self.course)

    @cached_property
    def oxygen_min(self) -> tuple[FloatArray, FloatArray]:
        """Lowest oxygen of each day [mg/L] and its hour [h], arrays (scenario, day, tank)."""
        if self._extremes is not None:
            return self._extremes.oxygen_min_mg_l, self._extremes.oxygen_min_hour
        mean = self.course.oxygen_mg_l[..., : len(self.layout.tanks)]
        return np.maximum(mean + self._hours.oxygen_fall, 0.0), self._hours.oxygen_hour

    @cached_property
    def unionized(self) -> tuple[FloatArray, FloatArray]:
        """Un-ionized ammonia of each day, its mean and its highest, arrays (scenario, day, tank). [mg/L]"""
        if self._extremes is not None:
            return self._extremes.unionized_mg_l, self._extremes.unionized_max_mg_l
        tanks = len(self.layout.tanks)
        toxic = unionized_fraction(self.course.ph, (self.layout.temperature_c @ self.layout.leaf_loop.T)[..., :tanks])
        tan = self.course.tan_mg_l[..., :tanks]
        return toxic * tan, toxic * (tan + self._hours.tan_rise)


class Judged(NamedTuple):
    """A limit day by day; arrays broadcast to (scenario, day, entity).

    Without a margin it is the distance from the threshold in percent of it; NaN where the limit does not apply.
    """

    value: FloatArray
    threshold: FloatArray
    margin_percent: FloatArray | None = None


def limit_series(layout: Layout, course: Course, extremes: Extremes) -> list[LimitSeries]:
    """Value, threshold and margin of every hard limit.

    Parameters
    ----------
    layout, course, extremes
        A season's arrays.

    Returns
    -------
    list of LimitSeries
        As `water_limit_series`, then as `other_limit_series`, each in the order of `LIMITS`. Limits of cohorts have a
        column for each of their stays.
    """
    return water_limit_series(layout, course, extremes) + other_limit_series(layout, course, extremes)


def other_limit_series(layout: Layout, course: Course, extremes: Extremes) -> list[LimitSeries]:
    """The limits of `limit_series` that less fish or feed does not mend: who eats whom, and temperature."""
    asked = tuple(limit for limit in hard_limits() if not LIMITS[limit].moves_with_feed)
    given = Judging(layout, course, extremes)
    return [judge(given, limit) for limit in asked]


def water_limit_series(layout: Layout, course: Course, extremes: Extremes) -> list[LimitSeries]:
    """Value, threshold and margin of the limits that fish and feed move.

    Parameters
    ----------
    layout, course, extremes
        A season's arrays.

    Returns
    -------
    list of LimitSeries
        Biofilter by loop; density, oxygen, un-ionized ammonia and nitrite by tank.

    Notes
    -----
    A tank is judged by the most delicate species in it on that morning: lowest density and ammonia limit, highest
    oxygen. A day that kills every fish is judged for the fish it killed.
    """
    asked = tuple(limit for limit in hard_limits() if LIMITS[limit].moves_with_feed)
    given = Judging(layout, course, extremes)
    return [judge(given, limit) for limit in asked]


def judge(given: Judging, limit: str) -> LimitSeries:
    """One limit day by day, judged by its own function and told by its row."""
    kind, judged = LIMITS[limit], JUDGES[limit](given)
    margin = judged.margin_percent
    if margin is None:
        distance = judged.value - judged.threshold if kind.is_floor else judged.threshold - judged.value
        margin = 100.0 * distance / judged.threshold
    entities = getattr(given.layout, kind.table)
    return LimitSeries(limit, kind.table, entities, judged.value, judged.threshold, margin, kind.unit)


def cohort_limit(layout: Layout, course: Course, limit: str) -> FloatArray:
    """Limit in the water that each cohort bears, present or not.

    Parameters
    ----------
    layout, course
        A season's arrays.
    limit : str
        One that is a value of the species, as ``oxygen``, ``unionized_ammonia`` or ``nitrite``, which alone moves:
        chloride lifts it where it protects.

    Returns
    -------
    ndarray, shape broadcast to (scenario, day, cohort)
        Limit. [mg/L]
    """
    kind, species = LIMITS[limit], {key: values[..., None, :] for key, values in layout.species.items()}
    if not kind.lifted_by_chloride:
        return species[kind.species_value]
    chloride = course.chloride_mg_l @ layout.cohort_loop.T
    return np.asarray(nitrite_limit(species[kind.species_value], chloride, species["chloride_protects"] > 0.0))


def _borne_in_tanks(given: Judging, limit: str) -> FloatArray:
    """What the most delicate fish of each tank bears of a level in its water."""
    borne = cohort_limit(given.layout, given.course, limit)
    return _strictest(given.layout, given.present, borne, np.maximum if LIMITS[limit].is_floor else np.minimum)


def _density(given: Judging) -> Judged:
    """All fish of a tank against what the most delicate bear, or a species against what keeps its own growth.

    Whichever is nearer to its limit, or further beyond it.
    """
    layout, course = given.layout, given.course
    volume = layout.volume_m3[:, None, : len(layout.tanks)]
    biomass = course.grown_g / 1000.0
    value = biomass @ layout.cohort_tank / volume
    limit = _strictest(layout, given.present, layout.density_limit[:, None], np.minimum)
    names = np.array([stay.table.species for stay in layout.stays])
    for name in dict.fromkeys(names[np.isfinite(layout.growth_density).any(axis=0)]):
        kin = names == name
        own = biomass[..., kin] @ layout.cohort_tank[kin] / volume
        bears = np.broadcast_to(layout.growth_density[:, None], given.present.shape)
        of_kin = _strictest(layout, given.present & kin, np.where(kin, bears, np.inf), np.minimum)
        tighter = np.nan_to_num(own / of_kin) > np.nan_to_num(value / limit)
        value, limit = np.where(tighter, own, value), np.where(tighter, of_kin, limit)
    return Judged(value, limit)


def _oxygen(given: Judging) -> Judged:
    return Judged(given.oxygen_min[0], _borne_in_tanks(given, "oxygen"))


def _unionized_ammonia(given: Judging) -> Judged:
    tested = _tested(given.layout, "ph")
    ph = np.where(np.isnan(tested), given.course.ph, tested)
    toxic = unionized_fraction(ph, _water_of_tanks(given.layout))
    level = np.fmax(given.unionized[1], toxic * _tested(given.layout, "tan"))
    return Judged(level, _borne_in_tanks(given, "unionized_ammonia"))


def _nitrite(given: Judging) -> Judged:
    level = given.course.nitrite_mg_l[..., : len(given.layout.tanks)]
    return Judged(np.fmax(level, _tested(given.layout, "nitrite_n")), _borne_in_tanks(given, "nitrite"))


def _tested(layout: Layout, level: str) -> FloatArray:
    """What tests found in the mornings, shape (day, tank), NaN without one: by evening the day has changed it."""
    found = np.full((layout.days, len(layout.tanks)), np.nan)
    for day, loop, levels in layout.water.tests:
        if level in levels:
            found[day, layout.leaf_loop[: len(layout.tanks), loop] > 0.0] = levels[level]
    return found


def _water_of_tanks(layout: Layout) -> FloatArray:
    return np.asarray(layout.temperature_c @ layout.leaf_loop[: len(layout.tanks)].T)


def _predation(given: Judging) -> Judged:
    chance = predation_by_tank(given.layout, given.course)
    margin = np.maximum(100.0 * (TOLERATED_PAIRS - chance) / TOLERATED_PAIRS, -9900.0)
    return Judged(100.0 * chance, np.full(chance.shape, 100.0 * TOLERATED_PAIRS), margin)


def _water_of_cohorts(layout: Layout) -> FloatArray:
    return np.asarray(layout.temperature_c @ layout.cohort_loop.T)


def _of_cohorts(
    given: Judging, value: FloatArray, threshold: FloatArray, distance: FloatArray, span: FloatArray
) -> Judged:
    """A limit of each stay, its margin in percent of a span; NaN on days without fish."""
    margin = np.where(given.present, 100.0 * distance / span, np.nan)
    return Judged(value, np.broadcast_to(threshold, margin.shape), margin)


def _temperature_low(given: Judging) -> Judged:
    """Water too cold for a cohort, in percent of the span that it bears."""
    water, low, high = _water_of_cohorts(given.layout), *_borne_span(given.layout)
    return _of_cohorts(given, water, low, water - low, high - low)


def _temperature_high(given: Judging) -> Judged:
    """Water too warm for a cohort, in percent of the span that it bears."""
    water, low, high = _water_of_cohorts(given.layout), *_borne_span(given.layout)
    return _of_cohorts(given, water, high, high - water, high - low)


def _borne_span(layout: Layout) -> tuple[FloatArray, FloatArray]:
    low, high = (layout.species[f"temperature_{key}"][:, None] for key in ("low_limit", "high_stress"))
    return low, high


def _temperature_change(given: Judging) -> Judged:
    """Water that changes too fast for a cohort."""
    change, most = given.layout.temperature_change_c, given.layout.species["temperature_change_per_day"][:, None]
    return _of_cohorts(given, change, most, most - change, most)


def _biofilter(given: Judging) -> Judged:
    """Ammonia made against what the film could nitrify at the strictest fish's limit, by loop and day. [g/day]"""
    layout, course = given.layout, given.course
    members, tanks = layout.leaf_loop, len(layout.tanks)
    loop_of = members[:tanks].T
    made = course.sump_tan_load_g + AMMONIA_SHARE_OF_EXCRETION * (course.excreted_nitrogen_g @ layout.cohort_loop)
    toxic = unionized_fraction(course.ph, layout.temperature_c @ loop_of)
    at_fish = layout.species["unionized_ammonia_design"][:, None] / (toxic @ layout.cohort_tank.T)
    inside = np.where(given.present, at_fish, np.inf)
    columns = [
        inside[..., layout.cohort_loop[:, loop] > 0.0].min(axis=-1, initial=np.inf) for loop in range(len(layout.loops))
    ]
    bearable = np.stack(columns, axis=-1)
    level = np.where(np.isfinite(bearable), bearable, np.nan)
    share = level / (HALF_SATURATION_TAN_MG_L + level)
    capacity = (course.film_capacity_g @ members[tanks:]) * share
    margin = 100.0 * (capacity - made) / np.maximum(capacity, 1e-9 + 0.01 * made)
    return Judged(made, capacity, np.maximum(margin, -9900.0))


def _strictest(layout: Layout, present: NDArray[np.bool_], limit: FloatArray, pick: np.ufunc) -> FloatArray:
    """Strictest limit of the species present in each tank, NaN where there is no fish."""
    found = np.full((*present.shape[:-1], len(layout.tanks)), np.nan)
    tank_of = layout.tank_of
    order = tank_of.argsort(kind="stable")
    starts = np.flatnonzero(np.diff(tank_of[order], prepend=-1))  # of each tank's columns
    if order.size:
        borne = np.where(present, limit, np.inf if pick is np.minimum else -np.inf)
        is_there = np.logical_or.reduceat(present[..., order], starts, axis=-1)
        strict = pick.reduceat(borne[..., order], starts, axis=-1)
        found[..., tank_of[order[starts]]] = np.where(is_there, strict, np.nan)
    return found


# What judges each hard limit: a row of `LIMITS` and a function here are all that a limit needs.
JUDGES: dict[str, Callable[[Judging], Judged]] = {
    "biofilter": _biofilter,
    "density": _density,
    "oxygen": _oxygen,
    "unionized_ammonia": _unionized_ammonia,
    "nitrite": _nitrite,
    "predation": _predation,
    "temperature_low": _temperature_low,
    "temperature_high": _temperature_high,
    "temperature_change": _temperature_change,
}


def worst_margin(series: LimitSeries) -> FloatArray:
    """Smallest margin of the season by entity, in order of first columns; infinite where it never applied."""
    return worst_of(series).margin_percent


def worst_of(series: LimitSeries) -> LimitWorst:
    """How a kind of limit fared over the season, for all scenarios and places at once.

    Parameters
    ----------
    series : LimitSeries
        Day by day.

    Returns
    -------
    LimitWorst
        Arrays of shape (scenario, entity), a place's columns taken together.
    """
    shape = np.broadcast_shapes(
        series.margin_percent.shape, series.value.shape, series.threshold.shape, (1, 1, len(series.entities))
    )
    margin = np.where(np.isnan(series.margin_percent), np.inf, series.margin_percent)
    if margin.shape != shape:
        margin = np.broadcast_to(margin, shape)
    names = tuple(dict.fromkeys(series.entities))
    scenario, least, column = np.arange(shape[0])[:, None], margin, np.arange(len(names))[None]
    columns = [[at for at, entity in enumerate(series.entities) if entity == name] for name in names]
    is_of_stays = len(names) < len(series.entities)
    if is_of_stays:
        least = np.stack([margin[..., inside].min(axis=-1) for inside in columns], axis=-1)
    day = least.argmin(axis=1)
    if is_of_stays:
        worst = [margin[scenario, day[:, at : at + 1], inside].argmin(axis=-1) for at, inside in enumerate(columns)]
        column = np.stack([np.array(inside)[place] for inside, place in zip(columns, worst, strict=True)], axis=-1)
    broken = least < 0.0
    days = np.count_nonzero(broken, axis=1)
    return LimitWorst(
        series.limit, series.table, names, series.unit, np.where(days > 0, broken.argmax(axis=1), -1), day,
        _picked(series.value, scenario, day, column), _picked(series.threshold, scenario, day, column),
        margin[scenario, day, column], days,
    )  # fmt: skip


def _picked(array: FloatArray, *places: NDArray[np.int64]) -> FloatArray:
    """Elements of an array as if it were broadcast, in which axes of length 1 stand for all; quicker than to do it."""
    if min(array.shape[1:]) == 1:
        places = tuple(place * (size > 1) for place, size in zip(places, array.shape, strict=True))
    elif array.shape[0] == 1:
        places = (places[0] * 0, *places[1:])
    found: FloatArray = array[places]
    return found


def findings(layout: Layout, every: list[LimitSeries], scenario: int = 0) -> list[Finding]:
    """Findings of one scenario, broken ones first in date order, then by margin."""
    found = []
    for worst in map(worst_of, every):
        for at, entity in enumerate(worst.entities):
            first, margin = int(worst.first_day[scenario, at]), float(worst.margin_percent[scenario, at])
            if np.isinf(margin):
                continue
            found.append(
                Finding(
                    worst.limit, f"{worst.table}.{entity}", _date(layout, first) if first >= 0 else None,
                    _date(layout, int(worst.worst_day[scenario, at])), float(worst.worst_value[scenario, at]),
                    float(worst.threshold[scenario, at]), worst.unit, margin, int(worst.days_broken[scenario, at]),
                )
            )  # fmt: skip
    return sorted(found, key=lambda f: (not f.is_broken, f.first_date or dt.date.max, f.margin_percent or 0.0))


# the advisory that `planting_findings` judges
PLANTING_RATIO = "planting_ratio"


def by_place(every: Iterable[Finding], limit: str) -> dict[str, Finding]:
    """Findings of one limit, by the place that they name."""
    return {finding.where: finding for finding in every if finding.limit == limit}


def planting_findings(layout: Layout, course: Course, scenario: int = 0) -> list[Finding]:
    """Advisory on feed against planted area for every loop with planted beds: never a broken limit.

    Only the area that has a published ratio is counted, since the band is of no other; on days without any, and for
    loops without any, nothing is said.
    """
    feed = (course.fed_g @ layout.cohort_loop)[scenario]
    whole = with_scenarios(layout)
    area, least, most = (
        array[scenario if len(array) > 1 else 0] for array in (whole.rated_m2, whole.ratio_low, whole.ratio_high)
    )
    ratio = planting_ratio(feed, area)
    found, kind = [], LIMITS[PLANTING_RATIO]
    for column, loop in enumerate(layout.loops):
        daily, low, high = ratio[:, column], least[:, column], most[:, column]
        if np.isnan(daily).all() or feed[:, column].sum() == 0.0:
            continue
        too_low, too_high = daily < low, daily > high
        departure = np.where(too_high, daily / high, np.where(too_low, low / np.maximum(daily, 1e-9), 1.0))
        # told is the side on which the season lies as a whole, that of the area to build for
        rated = area[:, column] > 0.0
        mean = feed[rated, column].mean() / area[rated, column].mean()
        side = too_low if mean < low[rated].mean() else too_high if mean > high[rated].mean() else too_low | too_high
        if side.any():
            departure = np.where(side, departure, 0.0)
        worst = int(np.argmax(np.where(np.isnan(daily), 0.0, departure)))
        outside = np.flatnonzero(too_low | too_high)
        found.append(
            Finding(
                PLANTING_RATIO, f"{kind.table}.{loop}", _date(layout, int(outside[0])) if outside.size else None,
                _date(layout, worst), float(daily[worst]), float((high if too_high[worst] else low)[worst]),
                kind.unit, None, int(outside.size),
            )
        )  # fmt: skip
    return found


# What tells each advisory
ADVISERS: dict[str, Callable[[Layout, Course], list[Finding]]] = {PLANTING_RATIO: planting_findings}
if set(JUDGES) != set(hard_limits()) or {*JUDGES, *ADVISERS} != set(LIMITS):
    raise LookupError(f"limits and what judges them differ: {sorted({*JUDGES, *ADVISERS} ^ set(LIMITS))}")


def _date(layout: Layout, day: int) -> dt.date:
    return layout.start + dt.timedelta(days=day)
