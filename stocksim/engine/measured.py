"""A site from its records on: numbers, weights, levels, films and water are those measured, the rest is reckoned.

What a record says goes into the site as the site file itself would say it: water tests, events, water changes. The
engine sets the season to them on their mornings, and what tests tell of the films follows from that.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from stocksim.book.checks import mean_weight_g
from stocksim.book.kinds import HARVESTED, MOVED
from stocksim.book.store import Record
from stocksim.fish.appetite import TRIAL_SPREAD
from stocksim.heat.temperatures import water_c
from stocksim.site.begun import Begun
from stocksim.site.kinds import EVENT_KINDS, REMOVALS, Act
from stocksim.site.loop_water import loop_water_m3
from stocksim.site.reading import Site
from stocksim.units import format_date

FloatArray = NDArray[np.float64]

# After the last reading the water's distance from what was reckoned fades evenly over so many days, and between two
# readings so far apart it is taken to change evenly (assumed).
FADES_IN_DAYS = 14
_LEAST_KEPT = 0.05  # of the water at a change, so that a change of all of it divides by nothing (our choice)
# Errors of what is measured, as standard deviations of a logarithm (assumed): a kitchen scale and wet fish beside the
# sample's own error; a colour chart whose steps lie a factor of 2 apart, read to the nearest, of the level plus its
# first step.
SCALE_ERROR, CHART_ERROR, LEAST_READ_MG_L = 0.02, math.log(2.0) / math.sqrt(12.0), 0.1
_FIFTH = 1.645  # score of 95 %: species files declare a 5 to 95 % range
# values of a test that the site file's own tests hold
_LEVELS = ("tan", "nitrite_n", "nitrate_n", "alkalinity", "potassium", "phosphorus", "calcium", "chloride")


@dataclass(frozen=True)
class Measured:
    """A site with its records.

    Parameters
    ----------
    site : Site
        As the records leave it; equal to the one before where none is of its season.
    notes : tuple of str
        What was done with records that could not be taken as they are, a sentence each.
    contradictions : tuple of str
        Records that cannot all be right, a sentence each; the later one is not used.
    """

    site: Site
    notes: tuple[str, ...] = ()
    contradictions: tuple[str, ...] = ()


def with_records(site: Site, records: Sequence[Record]) -> Measured:
    """A site from its records on.

    Parameters
    ----------
    site : Site
        A checked site.
    records : sequence of Record
        Those that hold, in any order; those outside the season are left out.

    Returns
    -------
    Measured
        The site to run.

    Raises
    ------
    InputError
        If the site does not bear a record, as fish moved into a tank where the file feeds them by another weight.
    """
    season = site.file.season
    inside = [record for record in records if season.start <= record.date <= season.end]
    inside.sort(key=lambda record: (record.date, record.number))
    outside = len(records) - len(inside)
    notes = [f"{outside} records are of days outside the season and are not used."] if outside else []
    changes: dict[str, Any] = {}
    contradictions: list[str] = []
    for loop in site.file.loops:
        changes |= _water(site, loop, [one for one in inside if one.of == f"loops.{loop}"], notes)
    events = _events(site, inside, notes, contradictions)
    if events is not None:
        began = {name: float(table.count) for name, table in site.file.cohorts.items()}
        changes["events"], cut = of_what_is_left(events, began)
        if cut:
            notes.append(f"Planned events that would take more fish than the records leave take those: {cut} of them.")
    told = site.with_changes(changes) if changes else site
    off_c, salt_g = _read_off_c(told, inside), _salt_g(site, inside)
    if off_c or salt_g:
        begun = Begun(season.start, off_c, salt_g=salt_g)
        held_c = {loop: begun.water(loop, daily) for loop, daily in told.held_c.items()}
        told = replace(told, begun=begun, held_c=held_c)
    return Measured(told, tuple(notes), tuple(contradictions))


def _water(site: Site, loop: str, records: Sequence[Record], notes: list[str]) -> dict[str, Any]:
    """Tests and water changes of a loop; what a later record says of a day and level goes before the others."""
    table = site.file.loops[loop]
    by_day: dict[dt.date, dict[str, str | float]] = {}
    for test in table.water_tests:
        levels = test.model_dump(exclude={"date"}, exclude_none=True)
        by_day[test.date] = {key: value if key == "ph" else f"{value!r} mg/L" for key, value in levels.items()}
    is_tested, leaves_ph = False, False
    for record in records:
        if record.kind != "test":
            continue
        day = by_day.setdefault(record.date, {})
        for level in _LEVELS:
            value = record.value(f"{level}_mg_l")
            if not math.isnan(value):
                day[level], is_tested = f"{value!r} mg/L", True
        if not math.isnan(ph := record.value("ph")):
            if table.ph is None:
                day["ph"], is_tested = ph, True
            else:
                leaves_ph = True
    if leaves_ph:
        notes.append(f"Tests of pH in {loop} are not used: the site file gives its pH, {table.ph:g}, for all season.")
    changes: dict[str, Any] = {}
    if is_tested:
        tests = [{"date": day, **levels} for day, levels in sorted(by_day.items()) if levels]
        changes[f"loops.{loop}.water_tests"] = tests
    changed = [{"date": one.date, "volume": f"{one.value('volume_m3')!r} m3"} for one in records if one.kind == "water"]
    if changed:
        planned = list(site.raw["loops"][loop].get("water_changes", []))
        last = max(one.date for one in records if one.kind == "water")
        changes[f"loops.{loop}.water_changes"] = [one for one in planned if one["date"] > last] + changed
    return changes


# --- errors


def weighing_error(site: Site, cohort: str, number: float) -> float:
    """Error of the mean weight of a sample, as a standard deviation of its logarithm. [-]"""
    table = site.cohorts[cohort]
    spread = table.size_spread
    if spread is None:
        spread = site.species[table.species].number("size_spread", 0.25)
    return math.hypot(spread / math.sqrt(number), SCALE_ERROR)


def appetite_spread(site: Site, species: str) -> float:
    """How far the logarithm of appetite differs between trials of a species, as its file declares. [-]"""
    scale = site.species[species].values["intake_scale"]
    if scale.low is None or scale.high is None:
        return TRIAL_SPREAD
    return math.log(scale.high / scale.low) / (2.0 * _FIFTH)


# --- fish


@dataclass
class _Numbers:
    """How many fish of a cohort there are by what was recorded; NaN where it cannot be told."""

    fish: float
    is_counted: bool = False


def _events(
    site: Site, records: Sequence[Record], notes: list[str], contradictions: list[str]
) -> list[Mapping[str, Any]] | None:
    """Events of the site as they were: recorded ones in the place of those planned until then; None where none is."""
    of_fish = [one for one in records if one.of.startswith("cohorts.") and one.kind in _OF_FISH]
    if not of_fish:
        return None
    planned = list(site.raw.get("events", []))
    last = dict[tuple[str, str], dt.date]()
    for record in of_fish:
        for kind in _REPLACES.get(record.kind, ()):
            last[record.name, kind] = max(record.date, last.get((record.name, kind), record.date))
    kept = [one for one in planned if one["date"] > last.get((one["cohort"], one["kind"]), dt.date.min)]
    if len(kept) < len(planned):
        number = len(planned) - len(kept)
        notes.append(f"{number} planned events of the site file are replaced by what was recorded until then.")
    happened: list[Mapping[str, Any]] = []
    for cohort in dict.fromkeys(record.name for record in of_fish):
        own = [record for record in of_fish if record.name == cohort]
        happened += _of_cohort(site, cohort, own, kept, contradictions)
    # fish are counted and weighed in the morning, before anything is done with them
    return sorted(kept + happened, key=lambda event: (event["date"], event["kind"] != "found"))


def of_what_is_left(
    events: Sequence[Mapping[str, Any]], began: Mapping[str, float]
) -> tuple[list[Mapping[str, Any]], int]:
    """Events that take no more fish than there can be, those left out of which none is there; and how many were cut.

    Parameters
    ----------
    events : sequence of mapping
        In the order of days, as a site file writes them.
    began : mapping of str to float
        Fish that each cohort begins with.
    """
    most, kept, cut = dict(began), list[Mapping[str, Any]](), 0
    for event in events:
        name, act = event["cohort"], EVENT_KINDS[event["kind"]].act
        there = most.get(name, math.inf)
        if act is Act.TAKE and event.get("count", 0) > there:
            cut += 1
            if there < 1.0:
                continue
            event = {**event, "count": math.floor(there)}
        kept.append(event)
        if act is Act.GRADE:
            share = event.get("largest_share")
            most[event["into"]] = there if share is None else there * share
            most[name] = there if share is None else there * (1.0 - share)
        elif act is Act.ADD:
            most[name] = there + event["count"]
        elif act is Act.FIND:
            most[name] = float(event.get("count", there))
        elif act is Act.TAKE:
            most[name] = 0.0 if event.get("all") else there * (1.0 - event.get("share", 0.0)) - event.get("count", 0)
    return kept, cut


_REPLACES: Mapping[str, tuple[str, ...]] = {HARVESTED: REMOVALS, MOVED: ("move",)}
_OF_FISH = ("weigh", "count", "deaths", HARVESTED, MOVED)


def _of_cohort(
    site: Site, cohort: str, records: Sequence[Record], kept: Sequence[Mapping[str, Any]], contradictions: list[str]
) -> list[Mapping[str, Any]]:
    table = site.cohorts[cohort]
    since = table.stocked or site.file.season.start
    numbers, events = _Numbers(float(table.count) if table.count else math.nan), list[Mapping[str, Any]]()
    others = [(one["date"], one) for one in kept if one["cohort"] == cohort or one.get("into") == cohort]
    days = sorted({record.date for record in records} | {day for day, _ in others})
    for day in days:
        today = [record for record in records if record.date == day]
        if today and day < since:
            contradictions.append(
                f"{cohort} has a record of {format_date(day)}, before it came on {format_date(since)}."
            )
            continue
        found: dict[str, Any] = {}
        _count(numbers, cohort, day, today, found, contradictions)
        weighed = [mean_weight_g(record) for record in today if record.kind == "weigh"]
        if weighed:
            fish = sum(number for number, _ in weighed)
            found["mean_weight"] = f"{sum(number * mean for number, mean in weighed) / fish!r} g"
        if found:
            events.append({"kind": "found", "date": day, "cohort": cohort, **found})
        events += _done(numbers, cohort, day, today, contradictions)
        for when, one in others:
            if when == day:
                _planned(numbers, one)
    return events


def _count(
    numbers: _Numbers, cohort: str, day: dt.date, today: Sequence[Record], found: dict[str, Any], wrong: list[str]
) -> None:
    """Bring the number up to the morning of a day, and say it where a record tells it."""
    counted = [record.value("count") for record in today if record.kind == "count"]
    dead = sum(record.value("count") for record in today if record.kind == "deaths")
    if counted:
        numbers.fish, numbers.is_counted = counted[-1], True
    elif dead > numbers.fish:
        wrong.append(_too_many(f"{dead:g} dead", cohort, day, numbers))
        return
    elif dead:
        numbers.fish, numbers.is_counted = numbers.fish - dead, True
    if (counted or dead) and not math.isnan(numbers.fish):
        found["count"] = round(numbers.fish)


def _too_many(what: str, cohort: str, day: dt.date, numbers: _Numbers) -> str:
    return f"{what} of {cohort} on {format_date(day)} are more than the {numbers.fish:g} there were by the records."


def _done(
    numbers: _Numbers, cohort: str, day: dt.date, today: Sequence[Record], wrong: list[str]
) -> list[Mapping[str, Any]]:
    """Harvests and moves of a day as events."""
    events: list[Mapping[str, Any]] = []
    for record in today:
        about = {"date": day, "cohort": cohort}
        if record.kind == MOVED:
            events.append({"kind": "move", **about, "tank": record.held["to_tank"]})
        elif record.kind == HARVESTED:
            count = record.value("count")
            if count > numbers.fish:
                wrong.append(_too_many(f"{count:g} harvested", cohort, day, numbers))
                continue
            if math.isnan(count):
                events.append({"kind": "harvest", **about, "weight": f"{record.value('weight_g')!r} g"})
            else:
                events.append({"kind": "harvest", **about, "count": round(count)})
            numbers.fish -= count  # not known any more where only the weight is
    return events


def _planned(numbers: _Numbers, event: Mapping[str, Any]) -> None:
    """What an event of the file does to the number; it is not known any more where that cannot be told."""
    if event["kind"] == "found":
        numbers.fish = float(event.get("count", numbers.fish))
    elif event["kind"] == "stock":
        numbers.fish += event["count"]
    elif event["kind"] in (*REMOVALS, "grade"):
        numbers.fish -= float(event.get("count", math.nan))


# --- water


def _salt_g(site: Site, records: Sequence[Record]) -> dict[str, tuple[tuple[dt.date, float], ...]]:
    """Common salt given by loop and day; what a test of chloride later that day has in it already is left out. [g]

    Salt is added in the morning: what was given after that day's change of water is raised by what the change takes.
    """
    found: dict[str, list[tuple[dt.date, float]]] = {}
    for one in records:
        if one.kind != "salt":
            continue
        that_day = [other for other in records if other.of == one.of and other.date == one.date]
        if any("chloride_mg_l" in other.held and other.number > one.number for other in that_day):
            continue
        water, kept = loop_water_m3(site.file, one.name), 1.0
        for other in that_day:
            if other.kind == "water" and other.number < one.number:
                kept *= max(1.0 - other.value("volume_m3") / water, _LEAST_KEPT)
        found.setdefault(one.name, []).append((one.date, one.value("weight_g") / kept))
    return {loop: tuple(given) for loop, given in found.items()}


def _read_off_c(site: Site, records: Sequence[Record]) -> dict[str, FloatArray]:
    """What readings add to the water of loops, shape (days,); empty where there is none. [degC]"""
    by_loop: dict[str, dict[int, list[float]]] = {}
    for record in _whole_days([one for one in records if one.kind == "temperature"]):
        table, name = record.of.split(".", 1)
        loop = name if table == "loops" else site.file.tanks[name].loop
        day = (record.date - site.file.season.start).days
        by_loop.setdefault(loop, {}).setdefault(day, []).append(record.value("temperature_c"))
    if not by_loop:
        return {}
    water, off_c = water_c(site), {}
    for loop, readings in by_loop.items():
        days = np.array(sorted(readings))
        mean = np.array([np.mean(readings[day]) for day in days])
        off_c[loop] = _correction(days, mean - water[loop][days], site.days)
    return off_c


def _whole_days(records: Sequence[Record]) -> list[Record]:
    """Readings of water; of a logger's day that was brought in before it was over, and again with more, the fullest."""
    most: dict[tuple[str, dt.date], float] = {}
    for one in records:
        most[one.of, one.date] = max(most.get((one.of, one.date), 0.0), float(one.held.get("readings", 0.0)))
    return [one for one in records if "readings" not in one.held or one.held["readings"] == most[one.of, one.date]]


def _correction(days: NDArray[np.int64], off_c: FloatArray, length: int) -> FloatArray:
    """What readings add to the reckoned water on each day, shape (length,). [degC]"""
    at, by = [float(days[0] - FADES_IN_DAYS)], [0.0]
    for day, off in zip(days, off_c, strict=True):
        if day - at[-1] > 2 * FADES_IN_DAYS:
            at += [at[-1] + FADES_IN_DAYS, float(day - FADES_IN_DAYS)]
            by += [0.0, 0.0]
        at.append(float(day))
        by.append(float(off))
    return np.interp(np.arange(length), [*at, at[-1] + FADES_IN_DAYS], [*by, 0.0])
