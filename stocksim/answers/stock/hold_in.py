"""A plan that holds in so many of ten drawn seasons: fish taken out by date until it does, tried on fresh seasons.

Apart from `decide` and `keep`, for it takes what either found and only adds to it.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np

from stocksim.answers.stock.decide import StockingPlan
from stocksim.answers.stock.keep import KeptPlan
from stocksim.changes.change import Change, prove
from stocksim.changes.places import some_out
from stocksim.changes.search import deaths_in, newly_broken
from stocksim.changes.steps import Step
from stocksim.changes.ways import Way, way_of
from stocksim.drawn.outlook import Gathered, Place, gathered
from stocksim.engine.results.frames import Season
from stocksim.errors import InputError, shown
from stocksim.site.kinds import LIMITS

Progress = Callable[[int, int], None]
Target = tuple[str, str]  # a limit and its place

TRIED, FRESH = 128, 256  # seasons that the plan is changed by, and those that it is judged by
TRIED_SEED, FRESH_SEED = 1, 2
HELD = "held"  # the kind of way that takes fish out so that a plan holds
_ROUNDS, _TESTS = 14, 4  # of changing, and of judging, at most
_LEAST_KEPT, _MOST_KEPT = 0.5, 0.97  # share of a tank's or loop's fish that one round keeps
_TOO_WARM, _LIVED_SHARE = "temperature_high", 0.5  # a batch ends before it where it has had so much of its days
_LEFT_SHARE = 0.1  # of a batch: so many stay, or it is no plan to keep it
_STRICTER = 0.03  # after a failed judgement so much more of the tried seasons must hold
_LEAST, _MOST = 0.5, 0.99


class Held(NamedTuple):
    """A plan held against drawn seasons.

    Parameters
    ----------
    wanted : float
        Share of the seasons in which it must hold. [-]
    share, before : float
        Of the fresh seasons in which it does, with what is taken out and without. [-]
    way : Way or None
        What is taken out; None where nothing has to be.
    season : Season
        With it, as calculated.
    often : tuple of (str, str, float)
        Limits, places and shares that are still broken in the fresh seasons, the likeliest first, four at most.
    passed : tuple of (str, str)
        Limits and places that the plan passes in its own season, which are not counted.
    broken : tuple of (str, str)
        Limits and places that taking fish out breaks in the season as calculated.
    """

    wanted: float
    share: float
    before: float
    way: Way | None
    season: Season
    often: tuple[tuple[str, str, float], ...]
    passed: tuple[Target, ...]
    broken: tuple[Target, ...]

    @property
    def holds(self) -> bool:
        """Whether it does in as many of the fresh seasons as were wanted."""
        return self.share >= self.wanted and not self.broken


def read_share(text: str) -> float:
    """Share of seasons, as ``9 of 10``.

    Raises
    ------
    InputError
        If it is none from 5 of 10 to 99 of 100.
    """
    found = re.fullmatch(r"\s*(\d{1,4})\s+of\s+(\d{1,4})\s*", text)
    share = int(found[1]) / int(found[2]) if found and int(found[2]) else math.nan
    if not _LEAST <= share <= _MOST:
        raise InputError(f'--hold-in {shown(text)}: write seasons as "9 of 10", from "5 of 10" to "99 of 100".')
    return share


def hold_in(season: Season, wanted: float, progress: Progress | None = None) -> Held:
    """A season's site with as few fish taken out, by date, as let it hold in so many of the drawn seasons.

    Parameters
    ----------
    season : Season
        Of a plan.
    wanted : float
        Share of the seasons in which every limit must hold that the plan holds as calculated. [-]
    progress : callable, optional
        Called with (rounds done, rounds at most).

    Returns
    -------
    Held
        Judged by fresh seasons, which are drawn with another seed than those by which fish were taken out.
    """
    passed = tuple((f.limit, f.where) for f in season.findings if f.is_broken)
    fresh = _fares(season, FRESH, FRESH_SEED, passed)
    before = fresh.share
    steps: list[Step] = []
    now, asked, rounds = season, min(wanted + math.sqrt(wanted * (1.0 - wanted) / TRIED), _MOST), 0
    for _ in range(_TESTS):
        if fresh.share >= wanted:
            break
        was = len(steps), rounds
        while rounds < _ROUNDS and (tried := _fares(now, TRIED, TRIED_SEED, passed)).share < asked:
            rounds += 1
            if progress is not None:
                progress(rounds, _ROUNDS)
            more = _thinner(season, now, tried, asked)
            if not more:
                break
            joint = _joined(season, [*steps, *more])
            try:
                now = prove(season.site, _fields(season, joint))
            except InputError:  # more fish than are there on the earlier day
                break
            steps = joint
        asked = min(asked + _STRICTER, _MOST)
        if (len(steps), rounds) != was:
            fresh = _fares(now, FRESH, FRESH_SEED, passed)
    way = way_of(season, HELD, steps, _fields(season, steps), now) if steps else None
    often = tuple((place.limit, place.where, share) for place, share in fresh.often[:4])
    return Held(wanted, fresh.share, before, way, now, often, passed, newly_broken(season, now))


class _Fared(NamedTuple):
    """Share of seasons that hold, and places by how often they are broken."""

    share: float
    often: list[tuple[Place, float]]
    seasons: Gathered


def _fares(season: Season, number: int, seed: int, passed: Sequence[Target]) -> _Fared:
    seasons = gathered(season.site, number, seed)
    places = [place for place in seasons.places() if (place.limit, place.where) not in passed]
    broken = [place.first_day >= 0 for place in places]
    often = [(place, float(bad.mean())) for place, bad in zip(places, broken, strict=True) if bad.any()]
    holds = 1.0 - float(np.any(broken, axis=0).mean()) if broken else 1.0
    return _Fared(holds, sorted(often, key=lambda one: -one[1]), seasons)


def _thinner(season: Season, now: Season, tried: _Fared, asked: float) -> list[Step]:
    """Fish to take out more: at each place that breaks a limit too often, else at the one that does most."""
    able = [place for place, _ in tried.often if LIMITS[place.limit].moves_with_feed or place.limit == _TOO_WARM]
    too_often = [place for place, share in tried.often if place in able and share > 1.0 - asked] or able[:1]
    found: list[Step] = []
    done: set[str] = set()
    for place in too_often:
        if place.where not in done:
            step = _ended(season, now, place) if place.limit == _TOO_WARM else _taken(season, now, place, asked)
            found += [step] if step is not None else []
            done.add(place.where)
    return found


def _day_before(place: Place) -> int:
    """The day before one in ten of the breaking seasons has broken; the second of the season at the earliest."""
    return max(int(np.quantile(place.first_day[place.first_day >= 0], 0.1)) - 1, 1)


def _ended(season: Season, now: Season, place: Place) -> Step | None:
    """All of a batch taken out before its water is too warm, where it has had half of its days by then."""
    layout, day, name = now.layout, _day_before(place), place.where.split(".", 1)[1]
    for at, cohort in enumerate(layout.cohorts):
        first, last = max(int(layout.stocked_day[at]), 0), min(int(layout.until_day[at]), layout.days)
        if cohort == name and now.course.count[0, day, at] > 0.0 and day - first >= _LIVED_SHARE * (last - first):
            return Step(some_out(now, at, day, None), ((place.limit, place.where),), deaths_in(now, season))
    return None


def _taken(season: Season, now: Season, place: Place, asked: float) -> Step | None:
    """The largest of the heaviest batch there, or of the loop where its water is what breaks, before it does."""
    layout, course, day = now.layout, now.course, _day_before(place)
    weight = course.count[0, day - 1] * course.weight_g[0, day - 1]
    table, name = place.where.split(".", 1)
    loops = {tank: own.loop for tank, own in now.site.file.tanks.items()}
    loop = name if table == "loops" else loops[name]
    is_of_loop = table == "loops" or LIMITS[place.limit].is_of_loop_water
    tanks = [tank for tank in loops if loops[tank] == loop] if is_of_loop else [name]
    here = [at for at, stay in enumerate(layout.stays) if weight[at] > 0.0 and stay.table.tank in tanks]
    if not here:
        return None
    margin = float(np.quantile(place.margin_percent[np.isfinite(place.margin_percent)], 1.0 - asked))
    kept = float(np.clip(1.0 / (1.0 - min(margin, 0.0) / 100.0), _LEAST_KEPT, _MOST_KEPT))
    column = max(here, key=lambda at: weight[at])
    wanted = math.ceil((1.0 - kept) * weight[here].sum() / course.weight_g[0, day - 1, column])
    fish = min(wanted, math.floor((1.0 - _LEFT_SHARE) * float(course.count[0, day - 1, column])))
    return (
        Step(some_out(now, column, day, fish), ((place.limit, place.where),), deaths_in(now, season)) if fish else None
    )


def _joined(season: Season, steps: Sequence[Step]) -> list[Step]:
    """Steps of one batch as one: all its fish on the earliest day; what ends it stands by itself."""
    by_batch: dict[tuple[str, bool], Step] = {}
    for step in steps:
        name = step.change.amounts["cohort"], "all" in _event(step.change)
        if name not in by_batch or name[1]:
            by_batch[name] = step
            continue
        one, other = by_batch[name].change, step.change
        first = min(one, other, key=lambda change: change.start or season.dates[0])
        fish = one.amounts["fish"] + other.amounts["fish"]
        event = _event(first) | {"count": fish}
        whole = replace(first, fields={"events": [event]}, amounts=first.amounts | {"fish": fish})
        cures = tuple(dict.fromkeys([*by_batch[name].cures, *step.cures]))
        by_batch[name] = Step(whole, cures, step.deaths)
    return list(by_batch.values())


def _event(change: Change) -> dict[str, Any]:
    event: dict[str, Any] = change.fields["events"][-1]
    return event


def _fields(season: Season, steps: Sequence[Step]) -> dict[str, Any]:
    return {"events": [*season.site.raw.get("events", []), *(_event(step.change) for step in steps)]} if steps else {}


# --- the plans of this question


@dataclass(frozen=True)
class HeldPlan:
    """A plan with what is taken out for it to hold, and how it fared; ``held`` is None where it was not tried."""

    plan: StockingPlan | KeptPlan
    held: Held | None


def held_plan(plan: StockingPlan | KeptPlan, wanted: float, progress: Progress | None = None) -> HeldPlan:
    """A plan that holds in so many seasons, or as many as taking fish out can bring it to.

    Parameters
    ----------
    plan : StockingPlan or KeptPlan
        Of `plan_stocking` or `keep_plan`. One that leaves harm, or none at all, is given back as it is.
    wanted, progress
        As for `hold_in`.
    """
    if isinstance(plan, StockingPlan):
        if plan.season is None or plan.plan is None:
            return HeldPlan(plan, None)
        held = hold_in(plan.season, wanted, progress)
        return HeldPlan(replace(plan, season=held.season, tables=dict(held.season.site.raw)), held)
    if not plan.is_harmless or not plan.fish:
        return HeldPlan(plan, None)
    held = hold_in(plan.lived, wanted, progress)
    if held.way is None:
        return HeldPlan(plan, held)
    had = plan.way if plan.way is not None and plan.advice.must_change else None
    steps = [*(had.steps if had else ()), *held.way.steps]
    fields = {**(had.fields if had else {}), **held.way.fields}
    way = way_of(plan.season, HELD, steps, fields, held.season)
    return HeldPlan(replace(plan, advice=replace(plan.advice, must_change=True), way=way, after=held.season), held)
