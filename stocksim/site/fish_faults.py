"""Faults of cohorts, rations and events that only show when tables are read together."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from stocksim.errors import Fault
from stocksim.library.sources import Entry
from stocksim.site.cohorts import events_in_order
from stocksim.site.fish_tables import (
    GradeEvent,
    MoveEvent,
    RationEvent,
    RemovalEvent,
    StockEvent,
    TableRation,
)
from stocksim.site.model import SiteFile
from stocksim.site.names import known_name, name_fault, within_season

_AMOUNTS = ("count", "weight", "share", "above", "all")


@dataclass
class _Known:
    """What the events so far leave of a cohort: when it came, and the most fish there may be."""

    since: dt.date
    most: float
    emptied: dt.date | None = None


def fish_faults(file: SiteFile, species: Mapping[str, Entry]) -> list[Fault]:
    """Faults of cohorts and events.

    Parameters
    ----------
    file : SiteFile
        Tables that are sound one by one.
    species : mapping of str to Entry
        The species they name, where found.

    Returns
    -------
    list of Fault
        Dangling names, dates outside the season, tables with a hole, events before their fish, more fish taken than
        there are.
    """
    faults = []
    for key, cohort in file.cohorts.items():
        place = f"cohorts.{key}"
        faults += known_name(place, "tank", cohort.tank, file.tanks)
        if cohort.stocked is not None:
            faults += within_season(place, "stocked", cohort.stocked, file)
        faults += _ration_faults(place, "ration", cohort.ration)
        entry = species.get(cohort.species)
        if cohort.sex != "mixed" and entry is not None and f"appetite_{cohort.sex}" not in entry.values:
            message = f'"{cohort.sex}" makes no difference that is known for {cohort.species}; leave sex out.'
            faults.append(Fault(place, "sex", message))
        if cohort.trained and not cohort.wild:
            faults.append(Fault(place, "trained", "belongs to wild fish; take it out, or write wild = true too."))
    return faults + _event_faults(file)


def _ration_faults(place: str, name: str, ration: Any) -> list[Fault]:
    if not isinstance(ration, TableRation):
        return []
    faults = []
    rows, columns = len(ration.temperatures), len(ration.weights)
    for what in ("temperatures", "weights"):
        values = getattr(ration, what)
        if any(later <= earlier for earlier, later in pairwise(values)):
            faults.append(Fault(place, f"{name}.{what}", "must rise from entry to entry; put them in order."))
    if len(ration.percent) != rows:
        message = f"has {len(ration.percent)} rows for {rows} temperatures; give one row for each temperature."
        faults.append(Fault(place, f"{name}.percent", message))
    for number, row in enumerate(ration.percent, 1):
        if len(row) != columns:
            message = f"has {len(row)} entries for {columns} weights; a table may have no hole, so give one for each."
            faults.append(Fault(place, f"{name}.percent[{number}]", message))
    return faults


def _event_faults(file: SiteFile) -> list[Fault]:
    faults: list[Fault] = []
    known = {
        key: _Known(cohort.stocked or file.season.start, float(cohort.count)) for key, cohort in file.cohorts.items()
    }
    for number, event in events_in_order(file):
        place = f"events[{number}]"
        outside = within_season(place, "date", event.date, file)
        faults += outside
        if isinstance(event, (MoveEvent, GradeEvent)):
            faults += known_name(place, "tank", event.tank, file.tanks)
        if isinstance(event, RationEvent):
            faults += _ration_faults(place, "ration", event.ration)
        unknown = known_name(place, "cohort", event.cohort, known)
        faults += unknown
        if unknown:
            continue
        fish = known[event.cohort]
        if outside:
            continue  # one sentence for one date
        if event.date < fish.since:
            message = f"{event.date} is before {event.cohort} is there, from {fish.since}; give a later day."
            faults.append(Fault(place, "date", message))
            continue
        if fish.emptied is not None and not isinstance(event, StockEvent):
            message = f"no fish of {event.cohort} are left after {fish.emptied}; take this event out or move its date."
            faults.append(Fault(place, "cohort", message))
            continue
        if isinstance(event, StockEvent):
            fish.most, fish.emptied = fish.most + event.count, None
        elif isinstance(event, GradeEvent):
            faults += _grade_faults(place, event, fish, known)
        elif isinstance(event, RemovalEvent):
            faults += _removal_faults(place, event, fish)
    return faults


def _grade_faults(place: str, event: GradeEvent, fish: _Known, known: dict[str, _Known]) -> list[Fault]:
    if wrong := name_fault(event.into):
        return [Fault(place, "into", wrong)]
    if event.into in known:
        return [Fault(place, "into", f'"{event.into}" is a cohort already; write a new name for the larger fish.')]
    if (event.above is None) == (event.largest_share is None):
        known[event.into] = _Known(event.date, fish.most)  # later events on it are no fault of their own
        return [Fault(place, "above", "give either above, a weight, or largest_share, a number from 0 to 1.")]
    if event.largest_share is None:
        known[event.into] = _Known(event.date, fish.most)
    else:
        known[event.into] = _Known(event.date, fish.most * event.largest_share)
        fish.most *= 1.0 - event.largest_share
    return []


def _removal_faults(place: str, event: RemovalEvent, fish: _Known) -> list[Fault]:
    given = [name for name in _AMOUNTS if getattr(event, name) not in (None, False)]
    if len(given) != 1:
        met = f"has {' and '.join(given)}" if given else "has no amount"
        return [Fault(place, "count", f"{met}; give one of count, weight, share, above or all = true.")]
    if event.above is not None and event.which is not None:
        return [Fault(place, "which", "does not go with above, which says itself which fish; take one of them out.")]
    if event.count is not None:
        if event.count > fish.most + 1e-9:
            message = (
                f"{event.count} fish are more than the {fish.most:.0f} that {event.cohort} has left at most; give "
                "fewer, or all = true."
            )
            return [Fault(place, "count", message)]
        fish.most -= event.count
    elif event.share is not None:
        fish.most *= 1.0 - event.share
    elif event.all:
        fish.most, fish.emptied = 0.0, event.date
    return []
