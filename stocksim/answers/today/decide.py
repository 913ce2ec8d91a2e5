"""The day's list: feed, base, top-up, tests due, what is planned, which limit comes next."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from stocksim.book.checks import mean_weight_g
from stocksim.book.store import Record
from stocksim.engine.arrays.water import SOLUTES
from stocksim.engine.measured import appetite_spread, weighing_error
from stocksim.engine.results.frames import Season
from stocksim.engine.results.tested import tests_over
from stocksim.errors import InputError
from stocksim.site.begun import OverLimit
from stocksim.site.kinds import EVENT_KINDS, LIMITS, Act
from stocksim.water.buffering import SALTS, dose_portions
from stocksim.water.nitrite import (
    MOST_NITRITE_MG_L,
    SALT_PER_CHLORIDE,
    chloride_needed,
    salt_for_chloride,
    sodium_added,
)

SHEET_DAYS = 14
# A film is young for so long (assumed: twice the six weeks that cycling takes near 25 degC, for cooler water): tests
# are due daily, else weekly (common practice, no source).
YOUNG_DAYS = 84
DAILY, WEEKLY = 1, 7
# No portion of salt raises chloride by more (assumed: what catfish farms keep at all times, SRAC 462).
SALT_STEP_MG_L = 100.0
_SALT_LEFT = 0.02  # of all that is needed: less is as good as given (our choice)
_AHEAD_DAYS = 14
# fish that died in the model alone are told from so many and from such a share on (our choice)
_LEAST_LOST, _LOST_SHARE = 2.0, 0.1
_OVERDUE_DAYS = 14
# A cohort begins or stops to feed where it is fed on fewer than half of a week's days before and on more after, or the
# other way round; single days without feed are its rule.
_SPELL_DAYS = 7


@dataclass(frozen=True)
class TankDay:
    """A tank today: feed in all, by cohort and given already [g], water [degC], and whether that was measured today."""

    tank: str
    feed_g: float
    by_cohort: dict[str, float]
    given_g: float
    temperature_c: float
    is_measured: bool


@dataclass(frozen=True)
class SaltDose:
    """Plain salt against nitrite that was measured: weight [g], portions, and the sodium that it leaves [mg/L]."""

    grams: float
    portions: int
    sodium_mg_l: float


@dataclass(frozen=True)
class LoopDay:
    """A loop today: base still to give with its portions, top-up, tests with the reason, weakest film, and salt."""

    loop: str
    salt: str
    base_g: float
    portions: int
    top_up_l: float
    test_every_days: int
    test_due: dt.date
    why: str
    film_share: float
    plain_salt: SaltDose | None = None


@dataclass(frozen=True)
class Planned:
    """An event of the site file that is due or comes within two weeks."""

    date: dt.date
    event: Any
    is_overdue: bool


@dataclass(frozen=True)
class WaterChange:
    """A change of water of the site file that is due or comes within two weeks. [L]"""

    date: dt.date
    loop: str
    volume_l: float
    is_overdue: bool


@dataclass(frozen=True)
class Lost:
    """Fish that died in the model alone since a cohort's number was last told, of so many; the keeper may know more."""

    cohort: str
    dead: float
    of: float
    since: dt.date


@dataclass(frozen=True)
class FishNow:
    """Fish of a cohort this morning, their weight tonight with its error, and when they were last weighed and counted.

    The error is a standard deviation of the logarithm: of the last weighing and of the growth since, for appetite
    differs between trials; None stands for days that no record tells.
    """

    cohort: str
    count: float
    weight_g: float
    error: float
    weighed: dt.date | None
    counted: dt.date | None


@dataclass(frozen=True)
class LevelNow:
    """A level of a loop as it was last tested. [mg/L]"""

    loop: str
    level: str
    value_mg_l: float
    tested: dt.date


@dataclass(frozen=True)
class NextLimit:
    """The first limit that breaks from today on; ``date`` is today where it is broken already."""

    limit: str
    where: str
    date: dt.date
    value: float
    threshold: float
    unit: str


@dataclass(frozen=True)
class Day:
    """All that is to be done on a day.

    Parameters
    ----------
    date : date
        The day.
    tanks, loops : tuple
        One each.
    over : tuple of OverLimit
        Tests over a limit, the worst first.
    planned : tuple of Planned
        By date.
    changes : tuple of WaterChange
        By date.
    lost : tuple of Lost
        Cohorts of which many fish died in the model and no record tells of it.
    fish : tuple of FishNow
        What the day is reckoned with, of cohorts that are there.
    levels : tuple of LevelNow
        Ammonia and nitrite as last tested.
    feeding : tuple of (str, date, bool)
        Cohort, day, and whether it begins (or else stops) to be fed, the next change of each within the season.
    next_limits : tuple of NextLimit
        By date; empty where none breaks until the season ends.
    sheet : tuple of (date, dict of str to float)
        Feed of two weeks by tank. [g]
    season_ends : date
        Last day of the season.
    """

    date: dt.date
    tanks: tuple[TankDay, ...]
    loops: tuple[LoopDay, ...]
    over: tuple[OverLimit, ...]
    planned: tuple[Planned, ...]
    changes: tuple[WaterChange, ...]
    lost: tuple[Lost, ...]
    fish: tuple[FishNow, ...]
    levels: tuple[LevelNow, ...]
    feeding: tuple[tuple[str, dt.date, bool], ...]
    next_limits: tuple[NextLimit, ...]
    sheet: tuple[tuple[dt.date, dict[str, float]], ...]
    season_ends: dt.date


def the_day(season: Season, records: Sequence[Record], date: dt.date) -> Day:
    """The day's list.

    Parameters
    ----------
    season : Season
        Run from the records on.
    records : sequence of Record
        Those that hold.
    date : date
        A day of the season.

    Raises
    ------
    InputError
        If the day is not in the season.
    """
    start, end = season.dates[0], season.dates[-1]
    if not start <= date <= end:
        raise InputError(f"{date} is not in the season, which goes from {start} to {end}; give a day of it with --on.")
    day = (date - start).days
    over = tests_over(season, records, date)
    sheet = tuple(
        (season.dates[at], {tank: _feed(season, tank, at)[0] for tank in season.layout.tanks})
        for at in range(day, min(day + SHEET_DAYS, season.layout.days))
    )
    return Day(
        date,
        tuple(_tank(season, tank, day, records) for tank in season.layout.tanks),
        tuple(_loop(season, loop, day, records, over) for loop in season.layout.loops),
        over,
        _planned(season, records, date),
        _changes(season, records, date),
        _lost(season, records, day),
        _fish_now(season, records, day),
        _levels_now(season, records, date),
        _feeding(season, day),
        _next_limits(season, day),
        sheet,
        end,
    )


def _feed(season: Season, tank: str, day: int) -> tuple[float, dict[str, float]]:
    layout, fed = season.layout, season.course.fed_g[0, day]
    at = layout.tanks.index(tank)
    by_cohort: dict[str, float] = {}
    for column, name in enumerate(layout.cohorts):
        if layout.cohort_tank[column, at] > 0.0 and season.course.count[0, day, column] > 0.0:
            by_cohort[name] = by_cohort.get(name, 0.0) + float(fed[column])
    return sum(by_cohort.values()), by_cohort


def _tank(season: Season, tank: str, day: int, records: Sequence[Record]) -> TankDay:
    feed, by_cohort = _feed(season, tank, day)
    loop = season.site.file.tanks[tank].loop
    in_loop = {f"loops.{loop}", *(f"tanks.{key}" for key, one in season.site.file.tanks.items() if one.loop == loop)}
    measured = any(one.kind == "temperature" and one.date == season.dates[day] and one.of in in_loop for one in records)
    water = float(season.layout.temperature_c[day, season.layout.loops.index(loop)])
    fed = {f"tanks.{tank}", *(f"cohorts.{cohort}" for cohort in by_cohort)}
    given = sum(one.value("feed_g") for one in _on(season, records, "feed", day) if one.of in fed)
    return TankDay(tank, feed, by_cohort, given, water, measured)


def _on(season: Season, records: Sequence[Record], kind: str, day: int) -> list[Record]:
    """Records of a kind of one day."""
    return [one for one in records if one.kind == kind and one.date == season.dates[day]]


def _base_given(season: Season, loop: str, salt: str, day: int, records: Sequence[Record]) -> float:
    """Base that was given today by the records, as so much of the loop's own salt. [g]"""
    own = SALTS[salt].salt_g_per_alkalinity_g
    return sum(
        one.value("weight_g") * own / SALTS[str(one.held.get("salt", salt))].salt_g_per_alkalinity_g
        for one in _on(season, records, "base", day)
        if one.of == f"loops.{loop}"
    )


def _loop(season: Season, loop: str, day: int, records: Sequence[Record], over: Sequence[OverLimit]) -> LoopDay:
    layout, course = season.layout, season.course
    column, date = layout.loops.index(loop), season.dates[day]
    salt = SALTS[layout.water.salts[column]]
    name = layout.water.salts[column]
    base = max(float(course.buffer_g[0, day, column]) - _base_given(season, loop, name, day, records), 0.0)
    levels = course.alkalinity_mg_l[0, :, column]
    start = layout.water.start_level[SOLUTES.index("alkalinity"), column]
    dose = base / salt.salt_g_per_alkalinity_g / layout.loop_water_m3[column]
    film = _film_share(season, column, day)
    every, why = WEEKLY, "settled biofilter"
    if any(one.loop == loop for one in over):
        every, why = DAILY, "the last test was over a limit"
    elif (age := _film_days(season, loop, date)) < YOUNG_DAYS:
        every, why = DAILY, f"young biofilter, {age} days old"
    elif _breaks_soon(season, loop, day):
        every, why = DAILY, "a limit of the water breaks within two weeks in the model"
    tested = [
        one.date for one in records
        if one.kind == "test" and one.of == f"loops.{loop}" and one.date <= date
        and not (math.isnan(one.value("tan_mg_l")) and math.isnan(one.value("nitrite_n_mg_l")))
    ]  # fmt: skip
    due = max(tested) + dt.timedelta(days=every) if tested else date
    return LoopDay(
        loop, name, base, int(dose_portions(dose, levels[day - 1] if day else start)),
        # what a change of water brings is told by itself
        1000.0 * float(course.top_up_m3[0, day, column] - layout.water.exchanged_m3[day, column]),
        every, due, why, film, _plain_salt(season, column, day, over),
    )  # fmt: skip


def _plain_salt(season: Season, column: int, day: int, over: Sequence[OverLimit]) -> SaltDose | None:
    """Salt that shields fish from the nitrite of the last test; None where it is not needed or shields none there."""
    layout, loop = season.layout, season.layout.loops[column]
    measured = [one.value_mg_l for one in over if one.loop == loop and LIMITS[one.limit].lifted_by_chloride]
    here = [
        c for c in range(len(layout.cohorts)) if layout.cohort_loop[c, column] and season.course.count[0, day, c] > 0.0
    ]
    protects = [season.site.species[layout.stays[c].table.species]["chloride_protects"] > 0.0 for c in here]
    if not measured or not any(protects):
        return None
    volume, now = float(layout.loop_water_m3[column]), float(season.course.chloride_mg_l[0, day, column])
    needed = chloride_needed(min(max(measured), MOST_NITRITE_MG_L))
    grams = float(salt_for_chloride(volume, now, needed))
    if grams <= _SALT_LEFT * float(salt_for_chloride(volume, 0.0, needed)):
        return None
    portions = math.ceil(grams / SALT_PER_CHLORIDE / volume / SALT_STEP_MG_L)
    return SaltDose(grams, portions, float(sodium_added(grams, volume)))


def _film_share(season: Season, column: int, day: int) -> float:
    """The weaker of a loop's two films, a share of what its surfaces can hold; 1 where it has none. [-]"""
    frame = season.loops
    rows = frame[frame["loop"] == season.layout.loops[column]]
    shares = [float(rows[f"{kind}_oxidizer_maturity"].iloc[day]) for kind in ("ammonia", "nitrite")]
    known = [share for share in shares if not math.isnan(share)]
    return min(known, default=1.0)


def _film_days(season: Season, loop: str, date: dt.date) -> int:
    """Age of the youngest film of a loop, as far as the site file tells it; else it is settled. [day]"""
    file = season.site.file
    table = file.loops[loop]
    units = [unit for part in (file.beds, file.biofilters) for unit in part.values() if unit.loop == loop]
    started = [unit.biofilter_started or table.biofilter_started for unit in units]
    if table.biofilter_start in ("new", "seeded"):
        started.append(file.season.start)
    known = [(date - day).days for day in started if day is not None]
    return min(known, default=YOUNG_DAYS)


def _breaks_soon(season: Season, loop: str, day: int) -> bool:
    """Whether a level that the film leaves breaks its limit in a tank of the loop within two weeks."""
    tanks = [tank for tank, one in season.site.file.tanks.items() if one.loop == loop]
    for series in season.water_limits:
        if LIMITS[series.limit].is_left_by_film:
            columns = [at for at, name in enumerate(series.entities) if name in tanks]
            margin = _margins(season, series.margin_percent)[day : day + _AHEAD_DAYS, columns]
            if (margin < 0.0).any():
                return True
    return False


def _margins(season: Season, margin: NDArray[np.float64]) -> NDArray[np.float64]:
    """Margins of one scenario, shape (day, entity)."""
    return np.asarray(np.broadcast_to(margin[0], (season.layout.days, margin.shape[-1])))


def _planned(season: Season, records: Sequence[Record], date: dt.date) -> tuple[Planned, ...]:
    """Events of the file from two weeks ago, where no record tells that they were done, to two weeks ahead."""
    found = []
    for event in season.site.file.events:
        kind = EVENT_KINDS[event.kind]
        off = (event.date - date).days
        if kind.act is Act.FIND or not -_OVERDUE_DAYS <= off <= _AHEAD_DAYS:
            continue
        done = any(one.date == event.date and one.name == event.cohort and one.kind == event.kind for one in records)
        if not done:
            found.append(Planned(event.date, event, off < 0))
    return tuple(sorted(found, key=lambda one: one.date))


def _changes(season: Season, records: Sequence[Record], date: dt.date) -> tuple[WaterChange, ...]:
    """Changes of water of the file from two weeks ago, where no record tells of them, to two weeks ahead."""
    found = []
    for loop, table in season.site.file.loops.items():
        done = {one.date for one in records if one.kind == "water" and one.of == f"loops.{loop}"}
        for change in table.water_changes:
            off = (change.date - date).days
            if -_OVERDUE_DAYS <= off <= _AHEAD_DAYS and change.date not in done:
                found.append(WaterChange(change.date, loop, 1000.0 * change.volume, off < 0))
    return tuple(sorted(found, key=lambda one: one.date))


def _lost(season: Season, records: Sequence[Record], day: int) -> tuple[Lost, ...]:
    """Cohorts that lost a tenth and two fish at least in the model since a record last told their number."""
    layout, course, found = season.layout, season.course, []
    for cohort in dict.fromkeys(layout.cohorts):
        columns = [c for c, name in enumerate(layout.cohorts) if name == cohort]
        told = [one.date for one in records if one.kind in ("count", "deaths") and one.name == cohort]
        first = season.site.cohorts[cohort].stocked or season.dates[0]
        since = max([one for one in told if one <= season.dates[day]], default=first)
        if since > season.dates[day]:
            continue
        at = max((since - season.dates[0]).days, 0)
        of = float(course.count[0, at, columns].sum() + course.deaths[0, at, columns].sum())
        dead = float(course.deaths[0, at:day, columns].sum())
        if dead >= max(_LEAST_LOST, _LOST_SHARE * of):
            found.append(Lost(cohort, dead, of, since))
    return tuple(found)


def _fish_now(season: Season, records: Sequence[Record], day: int) -> tuple[FishNow, ...]:
    layout, course, site, found = season.layout, season.course, season.site, []
    for cohort in dict.fromkeys(layout.cohorts):
        there = course.count[0, day] + course.deaths[0, day]
        column = max((c for c, name in enumerate(layout.cohorts) if name == cohort), key=there.__getitem__)
        if there[column] <= 0.0:
            continue
        own = [one for one in records if one.name == cohort and season.dates[0] <= one.date <= season.dates[day]]
        weighed = max((one.date for one in own if one.kind == "weigh"), default=None)
        weight, spread = float(course.weight_g[0, day, column]), appetite_spread(site, site.cohorts[cohort].species)
        if weighed is None:
            error, was = 0.0, site.cohorts[cohort].mean_weight
        else:
            sample = [mean_weight_g(one) for one in own if one.kind == "weigh" and one.date == weighed]
            number = sum(fish for fish, _ in sample)
            error, was = weighing_error(site, cohort, number), sum(fish * mean for fish, mean in sample) / number
        found.append(
            FishNow(
                cohort, float(there[column]), weight, math.hypot(error, spread * math.log(weight / was)),
                weighed, max((one.date for one in own if one.kind in ("count", "deaths")), default=None),
            )
        )  # fmt: skip
    return tuple(found)


def _levels_now(season: Season, records: Sequence[Record], date: dt.date) -> tuple[LevelNow, ...]:
    found: dict[tuple[str, str], LevelNow] = {}
    for one in sorted(records, key=lambda one: (one.date, one.number)):
        for level in ("tan", "nitrite_n"):
            if one.kind == "test" and one.date <= date and not math.isnan(value := one.value(f"{level}_mg_l")):
                found[one.name, level] = LevelNow(one.name, level, value, one.date)
    return tuple(
        found[key] for loop in season.layout.loops for level in ("tan", "nitrite_n") if (key := (loop, level)) in found
    )


def _feeding(season: Season, day: int) -> tuple[tuple[str, dt.date, bool], ...]:
    """The next day on which each cohort begins or stops to be fed."""
    layout, found = season.layout, []
    for cohort in dict.fromkeys(layout.cohorts):
        columns = [c for c, name in enumerate(layout.cohorts) if name == cohort]
        there = season.course.count[0][:, columns].sum(axis=1) > 0.5
        fed = (season.course.fed_g[0][:, columns].sum(axis=1) > 0.0).astype(float)
        for at in range(day + 1, layout.days):
            if not (there[at] and there[at - 1]) or fed[at] == fed[at - 1]:
                continue
            before, after = fed[max(at - _SPELL_DAYS, 0) : at].mean(), fed[at : at + _SPELL_DAYS].mean()
            if (before < 0.5) != (after < 0.5) and bool(fed[at]) == (after >= 0.5):
                found.append((cohort, season.dates[at], bool(fed[at])))
                break
    return tuple(sorted(found, key=lambda one: one[1]))


def _next_limits(season: Season, day: int) -> tuple[NextLimit, ...]:
    """The first broken day of each limit and place from today on."""
    found = []
    for series in season.limits:
        shape = (season.layout.days, len(series.entities))
        margin = _margins(season, series.margin_percent)
        value, threshold = (np.broadcast_to(part[0], shape) for part in (series.value, series.threshold))
        for at, name in enumerate(series.entities):
            broken = np.flatnonzero(margin[day:, at] < 0.0)
            if broken.size:
                when = day + int(broken[0])
                found.append(
                    NextLimit(series.limit, f"{series.table}.{name}", season.dates[when], float(value[when, at]),
                              float(threshold[when, at]), series.unit)
                )  # fmt: skip
    return tuple(sorted(found, key=lambda one: one.date))
