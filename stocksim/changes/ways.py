"""Ways out of a season's trouble: sets of changes with which every limit holds with the keeper's reserve.

Each way is built change by change: the first limit that breaks is mended by the gentlest change of the kinds that the
way prefers, in the season as the changes before leave it, until nothing is broken; then what has become needless is
left out. Nothing is promised that the season with all of it did not show.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any, NamedTuple

import numpy as np

from stocksim.changes.change import (
    ADVICE_OF,
    Action,
    Change,
    counted,
    is_past,
    mends_when_run,
    prove,
    reserve_percent,
    spares_fish,
)
from stocksim.changes.effort import EFFORT, more_fish_kg, points
from stocksim.changes.fish import shop_powers, smaller_pump
from stocksim.changes.places import less_out
from stocksim.changes.search import (
    Deaths,
    Help,
    Progress,
    advised,
    deaths_in,
    is_off_band,
    name_of,
    newly_broken,
    prove_change,
    sources,
    unmended,
)
from stocksim.changes.steps import PREFERENCES, Step, cured, first_harmless, next_step
from stocksim.engine.results.findings import Finding
from stocksim.engine.results.frames import Season
from stocksim.engine.results.harm import harms
from stocksim.errors import InputError
from stocksim.site.kinds import LIMITS, Mending
from stocksim.site.reading import Site

_MOST_CHANGES, MOST_WAYS = 10, 3
LEAST_RESERVE = 0.005  # tried where nothing keeps the keeper's reserve
_MOST_SEASONS = 2500  # asked for all ways of a site, scenarios among them: then no further change is sought
_DEAREST = 2.5  # times the points of the first way, and one more: dearer ones are not told (assumed)
_WIDEST = 4.0  # a working range is followed up to so many times the quantity


@dataclass(frozen=True)
class Way:
    """A set of changes, in the order in which they were found.

    Parameters
    ----------
    kind : str
        Of `PREFERENCES`; ``earlier``: all fish are out before the season's end; ``unused``: tanks are filled in part.
    steps : tuple of Step
        The changes.
    fields : dict
        What all of them write into the site file.
    left : tuple of Finding
        Limits that are broken even so.
    near : tuple of Finding
        Limits that hold then, but with less than the reserve.
    deaths : Deaths
        Fish of the whole site that die of the water or of hunger, with the way and without.
    fish_kg, feed_kg : float
        Kilos of fish, harvested and left, and of feed, that the way has more than the season without. [kg]
    points : float
        What it asks of the keeper, as `points`.
    """

    kind: str
    steps: tuple[Step, ...]
    fields: dict[str, Any]
    left: tuple[Finding, ...]
    near: tuple[Finding, ...]
    deaths: Deaths
    fish_kg: float
    feed_kg: float
    points: float

    @property
    def holds(self) -> bool:
        """Whether every limit holds with it, and those that were broken with the reserve."""
        return not self.left and not self.near

    def by_date(self, start: dt.date) -> list[Step]:
        """Its steps in the order of the days on which they must be done; those without a date first."""
        return sorted(self.steps, key=lambda step: step.change.start or start)


@dataclass(frozen=True)
class Advice:
    """What is advised for a season.

    Parameters
    ----------
    findings : list of Finding
        The season's, with what helps where something was sought.
    ways : tuple of Way
        Up to three, the first first; empty where nothing is broken.
    seasons : int
        Seasons asked for in the search, scenarios among them; always the same for the same site.
    is_finished : bool
        Whether the search ended before its number of seasons did.
    must_change : bool
        Whether a broken limit harms fish; else the ways only keep cautions that they live with.
    """

    findings: list[Finding]
    ways: tuple[Way, ...]
    seasons: int
    is_finished: bool = True
    must_change: bool = False

    @property
    def saves_none(self) -> bool:
        """Whether fish die in the season and no way spares any of them."""
        if not self.ways:
            return False
        deaths = self.ways[0].deaths
        return deaths.before > 0.05 * deaths.fish and deaths.dying > deaths.before - 1.0


Enough = Callable[[Way], bool]


def find_changes(season: Season, progress: Progress | None = None) -> list[Finding]:
    """The season's findings with what helps, as `advise`."""
    return advise(season, progress).findings


def advise(season: Season, progress: Progress | None = None, is_enough: Enough = lambda way: False) -> Advice:
    """Ways out of a season's trouble, each proved by a run with all of it.

    Parameters
    ----------
    season : Season
        A season that was run.
    progress : callable, optional
        Called with (ways sought, ways to seek).
    is_enough : callable, optional
        Asked of each way: one that is ends the search where no fish is harmed, for nothing has to change there.

    Returns
    -------
    Advice
        The way that leaves least broken, then most alive, then asks least of the keeper stands first.
    """
    must_change = any(harms(season, finding) for finding in season.findings)
    enough = None if must_change else is_enough
    with counted() as asked:
        found: list[Way] = []
        if any(finding.is_broken for finding in season.findings):
            found = _ways(season, asked, progress, enough)
            if not any(way.holds for way in found):  # with hardly any reserve something may
                hasty = prove(season.site, {"advice.reserve": LEAST_RESERVE})
                for way in _ways(hasty, asked, None, enough):
                    after = prove(season.site, way.fields)
                    found += [replace(way, near=tuple(_near(season, after)))] * (not way.left)
        found.sort(key=_rank)
        ways = tuple(_with_ranges(season, way) for way in _unlike(found)[:MOST_WAYS])
        findings = [_helped(season, finding, ways) for finding in season.findings]
    return Advice(findings, ways, asked[0], asked[0] < _MOST_SEASONS, must_change)


def _ways(season: Season, asked: list[int], progress: Progress | None, is_enough: Enough | None) -> list[Way]:
    """A way of each preference, those that are the same once; up to the first that is enough."""
    found: list[Way] = []
    for number, kind in enumerate(PREFERENCES):
        way = _way(season, kind, asked)
        if way.steps and all(way.fields != other.fields for other in found):
            found.append(way)
        if progress is not None:
            progress(number + 1, len(PREFERENCES))
        if is_enough is not None and is_enough(way):
            break
    return found


def _rank(way: Way) -> tuple[float, ...]:
    """What is broken first, then the dead, then what comes near, then what it asks."""
    return len(way.left), round(way.deaths.dying), len(way.near), way.points, -way.fish_kg


def _unlike(ways: Sequence[Way]) -> list[Way]:
    """Ways without those that take the same kinds of changes in the same places as one before them, or ask far more."""
    kept: dict[tuple[tuple[str, str], ...], Way] = {}
    for way in ways:
        kept.setdefault(tuple(sorted(_place_of(step.change) for step in way.steps)), way)
    if not ways:
        return []
    first = ways[0]
    # one that leaves more broken, or asks far more, is no choice
    return [
        way
        for way in kept.values()
        if way is first or (len(way.left) == len(first.left) and way.points <= _DEAREST * first.points + 1.0)
    ]


def _place_of(change: Change) -> tuple[str, str]:
    at = change.amounts
    return str(change.kind), str(at.get("where") or at.get("tank") or at.get("loop") or at.get("cohort") or "")


class _Draft(NamedTuple):
    """A way in the making: its season so far, and per step the fields it writes and the events it adds."""

    season: Season
    steps: list[Step]
    added: list[list[dict[str, Any]]]


def _way(season: Season, kind: str, asked: list[int]) -> Way:
    """One way, change by change."""
    draft = _grown(season, _Draft(season, [], []), kind, asked, _broken)
    if _troubles(season, draft.season, draft.steps):
        draft = _resized(season, draft)
        draft = _grown(season, draft, kind, asked, partial(_troubles, season))
    needed = _pruned(season, draft)
    draft = _resized(season, needed) if len(draft.steps) > 1 else needed
    return way_of(season, kind, draft.steps, _fields(season.site, draft.steps, draft.added), draft.season)


def way_of(season: Season, kind: str, steps: Sequence[Step], fields: dict[str, Any], after: Season) -> Way:
    """A way of some steps, judged by the season with all that they write."""
    asks = points(season, after, [step.change for step in steps])
    more_kg, more_feed_kg = more_fish_kg(season, after), _fed_kg(after) - _fed_kg(season)
    left, near = tuple(_broken(after, steps)), tuple(_near(season, after))
    return Way(kind, tuple(steps), fields, left, near, deaths_in(after, season), more_kg, more_feed_kg, asks)


def _grown(
    season: Season,
    draft: _Draft,
    kind: str,
    asked: list[int],
    troubles: Callable[[Season, Sequence[Step]], list[Finding]],
) -> _Draft:
    """The draft with changes added until nothing that can be mended is in trouble."""
    now, steps, added = draft.season, list(draft.steps), list(draft.added)
    hopeless: set[tuple[str, str]] = set()
    while len(steps) < _MOST_CHANGES and asked[0] < _MOST_SEASONS:
        finding = next((f for f in troubles(now, steps) if (f.limit, f.where) not in hopeless), None)
        if finding is None:
            break
        found = next_step(now, finding, kind)
        if found is None:
            hopeless.add((finding.limit, finding.where))
            continue
        steps.append(found[0])
        added.append(_events_of(found[1].site)[len(_events_of(now.site)) :])
        now = found[1]
    return _Draft(now, steps, added)


def _resized(season: Season, draft: _Draft) -> _Draft:
    """Each change sought anew beside all the others: those after it may ask more of it, or less."""
    is_enough = not _troubles(season, draft.season, draft.steps)  # then only less of it is worth a search
    # where all is well, the last was sized beside all others
    for at in range(len(draft.steps) - is_enough):
        steps, added = list(draft.steps), list(draft.added)
        step = steps.pop(at)
        added.pop(at)
        try:
            base = prove(season.site, _fields(season.site, steps, added))
        except InputError:  # others stand on it, as a harvest of fish that it moved
            continue
        if is_enough and _is_least(season, base, step):
            continue
        asking = [f for f in _troubles(season, base, steps) if (f.limit, f.where) in step.cures]
        for finding in asking:
            own = [source for source in sources(base, finding) if name_of(source) == step.sought_by]
            found = first_harmless(base, finding, own)
            if found is None or _place_of(found[0].change) != _place_of(step.change):
                continue
            sized = found[0]._replace(cures=tuple(dict.fromkeys((*step.cures, *found[0].cures))))
            events = _events_of(found[1].site)[len(_events_of(base.site)) :]
            resized = _Draft(found[1], [*steps[:at], sized, *steps[at:]], [*added[:at], events, *added[at:]])
            if _merit(season, resized) < _merit(season, draft):
                draft = resized
            if {(f.limit, f.where) for f in asking} <= {*found[0].cures}:
                break  # sized for the most that is asked of it: less would leave this one
    return draft


def _is_least(season: Season, base: Season, step: Step) -> bool:
    """Whether no less of a change would do beside the others; tried for a harvest and for air, a move is whole."""
    if step.change.kind in (Action.MOVED, Action.GRADED):
        return True
    less = less_out(base, step.change) or smaller_pump(base, step.change)
    if less is None:
        return False
    finding = next((f for f in _troubles(season, base, []) if (f.limit, f.where) in step.cures), None)
    return finding is not None and not mends_when_run(base, finding, less)


def _merit(season: Season, draft: _Draft) -> tuple[float, ...]:
    """What speaks against a draft, the worst first."""
    now = draft.season
    broken = _broken(now, draft.steps)
    dying = round(deaths_in(now, season).dying)
    return len(broken), dying, len(_near(season, now)), points(season, now, [step.change for step in draft.steps])


def _troubles(season: Season, now: Season, steps: Sequence[Step]) -> list[Finding]:
    """What is broken, in the order of dates, then what the season broke and is nearer than the reserve."""
    return _broken(now, steps) + _near(season, now)


def _broken(season: Season, steps: Sequence[Step]) -> list[Finding]:
    """Limits that are broken with some steps, but for the days that the step which cures them cannot mend."""
    past = {place: step.change.past for step in steps for place in step.cures}
    return [f for f in season.findings if f.is_broken and not is_past(season, f, past.get((f.limit, f.where), ()))]


def _near(season: Season, now: Season) -> list[Finding]:
    """Limits that the season breaks and that hold now, but with less than the reserve."""
    broken = {(f.limit, f.where) for f in season.findings if f.is_broken}
    return [
        f
        for f in now.findings
        if (f.limit, f.where) in broken
        and f.margin_percent is not None
        and 0.0 <= f.margin_percent < reserve_percent(season.site, f.limit)
    ]


def _fed_kg(season: Season) -> float:
    return float(season.course.fed_g[0].sum()) / 1000.0


def _events_of(site: Site) -> list[dict[str, Any]]:
    return list(site.raw.get("events", []))


def _fields(site: Site, steps: Sequence[Step], added: Sequence[list[dict[str, Any]]]) -> dict[str, Any]:
    """What all steps write into the site file: the later one wins, and the events of each are added."""
    fields: dict[str, Any] = {}
    for step in steps:
        fields |= step.change.fields
    events = [event for one in added for event in one]
    if "events" in fields:
        fields["events"] = [*_events_of(site), *events]
    return fields


def holds(season: Season, after: Season) -> bool:
    """Whether what a season breaks holds with the reserve in another of the same site, and no more fish die."""
    broken = {(f.limit, f.where) for f in season.findings if f.is_broken}
    for finding in after.findings:
        if finding.margin_percent is None:
            continue
        least = reserve_percent(after.site, finding.limit) if (finding.limit, finding.where) in broken else 0.0
        if finding.margin_percent < least:
            return False
    return spares_fish(season, after)


def _pruned(season: Season, draft: _Draft) -> _Draft:
    """The draft without changes that those after them have made needless, the dearest left out first."""
    now, steps, added = draft
    least = {(f.limit, f.where) for f in _broken(now, steps)}
    order = sorted(range(len(steps)), key=lambda at: -EFFORT[ADVICE_OF[steps[at].change.kind]])
    for step in [steps[at] for at in order] if len(steps) > 1 else []:
        at = steps.index(step)
        fewer, fewer_added = steps[:at] + steps[at + 1 :], added[:at] + added[at + 1 :]
        try:
            after = prove(season.site, _fields(season.site, fewer, fewer_added))
        except InputError:  # others stand on it, as a harvest of fish that it moved
            continue
        broken = {(f.limit, f.where) for f in _broken(after, fewer)}
        worse = deaths_in(after, season).dying > deaths_in(now, season).dying + 0.5
        if broken <= least and not worse and _keeps_reserve(season, now, after) and len(fewer) > 0:
            now, steps, added = after, fewer, fewer_added
    cures = cured(season, now)
    told = [
        step._replace(cures=tuple(dict.fromkeys((*step.cures, *(cures if len(steps) == 1 else ()))))) for step in steps
    ]
    return _Draft(now, told, added)


def _keeps_reserve(season: Season, now: Season, after: Season) -> bool:
    """Whether every limit that the season breaks is as well kept as before, or with the reserve."""
    broken = {(f.limit, f.where) for f in season.findings if f.is_broken}
    before = {(f.limit, f.where): f.margin_percent for f in now.findings}
    for finding in after.findings:
        place = finding.limit, finding.where
        if place not in broken or finding.margin_percent is None:
            continue
        had = before.get(place)
        least = min(reserve_percent(season.site, finding.limit), np.inf if had is None else had)
        if finding.margin_percent < least:
            return False
    return True


# --- how much of a machine does: from the least that holds to the most


def _with_ranges(season: Season, way: Way) -> Way:
    """The way with the working range of each machine that it asks for."""
    base = prove(season.site, way.fields)
    steps = []
    for step in way.steps:
        amounts, fields = step.change.amounts, step.change.fields
        tried: list[tuple[float, Mapping[str, Any]]]
        if step.change.kind is Action.MORE_AIR:
            now = amounts["power_w"]
            field = f"tanks.{amounts['tank']}.oxygen_supply"
            tried = [
                (watts, {field: {"kind": "diffuser", "power": f"{watts:g} W"}})
                for watts in shop_powers(_WIDEST * now)
                if now < watts <= _WIDEST * now
            ]
        elif step.change.kind is Action.MORE_FLOW:
            now = amounts["flow_m3_day"]
            (field,) = fields
            tried = [
                (flow, {field: f"{flow:.6g} m3/day"}) for flow in (now * factor for factor in (1.25, 1.5, 2.0, 3.0))
            ]
        else:
            steps.append(step)
            continue
        steps.append(step._replace(working=(now, _most(season, base, way, now, tried))))
    return replace(way, steps=tuple(steps))


def _most(
    season: Season, base: Season, way: Way, now: float, tried: Sequence[tuple[float, Mapping[str, Any]]]
) -> float:
    """Most of a quantity with which a way breaks nothing that it holds, and keeps its reserve."""
    most = now
    for amount, fields in tried:
        after = prove(season.site, way.fields | dict(fields))
        if newly_broken(base, after) or not _keeps_reserve(season, base, after) or not spares_fish(base, after):
            break
        most = amount
    return most


# --- what each finding is told


def _helped(season: Season, finding: Finding, ways: Sequence[Way]) -> Finding:
    """A finding with the change of the first way that cures it, or why nothing does."""
    if is_off_band(finding) and LIMITS[finding.limit].mended_by is Mending.AREA:
        # outside the band on some days only, or forbidden: nothing to build for it
        is_sought = any(True for _, seek in sources(season, finding) for _ in seek())
        return advised(finding, prove_change(season, finding)) if is_sought else finding
    if not finding.is_broken:
        return finding
    place = finding.limit, finding.where
    for way in ways:
        if any((left.limit, left.where) == place for left in way.left):
            continue
        for step in way.steps:
            if place in step.cures:
                return advised(finding, Help(step.change, deaths=step.deaths, breaks=()))
        if way.steps:  # mended by all of them together
            return advised(finding, Help(way.steps[-1].change, deaths=way.deaths))
    return advised(finding, unmended(season, finding))
