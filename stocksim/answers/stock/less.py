"""What a site with less would be advised, for the site that has more: more may stay unused.

A season may end earlier, for fish can be taken out; tanks may be filled in part, nothing be bought, and more be held
in reserve. Each is tried where the plan gives fish up; that tanks are filled in part, everywhere.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.changes.change import ADVICE_OF, Action, Change, counted, prove
from stocksim.changes.effort import fish_kg
from stocksim.changes.places import all_out
from stocksim.changes.search import Progress, deaths_in, newly_broken
from stocksim.changes.ways import MOST_WAYS, Advice, Step, Way, advise, way_of
from stocksim.engine.results.deaths import ledger
from stocksim.engine.results.frames import Season
from stocksim.engine.results.harm import harms
from stocksim.errors import InputError
from stocksim.site.reading import Site

FloatArray = NDArray[np.float64]

GAP = 0.02  # of fish or kilos: what gives less than this more is no reason for another plan (assumed: fish go whole)
# the kinds of way that end before the season does, and that leave part of the tanks unused and change nothing else
EARLIER, UNUSED = "earlier", "unused"
# kinds of advice that give fish or their growth up, and those that buy or build something
_GIVING, _BOUGHT = frozenset({"harvest", "stock", "feed"}), ("air", "flow", "biofilter", "water", "heat")
# how much more is held in reserve, and at which shares of the season it is ended: few, for each is a search of its own
# (assumed)
_STRICTER, _ENDS = 2.0, (0.75, 0.5)
# Water of all tanks that they are filled to together, powers of it in m3: the same for every site, so that what smaller
# tanks are advised larger ones are too. The next few that are less than the tanks hold; a season of each, and of one in
# so many a search (assumed).
_RUNG, _RUNGS, _SEARCHED = 1.1, 12, 4


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
        Where nothing has to change, one of kind `UNUSED` stands last if it gives clearly more kilos.
    """
    own = given(season).fish

    def keeps(way: Way) -> bool:
        return way.holds and given(prove(season.site, way.fields)).fish >= (1.0 - GAP) * own

    advice = advise(season, progress, keeps)
    if advice.must_change and not _gives_up(season, advice.ways):
        return advice
    with counted() as asked:
        ways = list(advice.ways)
        if not advice.must_change:
            ways += unused(season)
            return replace(advice, ways=tuple(ways), seasons=advice.seasons + asked[0])
        for fields, steps in _with_less(season, ways):
            ways += _borrowed(season, fields, steps, ways)
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


_Steps = tuple[Step, ...]


def _with_less(season: Season, ways: Sequence[Way]) -> Iterator[tuple[dict[str, Any], _Steps]]:
    """Fields of sites that have less of one thing, with the steps that leave it unused here where that takes any."""
    file = season.site.file
    for share in _ENDS:
        yield {"season.end": season.dates[int(share * len(season.dates))]}, ()
    yield {"advice.reserve": _STRICTER * file.advice.reserve}, ()
    used = {ADVICE_OF[step.change.kind] for way in ways for step in way.steps}
    for kind in _BOUGHT:
        if kind in used:
            yield {"advice.never": [*file.advice.never, kind]}, ()
    for steps in _part_filled(season, _SEARCHED):
        yield _fields_of(steps), steps


def _borrowed(season: Season, fields: dict[str, Any], unused: _Steps, known: Sequence[Way]) -> list[Way]:
    """Ways of a site with less that are new, as this site has them: with all that it has, and with that unused."""
    try:
        less = prove(season.site, fields)
    except InputError:  # as a tank too small for its flow
        return []
    ways = [(way.kind, way.steps, way.fields) for way in advise(less).ways]
    if unused:
        ways += [(kind, (*unused, *steps), {**fields, **own}) for kind, steps, own in ways]
        ways.append((UNUSED, unused, fields))
    found: list[Way] = []
    for kind, steps, own in ways:
        if any(own == other.fields for other in (*known, *found)):
            continue
        try:
            after = prove(season.site, own)
        except InputError:
            continue
        found.append(way_of(season, kind, steps, own, after))
    return found


# --- tanks filled in part: the rest of them stays unused


def unused(season: Season) -> list[Way]:
    """The way of tanks filled in part that gives most kilos, where that is clearly more, and no fish is lost for it."""
    own, best = given(season), list[Way]()
    for steps in _part_filled(season):
        fields = _fields_of(steps)
        try:
            after = prove(season.site, fields)
        except InputError:
            continue
        reached = given(after)
        is_more = reached.kg > (1.0 + GAP) * own.kg and reached.fish >= (1.0 - GAP) * own.fish
        if not is_more or reached.harms > own.harms or newly_broken(season, after):
            continue
        way = way_of(season, UNUSED, steps, fields, after)
        best = [max([*best, way], key=lambda one: one.fish_kg)]
    return best


def _part_filled(season: Season, every: int = 1) -> Iterator[_Steps]:
    """A step for each tank that holds fish, all to the same share; nothing where the keeper will have none of it."""
    file = season.site.file
    if "fill" in file.advice.never:
        return
    tanks = {
        name: file.tanks[name].volume for name in file.tanks if name in {s.table.tank for s in season.layout.stays}
    }
    whole = sum(tanks.values())
    largest = math.ceil(math.log(whole) / math.log(_RUNG)) - 1 if tanks else 0
    for power in range(largest - largest % every, largest - _RUNGS, -every) if tanks else ():
        share = _RUNG**power / whole
        yield tuple(_filled_to(season, name, share * volume, volume) for name, volume in tanks.items())


def _filled_to(season: Season, tank: str, volume_m3: float, now_m3: float) -> Step:
    amounts = {"tank": tank, "volume_m3": volume_m3, "now_m3": now_m3}
    change = Change(Action.PART_FILLED, {f"tanks.{tank}.volume": f"{1000.0 * volume_m3:.6g} L"}, amounts)
    return Step(change, (), deaths_in(season, season))


def _fields_of(steps: _Steps) -> dict[str, Any]:
    return {key: value for step in steps for key, value in step.change.fields.items()}


# --- a season that ends earlier: all fish are out on a day


def earlier(season: Season, ways: Sequence[Way]) -> list[Way]:
    """The way of an earlier end that gives most kilos, where that is clearly more than any way to the season's end."""
    site = season.site
    best = best_first(site, ways)[0] if ways else None
    reached = given(prove(site, best.fields) if best else season)
    way: Way | None = None
    for steps, fields in _begun(site, ways):
        try:
            begun = prove(site, fields)
        except InputError:
            continue
        # whatever the day, no more comes of it than the fish weigh on their best one
        if way is None or float(_kilos_by_morning(begun).max()) - fish_kg(season) > way.fish_kg:
            end = _last_harmless(season, begun, steps)
            way = end if way is None or (end is not None and end.fish_kg > way.fish_kg) else way
    if way is None:
        return []
    ended = given(prove(site, way.fields))
    is_better = ended.harms < reached.harms or ended.kg > (1.0 + GAP) * reached.kg
    return [way] if is_better else []


def _begun(site: Site, ways: Sequence[Way]) -> Iterator[tuple[tuple[Step, ...], dict[str, Any]]]:
    """Nothing done, each way, and each with fewer and fewer of its steps: the last mend what comes last."""
    had = site.raw.get("events", [])
    known: list[dict[str, Any]] = []
    begun = [way.steps for way in ways] + [way.steps[:n] for way in ways for n in range(len(way.steps))]
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


def _last_harmless(season: Season, begun: Season, steps: Sequence[Step]) -> Way | None:
    """The way that begins by some steps and ends before fish are harmed, on the day that gives most kilos.

    None where harm comes at once, and where fish come to the season's end.
    """
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
