"""What helps a loop that no feeding schedule mends, each proved by a run of the season with it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from stocksim.answers.ramp.climb import LOOKAHEADS_DAYS, RESERVE_PERCENT, WEEK_DAYS, judged, margins_of
from stocksim.answers.ramp.fate import LoopFate, loop_fate
from stocksim.changes.change import Action, Change, prove
from stocksim.changes.search import Deaths, Help, prove_change
from stocksim.changes.water import alkalinity_steps, softened, softer_sources, softer_target
from stocksim.engine.arrays.water import SOLUTES, source_level
from stocksim.engine.results.deaths import DEATHS_TOLD
from stocksim.engine.results.findings import Finding, LimitSeries
from stocksim.engine.results.frames import Season
from stocksim.site.kinds import WhyNone
from stocksim.site.loop_water import loop_water_m3
from stocksim.site.reading import Site

# Shares of the loop's water changed a week that are tried, and how many levels of alkalinity (chosen in this project).
_CHANGED_SHARES, _MOST_LEVELS = (0.1, 0.2, 0.3), 4


@dataclass(frozen=True)
class WaterProof:
    """Softer water for a loop whose pH makes its ammonia toxic, with what a run with it gave.

    Parameters
    ----------
    change : Change
        What to do.
    before_mg_l, worst_mg_l : float
        Un-ionized ammonia nearest to its limit at the full ration, without and with it. [mg/L]
    safe_from : date or None
        From when all ammonia and nitrite limits keep the ramp's reserve at the full ration, to the season's end;
        None where that is in its last four weeks, or never.
    fate : LoopFate
        Of the loop's fish in that run.
    """

    change: Change
    before_mg_l: float
    worst_mg_l: float
    safe_from: dt.date | None
    fate: LoopFate


def proved_help(proof: Season, finding: Finding, column: int, first_day: int, fate: LoopFate) -> Help:
    """What helps against a limit that the schedule breaks, and whether the fish live in a run with it.

    Parameters
    ----------
    proof : Season
        Run with the schedule.
    finding : Finding
        The limit.
    column, first_day : int
        Number of the loop, and first day of the schedule.
    fate : LoopFate
        Of the loop in that run.

    Returns
    -------
    Help
        A change that mends the limit while the fish die all the same is not offered.
    """
    found = prove_change(proof, finding)
    if found.change is None:
        return found
    after = prove(proof.site, found.change.fields)
    dying = loop_fate(after.layout, after.course, column, first_day, after.layout.days)
    if not dying.is_told:
        return found
    if dying.dying > fate.dying - DEATHS_TOLD:
        return Help(None, WhyNone.FISH_DIE_ALL_THE_SAME)
    if found.deaths is not None and found.deaths.is_told:  # of the whole site, and told already
        return found
    return replace(found, even_so=Deaths(dying.dying, dying.fish))


def softer_water(site: Site, loop: str, start: dt.date) -> WaterProof | None:
    """Water changes and softer water tried for a loop at its full ration, the gentlest that holds, else the best.

    Water is made no softer than nitrification bears: where nobody doses, its alkalinity would run out.

    Parameters
    ----------
    site : Site
        The site, fed the file's full ration from the start on.
    loop : str
        Name of the loop.
    start : date
        First day; before it nothing changes.

    Returns
    -------
    WaterProof or None
        Each change was run over the whole season; None where none brings less un-ionized ammonia or more fish die.
    """
    plain = prove(site, {})
    layout = plain.layout
    column, day = layout.loops.index(loop), (start - layout.start).days
    before = _outcome(plain, column, day)[0]
    dying = loop_fate(layout, plain.course, column, day, layout.days).dying
    tried: list[WaterProof] = []
    for change in _water_tried(plain, site, loop, start):
        after = prove(site, change.fields)
        worst, safe_day = _outcome(after, column, day)
        safe_from = after.dates[safe_day] if safe_day <= layout.days - LOOKAHEADS_DAYS[1] else None
        fate = loop_fate(after.layout, after.course, column, day, layout.days)
        if not worst < before or fate.dying > dying + DEATHS_TOLD:
            continue
        tried.append(WaterProof(change, before, worst, safe_from, fate))
        if safe_from is not None:
            return tried[-1]
    return min(tried, key=lambda one: one.worst_mg_l, default=None)


def _water_tried(plain: Season, site: Site, loop: str, start: dt.date) -> Iterator[Change]:
    """Weekly water changes, a lower target, softer source water; the gentlest first."""
    table, day = site.file.loops[loop], (start - plain.layout.start).days
    water_m3, target = loop_water_m3(site.file, loop), table.alkalinity_target
    for share in _CHANGED_SHARES:
        amounts = {"loop": loop, "volume_m3": share * water_m3, "share": share}
        yield Change(Action.WEEKLY_CHANGES, _changed_weekly(site, loop, start, share * water_m3), amounts, start)
    if target is not None:
        for level in _few(alkalinity_steps(target)):
            yield softer_target(loop, level, target)
    borne = softer_sources(plain, loop)
    held = {f"loops.{loop}.water_tests": _held_until(plain, loop, day)}
    for level, share in [(level, 0.0) for level in _few(borne)] + [(x, s) for x in borne[-1:] for s in _CHANGED_SHARES]:
        amounts = {"loop": loop, "alkalinity_mg_l": level, "now_mg_l": source_level(table, "alkalinity")}
        fields = softened(plain, loop, level) | held
        if share:
            fields |= _changed_weekly(site, loop, start, share * water_m3)
            amounts |= {"volume_m3": share * water_m3, "share": share}
        yield Change(Action.SOFTER_WEEKLY_CHANGES if share else Action.SOFTER_SOURCE, fields, amounts, start)


def _few(levels: list[float]) -> list[float]:
    return levels[:: -(-len(levels) // _MOST_LEVELS) or 1]


def _held_until(plain: Season, loop: str, day: int) -> list[dict[str, Any]]:
    """Water tests that hold alkalinity up to a day, so that softer water begins there; the file's own stay."""
    column = plain.layout.loops.index(loop)
    level = plain.course.alkalinity_mg_l[0, :, column]
    known: dict[Any, dict[str, Any]] = {}
    for test in plain.site.raw["loops"][loop].get("water_tests", []):
        known.setdefault(test["date"], {}).update(test)
    first = float(plain.layout.water.start_level[SOLUTES.index("alkalinity"), column])
    for number, date in enumerate(plain.dates[: day + 1]):
        held = level[number - 1] if number else first
        known.setdefault(date, {"date": date}).setdefault("alkalinity", f"{held:.6f} mg/L")
    return [known[date] for date in sorted(known)]


def _changed_weekly(site: Site, loop: str, start: dt.date, volume_m3: float) -> dict[str, Any]:
    known = [dict(change) for change in site.raw["loops"][loop].get("water_changes", [])]
    taken = {change["date"] for change in known}
    season = site.file.season
    weeks = range((season.end - start).days // WEEK_DAYS + 1)
    dates = [start + dt.timedelta(days=WEEK_DAYS * week) for week in weeks]
    new = [{"date": date, "volume": f"{volume_m3:.5f} m3"} for date in dates if date not in taken]
    return {f"loops.{loop}.water_changes": sorted(known + new, key=lambda change: change["date"])}


def _outcome(season: Season, column: int, day: int) -> tuple[float, int]:
    """Un-ionized ammonia nearest to its limit from a day on, and the day from which all limits keep the reserve."""
    series = judged(season.layout, season.course)
    margin = margins_of(season.layout, series)[:, 0, day:, column].min(axis=0)
    tanks = season.layout.leaf_loop[: len(season.layout.tanks), column] > 0.0
    bad = np.flatnonzero(margin < RESERVE_PERCENT)
    return nearest(series[0], slice(day, None), tanks)[0], day + (int(bad[-1]) + 1 if bad.size else 0)


def nearest(series: LimitSeries, days: slice, tanks: NDArray[np.bool_]) -> tuple[float, float]:
    """Value and threshold on the day and in the tank nearest to the limit; NaN where there are no fish."""
    margin = np.broadcast_to(series.margin_percent, series.value.shape)[0, days][:, tanks]
    if np.isnan(margin).all():
        return np.nan, np.nan
    place = np.unravel_index(np.nanargmin(margin), margin.shape)
    value = np.broadcast_to(series.value, series.value.shape)[0, days][:, tanks]
    threshold = np.broadcast_to(series.threshold, series.value.shape)[0, days][:, tanks]
    return float(value[place]), float(threshold[place])
