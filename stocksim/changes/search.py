"""For every broken limit the smallest change that mends it, proved by running the season with it."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from stocksim.changes.change import Change, loop_of, mends, prove
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
from stocksim.site.kinds import LIMITS, Mending, WhyNone

Progress = Callable[[int, int], None]
_STILL_DYING_SHARE = 0.05  # of the fish: from here on it is told how many a change leaves dying (assumed)
_MOST_DIE_SHARE = 0.5  # a change that leaves so many dying is told only if no other is found (assumed)


class Deaths(NamedTuple):
    """Fish that die of the water or of hunger, and the most that are there on a day."""

    dying: float
    fish: float

    @property
    def is_told(self) -> bool:
        """Whether so many die that a change with them must say so."""
        return not self.dying < _STILL_DYING_SHARE * self.fish


@dataclass(frozen=True)
class Help:
    """What a search found for a broken limit.

    Parameters
    ----------
    change : Change or None
        Proved by a run; None where none was found.
    why_none : WhyNone or None
        Then why.
    film_is_young : bool
        Whether time, or a ramp, may help where no change does.
    deaths : Deaths or None
        Of the whole site in the change's run; None for planted area, which no fish dies of.
    breaks : tuple of (str, str)
        Limits and places that hold without the change and are broken with it, as (``oxygen``, ``tanks.cedar``).
    even_so : Deaths or None
        Of the loop, in the run of a change beside a feeding ramp, where ``deaths`` does not tell them.
    """

    change: Change | None
    why_none: WhyNone | None = None
    film_is_young: bool = False
    deaths: Deaths | None = None
    breaks: tuple[tuple[str, str], ...] = ()
    even_so: Deaths | None = None


@dataclass(frozen=True)
class AdvisedFinding(Finding):
    """A finding with what helps.

    Parameters
    ----------
    help : Help
        Of `prove_change`; the others are those of a `Finding`.
    """

    help: Help


def advised(finding: Finding, found: Help) -> AdvisedFinding:
    """The finding with what was found for it, in place of what it may have had."""
    return AdvisedFinding(**(vars(finding) | {"help": found}))


def help_of(finding: Finding) -> Help | None:
    """What was found for a finding; None where nothing was sought."""
    return finding.help if isinstance(finding, AdvisedFinding) else None


def find_changes(season: Season, progress: Progress | None = None) -> list[Finding]:
    """The season's findings, each broken limit with a change that mends it, proved by a run.

    Parameters
    ----------
    season : Season
        A season that was run.
    progress : callable, optional
        Called with (limits done, limits in all).

    Returns
    -------
    list of Finding
        In the order of ``season.findings``; those that something was sought for are `AdvisedFinding`, whose help tells
        what else its run breaks, or why none was found. Ammonia, nitrite and biofilter of a loop get the same change
        where one mends them all.
    """
    found = season.findings
    wanted = [finding for finding in found if finding.is_broken or _is_off_band(finding)]
    with_help = {}
    used: dict[tuple[str, bool], list[Change]] = {}
    for number, finding in enumerate(wanted):
        known: list[Change] = []
        if LIMITS[finding.limit].is_of_loop_water:
            known = used.setdefault((loop_of(season, finding), is_early(season, finding)), known)
        proved = prove_change(season, finding, known)
        if proved.change is not None and proved.change not in known:
            known.append(proved.change)
        with_help[id(finding)] = advised(finding, proved)
        if progress is not None:
            progress(number + 1, len(wanted))
    return [with_help.get(id(finding), finding) for finding in found]


def _is_off_band(finding: Finding) -> bool:
    return LIMITS[finding.limit].is_advisory and finding.days_broken > 0


def prove_change(season: Season, finding: Finding, known: Sequence[Change] = ()) -> Help:
    """First change that a run proves to mend a finding, those known to mend another tried first.

    One that leaves most of the fish dying of something else waits for a better one.
    """
    poor: Help | None = None
    for change in itertools.chain(known, _candidates(season, finding)):
        try:
            after = prove(season.site, change.fields)
        except InputError:  # it cannot be written so, as heating that kills another fish of the loop
            continue
        if LIMITS[finding.limit].is_advisory:
            if ratio_in_band(after, finding):
                return Help(change)
            continue
        if not mends(season, after, finding, change):
            continue
        deaths = _deaths(after)
        proved = Help(change, deaths=deaths, breaks=newly_broken(season, after))
        if deaths.dying <= _MOST_DIE_SHARE * deaths.fish:
            return proved
        if deaths.dying <= deaths.fish - 1.0:
            poor = poor or proved
    if poor is not None:
        return poor
    limit = LIMITS[finding.limit]
    is_young = limit.is_of_loop_water and starts_young(season, loop_of(season, finding))
    return Help(None, limit.if_unmended, is_young)


def newly_broken(season: Season, after: Season) -> tuple[tuple[str, str], ...]:
    """Limits and places that hold in a season and are broken in another of the same site."""
    before = {(f.limit, f.where) for f in season.findings if f.is_broken}
    return tuple((f.limit, f.where) for f in after.findings if f.is_broken and (f.limit, f.where) not in before)


def _deaths(season: Season) -> Deaths:
    """Fish of the whole season that die of the water or of hunger, and the most that are there on one day."""
    there = (season.course.count + season.course.deaths)[0].sum(axis=-1).max(initial=0.0)
    return Deaths(float(deaths_of_water_or_hunger(season.layout, season.course)[0].sum()), float(there))


def _candidates(season: Season, finding: Finding) -> Iterator[Change]:
    """Changes to try for a finding, the gentlest first."""
    name = finding.where.split(".")[1]
    mending = LIMITS[finding.limit].mended_by
    if mending is Mending.ROOM:
        yield from fewer_fish(season, finding, [name], finding.where)
    elif mending is Mending.AIR:
        yield from more_air(season, finding, name)
        yield from less_feed(season, finding, [name])
        yield from fewer_fish(season, finding, [name], finding.where)
    elif mending is Mending.LOOP_WATER:
        yield from _cleaner_water(season, finding, name)
    elif mending is Mending.TEMPERATURE:
        yield from other_temperature(season, finding, name)
    elif mending is Mending.AREA:
        yield from other_area(season, name)


def _cleaner_water(season: Season, finding: Finding, name: str) -> Iterator[Change]:
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
    yield from fewer_fish(season, finding, inside, f"loops.{loop}")
