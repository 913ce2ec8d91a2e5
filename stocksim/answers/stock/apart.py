"""Loops that share no fish: the ways that keep the fish of each sought by themselves, and put together.

Apart from `keep` for its length.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

from stocksim.changes.change import prove
from stocksim.changes.effort import more_fish_kg, points
from stocksim.changes.search import Progress, deaths_in
from stocksim.changes.ways import MOST_WAYS, Advice, Way, advise
from stocksim.engine.results.findings import Finding
from stocksim.engine.results.frames import Season, loop_of
from stocksim.engine.results.harm import harms
from stocksim.site.reading import Site


def groups(names: Sequence[str], ties: Sequence[Sequence[str]]) -> list[list[str]]:
    """Names in groups of which no tie reaches into another, in their order.

    Examples
    --------
    >>> groups(["a", "b", "c"], [("c", "a")])
    [['a', 'c'], ['b']]
    """
    of = {name: name for name in names}
    for tie in ties:
        for other in tie[1:]:
            one, two = of[tie[0]], of[other]
            of = {name: one if root == two else root for name, root in of.items()}
    found: dict[str, list[str]] = {}
    for name in names:
        found.setdefault(of[name], []).append(name)
    return list(found.values())


def fish_apart(site: Site) -> list[list[str]]:
    """Cohorts in groups of loops between which none is moved or graded; groups of loops without fish are left out."""
    file = site.file
    tanks: dict[str, list[str]] = {name: [table.tank] for name, table in file.cohorts.items()}
    for event in file.events:
        tank, into = getattr(event, "tank", None), getattr(event, "into", None)
        if tank is not None:
            tanks.setdefault(event.cohort, []).append(tank)
        if into is not None:  # what is graded out may be graded and moved on
            tanks.setdefault(into, []).extend(tanks[event.cohort])
            tanks[event.cohort] = tanks[into]
    loops = {name: [file.tanks[tank].loop for tank in several] for name, several in tanks.items()}
    together = groups(list(file.loops), [tie for tie in loops.values() if len(tie) > 1])
    found = [[name for name in file.cohorts if loops[name][0] in group] for group in together]
    return [cohorts for cohorts in found if cohorts]


def advise_apart(
    season: Season, best_first: Callable[[Site, Sequence[Way]], list[Way]], progress: Progress | None = None
) -> Advice | None:
    """Advice for the fish of each loop by itself, put together and proved by a season with all of it.

    Parameters
    ----------
    season : Season
        Of the whole site.
    best_first : callable
        Ways of a site in the order in which they are to be taken.
    progress : callable, optional
        As for `advise`, of each loop anew.

    Returns
    -------
    Advice or None
        None where all fish are in one loop, or loops are so tied that their own advice cannot be put together.
    """
    several = fish_apart(season.site)
    if len(several) < 2:
        return None
    alone = [_season_of(season.site, cohorts) for cohorts in several]
    if any(_is_elsewhere(one, finding) for one in alone for finding in one.findings if finding.is_broken):
        return None
    each = [advise(one, progress) for one in alone]
    ranked = [best_first(one.site, advice.ways) for one, advice in zip(alone, each, strict=True)]
    ways: list[Way] = []
    for rank in range(max(map(len, ranked))):
        parts = [own[min(rank, len(own) - 1)] if own else None for own in ranked]
        way = _joined(season, alone, parts)
        if way is None:
            return None
        if all(way.fields != other.fields for other in ways):
            ways.append(way)
    told = {_place(finding): finding for advice in each for finding in advice.findings}
    return Advice(
        [told.get(_place(finding), finding) for finding in season.findings],
        tuple(ways[:MOST_WAYS]),
        sum(advice.seasons for advice in each),
        all(advice.is_finished for advice in each),
        any(harms(season, finding) for finding in season.findings),
    )


def _season_of(site: Site, cohorts: Sequence[str]) -> Season:
    """Season with the fish of some cohorts only, in the water of all."""
    written = site.raw["cohorts"]
    names = set(cohorts)
    events = []
    for event in site.raw.get("events", []):
        if event["cohort"] in names:
            events.append(event)
            names |= {event["into"]} if "into" in event else set()
    fields: dict[str, Any] = {"cohorts": {name: written[name] for name in cohorts}, "events": events, "stocking": None}
    return prove(site, fields)


def _is_elsewhere(season: Season, finding: Finding) -> bool:
    """Whether a finding is of a loop in which the season has no fish."""
    tanks = {stay.table.tank for stay in season.layout.stays}
    return loop_of(season, finding) not in {season.site.file.tanks[tank].loop for tank in tanks}


def _place(finding: Finding) -> tuple[str, str, object]:
    return finding.limit, finding.where, finding.worst_date


def _joined(season: Season, alone: Sequence[Season], parts: Sequence[Way | None]) -> Way | None:
    """One way of those of several loops; None where they write into the same place."""
    fields: dict[str, Any] = {}
    added: list[Any] = []
    for one, way in zip(alone, parts, strict=True):
        if way is None:
            continue
        own = dict(way.fields)
        had = one.site.raw.get("events", [])
        events = own.pop("events", had)
        if events[: len(had)] != had or set(own) & set(fields):
            return None
        added += events[len(had) :]
        fields |= own
    if added:
        fields["events"] = [*season.site.raw.get("events", []), *added]
    used = [way for way in parts if way is not None]
    steps = tuple(step for way in used for step in way.steps)
    after = prove(season.site, fields)
    return replace(
        used[0],
        steps=steps,
        fields=fields,
        left=tuple(finding for way in used for finding in way.left),
        near=tuple(finding for way in used for finding in way.near),
        deaths=deaths_in(after, season),
        fish_kg=more_fish_kg(season, after),
        feed_kg=sum(way.feed_kg for way in used),
        points=points(season, after, [step.change for step in steps]),
    )
