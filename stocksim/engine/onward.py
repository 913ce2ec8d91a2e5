"""A site from a day on, as its records leave it: the rest of the season, with today's fish, water and bacteria.

The one place by which plans, advice, the cold months and the power cut start from the record book.
"""

from __future__ import annotations

import copy
import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from stocksim.book import store
from stocksim.book.store import Record
from stocksim.engine.measured import of_what_is_left, with_records
from stocksim.engine.results.frames import Season
from stocksim.engine.results.tested import tests_over
from stocksim.engine.running import run_season
from stocksim.site.begun import Begun, OverLimit
from stocksim.site.reading import Site, site_from_tables
from stocksim.units import format_date

_FISH_LEFT = 0.5  # of a cohort with fewer none is left
_OF_LOOP = ("alkalinity", "chloride", "sodium", "potassium", "phosphorus", "calcium", "solids")


@dataclass(frozen=True)
class Onward:
    """The rest of a season.

    Parameters
    ----------
    site : Site
        It begins on the day; the site as it was where there is no record of its season.
    since : date or None
        That day; None where nothing was changed.
    told : tuple of str
        What a reader must know of it, a sentence each.
    """

    site: Site
    since: dt.date | None = None
    told: tuple[str, ...] = ()


def of_book(site: Site) -> Onward:
    """The rest of the season by the book beside a site's file; the site itself where there is none.

    Parameters
    ----------
    site : Site
        A checked site.

    Raises
    ------
    InputError
        If the book cannot be read, or its records do not go with the site.
    """
    records = store.read_book(store.book_path(site.folder / site.name))
    return onward(site, records, store.today(records))


def onward(site: Site, records: Sequence[Record], first_day: dt.date) -> Onward:
    """The rest of a season from a day on, by its records.

    Parameters
    ----------
    site : Site
        A checked site.
    records : sequence of Record
        Those that hold; of those after the day none is used.
    first_day : date
        First day of the rest.

    Returns
    -------
    Onward
        Fish as many and as heavy, water and bacteria as the season has them by its records on that morning. Fish are as
        long as usual for their weight, and the walls of tanks hold as strong bacteria as their loop's beds and filters.

    Raises
    ------
    InputError
        If the site does not bear a record or what is planned after them.
    """
    start, end = site.file.season.start, site.file.season.end
    known = [one for one in records if start <= one.date <= first_day]
    if not known or not start <= first_day <= end:
        return Onward(site)
    measured = with_records(site, known)
    notes = (*measured.notes, *(f"{one} Not used." for one in measured.contradictions))
    said = f"Starts from the record book ({len(known)} records)"
    season = run_season(measured.site)
    over = tests_over(season, known, first_day)
    if first_day == start:
        begun = replace(measured.site.begun, start=start, over=over)
        site = replace(measured.site, begun=begun)
        return Onward(site, first_day, (f"{said}, on {format_date(first_day)}.", *notes))
    tables = _tables(season, first_day)
    if not tables["cohorts"]:
        return Onward(measured.site, None, ("No fish are left by the record book; the whole season is shown.", *notes))
    before = replace(measured.site, begun=_begun(season, first_day, over))
    rest = site_from_tables(tables, site.folder, site.name, before)
    return Onward(rest, first_day, (f"{said}: the season from {format_date(first_day)} on.", *notes))


def _begun(season: Season, date: dt.date, over: tuple[OverLimit, ...]) -> Begun:
    """What the season has on the morning of a day."""
    course, layout = season.course, season.layout
    at = (date - layout.start).days - 1
    begun = season.site.begun
    levels = {
        loop: {
            "nitrate_n": float(course.nitrate_mg_l[0, at, column]),
            "nitrite_n": float(course.sump_nitrite_mg_l[0, at, column]),
            **{name: float(getattr(course, f"{name}_mg_l")[0, at, column]) for name in _OF_LOOP},
        }
        for column, loop in enumerate(layout.loops)
    }
    strength = np.stack([course.ammonia_maturity[0, at], course.nitrite_maturity[0, at]], axis=-1)
    films = {name: _pair(strength[column]) for column, name in enumerate(layout.units)}
    for leaf, tank in enumerate(layout.tanks):
        loop = layout.leaf_loop[leaf]
        alike = [
            unit for unit in range(len(layout.units)) if (layout.leaf_loop[len(layout.tanks) + unit] == loop).all()
        ]
        if alike:
            films[f"tanks.{tank}"] = _pair(strength[alike].mean(axis=0))
    water_off_c = {loop: off[at + 1 :] for loop, off in begun.water_off_c.items()}
    salt_g = {loop: tuple(one for one in given if one[0] >= date) for loop, given in begun.salt_g.items()}
    return Begun(date, water_off_c, levels, films, over, salt_g)


def _pair(strength: Any) -> tuple[float, float]:
    return float(strength[0]), float(strength[1])


# --- the tables of the rest


def _day(written: Any) -> dt.date:
    """A day of a site file's table, as a date or a text."""
    return written if isinstance(written, dt.date) else dt.date.fromisoformat(str(written))


def _tables(season: Season, date: dt.date) -> dict[str, Any]:
    """Tables of the site file as they would be written for the rest of the season."""
    raw: dict[str, Any] = copy.deepcopy(dict(season.site.raw))
    raw["season"]["start"] = date
    raw["cohorts"] = _cohorts(season, date)
    events = [
        one for one in raw.get("events", [])
        if _day(one["date"]) >= date and one["cohort"] in {*raw["cohorts"], *(two.get("into") for two in raw["events"])}
    ]  # fmt: skip
    events.sort(key=lambda one: _day(one["date"]))
    raw["events"], _ = of_what_is_left(events, {name: float(own["count"]) for name, own in raw["cohorts"].items()})
    for loop in raw.get("loops", {}).values():
        for key in ("water_tests", "water_changes"):
            if key in loop:
                loop[key] = [one for one in loop[key] if _day(one["date"]) >= date]
        if "feeding_ramp" in loop:
            loop["feeding_ramp"] = _steps(loop["feeding_ramp"], date)
        cycling = loop.get("fishless_cycling")
        if cycling is not None and _day(cycling["to"]) < date:
            del loop["fishless_cycling"]
        elif cycling is not None:
            cycling["from"] = max(_day(cycling["from"]), date)
    for bed in raw.get("beds", {}).values():
        if "plantings" in bed:
            bed["plantings"] = [one for one in bed["plantings"] if _day(one["to"]) >= date]
    if "stocking" in raw:
        _wishes(raw["stocking"], raw["cohorts"], date)
    return raw


def _steps(steps: Sequence[Mapping[str, Any]], date: dt.date) -> list[Mapping[str, Any]]:
    """Steps of a feeding ramp, the one that holds on the day as its first."""
    gone = [one for one in steps if _day(one["from"]) <= date]
    return [*({**one, "from": date} for one in gone[-1:]), *(one for one in steps if _day(one["from"]) > date)]


def _cohorts(season: Season, date: dt.date) -> dict[str, Any]:
    """Cohorts that are there or still to come, each as the season has it on that morning."""
    course, layout, site = season.course, season.layout, season.site
    at = (date - layout.start).days - 1
    found: dict[str, Any] = {}
    for name in dict.fromkeys(layout.cohorts):
        columns = [column for column, own in enumerate(layout.cohorts) if own == name]
        table = site.cohorts[name]
        if table.stocked is not None and table.stocked >= date:
            if name in site.raw["cohorts"]:
                found[name] = dict(site.raw["cohorts"][name])
            continue
        column = max(columns, key=lambda one: float(course.count[0, at, one]))
        fish = float(course.count[0, at, column])
        if fish < _FISH_LEFT:
            continue
        stay = layout.stays[column]
        own = dict(site.raw["cohorts"][stay.root])
        own |= {
            "count": max(round(fish), 1), "mean_weight": f"{float(course.weight_g[0, at, column])!r} g",
            "tank": stay.table.tank, "size_spread": float(course.size_spread[0, at, column]),
        }  # fmt: skip
        own.pop("stocked", None)
        if table.wild and not table.trained:
            since = (date - (table.stocked or layout.start)).days
            is_trained = since >= site.species[table.species]["feed_training_days"]
            own |= {"trained": True} if is_trained else {"stocked": date}
        for event in sorted(site.raw.get("events", []), key=lambda one: _day(one["date"])):
            if event["cohort"] == name and _day(event["date"]) < date and event["kind"] in ("ration", "feed"):
                own[event["kind"]] = event[event["kind"]]
        found[name] = own
    return found


def _wishes(stocking: dict[str, Any], cohorts: Mapping[str, Any], date: dt.date) -> None:
    """Leave out of a stocking table what is past."""
    candidates = stocking.get("candidates", {})
    for name in list(candidates):
        if (
            _day(candidates[name].get("stocked", date)) < date
            or _day(candidates[name].get("leaves", dt.date.max)) <= date
        ):
            del candidates[name]
    own = stocking.get("own", {})
    for name in list(own):
        if name not in cohorts or _day(own[name].get("leaves", dt.date.max)) <= date:
            del own[name]
    if "harvest_wishes" in stocking:
        stocking["harvest_wishes"] = [one for one in stocking["harvest_wishes"] if _day(one["by"]) > date]
