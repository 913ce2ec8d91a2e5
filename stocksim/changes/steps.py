"""The next change of a way: of the sources of a limit's changes the one that asks least and harms nothing.

Apart from `ways`, which puts changes together.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from stocksim.changes.change import ADVICE_OF, Change, count, counted, mends, once, prove
from stocksim.changes.effort import EFFORT, points
from stocksim.changes.search import Deaths, Source, deaths_in, name_of, newly_broken, sources
from stocksim.engine.results.findings import Finding
from stocksim.engine.results.frames import Season, loop_of
from stocksim.errors import InputError
from stocksim.memo import Memo

# Kinds of advice that a way takes before others; the gentlest way takes them as they come.
PREFERENCES: dict[str, tuple[str, ...]] = {
    "gentlest": (),
    "harvest": ("harvest", "move", "stock"),
    "equipment": ("air", "flow", "salt", "base", "solids", "vents", "shade", "biofilter"),
    "feed less": ("hours", "feed"),
}
# what is not sought where the other is found: fish that never come weigh less at the end than those taken out later
_OUTDONE_BY = {"stock": "harvest"}
_CLEARLY_PERCENT = 10.0  # of a limit (assumed)
_SAME_POINTS = 0.02  # what lies nearer together asks the same
_MOST_TRIED = 10
_MOST_DIE_SHARE = 0.5  # of a loop's fish: a change that leaves so many dying is taken only where no other is found
_SPARED_FISH, _SPARED_SHARE = 1.0, 0.02  # fewer deaths than that are no reason for more of the same (assumed)


class Step(NamedTuple):
    """A change of a way in its place.

    Parameters
    ----------
    change : Change
        What is done.
    cures : tuple of (str, str)
        Limits and places that were broken without it, after the changes before, and hold with it.
    deaths : Deaths
        Of the loop concerned, with it and without.
    breaks : tuple of (str, str)
        Limits and places that the next changes must mend for it.
    working : tuple of (float, float) or None
        Least and most of its quantity with which the way still holds, of air in W and of flow in m3/day; None for
        others.
    sought_by : str
        Name of the source that found it, as `name_of` gives it.
    """

    change: Change
    cures: tuple[tuple[str, str], ...]
    deaths: Deaths
    breaks: tuple[tuple[str, str], ...] = ()
    working: tuple[float, float] | None = None
    sought_by: str = ""


def next_step(now: Season, finding: Finding, kind: str) -> tuple[Step, Season] | None:
    """The first change that mends a finding and breaks nothing else, of the kinds that a way prefers before others.

    One that breaks something else is taken where no other of these kinds is found: later changes may mend that.
    """
    preferred = PREFERENCES[kind]
    groups: tuple[list[Source], list[Source]] = ([], [])
    for source in sources(now, finding):
        groups[source[0] not in preferred].append(source)
    for group in groups:
        found = first_harmless(now, finding, group)
        if found is not None:
            return found
    return None


def first_harmless(now: Season, finding: Finding, group: Sequence[Source]) -> tuple[Step, Season] | None:
    """As `_least_harmful`, sought once for equal sites: the ways of a site begin alike, and come back to each other."""

    def seek() -> tuple[tuple[Step, Season] | None, int]:
        with counted() as asked:
            return _least_harmful(now, finding, group), asked[0]

    found, seasons = once(_found, seek, now.site, finding.limit, finding.where, [name_of(source) for source in group])
    count(seasons)
    return found


_found: Memo[tuple[tuple[Step, Season] | None, int]] = Memo(128)  # with the seasons that it asked for


def _least_harmful(now: Season, finding: Finding, group: Sequence[Source]) -> tuple[Step, Season] | None:
    """Of the first harmless change of each source the one that asks least; without any, the least harmful."""
    best: tuple[float, Step, Season] | None = None
    harmful: tuple[Step, Season] | None = None
    for source in sorted(group, key=lambda source: EFFORT[source[0]]):
        kind, seek = source
        if best is not None and best[0] <= EFFORT[kind] + _SAME_POINTS:
            break  # no later one can ask less
        if best is not None and _OUTDONE_BY.get(kind) == ADVICE_OF[best[1].change.kind]:
            continue
        found: tuple[float, Step, Season] | None = None
        for tried, change in enumerate(seek()):
            if change.breaks_at_once and best is not None:
                break
            try:
                after = prove(now.site, change.fields)
            except InputError:  # it cannot be written so, as heating that kills another fish of the loop
                continue
            if not mends(now, after, finding, change):
                continue
            deaths, breaks = deaths_in(after, now, loop_of(now, finding)), newly_broken(now, after) + _worse(now, after)
            cures = cured(now, after)
            if change.past:  # on the day of the test itself they stay broken
                mended = [f for f in now.findings if f.is_broken and mends(now, after, f, change)]
                cures = tuple(dict.fromkeys((*((f.limit, f.where) for f in mended), *cures)))
            step = Step(change, cures, deaths, breaks, sought_by=name_of(source))
            if not breaks and deaths.dying <= _MOST_DIE_SHARE * deaths.fish:
                spared = max(_SPARED_FISH, _SPARED_SHARE * deaths.fish)
                if found is None or deaths.dying < found[1].deaths.dying - spared:
                    found = points(now, after, [change]), step, after
                if not deaths.is_told:  # else one of its kind that spares more is sought
                    break
            elif harmful is None or (len(breaks), deaths.dying) < (len(harmful[0].breaks), harmful[0].deaths.dying):
                harmful = step, after
            if tried >= _MOST_TRIED:
                break
        if found is not None and (best is None or found[0] < best[0] - _SAME_POINTS):
            best = found
    return best[1:] if best is not None else harmful


def _worse(now: Season, after: Season) -> tuple[tuple[str, str], ...]:
    """Limits and places that are broken without a change and clearly further with it."""
    before = {(f.limit, f.where): f for f in now.findings if f.is_broken}
    return tuple(
        (f.limit, f.where)
        for f in after.findings
        if f.is_broken
        and (had := before.get((f.limit, f.where))) is not None
        and (f.margin_percent or 0.0) < (had.margin_percent or 0.0) - _CLEARLY_PERCENT
        and f.days_broken >= had.days_broken
    )


def cured(now: Season, after: Season) -> tuple[tuple[str, str], ...]:
    still = {(f.limit, f.where) for f in after.findings if f.is_broken}
    return tuple((f.limit, f.where) for f in now.findings if f.is_broken and (f.limit, f.where) not in still)
