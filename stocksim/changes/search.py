"""For every broken limit the smallest change that mends it, proved by running the season with it."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace

from stocksim.changes.change import Lever, loop_of, mends, season_with
from stocksim.changes.fish import (
    fewer_fish,
    less_feed,
    more_air,
    other_area,
    other_temperature,
    ratio_in_band,
)
from stocksim.changes.water import (
    held_feed,
    is_early,
    less_dosed_ammonia,
    measured_on,
    more_buffer,
    more_chloride,
    more_film,
    new_film,
    softer_water,
    starts_young,
    water_changes,
)
from stocksim.engine.results.deaths import deaths_of_water_or_hunger
from stocksim.engine.results.findings import Finding
from stocksim.engine.results.frames import Season
from stocksim.errors import InputError
from stocksim.site.kinds import LIMITS, Mending

Progress = Callable[[int, int], None]
_YOUNG_WORDS = "; its film is young: stock fish later, or feed by `stocksim ramp`"
_STILL_DYING_SHARE = 0.05  # of the fish: from here on a lever says how many it leaves dying (assumed)
_MOST_DIE_SHARE = 0.5  # a lever that leaves so many dying is told only if no other is found (assumed)


def find_levers(season: Season, progress: Progress | None = None) -> list[Finding]:
    """The season's findings, each broken limit with a lever proved by a run.

    Parameters
    ----------
    season : Season
        A season that was run.
    progress : callable, optional
        Called with (limits done, limits in all).

    Returns
    -------
    list of Finding
        In the order of ``season.findings``. A lever that breaks another limit says so; where no lever was found the
        sentence says that. Ammonia, nitrite and biofilter of a loop get the same lever where one mends them all.
    """
    found = season.findings
    wanted = [finding for finding in found if finding.is_broken or _is_off_band(finding)]
    with_levers = {}
    used: dict[tuple[str, bool], list[Lever]] = {}
    for number, finding in enumerate(wanted):
        known: list[Lever] = []
        if LIMITS[finding.limit].is_of_loop_water:
            known = used.setdefault((loop_of(season, finding), is_early(season, finding)), known)
        lever, words = prove_lever(season, finding, known)
        if lever is not None and lever not in known:
            known.append(lever)
        with_levers[id(finding)] = replace(finding, lever=words)
        if progress is not None:
            progress(number + 1, len(wanted))
    return [with_levers.get(id(finding), finding) for finding in found]


def _is_off_band(finding: Finding) -> bool:
    return LIMITS[finding.limit].is_advisory and finding.days_broken > 0


def prove_lever(season: Season, finding: Finding, known: Sequence[Lever] = ()) -> tuple[Lever | None, str]:
    """First lever that a run proves to mend a finding, those known to mend another tried first; and the words.

    One that leaves most of the fish dying of something else waits for a better one.
    """
    poor: tuple[Lever, str] | None = None
    for lever in itertools.chain(known, _candidates(season, finding)):
        try:
            after = season_with(season.site, lever.changes)
        except InputError:  # it cannot be written so, as heating that kills another fish of the loop
            continue
        if LIMITS[finding.limit].is_advisory:
            if ratio_in_band(after, finding):
                return lever, lever.words
            continue
        if not mends(season, after, finding, lever):
            continue
        there, dying = _dying(after)
        words = _proved_words(season, after, lever)
        if dying <= _MOST_DIE_SHARE * there:
            return lever, words
        if dying <= there - 1.0:
            poor = poor or (lever, words)
    if poor is not None:
        return poor
    young = LIMITS[finding.limit].is_of_loop_water and starts_young(season, loop_of(season, finding))
    return None, _no_lever_words(finding) + (_YOUNG_WORDS if young else "")


def dying_words(after: Season) -> str:
    """That many fish still die in a lever's own run; empty where few do."""
    there, dying = _dying(after)
    if dying < _STILL_DYING_SHARE * there:
        return ""
    return f" (with it, {dying:.0f} of {there:.0f} fish still die of the water or of hunger)"


def _proved_words(season: Season, after: Season, lever: Lever) -> str:
    """A lever's words with what its run says of the fish and of other limits."""
    words = lever.words + dying_words(after)
    before = {(f.limit, f.where) for f in season.findings if f.is_broken}
    new = [f for f in after.findings if f.is_broken and (f.limit, f.where) not in before]
    if new:
        places = ", ".join(f"{limit_name(f.limit)} of {f.where.split('.')[1]}" for f in new)
        words += f" (but that breaks {places})"
    return words


def _dying(season: Season) -> tuple[float, float]:
    """Most fish that are there on one day, and those of the season that die of the water or of hunger."""
    there = (season.course.count + season.course.deaths)[0].sum(axis=-1).max(initial=0.0)
    return float(there), float(deaths_of_water_or_hunger(season.layout, season.course)[0].sum())


def _no_lever_words(finding: Finding) -> str:
    return LIMITS[finding.limit].if_unmended.format(place=finding.where.split(".")[1])


def limit_name(limit: str) -> str:
    """A limit's name in words, as ``un-ionized ammonia``."""
    return LIMITS[limit].name


def _candidates(season: Season, finding: Finding) -> Iterator[Lever]:
    """Levers to try for a finding, the gentlest first."""
    name = finding.where.split(".")[1]
    mending = LIMITS[finding.limit].mended_by
    if mending is Mending.ROOM:
        yield from fewer_fish(season, finding, [name], name)
    elif mending is Mending.AIR:
        yield from more_air(season, finding, name)
        yield from less_feed(season, finding, [name])
        yield from fewer_fish(season, finding, [name], name)
    elif mending is Mending.LOOP_WATER:
        yield from _cleaner_water(season, finding, name)
    elif mending is Mending.TEMPERATURE:
        yield from other_temperature(season, finding, name)
    elif mending is Mending.AREA:
        yield from other_area(season, name)


def _cleaner_water(season: Season, finding: Finding, name: str) -> Iterator[Lever]:
    """What lowers ammonia and nitrite: all of it concerns the whole loop, whose tanks share the water."""
    loop = loop_of(season, finding)
    inside = [key for key, tank in season.site.file.tanks.items() if tank.loop == loop]
    yield from new_film(season, loop)
    yield from less_dosed_ammonia(season, finding, loop)
    yield from more_buffer(season, finding, loop)
    measured = measured_on(season, finding, loop) is not None
    if measured:  # that the water of that day is bad is known, whatever made it so
        yield from water_changes(season, finding, loop)
    yield from held_feed(season, finding, loop)
    if LIMITS[finding.limit].lifted_by_chloride:
        yield from more_chloride(season, finding, name, loop)
    yield from softer_water(season, finding, loop)
    yield from more_film(season, finding, loop)
    yield from less_feed(season, finding, inside)
    if not measured:
        yield from water_changes(season, finding, loop)
    yield from fewer_fish(season, finding, inside, f"loop {loop}")
