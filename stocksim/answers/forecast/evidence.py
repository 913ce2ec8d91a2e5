"""What may differ from the season as it is reckoned, and what the records say of it.

Apart from `decide`, which fits the one to the other.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from stocksim.book.checks import mean_weight_g
from stocksim.book.store import Record
from stocksim.engine.arrays.layout import Layout
from stocksim.engine.many_seasons import run_seasons
from stocksim.engine.measured import CHART_ERROR, LEAST_READ_MG_L, appetite_spread, weighing_error
from stocksim.fish.survival import BACKGROUND_DEATHS_PER_DAY
from stocksim.site.reading import Site
from stocksim.units import format_date, format_quantity

FloatArray = NDArray[np.float64]

_FIFTH = 1.645  # score of 95 %: species files declare a 5 to 95 % range
# A film's removal per surface is known within a factor of 2 (docs/nitrification.md); everyday losses of keepers are
# taken to lie within a factor of 10 of published ones (assumed).
FILM_SPREAD, LOSS_SPREAD = math.log(2.0) / _FIFTH, math.log(10.0) / _FIFTH
# Feed spilled: practical over biological feed conversion is 1.0 to 1.4 (engineering judgement of this project), so a
# share of 0 to 0.29 about 0.17: its standard deviation, were it flat, is half of the middle. What an air supply moves
# into the water is known to a factor of 2 only (stocksim.water.oxygen).
SPILL_SPREAD, SUPPLY_SPREAD = 0.5, math.log(2.0) / _FIFTH
_MOST_SPILLED = 0.9
FURTHEST = 3.0  # prior standard deviations that a fit may go, either way
# Errors beside those of measuring (stocksim.engine.measured), as standard deviations of a logarithm (assumed): feed by
# a scoop, and what the season misses of a cohort whose appetite is known.
FEED_ERROR, SEASON_ERROR = 0.1, 0.03
LEVEL_ERROR = 0.4  # what the season misses of a level at the hour of a test (assumed)
OXYGEN_ERROR = 0.1  # a meter, and the hour of the reading (assumed)
COLUMNS = ("cohorts.mean_weight_g", "cohorts.deaths", "cohorts.feed_g", "cohorts.count", "tanks.tan_mg_l",
           "tanks.nitrite_n_mg_l", "tanks.oxygen_mg_l")  # fmt: skip


@dataclass(frozen=True)
class Unknown:
    """The logarithm of a factor: of appetite, everyday losses or feed spilled of a cohort, of film strength or oxygen
    supply of a loop."""

    what: str
    place: str
    spread: float


@dataclass(frozen=True)
class Evidence:
    """What a record says: a logarithm (of losses twice a root, which has an error of 1) with its error."""

    what: str
    place: str
    date: dt.date
    told: float
    error: float
    days: tuple[int, ...]
    record: int


def unknowns(site: Site, records: Sequence[Record] = ()) -> list[Unknown]:
    """All that is fitted, with the spread that is declared of it.

    Feed spilled of a cohort is only where its feed and its weights are recorded, oxygen supply of a loop only where its
    oxygen is: nothing else tells them from appetite.
    """
    found = []
    for cohort, table in site.cohorts.items():
        found.append(Unknown("appetite", cohort, appetite_spread(site, table.species)))
        found.append(Unknown("losses", cohort, LOSS_SPREAD))
    found += [Unknown("film", loop, FILM_SPREAD) for loop in site.file.loops]
    fed = {one.of for one in records if one.kind == "feed"} & {one.of for one in records if one.kind == "weigh"}
    read = {one.of for one in records if one.kind == "test" and "oxygen_mg_l" in one.held}
    found += [Unknown("spilled", name, SPILL_SPREAD) for name in site.cohorts if f"cohorts.{name}" in fed]
    return found + [Unknown("supply", loop, SUPPLY_SPREAD) for loop in site.file.loops if f"loops.{loop}" in read]


def arrays(layout: Layout, asked: Sequence[Unknown], x: FloatArray) -> dict[str, FloatArray]:
    """Numbers of the layout at the logarithms x, shape (scenario, unknown)."""
    appetite = np.repeat(layout.appetite_at_1g[None], len(x), axis=0)
    hazard = np.repeat(layout.daily_hazard[None], len(x), axis=0)
    film = np.repeat(layout.film_m2[None], len(x), axis=0)
    spilled = np.repeat(layout.spilled_share[None], len(x), axis=0)
    device = np.repeat(layout.device_g_day[None], len(x), axis=0)
    sump = np.repeat(layout.sump_device_g_day[None], len(x), axis=0)
    for at, unknown in enumerate(asked):
        factor = np.exp(x[:, at])
        if unknown.what in ("film", "supply"):
            loop = layout.loops.index(unknown.place)
            leaves = np.flatnonzero(layout.leaf_loop[:, loop] > 0.0)
            (film if unknown.what == "film" else device)[:, leaves] *= factor[:, None]
            if unknown.what == "supply":
                sump[:, loop] *= factor
            continue
        for column, cohort in enumerate(layout.cohorts):
            if cohort == unknown.place and unknown.what == "appetite":
                appetite[:, :, column] *= factor[:, None]
            elif cohort == unknown.place and unknown.what == "spilled":
                spilled[:, column] = np.minimum(spilled[:, column] * factor, _MOST_SPILLED)
            elif cohort == unknown.place:
                hazard[:, :, column] += (factor[:, None] - 1.0) * BACKGROUND_DEATHS_PER_DAY
    return {
        "appetite_at_1g": appetite, "daily_hazard": hazard, "film_m2": film, "spilled_share": spilled,
        "device_g_day": device, "sump_device_g_day": sump,
    }  # fmt: skip


def evidence(site: Site, records: Sequence[Record]) -> list[Evidence]:
    """What records of the season say, in the order of days."""
    start, found = site.file.season.start, list[Evidence]()
    inside = [one for one in records if start <= one.date <= site.file.season.end]
    for one in inside:
        day = (one.date - start).days
        if one.kind == "weigh":
            number, mean = mean_weight_g(one)
            error = math.hypot(weighing_error(site, one.name, number), SEASON_ERROR)
            found.append(Evidence("weight", one.name, one.date, math.log(mean), error, (day,), one.number))
        elif one.kind == "test":
            for key, what in (("tan_mg_l", "tan"), ("nitrite_n_mg_l", "nitrite")):
                if not math.isnan(value := one.value(key)):
                    told = math.log(value + LEAST_READ_MG_L)
                    error = math.hypot(CHART_ERROR, LEVEL_ERROR)
                    found.append(Evidence(what, one.name, one.date, told, error, (day,), one.number))
            if (oxygen := one.value("oxygen_mg_l")) > 0.0:
                told = math.log(oxygen + LEAST_READ_MG_L)
                found.append(Evidence("oxygen", one.name, one.date, told, OXYGEN_ERROR, (day,), one.number))
    for cohort in site.cohorts:
        found += _of_losses(cohort, [one for one in inside if one.name == cohort], start)
        found += _of_feed(cohort, [one for one in inside if one.of == f"cohorts.{cohort}"], start)
    return sorted(found, key=lambda one: (one.date, one.record))


def _of_losses(cohort: str, records: Sequence[Record], start: dt.date) -> list[Evidence]:
    """All dead of a cohort until the last record of its dead."""
    dead = [one for one in records if one.kind == "deaths"]
    if not dead:
        return []
    last = max(one.date for one in dead)
    total = sum(one.value("count") for one in dead)
    days = tuple(range((last - start).days + 1))
    return [Evidence("losses", cohort, last, 2.0 * math.sqrt(total + 0.375), 1.0, days, dead[-1].number)]


def _of_feed(cohort: str, records: Sequence[Record], start: dt.date) -> list[Evidence]:
    """All feed of a cohort that was recorded, on the days on which it was."""
    fed = [one for one in records if one.kind == "feed"]
    total = sum(one.value("feed_g") for one in fed)
    if total <= 0.0:
        return []
    days = tuple(sorted({(one.date - start).days for one in fed}))
    return [Evidence("feed", cohort, max(one.date for one in fed), math.log(total), FEED_ERROR, days, fed[-1].number)]


@dataclass(frozen=True)
class Run:
    """Seasons that were run: columns by name, (scenario, day, place), with their places."""

    columns: dict[str, FloatArray]
    places: dict[str, tuple[str, ...]]
    number: int

    def of(self, column: str, place: str) -> FloatArray:
        """A column of a place, shape (scenario, day)."""
        return self.columns[column][:, :, self.places[column].index(place)]


def run(site: Site, layout: Layout, asked: Sequence[Unknown], x: FloatArray, threads: int | None = None) -> Run:
    """Real seasons at the logarithms x, shape (scenario, unknown)."""
    many = run_seasons(site, arrays=arrays(layout, asked, x), keep=COLUMNS, threads=threads)
    columns = {name: np.asarray(many.values(name), float) for name in COLUMNS}
    return Run(columns, {name: many.places(name) for name in COLUMNS}, len(x))


def reckoned(site: Site, told: Sequence[Evidence], seasons: Run) -> FloatArray:
    """What the seasons have in the place of what was told, shape (scenario, evidence)."""
    found = np.zeros((seasons.number, len(told)))
    for at, one in enumerate(told):
        days = np.array(one.days)
        if one.what == "weight":
            # fish are weighed in the morning: as the day before left them
            weight = seasons.of("cohorts.mean_weight_g", one.place)[:, max(days[0] - 1, 0)]
            found[:, at] = np.log(np.maximum(np.nan_to_num(weight, nan=1e-6), 1e-6))
        elif one.what == "losses":
            dead = np.nansum(seasons.of("cohorts.deaths", one.place)[:, days], axis=1)
            found[:, at] = 2.0 * np.sqrt(dead + 0.375)
        elif one.what == "feed":
            fed = np.nansum(seasons.of("cohorts.feed_g", one.place)[:, days], axis=1)
            found[:, at] = np.log(np.maximum(fed, 1e-6))
        else:
            column = _LEVELS[one.what]
            tanks = [tank for tank, table in site.file.tanks.items() if table.loop == one.place]
            level = np.mean([seasons.of(column, tank)[:, max(days[0] - 1, 0)] for tank in tanks], axis=0)
            found[:, at] = np.log(level + LEAST_READ_MG_L)
    return found


_LEVELS = {"tan": "tanks.tan_mg_l", "nitrite": "tanks.nitrite_n_mg_l", "oxygen": "tanks.oxygen_mg_l"}


def base_factor(site: Site, records: Sequence[Record], base_g: FloatArray) -> dict[str, tuple[float, float, int]]:
    """Base that was given over what was reckoned, by loop: factor, error of its logarithm, days of records.

    Parameters
    ----------
    site : Site
        The site.
    records : sequence of Record
        Those that hold.
    base_g : ndarray, shape (day, loop)
        What the season doses. [g/day]
    """
    found: dict[str, tuple[float, float, int]] = {}
    start = site.file.season.start
    for column, loop in enumerate(site.file.loops):
        given: dict[int, float] = {}
        for one in records:
            if one.kind == "base" and one.of == f"loops.{loop}" and 0 <= (day := (one.date - start).days) < site.days:
                given[day] = given.get(day, 0.0) + one.value("weight_g")
        if len(given) < 2:
            continue  # from the first to the last dose; what went before the first is for days before it
        first, last = min(given), max(given)
        total = sum(grams for day, grams in given.items() if day > first)
        expected = float(base_g[first + 1 : last + 1, column].sum())
        if expected > 0.0 and total > 0.0:
            found[loop] = (total / expected, 1.0 / math.sqrt(len(given) - 1.0) * 0.3, last - first)
    return found


def grown_beyond_feed(site: Site, records: Sequence[Record], counts: dict[str, Any]) -> list[str]:
    """Weighings between which fish gained more than twice the feed recorded, where most days have a record."""
    told, units = [], site.file.site.units
    for cohort in site.cohorts:
        own = sorted((one for one in records if one.of == f"cohorts.{cohort}"), key=lambda one: (one.date, one.number))
        weighed = [one for one in own if one.kind == "weigh"]
        for first, last in pairwise(weighed):
            fed = [one for one in own if one.kind == "feed" and first.date <= one.date < last.date]
            span = (last.date - first.date).days
            if span < 7 or len({one.date for one in fed}) < _MOST_DAYS * span:
                continue
            gain = (mean_weight_g(last)[1] - mean_weight_g(first)[1]) * float(counts.get(cohort, math.nan))
            feed = sum(one.value("feed_g") for one in fed)
            if gain > _MOST_GAIN * feed:
                gained, eaten = (format_quantity(grams, "dose", units) for grams in (gain, feed))
                told.append(
                    f"By their weighings {cohort} gained {gained} from {format_date(first.date)} to "
                    f"{format_date(last.date)} on {eaten} of recorded feed, more than dry feed makes; a weighing, a "
                    "number or the feed is wrong."
                )
    return told


# A gram of dry feed makes 2 g of wet fish at the very best (assumed; published conversions are 0.8 and more).
_MOST_GAIN, _MOST_DAYS = 2.0, 0.8
