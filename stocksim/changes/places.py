"""Fish somewhere else: harvested or sold on a date before a limit breaks, or moved to another tank.

Apart from `search`, for sources of changes stand together, a topic a file.
"""

from __future__ import annotations

import datetime as dt
import itertools
import math
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np

from stocksim.changes.change import (
    Action,
    Care,
    Change,
    counted_season,
    least_that_does,
    mends,
    reserve_percent,
)
from stocksim.engine.arrays.fish import Happening
from stocksim.engine.arrays.tables import restructured
from stocksim.engine.results.course import of_day
from stocksim.engine.results.findings import Finding, Judging, judge
from stocksim.engine.results.frames import Season, loop_of, margin_of

_DAYS_BEFORE = 3  # that fish go before the limit is near (assumed: a weekend)
_EATEN_FROM = 0.5  # of the market weight: the largest of fish of this mean weight are worth eating (assumed)
_GRADED_SHARES, _MOST_GRADED_INTO = (0.25, 0.5), 2  # the largest of a cohort, and into how many tanks (assumed)
_MOST_COHORTS, _MOST_PLACES, _MOST_LOOKED_AT = 3, 6, 40  # tried for one limit; places looked at without a run


def taken_out(season: Season, finding: Finding, tanks: list[str]) -> Iterator[Change]:
    """The fewest fish of a cohort, the largest first, that must go on a date so that a limit holds from then on."""
    near = first_near(season, finding)
    for day in (near - _DAYS_BEFORE, near):  # on the day itself where fish come on it
        if day < 1:  # from the first day on: fewer are stocked
            continue
        is_found = False
        for column in _heaviest(season, tanks, day)[:_MOST_COHORTS]:
            change = _fewest_out(season, finding, column, day)
            if change is not None:
                is_found = True
                yield change
        if is_found:
            return


def _fewest_out(season: Season, finding: Finding, column: int, day: int) -> Change | None:
    there = math.floor(float(season.course.count[0, day, column] + season.course.deaths[0, day, column]))
    change = _out(season, column, day, there - 1, there)
    worst = int(np.nanargmin(margin_of(season, finding)))
    margins = {0: float(margin_of(season, finding)[worst])}  # of the worst day, by the number that goes

    def does(fish: int) -> bool:
        after = _with_taken(season, change, column, day, fish)
        if after is None:
            return False
        margins[fish] = float(margin_of(after, finding)[worst])
        return mends(season, after, finding, change)

    def between(fewest: int, most: int) -> int:
        """Where the margin would just be the reserve, if it moved evenly with the fish that go."""
        low, high, least = margins.get(fewest, np.nan), margins[most], reserve_percent(season.site, finding.limit)
        if not low < least < high < np.inf:
            return (fewest + most) // 2
        return fewest + math.ceil((most - fewest) * (least - low) / (high - low))

    fish = least_that_does(0, there - 1, does, max(1, there // 50), between)
    return None if fish is None else _out(season, column, day, fish, there)


def _with_taken(season: Season, change: Change, column: int, day: int, fish: int) -> Season | None:
    """The season with so many fish taken, as its file would have it; None where others then ask for more than is left.

    Fish that are taken out change nothing else of a layout, so that no file is written and checked for each number.
    """
    *before, event = change.fields["events"]
    taken = Happening(day, len(before) + 1, event["kind"], column, -1, float(fish), which=event["which"])
    order = sorted((*season.layout.happenings, taken), key=lambda one: (one.day, one.number))
    return counted_season(season, restructured(season.layout, happenings=tuple(order)))


def less_out(season: Season, change: Change) -> Change | None:
    """A harvest or sale of a few fish less, by the step in which their number was sought; None for another change."""
    at = change.amounts
    if change.kind is not Action.TAKEN_OUT or change.start is None or at["cohort"] not in season.layout.cohorts:
        return None
    fish = at["fish"] - max(1, at["of"] // 50)
    day = (change.start - season.layout.start).days
    columns = [c for c in _heaviest(season, [at["tank"]], day) if season.layout.cohorts[c] == at["cohort"]]
    return _out(season, columns[0], day, fish, at["of"]) if columns and fish >= 1 else None


def first_near(season: Season, finding: Finding) -> int:
    """First day of the season on which a limit is nearer than the reserve."""
    near = np.flatnonzero(margin_of(season, finding) < reserve_percent(season.site, finding.limit))
    return int(near[0]) if near.size else (finding.worst_date - season.layout.start).days


def _heaviest(season: Season, tanks: list[str], day: int) -> list[int]:
    """Columns of the fish that are in some tanks on the evening before a day, the greatest biomass first."""
    layout, course = season.layout, season.course
    biomass = course.count[0, day - 1] * course.weight_g[0, day - 1]
    inside = [at for at, stay in enumerate(layout.stays) if stay.table.tank in tanks and biomass[at] > 0.0]
    return sorted(inside, key=lambda at: -biomass[at])


def _out(season: Season, column: int, day: int, fish: int, of: int) -> Change:
    layout, date = season.layout, season.dates[day]
    stay = layout.stays[column]
    market = season.site.species[stay.table.species]["market_weight"]
    is_harvest = bool(season.course.weight_g[0, day - 1, column] >= _EATEN_FROM * market)
    cohort = layout.cohorts[column]
    event = {"kind": "harvest" if is_harvest else "sell", "date": date, "cohort": cohort, "count": fish}
    amounts = {"tank": stay.table.tank, "cohort": cohort, "fish": fish, "of": of, "is_harvest": is_harvest}
    care = Care.WILD if stay.table.wild and not is_harvest else None
    return Change(Action.TAKEN_OUT, with_event(season, event | {"which": "largest"}), amounts, date, care=care)


def some_out(season: Season, column: int, day: int, fish: int | None) -> Change:
    """The largest fish of a column, or all, taken out on the morning of a day, the second of the season or later."""
    there = math.floor(float(season.course.count[0, day, column] + season.course.deaths[0, day, column]))
    return _all_of(season, column, day, there) if fish is None else _out(season, column, day, fish, there)


def with_event(season: Season, event: dict[str, Any]) -> dict[str, Any]:
    """Fields that add an event to those of a season's site."""
    return {"events": [*season.site.raw.get("events", []), event]}


def moved(season: Season, finding: Finding, tanks: list[str]) -> Iterator[Change]:
    """A whole cohort of some tanks into another tank before a limit is near, the lightest cohort first.

    Tanks of the same loop come first; where the limit is of the loop's water, only those of others help. Moves that
    break another limit at once come last.
    """
    file, layout = season.site.file, season.layout
    day = max(first_near(season, finding) - _DAYS_BEFORE, 0)
    there = _heaviest(season, tanks, max(day, 1))
    loop = loop_of(season, finding)
    free = [tank for tank in file.tanks if tank not in tanks]
    free.sort(key=lambda tank: (file.tanks[tank].loop != loop, _load(season, tank)))
    tried, harmful = 0, []
    for column, into in itertools.islice(itertools.product(reversed(there), free), _MOST_LOOKED_AT):
        fields = _into(season, layout.cohorts[column], column, into, day)
        if fields is None:
            continue
        date = season.dates[day] if "events" in fields else None
        amounts = {"cohort": layout.cohorts[column], "tank": layout.stays[column].table.tank, "into": into}
        change = Change(Action.MOVED, fields, amounts, date)
        if _breaks_at_once(season, column, into, day):
            harmful.append(replace(change, breaks_at_once=True))
            continue
        yield change
        tried += 1
        if tried == _MOST_PLACES:
            return
    yield from harmful[: _MOST_PLACES - tried]


def _breaks_at_once(season: Season, column: int, tank: str, day: int) -> bool:
    """Whether fish that move break a limit on the very day, which is known without a run: sizes and water are.

    One that the season breaks there anyway is not counted.
    """
    layout = season.layout
    day = max(day, int(layout.stocked_day[column]))
    water, loop = layout.temperature_c, layout.loops.index(season.site.file.tanks[tank].loop)
    came_from = water[day - 1, int(layout.cohort_loop[column].argmax())]
    low, high, change = (
        float(layout.species[key][column])
        for key in ("temperature_low_limit", "temperature_high_stress", "temperature_change_per_day")
    )
    jump = abs(water[day, loop] - came_from) if day > layout.stocked_day[column] else 0.0
    cohort, place = f"cohorts.{layout.cohorts[column]}", f"tanks.{tank}"
    broken = {
        ("temperature_low", cohort): water[day, loop] < low,
        ("temperature_high", cohort): water[day, loop] > high,
        ("temperature_change", cohort): jump > change,
    }
    inside = layout.cohort_tank.copy()
    inside[column] = [float(name == tank) for name in layout.tanks]
    there = Judging(restructured(layout, cohort_tank=inside), of_day(season.course, day))
    held = {(f.limit, f.where) for f in season.findings if not f.is_broken}
    if any(is_broken and place in held for place, is_broken in broken.items()):
        return True
    return any(
        (limit, place) in held and judge(there, limit).margin_percent[0, 0, layout.tanks.index(tank)] < 0.0
        for limit in ("density", "predation")
    )


def graded(season: Season, finding: Finding, tank: str) -> Iterator[Change]:
    """The larger part of a cohort of a tank into another tank, before a limit is near."""
    file, layout = season.site.file, season.layout
    day = max(first_near(season, finding) - _DAYS_BEFORE, 0)
    loop = file.tanks[tank].loop
    free = sorted(
        (other for other in file.tanks if other != tank),
        key=lambda other: (file.tanks[other].loop != loop, _load(season, other)),
    )
    for column in _heaviest(season, [tank], max(day, 1)):
        cohort = layout.cohorts[column]
        into = next(name for n in itertools.count(1) if (name := f"{cohort}_large_{n}") not in layout.cohorts)
        for other in free[:_MOST_GRADED_INTO]:
            for share in _GRADED_SHARES:
                event = {"kind": "grade", "date": season.dates[day], "cohort": cohort, "into": into, "tank": other}
                amounts = {"cohort": cohort, "tank": tank, "into": other, "share": share}
                fields = with_event(season, event | {"largest_share": share})
                yield Change(Action.GRADED, fields, amounts, season.dates[day])


def _load(season: Season, tank: str) -> float:
    """Highest biomass of a tank for its volume."""
    column = season.layout.tanks.index(tank)
    biomass = season.course.grown_g[0] @ season.layout.cohort_tank[:, column]
    return float(biomass.max() / season.layout.volume_m3[..., column].max())


def _into(season: Season, cohort: str, column: int, tank: str, day: int) -> dict[str, Any] | None:
    """Fields that put a cohort into a tank: from the first where it is stocked there, or on a day."""
    if day <= season.layout.stocked_day[column]:
        is_own = cohort in season.site.file.cohorts
        return {f"cohorts.{cohort}.tank": tank} if is_own else None
    date: dt.date = season.dates[day]
    return with_event(season, {"kind": "move", "date": date, "cohort": cohort, "tank": tank})


def all_out(season: Season, day: int) -> list[Change]:
    """All fish that live on a morning harvested, those too small to eat sold, a change for each cohort."""
    there = season.course.count[0, day - 1]
    return [
        _all_of(season, column, day, max(round(float(there[column])), 1))
        for column in np.flatnonzero(there > 0).tolist()
    ]


def _all_of(season: Season, column: int, day: int, fish: int) -> Change:
    change = _out(season, column, day, fish, fish)
    *before, event = change.fields["events"]
    whole = {key: value for key, value in event.items() if key not in ("count", "which")} | {"all": True}
    return replace(change, fields={"events": [*before, whole]})
