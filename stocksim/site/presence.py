"""Where the fish of a site are and by which rule they are fed, as far as the file tells: deaths are not known yet."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

from stocksim.site.cohorts import events_in_order
from stocksim.site.fish_tables import GradeEvent, MoveEvent, RationEvent, RemovalEvent, StockEvent
from stocksim.site.model import SiteFile


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
        elif isinstance(event, RemovalEvent):
            now.fish = 0.0 if event.all else (now.fish - (event.count or 0)) * (1.0 - (event.share or 0.0))
        if now.fish <= 1e-9:
            end(event.cohort, before)
    for key in cohorts:
        end(key, file.season.end)
    return told
