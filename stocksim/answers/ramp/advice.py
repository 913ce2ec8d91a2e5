"""What lets a loop take the file's full ration where no feeding schedule does: the season's own advice."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from stocksim.answers.ramp.climb import from_day, judged
from stocksim.answers.ramp.fate import LoopFate, loop_fate
from stocksim.changes.change import prove
from stocksim.changes.steps import Step
from stocksim.changes.ways import Advice, Way, advise
from stocksim.engine.results.findings import findings
from stocksim.engine.results.frames import Season, loop_of
from stocksim.site.reading import Site


@dataclass(frozen=True)
class FullRation:
    """The first way that is advised for a season with the file's full ration, as a loop sees it.

    Parameters
    ----------
    season : Season
        Fed the file's ration from the first day of the schedule on.
    way : Way
        All of it, as it was run.
    steps : tuple of Step
        Its changes that mend something in the loop.
    holds : bool
        Whether ammonia and nitrite of the loop hold with it from that day on.
    fate : LoopFate
        Of the loop's fish with it, from that day on.
    """

    season: Season
    way: Way
    steps: tuple[Step, ...]
    holds: bool
    fate: LoopFate


def advise_full_ration(site: Site, unramped: Mapping[str, Any], start: dt.date) -> tuple[Season, Advice]:
    """Season with the full ration from a day on, and what is advised for it apart from feeding less.

    Parameters
    ----------
    site : Site
        The site.
    unramped : mapping of str to Any
        What takes its own schedules away from that day on.
    start : date
        The day. Fish that were stocked before it are there: fewer of them are not advised then.
    """
    never = {*site.file.advice.never, "feed"} | ({"stock"} if start > site.file.season.start else set())
    season = prove(site, {**unramped, "advice.never": sorted(never)})
    return season, advise(season)


def full_ration(season: Season, advice: Advice, loop: str, day: int) -> FullRation | None:
    """What of the first way concerns a loop; None where nothing is advised for it.

    Parameters
    ----------
    season, advice
        Of `advise_full_ration`.
    loop : str
        Name of the loop.
    day : int
        First day of the schedule, counted from the season's first.
    """
    if not advice.ways:
        return None
    way = advice.ways[0]
    here = {(found.limit, found.where) for found in season.findings if loop_of(season, found) == loop}
    steps = tuple(step for step in way.steps if not step.cures or here & set(step.cures))
    if not steps:
        return None
    after = prove(season.site, way.fields)
    layout, column = after.layout, after.layout.loops.index(loop)
    fate = loop_fate(layout, after.course, column, day, layout.days)
    judged_then = [from_day(series, day) for series in judged(layout, after.course)]
    broken = [found for found in findings(layout, judged_then) if found.is_broken]
    return FullRation(season, way, steps, all(loop_of(after, found) != loop for found in broken), fate)
