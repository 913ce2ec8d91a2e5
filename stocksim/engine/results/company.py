"""Who of a season's fish may share a tank: every two cohorts, and each with itself, on the days both are here."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.results.frames import Season
from stocksim.fish.body import total_length_mm
from stocksim.fish.company import (
    VERDICTS,
    Mate,
    fits_mouth_probability,
    judge_pair,
    length_spread,
    mouth_share,
    predation_grade,
    watched_share,
)
from stocksim.fish.growth import growth_curve, growth_window
from stocksim.heat.temperatures import water_c
from stocksim.library.feeds import grams_like_pellets
from stocksim.library.species import company_value, never_with
from stocksim.site.reading import Site

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

CARE = VERDICTS[1]
# Reasons of one verdict in the order told: what kills before what hurts, what the water does to both last.
_ORDER = (
    "never_by_rule", "no_common_water", "season_outside_limits", "fits_mouth", "siblings", "nearly_fits", "wild_caught",
    "narrow_growth_window", "oxygen_class", "larger_kin", "hunters_together", "hunter_beside", "territories_clash",
    "territory_holder_beside", "fins_nipped", "season_outside_growth",
)  # fmt: skip
_MEALS = ("fits_mouth", "nearly_fits", "siblings")
# A cohort of which less than half a fish is expected to be left counts as gone.
_LEAST_COUNT = 0.5


class Group(NamedTuple):
    """A cohort on the days it is here: arrays of shape (day,). ``is_here`` is False if it has no fish on any day."""

    cohort: str
    species: str
    is_wild: bool
    is_here: bool
    days: IntArray
    tanks: NDArray[np.object_]
    weight_g: FloatArray
    length_mm: FloatArray
    length_cv: FloatArray


class Ground(NamedTuple):
    """One thing that speaks against a pair, whom it concerns, and on which days.

    ``key`` is one of `stocksim.fish.company.judge_pair`, with the mouth told as fits_mouth (apart) or nearly_fits (with
    care), or wild_caught; ``number`` as there. ``who`` and ``whom`` are cohorts (predator and prey; the one outside its
    window); lengths [mm] are those of the first such day, the second for siblings that at which they are safe. Dates
    are None where the two are never here together.
    """

    key: str
    verdict: str
    number: float
    who: str = ""
    whom: str = ""
    first: dt.date | None = None
    last: dt.date | None = None
    days: int = 0
    who_mm: float = float("nan")
    whom_mm: float = float("nan")


class Pair(NamedTuple):
    """The verdict on two cohorts, or on one with itself, with its grounds, gravest first.

    ``tanks`` are those they share, none for a question ("could they?"). ``loop`` is the loop whose water was taken.
    ``date`` is the day from which the verdict holds and ``until`` the last one; ``days`` were judged, from ``first`` to
    ``last``; 0 where the two are never here together and the sizes each has on its first day were taken. ``grows_a``
    and ``grows_b`` are their growth windows. [degC]
    """

    a: str
    b: str
    species_a: str
    species_b: str
    tanks: tuple[str, ...]
    loop: str
    verdict: str
    date: dt.date | None
    until: dt.date | None
    first: dt.date | None
    last: dt.date | None
    days: int
    grows_a: tuple[float, float]
    grows_b: tuple[float, float]
    grounds: tuple[Ground, ...]


class WildCohort(NamedTuple):
    """A wild-caught cohort: where it starts, how long and at what loss it learns to take pellets."""

    cohort: str
    species: str
    tank: str
    loop: str
    is_trained: bool
    training_days: float
    training_loss: float
    fish: float


class TankLoss(NamedTuple):
    """Fish of a cohort that tankmates are expected to swallow in a tank over the season, and who could have.

    ``fish`` of ``had`` that came there or were there first; ``first`` and ``last`` are the days on which the first
    half of a fish, and all but half of one, were gone. ``hunters`` are cohorts, itself included.
    """

    tank: str
    cohort: str
    fish: float
    had: float
    first: dt.date
    last: dt.date
    hunters: tuple[str, ...]


def judge_pairs(season: Season, groups: Sequence[Group], is_now: bool = False) -> tuple[Pair, ...]:
    """Judge every pair of cohorts, and every cohort within itself.

    Parameters
    ----------
    season : Season
        A season that was run.
    groups : sequence of Group
        Of `cohort_groups`.
    is_now : bool
        Whether those that never share a tank are left out.

    Returns
    -------
    tuple of Pair
        In the order of the groups, each with itself first.
    """
    water = water_c(season.site)
    return tuple(
        _pair(season.site, water, one, other)
        for number, one in enumerate(groups)
        for other in groups[number:]
        if not is_now or _share_a_tank(one, other)
    )


def _share_a_tank(one: Group, other: Group) -> bool:
    """Whether two groups are in one tank on any day."""
    if not (one.is_here and other.is_here):
        return False
    _, at_one, at_other = np.intersect1d(one.days, other.days, return_indices=True)
    return bool((one.tanks[at_one] == other.tanks[at_other]).any())


def eaten_fish(season: Season, pairs: Sequence[Pair]) -> tuple[TankLoss, ...]:
    """Fish that the season takes as eaten, by tank and cohort, the most first; half a fish at least."""
    layout, course, found = season.layout, season.course, []
    for column, stay in enumerate(layout.stays):
        gone = course.swallowed[0, :, column].cumsum()
        if gone[-1] < _LEAST_COUNT:
            continue
        hunters = {
            ground.who
            for pair in pairs
            for ground in pair.grounds
            if stay.table.tank in pair.tanks and ground.whom == stay.cohort and ground.key in _MEALS
        }
        first, last = (
            int(np.argmax(gone >= level)) for level in (_LEAST_COUNT, max(gone[-1] - _LEAST_COUNT, _LEAST_COUNT))
        )
        there = course.count[0, :, column] + course.deaths[0, :, column]
        found.append(
            TankLoss(
                stay.table.tank, stay.cohort, float(gone[-1]), float(there.max()), season.dates[first],
                season.dates[last], tuple(sorted(hunters)),
            )
        )  # fmt: skip
    return tuple(sorted(found, key=lambda loss: -loss.fish))


def cohort_groups(season: Season) -> list[Group]:
    """Cohorts in the order of the season's frame; one without any fish is judged by the size the file gives it."""
    site, frame = season.site, season.cohorts
    start = np.datetime64(site.file.season.start)
    groups = []
    for name, of_cohort in frame.groupby("cohort", sort=False):
        # should a cohort have two rows on a day, the larger part speaks for it
        rows = of_cohort.sort_values(["date", "count"], kind="stable").drop_duplicates("date", keep="last")
        rows = rows[rows["mean_weight_g"] > 0.0]
        present = rows[rows["count"] >= _LEAST_COUNT]
        is_here = len(present) > 0
        rows = present if is_here else rows.head(1)
        if not len(rows):
            continue
        key, species = str(name), str(rows["species"].iloc[0])
        entry, table = site.species[species], site.cohorts[key]
        weight = rows["mean_weight_g"].to_numpy(float)
        spread = table.size_spread if table.size_spread is not None else entry["size_spread"]
        cv = rows["size_spread"].to_numpy(float) if "size_spread" in rows.columns else np.full(weight.shape, spread)
        slope = entry["length_weight_slope"]
        days = (rows["date"].to_numpy().astype("datetime64[D]") - start).astype(np.int64)
        groups.append(
            Group(
                key, species, table.wild, is_here, days, rows["tank"].to_numpy(object), weight,
                total_length_mm(weight, entry["length_weight_intercept"], slope, entry["farmed_condition"]),
                length_spread(cv, slope),
            )
        )  # fmt: skip
    return groups


def _mate(site: Site, group: Group, at: IntArray) -> Mate:
    entry, meal = site.species[group.species], site.feeds[site.cohorts[group.cohort].feed]
    weight = float(np.exp(np.log(group.weight_g[at]).mean()))
    grams = grams_like_pellets(entry, meal, site.folder)
    grows = growth_window(growth_curve(entry.__getitem__, meal.__getitem__, weight, grams))
    return Mate(
        group.length_mm[at], group.length_cv[at], entry["prey_share_deep"], entry["prey_share_slender"],
        company_value(entry, "body_depth"), entry.facts["temper"], *grows, entry["temperature_low_limit"],
        entry["temperature_high_stress"], entry["oxygen_recommended"], company_value(entry, "eats_own") > 0.0,
        company_value(entry, "sibling_length"),
    )  # fmt: skip


def _loops_of(site: Site, group: Group) -> list[str]:
    """Loops a cohort swims in, the one with most of its days first."""
    names, counts = np.unique([site.file.tanks[tank].loop for tank in group.tanks], return_counts=True)
    return [str(names[n]) for n in np.argsort(-counts, kind="stable")]


def _pair(site: Site, water: Mapping[str, FloatArray], one: Group, other: Group) -> Pair:
    """Judge two groups on the days they share a tank, else on the days both are here, in the kinder loop's water."""
    days, at_one, at_other = np.intersect1d(one.days, other.days, return_indices=True)
    if not (one.is_here and other.is_here):
        days = days[:0]
    if days.size:
        same = one.tanks[at_one] == other.tanks[at_other]
        if same.any():
            days, at_one, at_other = days[same], at_one[same], at_other[same]
        tanks = tuple(dict.fromkeys(str(tank) for tank in one.tanks[at_one])) if same.any() else ()
    else:
        tanks, at_one, at_other = (), np.zeros(1, np.int64), np.zeros(1, np.int64)
    if tanks:
        leaf_loops = [site.file.tanks[str(tank)].loop for tank in one.tanks[at_one]]
        waters = {leaf_loops[0]: np.array([water[loop][d] for loop, d in zip(leaf_loops, days, strict=True)])}
    else:
        names = dict.fromkeys([_loops_of(site, one)[0], _loops_of(site, other)[0]])
        waters = {name: water[name][days] if days.size else water[name] for name in names}
    mates = _mate(site, one, at_one), _mate(site, other, at_other)
    judged = {loop: _grounds(site, one, other, mates, days, course) for loop, course in waters.items()}
    order = list(site.file.loops)
    loop = min(judged, key=lambda name: (_grade(judged[name]), len(judged[name]), order.index(name)))
    grounds = judged[loop]
    verdict = VERDICTS[_grade(grounds)]
    gravest = [ground for ground in grounds if ground.verdict == verdict]
    first, last = (_date(site, days[0]), _date(site, days[-1])) if days.size else (None, None)
    starts = [ground.first for ground in gravest if ground.first is not None]
    ends = [ground.last for ground in gravest if ground.last is not None]
    return Pair(
        one.cohort, other.cohort, one.species, other.species, tanks, loop, verdict, min(starts, default=first),
        max(ends, default=last), first, last, int(days.size),
        (mates[0].growth_low_c, mates[0].growth_high_c), (mates[1].growth_low_c, mates[1].growth_high_c),
        tuple(grounds),
    )  # fmt: skip


def _grade(grounds: list[Ground]) -> int:
    return max((VERDICTS.index(ground.verdict) for ground in grounds), default=0)


def _date(site: Site, day: int | np.integer) -> dt.date:
    return site.file.season.start + dt.timedelta(days=int(day))


def _grounds(
    site: Site, one: Group, other: Group, mates: tuple[Mate, Mate], days: IntArray, water: FloatArray
) -> list[Ground]:
    """Everything that speaks against a pair, gravest first; dates only where there are common days."""
    entry, beside = site.species[one.species], site.species[other.species]
    is_itself, is_kin = one.cohort == other.cohort, one.species == other.species
    never = not is_kin and (other.species in never_with(entry) or one.species in never_with(beside))
    judged = judge_pair(*mates, is_kin, never, water)
    whole = _span(site, days, np.arange(days.size))
    found = _mouth(site, one, other, mates, days)
    if not is_itself:
        found += _mouth(site, other, one, mates[::-1], days)
    if is_kin:
        found += _young(site, one, other, mates, days)
    for reason in judged.reasons:
        if reason.key in ("fits_mouth", "siblings"):  # told above, with predator, prey and dates
            continue
        if reason.key in ("season_outside_limits", "season_outside_growth"):
            groups = (one,) if is_itself else (one, other)
            found += _outside(site, groups, mates, reason.key, reason.verdict, days, water)
            continue
        found.append(Ground(reason.key, reason.verdict, reason.number, one.cohort, other.cohort, *whole))
    if not is_itself:
        wild = [group for group in (one, other) if group.is_wild]
        found += [Ground("wild_caught", CARE, 1.0, group.cohort, "", *whole) for group in wild]
    return sorted(found, key=lambda ground: (-VERDICTS.index(ground.verdict), _ORDER.index(ground.key)))


def _mouth(site: Site, hunter: Group, prey: Group, mates: tuple[Mate, Mate], days: IntArray) -> list[Ground]:
    """That the second group fits the first one's mouth, or nearly, on the days of its worst grade."""
    one, other = mates
    share = mouth_share(one, other, hunter.species == prey.species)
    lengths = (one.length_mm, one.length_cv, other.length_mm, other.length_cv)
    grade = np.atleast_1d(predation_grade(*lengths, share))
    worst = int(grade.max())
    if worst == 0:
        return []
    longest = share if worst == 2 else watched_share(share)
    chance = float(np.max(fits_mouth_probability(*lengths, longest)))
    hits = np.flatnonzero(grade == worst)
    one_mm, other_mm = (float(np.atleast_1d(mate.length_mm)[hits[0]]) for mate in mates)
    key = "fits_mouth" if worst == 2 else "nearly_fits"
    first, last, number = _span(site, days, hits)
    names = (hunter.cohort, prey.cohort)
    return [Ground(key, VERDICTS[worst], chance, *names, first, last, number, one_mm, other_mm)]


def _young(site: Site, one: Group, other: Group, mates: tuple[Mate, Mate], days: IntArray) -> list[Ground]:
    """That young of one species eat siblings of nearly their own size, on the days on which any of them is so short."""
    shorter = np.minimum(*(np.atleast_1d(mate.length_mm) for mate in mates))
    until = mates[0].sibling_length_mm
    hits = np.flatnonzero(shorter < until)
    if not hits.size:
        return []
    first, last, number = _span(site, days, hits)
    least, length = float(shorter.min()) / until, float(shorter[hits[0]])
    return [
        Ground("siblings", VERDICTS[2], least, one.cohort, other.cohort, first, last, number, length, until)
    ]  # fmt: skip


def _span(site: Site, days: IntArray, hits: NDArray[np.intp]) -> tuple[dt.date | None, dt.date | None, int]:
    """First and last date of some of the days judged, and how many; none where there are no common days."""
    if not days.size:
        return None, None, 0
    return _date(site, days[hits[0]]), _date(site, days[hits[-1]]), int(hits.size)


def _outside(
    site: Site, groups: tuple[Group, ...], mates: tuple[Mate, Mate], key: str, verdict: str, days: IntArray,
    water: FloatArray,
) -> list[Ground]:  # fmt: skip
    """Which of two is outside its limits, or outside its growth window on more than half of the days."""
    found = []
    for group, mate in zip(groups, mates, strict=False):
        is_limit = key == "season_outside_limits"
        low, high = (
            (mate.low_limit_c, mate.high_stress_c) if is_limit else (mate.growth_low_c, mate.growth_high_c)
        )  # fmt: skip
        hits = np.flatnonzero((water < low) | (water > high))
        if hits.size <= (0 if is_limit else 0.5 * water.size):
            continue
        found.append(Ground(key, verdict, hits.size / water.size, group.cohort, "", *_span(site, days, hits)))
    return found


def wild_cohorts(site: Site, groups: Sequence[Group]) -> tuple[WildCohort, ...]:
    """Wild-caught cohorts in their order."""
    wild = []
    for group in groups:
        if not group.is_wild:
            continue
        entry, table, tank = site.species[group.species], site.cohorts[group.cohort], str(group.tanks[0])
        wild.append(
            WildCohort(
                group.cohort, group.species, tank, site.file.tanks[tank].loop, table.trained,
                entry["feed_training_days"], entry["feed_training_loss"], float(table.count),
            )
        )  # fmt: skip
    return tuple(wild)
