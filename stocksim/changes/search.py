"""For every broken limit the smallest change that mends it, proved by running the season with it."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from typing import NamedTuple

import numpy as np

from stocksim.changes.beds import area_to_build
from stocksim.changes.change import Change, mends, prove
from stocksim.changes.fish import (
    fewer_fish,
    less_feed,
    more_air,
    more_flow,
    other_hours,
    other_temperature,
)
from stocksim.changes.house import earlier_vents, shaded
from stocksim.changes.places import graded, moved, taken_out
from stocksim.changes.water import (
    another_film,
    emptied_more_often,
    film_first,
    held_feed,
    less_dosed_ammonia,
    measured_on,
    more_buffer,
    more_chloride,
    more_film,
    new_film,
    softer_water,
    starts_young,
    water_changes,
    weekly_water,
)
from stocksim.engine.results.beds import Side
from stocksim.engine.results.deaths import deaths_of_water_or_hunger
from stocksim.engine.results.findings import Finding
from stocksim.engine.results.frames import Season, loop_of
from stocksim.errors import InputError
from stocksim.site.kinds import LIMITS, Mending, WhyNone

Progress = Callable[[int, int], None]
_STILL_DYING_SHARE = 0.05  # of the fish: from here on it is told how many a change leaves dying (assumed)
_MOST_DIE_SHARE = 0.5  # a change that leaves so many dying is told only if no other is found (assumed)


class Deaths(NamedTuple):
    """Fish that die of the water or of hunger, the most that are there on a day, and how many die without a change."""

    dying: float
    fish: float
    before: float = math.nan

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
        Of the loop in the change's run; None for planted area, which no fish dies of.
    breaks : tuple of (str, str)
        Limits and places that hold without the change and are broken with it, as (``oxygen``, ``tanks.cedar``).
    """

    change: Change | None
    why_none: WhyNone | None = None
    film_is_young: bool = False
    deaths: Deaths | None = None
    breaks: tuple[tuple[str, str], ...] = ()


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


def is_off_band(finding: Finding) -> bool:
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
            if after.build_areas[loop_of(season, finding)].side is Side.EVEN:
                return Help(change)
            continue
        if not mends(season, after, finding, change):
            continue
        deaths = deaths_in(after, season, loop_of(season, finding))
        proved = Help(change, deaths=deaths, breaks=newly_broken(season, after))
        if deaths.dying <= _MOST_DIE_SHARE * deaths.fish:
            return proved
        if deaths.dying <= deaths.fish - 1.0:
            poor = poor or proved
    if poor is not None:
        return poor
    return unmended(season, finding)


def unmended(season: Season, finding: Finding) -> Help:
    """What is told of a finding that nothing mends."""
    limit = LIMITS[finding.limit]
    is_young = limit.is_of_loop_water and starts_young(season, loop_of(season, finding))
    return Help(None, limit.if_unmended, is_young)


def newly_broken(season: Season, after: Season) -> tuple[tuple[str, str], ...]:
    """Limits and places that hold in a season and are broken in another of the same site."""
    before = {(f.limit, f.where) for f in season.findings if f.is_broken}
    return tuple((f.limit, f.where) for f in after.findings if f.is_broken and (f.limit, f.where) not in before)


def deaths_in(after: Season, before: Season, loop: str | None = None) -> Deaths:
    """Fish that die of the water or of hunger with a change and without it, of a loop or of the whole site."""
    dying, fish = _dying(after, loop)
    return Deaths(dying, fish, _dying(before, loop)[0])


def _dying(season: Season, loop: str | None) -> tuple[float, float]:
    layout, course = season.layout, season.course
    inside = np.ones(len(layout.cohorts), bool)
    if loop is not None:
        inside = layout.cohort_loop[:, layout.loops.index(loop)] > 0.0
    there = (course.count + course.deaths)[0][:, inside].sum(axis=-1).max(initial=0.0)
    return float(deaths_of_water_or_hunger(layout, course)[0][:, inside].sum()), float(there)


Source = tuple[str, "partial[Iterator[Change]]"]  # the kind of advice, and what seeks changes of it


def name_of(source: Source) -> str:
    """What tells a source from others of its kind."""
    return source[1].func.__name__


def sources(season: Season, finding: Finding) -> list[Source]:
    """What may mend a finding, the gentlest first, without what the keeper forbids."""
    name = finding.where.split(".")[1]
    found: list[Source]
    mending = LIMITS[finding.limit].mended_by
    if mending is Mending.ROOM:
        found = _room(season, finding, [name], finding.where)
    elif mending is Mending.AIR:
        found = [
            ("air", partial(more_air, season, finding, name)),
            ("flow", partial(more_flow, season, finding, name)),
            ("hours", partial(other_hours, season, loop_of(season, finding))),
            ("feed", partial(less_feed, season, finding, [name])),
            *_room(season, finding, [name], finding.where),
        ]
    elif mending is Mending.LOOP_WATER:
        found = _cleaner_water(season, finding, name)
    elif mending is Mending.TEMPERATURE:
        found = [
            ("vents", partial(earlier_vents, season, finding)),
            ("shade", partial(shaded, season, finding)),
            ("heat", partial(other_temperature, season, finding, name)),
        ]
    elif mending is Mending.APART:
        found = [("move", partial(moved, season, finding, [name])), ("move", partial(graded, season, finding, name))]
    elif mending is Mending.AREA:
        found = [("plant", partial(area_to_build, season, name))]
    else:
        found = []
    never = season.site.file.advice.never
    return [source for source in found if source[0] not in never]


def _candidates(season: Season, finding: Finding) -> Iterator[Change]:
    """Changes to try for a finding, the gentlest first."""
    for _, seek in sources(season, finding):
        yield from seek()


def _room(season: Season, finding: Finding, tanks: list[str], where: str) -> list[Source]:
    """Fewer fish in some tanks: harvested earlier, elsewhere, or never stocked."""
    return [
        ("harvest", partial(taken_out, season, finding, tanks)),
        ("move", partial(moved, season, finding, tanks)),
        ("stock", partial(fewer_fish, season, finding, tanks, where)),
    ]


def _cleaner_water(season: Season, finding: Finding, name: str) -> list[Source]:
    """What lowers ammonia and nitrite: most of it concerns the whole loop, whose tanks share the water."""
    loop = loop_of(season, finding)
    kind = LIMITS[finding.limit]
    inside = [key for key, tank in season.site.file.tanks.items() if tank.loop == loop]
    changed = [
        ("water", partial(water_changes, season, finding, loop)),
        ("water", partial(weekly_water, season, finding, loop)),
    ]
    found: list[Source] = [
        ("biofilter", partial(new_film, season, loop)),
        ("stock", partial(less_dosed_ammonia, season, finding, loop)),
        ("base", partial(more_buffer, season, finding, loop)),
    ]
    found.append(("biofilter", partial(film_first, season, finding, loop)))
    found.append(("solids", partial(emptied_more_often, season, loop)))
    if kind.goes_by_ph and kind.table == "tanks":  # the day's worst follows the meals
        found.append(("hours", partial(other_hours, season, loop)))
    measured = measured_on(season, finding, loop) is not None
    if measured:  # that the water of that day is bad is known, whatever made it so
        found += changed
    found.append(("feed", partial(held_feed, season, finding, loop)))
    if kind.lifted_by_chloride:
        found.append(("salt", partial(more_chloride, season, finding, name, loop)))
    if kind.table == "tanks":
        found.append(("flow", partial(more_flow, season, finding, name)))
    found += [
        ("base", partial(softer_water, season, finding, loop)),
        ("biofilter", partial(more_film, season, finding, loop)),
        ("biofilter", partial(another_film, season, finding, loop)),
        ("feed", partial(less_feed, season, finding, inside)),
    ]
    if not measured:
        found += changed
    return found + _room(season, finding, inside, f"loops.{loop}")
