"""A change of the site file as data, and the tools that all are sought and proved with: many values in one run."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field, replace
from enum import StrEnum, auto
from functools import partial
from typing import Any, NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.arrays.layout import Layout, first_days
from stocksim.engine.results.course import Course
from stocksim.engine.results.deaths import deaths_of_water_or_hunger
from stocksim.engine.results.findings import Finding, Judging, LimitSeries, judge, worst_margin
from stocksim.engine.results.frames import Season, margin_of
from stocksim.engine.running import impossible_events, run_season
from stocksim.engine.season import CHUNK, in_chunks, simulate
from stocksim.errors import InputError
from stocksim.memo import Memo, content_key
from stocksim.site.kinds import LIMITS
from stocksim.site.model import SiteFile
from stocksim.site.reading import Site

FloatArray = NDArray[np.float64]
R = TypeVar("R")

# shares of what is there now, tried from all to none
SHARES = np.linspace(1.0, 0.0, 41)
# Deaths that a change may add, share of each cohort's fish: those that it keeps from one death die of another, 2.6 % a
# year, later in the season (assumed; a third of a fish of sixty).
MORE_DEATHS_SHARE = 0.005


class Action(StrEnum):
    """What a change does, each with the amounts that its sentence needs; places are ``tanks.NAME``, ``loops.NAME``."""

    FEWER_FISH = auto()  # where; kept: (cohort, fish, of)...
    TAKEN_OUT = auto()  # tank, cohort, fish, of, is_harvest: else they are too small to eat and sold
    MOVED = auto()  # cohort, tank, into
    GRADED = auto()  # cohort, tank, into, share: of its fish, the largest
    PART_FILLED = auto()  # tank, volume_m3, now_m3: the rest of the tank stays unused
    MORE_FLOW = auto()  # tank, flow_m3_day, now_m3_day
    MORE_AIR = auto()  # tank, power_w, now_w
    LESS_FEED = auto()  # rations: (cohort, fraction, now)...
    HELD_FEED = auto()  # loop, share, until
    FEEDING_HOURS = auto()  # loop, hours
    VENTS = auto()  # opens_at_c, now_c or None, air_changes, is_more_air
    SHADE = auto()  # share, now
    SET_POINT = auto()  # loop, cohort, temperature_c, is_floor
    # loop, carried_m2, planted_m2, is_whole: whether all that is planted counts, rule, is_salted, is_built
    PLANTED_AREA = auto()
    NEW_FILM = auto()  # loop, media_m3, surface_m2_m3
    MORE_FILM = auto()  # where; surface_m2 and now_m2 of a bed, media_m3 of a biofilter
    CHLORIDE = auto()  # loop, chloride_mg_l, sodium_mg_l, is_planted, salts_g: grams of each salt that would do
    BUFFER = auto()  # loop, alkalinity_mg_l, lowest_mg_l
    SOFTER_TARGET = auto()  # loop, alkalinity_mg_l, now_mg_l
    SOFTER_SOURCE = auto()  # loop, alkalinity_mg_l, now_mg_l
    EMPTIED = auto()  # settlers, days, now_days
    WATER_CHANGES = auto()  # loop, volume_m3, share, last, every_days: 0 for a single one
    WEEKLY_CHANGES = auto()  # loop, volume_m3, share
    DOSING_ENDS = auto()  # loop, last, days_ahead
    FILM_FIRST = auto()  # loop, dose_g_day, until, cohorts that are stocked later, due
    LESS_DOSED_AMMONIA = auto()  # loop, dose_g_day or None, now_g_day, cohorts that are stocked later, due
    HUNGRIER_CROPS = auto()  # loop, crop, instead_of
    RATION = auto()  # loop, fraction, now
    STOCK = auto()  # loop, biomass_kg: what is added; counts: (cohort, fish, now)...
    NO_HEAT = auto()  # nothing
    AIR_SET_POINT = auto()  # room: greenhouse or fish_room, set_point_c
    WATER_SET_POINT = auto()  # loop, set_point_c, air_c: of the room that is kept frost-free only, else None
    FOAM = auto()  # foam_m: on tanks and sumps
    COVERS = auto()  # nothing: lids on tanks and sumps
    BED_COVERS = auto()  # kinds: of the beds that are covered at night
    CURTAIN = auto()  # nothing: a night curtain
    NIGHT_FLOW = auto()  # kinds: of the beds, share: of their flow
    ALL_COVERS = auto()  # nothing: foam, lids, covers and curtain at once
    WARM_LOOP = auto()  # tanks: those that move to it, set_point_c
    TOGETHER = auto()  # changes: those that are made at once


# What each is called among the kinds of advice that a keeper may forbid; those that only the cold months, the beds or
# the ramp offer stand under what they do as well.
ADVICE_OF: dict[Action, str] = {
    Action.FEWER_FISH: "stock", Action.TAKEN_OUT: "harvest", Action.MOVED: "move", Action.MORE_FLOW: "flow",
    Action.GRADED: "move", Action.FEEDING_HOURS: "hours", Action.VENTS: "vents", Action.SHADE: "shade",
    Action.EMPTIED: "solids", Action.PART_FILLED: "fill",
    Action.MORE_AIR: "air", Action.LESS_FEED: "feed", Action.HELD_FEED: "feed", Action.SET_POINT: "heat",
    Action.PLANTED_AREA: "plant", Action.NEW_FILM: "biofilter", Action.MORE_FILM: "biofilter",
    Action.CHLORIDE: "salt", Action.BUFFER: "base", Action.SOFTER_TARGET: "base", Action.SOFTER_SOURCE: "water",
    Action.WATER_CHANGES: "water", Action.WEEKLY_CHANGES: "water",
    Action.DOSING_ENDS: "base", Action.LESS_DOSED_AMMONIA: "stock", Action.FILM_FIRST: "biofilter",
    Action.HUNGRIER_CROPS: "plant", Action.RATION: "feed", Action.STOCK: "stock",
    Action.NO_HEAT: "heat", Action.AIR_SET_POINT: "heat", Action.WATER_SET_POINT: "heat", Action.FOAM: "heat",
    Action.COVERS: "heat", Action.BED_COVERS: "heat", Action.CURTAIN: "heat", Action.NIGHT_FLOW: "flow",
    Action.ALL_COVERS: "heat", Action.WARM_LOOP: "heat", Action.TOGETHER: "heat",
}  # fmt: skip


def allowed(site: Site, changes: Iterable[Change]) -> list[Change]:
    """Changes without those of the kinds that the keeper forbids (`[advice] never`)."""
    return [change for change in changes if not is_forbidden(site.file, change)]


def is_forbidden(file: SiteFile, change: Change | None) -> bool:
    """Whether a keeper wants no advice of a change's kind, or of the kind of one that is made with it."""
    if change is None:
        return False
    together = change.amounts.get("changes", ())
    if together:
        return any(is_forbidden(file, one) for one in together)
    return ADVICE_OF[change.kind] in file.advice.never


class Care(StrEnum):
    """What must be minded with a change."""

    NEW_WATER = auto()
    GROWN_FILM = auto()
    FOOD_GRADE = auto()
    CLEAR_TESTS = auto()
    AMMONIA = auto()
    WILD = auto()
    LOST_NITROGEN = auto()
    WATERCRESS = auto()


@dataclass(frozen=True)
class Change:
    """A change of the site file that a run can prove; `stocksim.faces.change_words` says it.

    Parameters
    ----------
    kind : Action
        What is done.
    fields : dict
        Dotted fields to new values, as `Site.with_changes` takes them.
    amounts : dict
        Numbers and names that its sentence needs, by the keys that `Action` names, in SI units.
    start : date or None
        Day on which it begins; None where it holds from the season's first, or there is no such day.
    effort : int or None
        Its place among the cheap ones, 1 first: no purchase, then seed, then fish, then water, then building; None
        where it is not known.
    care : Care or None
        What must be minded.
    cuts_feed : bool
        Whether fish go hungry for it: then none may die of hunger or of the water.
    past : tuple of date
        Days that it cannot mend, because a test measured the limit broken on their mornings.
    breaks_at_once : bool
        Whether it is known without a run that another limit is broken by it on its own day.
    """

    kind: Action
    fields: dict[str, Any]
    amounts: dict[str, Any] = field(default_factory=dict)
    start: dt.date | None = None
    effort: int | None = None
    care: Care | None = None
    cuts_feed: bool = False
    past: tuple[dt.date, ...] = ()
    breaks_at_once: bool = False


class Trial(NamedTuple):
    """What is kept of the scenarios of a layout.

    Parameters
    ----------
    margin : dict of str to ndarray, shape (scenario,)
        Worst margin of a limit in the season by tank or loop. [%]
    deaths, of_water : ndarray, shape (scenario, column)
        Fish of each column that died, and those that died of the water or of hunger.
    """

    margin: dict[str, FloatArray]
    deaths: FloatArray
    of_water: FloatArray


# A season that is cut short for a first look: a multiple of the first, at least the second after the first broken day.
_SCREEN_DAYS, _SCREEN_AFTER_DAYS = 30, 15
_MOST_GUESSES = 5  # at a number that just does
_STRIDE = 4  # of many scenarios, how many are passed over at first
_FEW = 3  # of those that pass it are run for the whole season at first: most often one of them passes
# Findings of one loop ask for the same seasons again and again: on new films six in ten were run before.
_seasons: Memo[Season] = Memo(128)  # about 1 MB each
_trials: Memo[Trial] = Memo(512)  # a few kB each


_asked: ContextVar[list[int] | None] = ContextVar("asked", default=None)


@contextmanager
def counted() -> Iterator[list[int]]:
    """Count the seasons that are asked for meanwhile, whole or of a scenario, run or kept from before; one number."""
    asked = [0]
    token = _asked.set(asked)
    try:
        yield asked
    finally:
        _asked.reset(token)


def count(seasons: int) -> None:
    """Add seasons that are asked for to those that `counted` counts."""
    asked = _asked.get()
    if asked is not None:
        asked[0] += seasons


def prove(site: Site, fields: Mapping[str, Any]) -> Season:
    """Season of a site with some fields changed, run once for equal fields of equal sites; as `run_season`."""
    count(1)
    return once(_seasons, lambda: run_season(site, **fields), site, fields)


def counted_season(season: Season, layout: Layout) -> Season | None:
    """A season run again with a layout whose numbers differ; None where its events ask for more than there is."""
    count(1)
    course = simulate(layout)
    if impossible_events(season.site, layout, course):
        return None
    return Season(season.site, layout, course, season.planting)


def once(memo: Memo[R], make: Callable[[], R], *things: Any) -> R:
    """What is made of some things, kept by their content."""
    try:
        key = content_key(*things)
    except TypeError:  # tables made in Python may hold what no file does
        return make()
    return memo.of(key, make)


def first_passing(
    season: Season,
    finding: Finding,
    tried: Mapping[str, FloatArray],
    cuts_feed: bool = False,
    is_one_stretch: bool = False,
) -> int | None:
    """First scenario that keeps the finding's limit, and the fish alive; None where none does.

    Parameters
    ----------
    season : Season
        The season before the change.
    finding : Finding
        One of its limits of water, feed and fish.
    tried : mapping of str to ndarray, shape (scenario, ...)
        Fields of the season's layout to try, the gentlest scenario first; those behind the first that passes are mostly
        not run.
    cuts_feed : bool
        As for `spares_fish`.
    is_one_stretch : bool
        Whether what comes after one that passes mostly passes too. Then every `_STRIDE`-th is tried first, and before
        the first that passes those that lie between.

    Notes
    -----
    A limit that breaks early is tried on the season's first days alone, and only what passes there on the whole season:
    days to come change nothing on those before.
    """
    days, number = _enough_days(season, finding), max(map(len, tried.values()))
    asked = partial(_first_of, season, finding, tried, days, cuts_feed)
    if not is_one_stretch or number <= 2 * _STRIDE:
        return asked(np.arange(number))
    far = asked(np.array(sorted({*range(_STRIDE - 1, number, _STRIDE), number - 1})))
    if far is None:
        return None
    near = asked(np.arange(far - far % _STRIDE, far))
    return far if near is None else near


def _first_of(
    season: Season,
    finding: Finding,
    tried: Mapping[str, FloatArray],
    days: int,
    cuts_feed: bool,
    chosen: NDArray[np.int64],
) -> int | None:
    """The first of the chosen scenarios that passes the first days and the whole season."""
    is_whole = days == season.layout.days
    for some in [chosen] if is_whole else _growing(chosen, CHUNK):
        if not is_whole:
            some = some[_passes(season, finding, tried, some, days, cuts_feed)]
        for few in _growing(some, _FEW):
            good = few[_passes(season, finding, tried, few, season.layout.days, cuts_feed)]
            if good.size:
                return int(good[0])
    return None


def _growing(numbers: NDArray[np.int64], first: int) -> Iterator[NDArray[np.int64]]:
    """Numbers in runs, each twice as long as the one before."""
    start, size = 0, first
    while start < len(numbers):
        yield numbers[start : start + size]
        start, size = start + size, 2 * size


def _enough_days(season: Season, finding: Finding) -> int:
    """Days of the season that most changes which fail a limit will have failed it by."""
    if finding.first_date is None:
        return season.layout.days
    broken = (finding.first_date - season.layout.start).days
    # few lengths, so that findings share them
    days = _SCREEN_DAYS * math.ceil((broken + _SCREEN_AFTER_DAYS) / _SCREEN_DAYS)
    return days if 2 * days <= season.layout.days else season.layout.days


def _passes(
    season: Season,
    finding: Finding,
    tried: Mapping[str, FloatArray],
    chosen: NDArray[np.int64],
    days: int,
    cuts_feed: bool,
) -> NDArray[np.bool_]:
    """Which of the chosen scenarios pass on the first days."""
    if not chosen.size:
        return np.zeros(0, bool)
    count(chosen.size)
    part: dict[str, Any] = {name: array[chosen] for name, array in tried.items()}
    trial = once(
        _trials,
        lambda: _try(first_days(replace(season.layout, **part), days), finding.limit),
        season.site, part, days, finding.limit,
    )  # fmt: skip
    margin = trial.margin[finding.where.split(".")[1]]
    return (margin >= reserve_percent(season.site, finding.limit)) & _spares(
        season, season.layout.roots, trial.deaths, trial.of_water, cuts_feed
    )


def _try(layout: Layout, limit: str) -> Trial:
    """Run the scenarios of a layout, and judge a limit."""

    def judged(chunk: Layout, course: Course) -> tuple[LimitSeries, FloatArray, FloatArray, FloatArray]:
        series = judge(Judging(chunk, course), limit)
        deaths = (course.deaths, deaths_of_water_or_hunger(chunk, course))
        return series, worst_margin(series), *(dead.sum(axis=1) for dead in deaths)

    series, margin, deaths, of_water = zip(*in_chunks(layout, judged), strict=True)
    margins = np.concatenate(margin)
    # a limit of cohorts has a column for each of their stays
    worst = {
        name: np.min([margins[:, at] for at, other in enumerate(series[0].entities) if other == name], axis=0)
        for name in series[0].entities
    }
    return Trial(worst, np.concatenate(deaths), np.concatenate(of_water))


def reserve_percent(site: Site, limit: str) -> float:
    """Least margin that a change must leave of a limit, in percent of it: the keeper's reserve.

    Temperatures have none: their limits are cautions already, and their margin is a share of the span that fish bear.
    """
    # rounded set points and whole fish may miss it by a hair
    return 100.0 * site.file.advice.reserve - 1e-6 if LIMITS[limit].moves_with_feed else 0.0


def spares_fish(season: Season, after: Season, cuts_feed: bool = False) -> bool:
    """Whether a changed site costs no more fish their lives than the season does.

    Parameters
    ----------
    season, after : Season
        The season before and after the change.
    cuts_feed : bool
        Whether the change is less feed. Then hardly any of the fish that are fed may die of hunger or of the water,
        however many died before.

    Returns
    -------
    bool
        Cohort by cohort, as the file has them: a change that saves some fish must not kill others.

    Notes
    -----
    Dead fish make no ammonia and breathe no oxygen, so without this a change that kills them holds every limit.
    """
    layout, course = after.layout, after.course
    of_water = deaths_of_water_or_hunger(layout, course)
    return bool(_spares(season, layout.roots, course.deaths.sum(axis=1), of_water.sum(axis=1), cuts_feed)[0])


def _spares(
    season: Season, roots: tuple[str, ...], deaths: FloatArray, of_water: FloatArray, cuts_feed: bool
) -> NDArray[np.bool_]:
    """Which scenarios spare the fish, from their deaths by column; shape (scenario,)."""
    good = np.ones(len(deaths), bool)
    columns, old_columns = np.array(roots), np.array(season.layout.roots)
    there = season.course.count[0] + season.course.deaths[0]
    died = season.course.deaths[0].sum(axis=0)
    for root in dict.fromkeys(roots):
        old, new = old_columns == root, columns == root
        borne = MORE_DEATHS_SHARE * there[:, old].sum(axis=-1).max(initial=0.0)
        good &= deaths[:, new].sum(axis=-1) <= died[old].sum() + borne
        if cuts_feed and season.course.fed_g[0][:, old].any():
            good &= of_water[:, new].sum(axis=-1) <= borne
    return good


def inside_tanks(season: Season, tanks: list[str]) -> NDArray[np.bool_]:
    """Which columns of fish live in some tanks, shape (cohort,)."""
    return np.array([stay.table.tank in tanks for stay in season.layout.stays], bool)


def stocked_for(season: Season, inside: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Columns of the file's cohorts whose fish are, or come to be, in some columns; shape (cohort,)."""
    roots = np.array(season.layout.roots)
    return (season.layout.count > 0.0) & np.isin(roots, roots[inside])


# --- whether a season that was run with a change has mended a limit, and at whose cost


def mends(season: Season, after: Season, finding: Finding, change: Change) -> bool:
    """Whether a limit holds in a season that was run with a change, no tank is emptied and no more fish die.

    Parameters
    ----------
    season, after : Season
        Without and with the change.
    finding : Finding
        The limit that is broken without it.
    change : Change
        What was changed.

    Returns
    -------
    bool
        False too where the place has no fish left that the limit could be judged for.
    """
    return (
        _holds(after, finding, change.past)
        and spares_fish(season, after, change.cuts_feed)
        and _tanks_with_fish(season) <= _tanks_with_fish(after)
    )


def mends_when_run(season: Season, finding: Finding, change: Change) -> bool:
    """Whether a change can be written and its run mends a limit, as `mends`."""
    try:
        after = prove(season.site, change.fields)
    except InputError:  # as more fish taken than there are by then
        return False
    return mends(season, after, finding, change)


def _holds(after: Season, finding: Finding, past: Sequence[dt.date]) -> bool:
    """Whether the limit is judged at the finding's place, and holds on every day but those past."""
    margin = margin_of(after, finding)
    is_judged = bool((margin < np.inf).any())
    days_past = [(day - after.layout.start).days for day in past]
    least = reserve_percent(after.site, finding.limit)
    return is_judged and not bool((np.delete(margin, days_past) < least).any())


def is_past(season: Season, finding: Finding, past: Sequence[dt.date]) -> bool:
    """Whether a limit of water is broken on no days but those that a test found bad already."""
    return bool(past) and {season.dates[day] for day in np.flatnonzero(margin_of(season, finding) < 0.0)} <= set(past)


def least_that_does(
    fewest: int,
    most: int,
    does: Callable[[int], bool],
    apart: int = 1,
    between: Callable[[int, int], int] | None = None,
) -> int | None:
    """Least whole number above one and up to another that does, to within so many; None where the greatest does not.

    Parameters
    ----------
    fewest, most : int
        The number that does not, and the greatest that is tried.
    does : callable
        Asked of a number. What is more than one that does, does too: where that fails a greater one may be found.
    apart : int
        How far the number below may lie that does not.
    between : callable, optional
        Guesses from the two nearest numbers known which one just does; after some guesses the middle is taken.
    """
    if most <= fewest or not does(most):
        return None
    guesses = _MOST_GUESSES if between is not None else 0
    while most - fewest > apart:
        middle = (fewest + most) // 2
        if between is not None and guesses > 0:
            middle = min(max(between(fewest, most), fewest + 1), most - apart)
            guesses -= 1
        if does(middle):
            most = middle
        else:
            fewest = middle
    return most


def _tanks_with_fish(season: Season) -> set[str]:
    """Tanks that hold a fish on some evening; of one fish, somewhat less than one is expected to live."""
    most = (season.course.count[0] @ season.layout.cohort_tank).max(axis=0)
    return {tank for tank, fish in zip(season.layout.tanks, most, strict=True) if fish >= 0.5}
