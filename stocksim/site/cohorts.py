"""Batches of a site: which there are, and on which days they are there."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

from stocksim.errors import Fault
from stocksim.site.fish_tables import (
    CohortTable,
    Event,
    FixedRation,
    FoundEvent,
    GradeEvent,
    MoveEvent,
    RationEvent,
    RemovalEvent,
    StockEvent,
)
from stocksim.site.model import SiteFile
from stocksim.units import format_quantity


def events_in_order(file: SiteFile) -> list[tuple[int, Event]]:
    """Events by date, each with its number in the file; those of one date in the order written."""
    return sorted(enumerate(file.events, 1), key=lambda item: item[1].date)


def all_cohorts(file: SiteFile) -> dict[str, CohortTable]:
    """Cohorts by name: those of the file, then those that grading makes, each as its parent's table.

    A cohort made by grading has no fish until then; its tank is the one it goes to and its ``stocked`` the date.
    """
    cohorts = dict(file.cohorts)
    for _, event in events_in_order(file):
        if isinstance(event, GradeEvent) and event.cohort in cohorts and event.into not in cohorts:
            changed = {"tank": event.tank, "count": 0, "stocked": event.date}
            cohorts[event.into] = cohorts[event.cohort].model_copy(update=changed)
    return cohorts


def roots(file: SiteFile) -> dict[str, str]:
    """The file's cohort that each cohort's fish came from, by name."""
    found = {name: name for name in file.cohorts}
    for _, event in events_in_order(file):
        if isinstance(event, GradeEvent) and event.cohort in found:
            found.setdefault(event.into, found[event.cohort])
    return found


# --- where the fish of a site are and by which rule they are fed, as far as the file tells: deaths are not known yet


@dataclass(frozen=True)
class Spell:
    """Days that a cohort spends in one tank by one rule, both ends counted.

    ``table`` and ``field`` say what of the file began it, ``order`` the place of the cohort among the others.
    """

    cohort: str
    tank: str
    ration: Any
    first: dt.date
    last: dt.date
    table: str
    field: str
    order: int

    def meets(self, other: Spell) -> bool:
        """Whether both have a day in common."""
        return self.first <= other.last and other.first <= self.last


@dataclass
class _Now:
    """A cohort as the events so far leave it; ``since`` is None while it has no fish."""

    tank: str
    ration: Any
    fish: float
    since: dt.date | None
    table: str
    field: str
    order: int


def spells(file: SiteFile) -> list[Spell]:
    """Every stay of fish in a tank by a rule, in the order they end.

    Parameters
    ----------
    file : SiteFile
        Tables without faults.

    Returns
    -------
    list of Spell
        None of a cohort while it has no fish. Events happen on the morning of their date.
    """
    told: list[Spell] = []
    cohorts: dict[str, _Now] = {}
    for key, table in file.cohorts.items():
        came = (table.stocked or file.season.start) if table.count else None
        cohorts[key] = _Now(
            table.tank, table.ration, float(table.count), came, f"cohorts.{key}", "ration.per_day", len(cohorts)
        )

    def end(key: str, last: dt.date) -> None:
        now = cohorts[key]
        if now.since is not None and now.since <= last:
            told.append(Spell(key, now.tank, now.ration, now.since, last, now.table, now.field, now.order))
        now.since = None

    for number, event in events_in_order(file):
        now = cohorts.get(event.cohort)
        if now is None:
            continue
        before, place = event.date - dt.timedelta(days=1), f"events[{number}]"
        if isinstance(event, (MoveEvent, RationEvent)):
            had = now.since
            end(event.cohort, before)
            now.table, now.since = place, event.date if had is not None else None
            if isinstance(event, MoveEvent):
                now.tank, now.field = event.tank, "tank"
            else:
                now.ration, now.field = event.ration, "ration.per_day"
        elif isinstance(event, StockEvent):
            now.fish += event.count
            if now.since is None:
                now.since, now.table, now.field = event.date, place, "count"
        elif isinstance(event, GradeEvent):
            share = event.largest_share
            up = now.fish if share is None else now.fish * share
            cohorts[event.into] = _Now(
                event.tank, now.ration, up, event.date if up > 0.0 and now.since else None, place, "tank", len(cohorts)
            )
            now.fish *= 1.0 if share is None else 1.0 - share
        elif isinstance(event, FoundEvent):
            now.fish = now.fish if event.count is None else float(event.count)
        elif isinstance(event, RemovalEvent):
            now.fish = 0.0 if event.all else (now.fish - (event.count or 0)) * (1.0 - (event.share or 0.0))
        if now.fish <= 1e-9:
            end(event.cohort, before)
    for key in cohorts:
        end(key, file.season.end)
    return told


# --- faults of fish where they should not be: in a loop dosed with ammonia, or in one tank by two weights of feed


def presence_faults(file: SiteFile) -> list[Fault]:
    """Faults that need to know where every cohort is on every day.

    Parameters
    ----------
    file : SiteFile
        Tables without other faults.

    Returns
    -------
    list of Fault
        One for a loop whose fishless cycling is not fishless, one for each stay that brings another weight of feed.
    """
    there = spells(file)
    return _fishless_faults(file, there) + _weight_faults(file, there)


def _fishless_faults(file: SiteFile, there: list[Spell]) -> list[Fault]:
    """Ammonia dosed while fish are in the loop; the first of them is named."""
    faults = []
    for key, loop in file.loops.items():
        dosing = loop.fishless_cycling
        if dosing is None:
            continue
        met = [
            spell for spell in there
            if file.tanks[spell.tank].loop == key and spell.first <= dosing.end and spell.last >= dosing.start
        ]  # fmt: skip
        if not met:
            continue
        first = min(met, key=lambda spell: (spell.first, spell.order))
        by = f" by {first.table}" if first.table.startswith("events") else ""
        day = max(first.first, dosing.start)
        ends = "" if day <= dosing.start else f"end it on {day - dt.timedelta(days=1)} or earlier, or "
        message = (
            f"doses ammonia from {dosing.start} to {dosing.end}, but {first.cohort} is in tank {first.tank} of this "
            f"loop from {first.first}{by}, and what feeds a biofilter poisons fish; {ends}let fish into this loop only "
            "after the last dose."
        )
        faults.append(Fault(f"loops.{key}", "fishless_cycling", message))
    return faults


def _weight_faults(file: SiteFile, there: list[Spell]) -> list[Fault]:
    """Cohorts that are fed by weight in one tank at one time must give the tank's one weight."""
    faults: dict[tuple[str, str], Fault] = {}
    by_weight = [spell for spell in there if isinstance(spell.ration, FixedRation)]
    by_weight.sort(key=lambda spell: (spell.first, spell.order))
    for number, later in enumerate(by_weight):
        for earlier in by_weight[:number]:
            if earlier.tank != later.tank or not earlier.meets(later):
                continue
            if earlier.ration.per_day != later.ration.per_day:
                faults.setdefault((later.table, later.field), _two_weights(earlier, later, file.site.units))
    return list(faults.values())


def _two_weights(earlier: Spell, later: Spell, units: str) -> Fault:
    one, other = (format_quantity(spell.ration.per_day, "weight", units) for spell in (earlier, later))
    if later.table.startswith("cohorts."):
        message = (
            f"is another weight than that of {earlier.cohort} in the same tank; per_day is for the whole tank, shared "
            "by appetite, so write the same in both."
        )
    else:
        message = (
            f"puts {later.cohort}, on {other} of feed a day, into tank {later.tank} beside {earlier.cohort}, on {one}; "
            "per_day is for the whole tank, shared by appetite, so give both the same weight by a ration event of this "
            "date or before it."
        )
        if later.field == "ration.per_day":
            message = (
                f"feeds {later.cohort} {other} a day, but {earlier.cohort} in the same tank {one}; per_day is for the "
                "whole tank, shared by appetite, so give both the same weight on one date."
            )
    return Fault(later.table, later.field, message)
