"""Who may share a loop: what each species gives up in its water, and what could be done instead."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping
from functools import partial
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.fish.company import VERDICTS, oxygen_class, season_share_inside, window_overlap
from stocksim.fish.growth import GrowthCurve, grow_in_good_water, growth_curve, growth_window
from stocksim.library.feeds import grams_like_pellets, load_feed
from stocksim.library.sources import Entry
from stocksim.library.species import load_species, never_with, species_names
from stocksim.site.reading import Site

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
# cohort, species, numbers of its days, tank and mean weight [g] on each of them
Stay = tuple[str, str, IntArray, NDArray[np.object_], FloatArray]

_USUAL_START_G = 10.0  # a fish that is not here is judged between this and its market weight (ours)
_FITS_SHARE = 0.5  # of the season's days inside its growth window: a species suits the loop (ours)
_SHORTEST_SPELL = 28  # days: a shorter warm or cool spell is no time to swap fish (ours)


class Resident(NamedTuple):
    """A species in a loop, on the days it is there: days colder and warmer than its growth window, days outside its
    limits, its own best temperature [degC], its growth here as a share of that at its best [-] (NaN: none), and the
    ends of its growth window [degC]."""

    species: str
    cohorts: tuple[str, ...]
    first: dt.date
    last: dt.date
    days: int
    days_cold: int
    days_warm: int
    days_outside: int
    best_c: float
    growth_share: float
    grows_from_c: float
    grows_to_c: float


class Obstacle(NamedTuple):
    """One thing that speaks against two species in one loop; ``who`` is the species concerned, or empty."""

    key: str
    verdict: str
    number: float
    who: str
    date: dt.date | None


class LoopPair(NamedTuple):
    """Two species in one loop: the growth window of each and what is common to both [degC] (low above high: none), and
    the one temperature that is kindest to both with the share of its best daily growth that each keeps there (NaN
    where no water bears both)."""

    a: str
    b: str
    verdict: str
    date: dt.date
    low_c: float
    high_c: float
    kindest_c: float
    share_a: float
    share_b: float
    grows_a: tuple[float, float]
    grows_b: tuple[float, float]
    obstacles: tuple[Obstacle, ...]


class Spell(NamedTuple):
    """Longest run of days on which the loop's water lies in a species' growth window."""

    species: str
    first: dt.date | None
    last: dt.date | None
    days: int


class Partition(NamedTuple):
    """Species that could share one loop, and the growth window common to all of them [degC]."""

    species: tuple[str, ...]
    low_c: float
    high_c: float


class Fit(NamedTuple):
    """A species and the share of the season's days on which a loop's water lies in its growth window [-]."""

    species: str
    loop: str
    share: float


class LoopCompany(NamedTuple):
    """A loop's water over the season [degC], its species, how they go together, and what could be done instead."""

    loop: str
    lowest_c: float
    mean_c: float
    highest_c: float
    residents: tuple[Resident, ...]
    pairs: tuple[LoopPair, ...]
    partitions: tuple[Partition, ...]
    other_loops: tuple[Fit, ...]
    spells: tuple[Spell, ...]
    fitting: tuple[Fit, ...]


def judge_loops(site: Site, waters: Mapping[str, FloatArray], stays: list[Stay]) -> tuple[LoopCompany, ...]:
    """Judge every two species that share a loop at some time of the season.

    Parameters
    ----------
    site : Site
        The site that was run.
    waters : mapping of str to ndarray, shape (days,)
        Temperature of each loop's water. [degC]
    stays : list of tuple
        Cohort, species, days (n,), tanks (n,) and mean weights (n,) [g] of every cohort with fish.

    Returns
    -------
    tuple of LoopCompany
        One for each loop that has fish, in the site's order.
    """
    library = {name: load_species(name, site.folder) for name in species_names(site.folder)}
    loops = []
    for loop in site.file.loops:
        inside = [
            (cohort, species, days[here], weights[here])
            for cohort, species, days, tanks, weights in stays
            if (here := np.array([site.file.tanks[str(tank)].loop == loop for tank in tanks])).any()
        ]
        if inside:
            loops.append(_judge_loop(site, waters, loop, inside, library))
    return tuple(loops)


def _judge_loop(
    site: Site,
    waters: Mapping[str, FloatArray],
    loop: str,
    inside: list[tuple[str, str, IntArray, FloatArray]],
    library: dict[str, Entry],
) -> LoopCompany:
    water = waters[loop]
    keys = list(dict.fromkeys(species for _, species, _, _ in inside))
    of_species = {key: [stay for stay in inside if stay[1] == key] for key in keys}
    curves = {key: _curve(site, of_species[key][0]) for key in keys}
    windows = {key: growth_window(curve) for key, curve in curves.items()}
    residents = {key: _resident(site, key, of_species[key], water, curves[key]) for key in keys}
    days = {key: np.unique(np.concatenate([stay[2] for stay in of_species[key]])) for key in keys}
    pairs = []
    for number, one in enumerate(keys):
        for other in keys[number + 1 :]:
            common = np.intersect1d(days[one], days[other])
            if common.size:
                pairs.append(_loop_pair(site, one, other, common, water, curves))
    is_trouble = any(pair.verdict != VERDICTS[0] for pair in pairs)
    return LoopCompany(
        loop, float(water.min()), float(water.mean()), float(water.max()), tuple(residents.values()), tuple(pairs),
        _partitions(windows) if is_trouble else (),
        _other_loops(site, waters, loop, windows) if is_trouble else (),
        tuple(_spell(site, key, window, water) for key, window in windows.items()) if is_trouble else (),
        _fitting(site, loop, water, library, windows),
    )  # fmt: skip


def _curve(site: Site, stay: tuple[str, str, IntArray, FloatArray]) -> GrowthCurve:
    """Daily growth of a cohort's fish by temperature, at their middle weight."""
    cohort, species, _, weights = stay
    entry, meal = site.species[species], site.feeds[site.cohorts[cohort].feed]
    grams = grams_like_pellets(entry, meal, site.folder)
    return growth_curve(entry.__getitem__, meal.__getitem__, float(np.exp(np.log(weights).mean())), grams)


def _usual_window(site: Site, entry: Entry) -> tuple[float, float]:
    """Growth window of a species that has no fish here, on the feed that its appetite was fitted with. [degC]"""
    meal = load_feed(entry.facts["fitted_with_feed"], site.folder)
    weight = math.sqrt(_USUAL_START_G * max(entry["market_weight"], _USUAL_START_G))
    return growth_window(growth_curve(entry.__getitem__, meal.__getitem__, weight))


def _resident(
    site: Site,
    species: str,
    stays: list[tuple[str, str, IntArray, FloatArray]],
    water: FloatArray,
    curve: GrowthCurve,
) -> Resident:
    """What a species gives up in a loop's water on the days it is there; its first cohort stands for it."""
    entry = site.species[species]
    days = np.unique(np.concatenate([stay[2] for stay in stays]))
    here = water[days]
    cohort, _, its_days, weights = stays[0]
    low, high = growth_window(curve)
    has_best = not np.isnan(curve[1]).any()
    best = float(curve[0][int(np.argmax(curve[1]))]) if has_best else math.nan
    share = math.nan
    if has_best:
        meal = site.feeds[site.cohorts[cohort].feed]
        start, levels = float(weights[0]), water[its_days]
        grow = partial(
            grow_in_good_water, entry.__getitem__, meal.__getitem__, start,
            grams_like_pellets=grams_like_pellets(entry, meal, site.folder),
        )  # fmt: skip
        gains = [grow(course).weight_g[-1] - start for course in (levels, np.full(levels.shape, best))]
        share = float(gains[0] / gains[1]) if gains[1] > 0.0 else math.nan
    return Resident(
        species, tuple(stay[0] for stay in stays), _date(site, days[0]), _date(site, days[-1]), int(days.size),
        int((here < low).sum()), int((here > high).sum()),
        int(((here < entry["temperature_low_limit"]) | (here > entry["temperature_high_stress"])).sum()), best, share,
        low, high,
    )  # fmt: skip


def _loop_pair(
    site: Site,
    one: str,
    other: str,
    days: IntArray,
    water: FloatArray,
    curves: dict[str, GrowthCurve],
) -> LoopPair:
    entries = site.species[one], site.species[other]
    here, first = water[days], _date(site, days[0])
    bearable = window_overlap(
        *(e[key] for e in entries for key in ("temperature_low_limit", "temperature_high_stress"))
    )
    windows = [growth_window(curves[key]) for key in (one, other)]
    growing = window_overlap(*windows[0], *windows[1])
    found = []
    if other in never_with(entries[0]) or one in never_with(entries[1]):
        found.append(Obstacle("never_by_rule", VERDICTS[2], 1.0, "", first))
    if bearable.width_c <= 0.0:
        found.append(Obstacle("no_common_water", VERDICTS[2], float(bearable.width_c), "", first))
    for entry in entries:
        low, high = entry["temperature_low_limit"], entry["temperature_high_stress"]
        hits = np.flatnonzero((here < low) | (here > high))
        if hits.size:
            date = _date(site, days[hits[0]])
            found.append(Obstacle("season_outside_limits", VERDICTS[2], hits.size / here.size, entry.name, date))
    if growing.width_c < 0.0:
        found.append(Obstacle("narrow_growth_window", VERDICTS[1], float(growing.width_c), "", first))
    for entry, (low, high) in zip(entries, windows, strict=True):
        hits = np.flatnonzero((here < low) | (here > high))
        if hits.size > 0.5 * here.size:
            date = _date(site, days[hits[0]])
            found.append(Obstacle("season_outside_growth", VERDICTS[1], hits.size / here.size, entry.name, date))
    needs = [entry["oxygen_recommended"] for entry in entries]
    if oxygen_class(needs[0]) != oxygen_class(needs[1]):
        found.append(Obstacle("oxygen_class", VERDICTS[1], max(needs), entries[int(np.argmax(needs))].name, first))
    verdict = VERDICTS[max((VERDICTS.index(obstacle.verdict) for obstacle in found), default=0)]
    dates = [obstacle.date for obstacle in found if obstacle.verdict == verdict and obstacle.date is not None]
    return LoopPair(
        one, other, verdict, min(dates, default=first), float(growing.low_c), float(growing.high_c),
        *_kindest(curves[one], curves[other]), windows[0], windows[1], tuple(found),
    )  # fmt: skip


def _kindest(one: GrowthCurve, other: GrowthCurve) -> tuple[float, float, float]:
    """The one temperature at which the worse off of two keeps most of its best growth, and what each keeps."""
    water, at_one, at_other = np.intersect1d(one[0], other[0], return_indices=True)
    shares = np.stack([one[1][at_one], other[1][at_other]])
    if not water.size or np.isnan(shares).any():
        return math.nan, math.nan, math.nan
    best = int(np.argmax(shares.min(axis=0)))
    return float(water[best]), float(shares[0, best]), float(shares[1, best])


Windows = Mapping[str, tuple[float, float]]  # of species: ends of their growth windows [degC]


def _partitions(windows: Windows) -> tuple[Partition, ...]:
    """Fewest groups of species with water in the growth windows of all: lowest upper end first."""
    left = dict(windows)
    found = []
    while left:
        edge = min(high for _, high in left.values())
        members = [key for key, (low, _) in left.items() if low <= edge]
        low = max(left[key][0] for key in members)
        found.append(Partition(tuple(members), low, edge))
        left = {key: window for key, window in left.items() if key not in members}
    return tuple(found)


def _share_inside(entry: Entry, window: tuple[float, float], water: FloatArray) -> float:
    """Share of days inside the growth window; 0 where any day lies outside the limits."""
    if season_share_inside(water, entry["temperature_low_limit"], entry["temperature_high_stress"]) < 1.0:
        return 0.0
    return float(season_share_inside(water, *window))


def _other_loops(site: Site, waters: Mapping[str, FloatArray], loop: str, windows: Windows) -> tuple[Fit, ...]:
    """For each species the other loop of the site that suits it best, where that is better than this one."""
    found = []
    for key, window in windows.items():
        fits = [Fit(key, name, _share_inside(site.species[key], window, water)) for name, water in waters.items()]
        best = max(fits, key=lambda fit: fit.share)
        here = next(fit.share for fit in fits if fit.loop == loop)
        if best.loop != loop and best.share > max(here, _FITS_SHARE):
            found.append(best)
    return tuple(found)


def _spell(site: Site, species: str, window: tuple[float, float], water: FloatArray) -> Spell:
    inside = (water >= window[0]) & (water <= window[1])
    edges = np.flatnonzero(np.diff(np.concatenate([[0], inside.astype(int), [0]])))
    starts, ends = edges[::2], edges[1::2]
    if not starts.size or int((ends - starts).max()) < _SHORTEST_SPELL:
        return Spell(species, None, None, 0)
    longest = int(np.argmax(ends - starts))
    first, last = int(starts[longest]), int(ends[longest]) - 1
    return Spell(species, _date(site, first), _date(site, last), last - first + 1)


def _fitting(site: Site, loop: str, water: FloatArray, library: dict[str, Entry], windows: Windows) -> tuple[Fit, ...]:
    """Species of the library whose growth window holds the loop's water on half of the days or more, best first."""
    fits = [
        Fit(key, loop, _share_inside(entry, windows.get(key) or _usual_window(site, entry), water))
        for key, entry in library.items()
    ]
    return tuple(sorted((fit for fit in fits if fit.share >= _FITS_SHARE), key=lambda fit: (-fit.share, fit.species)))


def _date(site: Site, day: int | np.integer) -> dt.date:
    return site.file.season.start + dt.timedelta(days=int(day))
