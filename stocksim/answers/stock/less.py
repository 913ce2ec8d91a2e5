"""What a site with less would be advised, for the site that has more: more may stay unused.

A season may end earlier, for fish can be taken out; a tank may be counted smaller, nothing be bought, and more be held
in reserve. Each is tried only where the plan gives fish up, for else nothing can be better by more than the gap.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.changes.change import ADVICE_OF, counted, prove
from stocksim.changes.effort import fish_kg
from stocksim.changes.places import all_out
from stocksim.changes.search import Progress, deaths_in
from stocksim.changes.steps import Step
from stocksim.changes.ways import MOST_WAYS, Advice, Way, advise, way_of
from stocksim.engine.results.deaths import ledger
from stocksim.engine.results.frames import Season
from stocksim.engine.results.harm import harms
from stocksim.errors import InputError
from stocksim.site.reading import Site

FloatArray = NDArray[np.float64]

GAP = 0.02  # of fish or kilos: what gives less than this more is no reason for another plan (assumed: fish go whole)
EARLIER = "earlier"  # the kind of way that ends before the season does
# kinds of advice that give fish or their growth up, and those that buy or build something
_GIVING, _BOUGHT = frozenset({"harvest", "stock", "feed"}), ("air", "flow", "biofilter", "water", "heat")
# how many times smaller each tank is counted, how much more is held in reserve, and at which shares of the season it is
# ended: few, for each is a search of its own (assumed)
_SMALLER, _STRICTER, _ENDS = (1.5, 2.25), 2.0, (0.75, 0.5)


class Given(NamedTuple):
    """What a season gives by the goal: limits that harm fish, fish harvested or alive at the end, kilos of fish."""

    harms: int
    fish: float
    kg: float


def given(season: Season) -> Given:
    """What a season gives."""
    harming = sum(harms(season, finding) for finding in season.findings)
    book = ledger(season.layout, season.course)
    fish = sum(entries["harvested"][0] + entries["at_end"][0] for entries in book.values())
    return Given(harming, fish, fish_kg(season))


def best_first(site: Site, ways: Sequence[Way]) -> list[Way]:
    """Ways in the order in which they are to be taken.

    Parameters
    ----------
    site : Site
        As the file has it.
    ways : sequence of Way
        Of it.

    Returns
    -------
    list of Way
        First those that leave fewest limits broken that harm fish, an earlier end before others, for it is found only
        where it is clearly better; then those that keep most fish, and of these most kilos, but for the gap; then the
        one that leaves least broken at all, then most fish, then the one that asks least.
    """
    reached = {id(way): given(prove(site, way.fields)) for way in ways}

    def falls_short(way: Way) -> tuple[bool, bool]:
        mine = reached[id(way)]
        peers = [other for other in reached.values() if other.harms == mine.harms]
        keeping = [other for other in peers if other.fish >= (1.0 - GAP) * max(peer.fish for peer in peers)]
        return mine not in keeping, mine.kg < (1.0 - GAP) * max(other.kg for other in keeping)

    def rank(way: Way) -> tuple[float, ...]:
        mine = reached[id(way)]
        # whole fish, so that a hair of a fish's chance of dying decides nothing
        return mine.harms, way.kind != EARLIER, *falls_short(way), len(way.left), -round(mine.fish), way.points

    return sorted(ways, key=rank)


def advise_more(season: Season, progress: Progress | None = None) -> Advice:
    """Advice of a season, and what the same site with less would be advised where fish are given up.

    Parameters
    ----------
    season : Season
        A season that was run.
    progress : callable, optional
        As for `advise`.

    Returns
    -------
    Advice
        Its ways are those of `advise`, and others before them that keep more, each proved by a season of this site.
    """
    advice = advise(season, progress)
    if not advice.must_change or not _gives_up(season, advice.ways):
        return advice
    with counted() as asked:
        ways = list(advice.ways)
        for fields in _with_less(season, ways):
            ways += _borrowed(season, fields, ways)
            if not _gives_up(season, ways):
                break
        else:
            ways += earlier(season, ways)
    best = best_first(season.site, ways)[:1]
    others = [way for way in advice.ways if all(way.fields != chosen.fields for chosen in best)]
    return replace(advice, ways=(*best, *others)[:MOST_WAYS], seasons=advice.seasons + asked[0])


def _gives_up(season: Season, ways: Sequence[Way]) -> bool:
    """Whether the best way leaves harm, or takes, sells, starves or loses fish, by more than the gap."""
    if not ways:
        return True
    best = best_first(season.site, ways)[0]
    gives = any(ADVICE_OF[step.change.kind] in _GIVING for step in best.steps)
    return gives or best.deaths.dying > GAP * best.deaths.fish or given(prove(season.site, best.fields)).harms > 0


def _with_less(season: Season, ways: Sequence[Way]) -> Iterator[dict[str, Any]]:
    """Fields of sites that have less of one thing."""
    file = season.site.file
    for share in _ENDS:
        yield {"season.end": season.dates[int(share * len(season.dates))]}
    yield {"advice.reserve": _STRICTER * file.advice.reserve}
    used = {ADVICE_OF[step.change.kind] for way in ways for step in way.steps}
    for kind in _BOUGHT:
        if kind in used:
            yield {"advice.never": [*file.advice.never, kind]}
    for times in _SMALLER:
        yield {f"tanks.{name}.volume": f"{1000.0 * tank.volume / times:.6g} L" for name, tank in file.tanks.items()}


def _borrowed(season: Season, fields: dict[str, Any], known: Sequence[Way]) -> list[Way]:
    """Ways of a site with less that are new, as this site has them."""
    try:
        less = prove(season.site, fields)
    except InputError:  # as a tank too small for its flow
        return []
    found = []
    for way in advise(less).ways:
        if any(way.fields == other.fields for other in known):
            continue
        try:
            after = prove(season.site, way.fields)
        except InputError:
            continue
        found.append(way_of(season, way.kind, way.steps, way.fields, after))
    return found


# --- a season that ends earlier: all fish are out on a day


def earlier(season: Season, ways: Sequence[Way]) -> list[Way]:
    """The way of an earlier end that gives most kilos, where that is clearly more than any way to the season's end."""
    site = season.site
    best = best_first(site, ways)[0] if ways else None
    reached = given(prove(site, best.fields) if best else season)
    ends = [end for steps, fields in _begun(site, ways) if (end := _last_harmless(season, steps, fields)) is not None]
    if not ends:
        return []
    way = max(ends, key=lambda end: end.fish_kg)
    ended = given(prove(site, way.fields))
    is_better = ended.harms < reached.harms or ended.kg > (1.0 + GAP) * reached.kg
    return [way] if is_better else []


def _begun(site: Site, ways: Sequence[Way]) -> Iterator[tuple[tuple[Step, ...], dict[str, Any]]]:
    """Nothing done, each way, and the first way with fewer and fewer of its steps: the last mend what comes last."""
    had = site.raw.get("events", [])
    known: list[dict[str, Any]] = []
    begun = [way.steps for way in ways] + [ways[0].steps[:n] for n in range(len(ways[0].steps) if ways else 0)]
    for steps in [(), *begun]:
        fields: dict[str, Any] = {}
        for step in steps:
            fields |= step.change.fields
        events = [event for step in steps for event in step.change.fields.get("events", had)[-1:] if event not in had]
        if events:
            fields["events"] = [*had, *events]
        if fields not in known:
            known.append(fields)
            yield steps, fields


def _last_harmless(season: Season, steps: Sequence[Step], fields: dict[str, Any]) -> Way | None:
    """The way that begins by some steps and ends before fish are harmed, on the day that gives most kilos.

    None where harm comes at once, and where fish come to the season's end.
    """
    try:
        begun = prove(season.site, fields)
    except InputError:
        return None
    layout = begun.layout
    comes = layout.stocked_day[(layout.count > 0.0) & (layout.stocked_day < layout.days)]
    first, last, best = int(comes.max(initial=0)) + 1, layout.days - 1, None
    start = first
    while first <= last:  # the earlier the fish go, the less of harm they meet
        day = (first + last) // 2
        way = _ended(season, begun, steps, day)
        if way is not None and not any(harms(prove(season.site, way.fields), finding) for finding in way.left):
            best, first = (day, way), day + 1
        else:
            last = day - 1
    if best is None:
        return None
    heaviest = start + int(np.argmax(_kilos_by_morning(begun)[start : best[0] + 1]))
    return best[1] if heaviest == best[0] else _ended(season, begun, steps, heaviest)


def _kilos_by_morning(season: Season) -> FloatArray:
    """Kilos of fish taken out before each day, and alive on its morning. [kg]"""
    course, days = season.course, season.layout.days
    taken = np.zeros(days + 1)
    for transfer in course.transfers:
        if transfer.happening.target < 0 <= transfer.happening.source:
            taken[transfer.happening.day + 1 :] += float(transfer.mass_g[0])
    alive = (course.count[0] * course.weight_g[0]).sum(axis=1)
    return np.asarray((taken[:days] + np.concatenate([[0.0], alive[:-1]])) / 1000.0)


def _ended(season: Season, begun: Season, steps: Sequence[Step], day: int) -> Way | None:
    """The way of some steps that ends on a day, with all fish out; what would come later is left out."""
    date, site = season.dates[day], begun.site
    out = all_out(begun, day)
    dated = zip(site.raw.get("events", []), site.file.events, strict=True)
    events = [raw for raw, event in dated if event.date < date] + [change.fields["events"][-1] for change in out]
    kept = [step for step in steps if step.change.start is None or step.change.start < date]
    fields = {key: value for step in kept for key, value in step.change.fields.items()} | {"events": events}
    try:
        after = prove(season.site, fields)
    except InputError:
        return None
    still = {(f.limit, f.where) for f in after.findings if f.is_broken}
    cures = tuple((f.limit, f.where) for f in begun.findings if f.is_broken and (f.limit, f.where) not in still)
    taken = [Step(change, cures, deaths_in(after, season)) for change in out]
    return way_of(season, EARLIER, [*kept, *taken], fields, after)
