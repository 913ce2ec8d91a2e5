"""The fish of a site as columns: a cohort's stay in one tank on one feed by one rule, and what ends it.

A move, another feed or another rule begins a new column, so that everything about a column stays the same all season
and the days need no questions.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

from stocksim.site.cohorts import events_in_order, roots
from stocksim.site.fish_tables import (
    CohortTable,
    FeedEvent,
    GradeEvent,
    MoveEvent,
    RationEvent,
    RemovalEvent,
    StockEvent,
)
from stocksim.site.reading import Site


@dataclass(frozen=True)
class Stay:
    """One column: ``cohort`` with ``table`` as it is from day ``first`` on; ``root`` is the cohort of the file.

    ``before`` is the column its fish lived in until then, -1 where they came to the site.
    """

    cohort: str
    root: str
    table: CohortTable
    first: int
    count: float
    before: int = -1


class Happening(NamedTuple):
    """What happens on the morning of a day, from column ``source`` to column ``target`` (-1: none).

    ``kind`` is the event's, ``number`` its place in the file; the amount is one of the rest, NaN where not given.
    """

    day: int
    number: int
    kind: str
    source: int
    target: int
    fish: float = float("nan")
    weight_g: float = float("nan")
    share: float = float("nan")
    above_g: float = float("nan")
    which: str = "largest"


def build_stays(site: Site) -> tuple[list[Stay], list[Happening]]:
    """Columns of a site and what happens between them, in the order it happens.

    Parameters
    ----------
    site : Site
        A checked site.

    Returns
    -------
    tuple of list
        Stays, those of the file first in its order; happenings by day.
    """
    file, of_root = site.file, roots(site.file)
    start = file.season.start
    stays = [
        Stay(name, name, table, (table.stocked - start).days if table.stocked else 0, float(table.count))
        for name, table in file.cohorts.items()
    ]
    now = {stay.cohort: column for column, stay in enumerate(stays)}
    happenings: list[Happening] = []

    def begin(cohort: str, table: CohortTable, day: int, before: int) -> int:
        stays.append(Stay(cohort, of_root[cohort], table, day, 0.0, before))
        return len(stays) - 1

    def change(day: int, number: int, event: MoveEvent | FeedEvent | RationEvent) -> None:
        source = now[event.cohort]
        field = {"move": "tank"}.get(event.kind, event.kind)
        table = stays[source].table.model_copy(update={field: getattr(event, field)})
        now[event.cohort] = begin(event.cohort, table, day, source)
        happenings.append(Happening(day, number, event.kind, source, now[event.cohort]))

    def grade(day: int, number: int, event: GradeEvent) -> None:
        source = now[event.cohort]
        table = stays[source].table.model_copy(update={"tank": event.tank})
        now[event.into] = begin(event.into, table, day, source)
        happenings.append(
            Happening(
                day, number, "grade", source, now[event.into], above_g=_given(event.above),
                share=_given(event.largest_share),
            )
        )  # fmt: skip

    def take(day: int, number: int, event: RemovalEvent) -> None:
        which = event.which or ("largest" if event.kind == "harvest" else "any")
        share = 1.0 if event.all else _given(event.share)
        happenings.append(
            Happening(
                day, number, event.kind, now[event.cohort], -1, _given(event.count), _given(event.weight), share,
                _given(event.above), which,
            )
        )  # fmt: skip

    def stock(day: int, number: int, event: StockEvent) -> None:
        happenings.append(Happening(day, number, "stock", -1, now[event.cohort], float(event.count), event.mean_weight))

    act: dict[type, Callable[..., None]] = {
        MoveEvent: change, FeedEvent: change, RationEvent: change, GradeEvent: grade, RemovalEvent: take,
        StockEvent: stock,
    }  # fmt: skip
    for number, event in events_in_order(file):
        act[type(event)]((event.date - start).days, number, event)
    return stays, happenings


def _given(value: float | None) -> float:
    return float("nan") if value is None else float(value)


def last_days(stays: list[Stay], happenings: list[Happening], days: int) -> list[int]:
    """Day from which each column is empty because its fish went on to another; ``days`` where that never is."""
    ends = [days] * len(stays)
    for happening in happenings:
        if happening.kind in ("move", "feed", "ration"):
            ends[happening.source] = happening.day
    return ends
