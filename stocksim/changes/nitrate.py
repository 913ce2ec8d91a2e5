"""What holds down nitrate that passes what a loop's fish bear: planted area where there is room for it, or water.

Season, water and beds take it from here: one site, one area, one amount of water.
"""

from __future__ import annotations

import datetime as dt
from typing import Any

from stocksim.changes.beds import area_to_build
from stocksim.changes.change import Action, Care, Change, allowed
from stocksim.engine.results.beds import Side
from stocksim.engine.results.frames import Season, loop_of
from stocksim.engine.results.nitrate import NitratePassed, nitrate_passed
from stocksim.site.kinds import LIMITS


def nitrate_changes(season: Season, loop: str) -> list[Change]:
    """More planted area where there is room, then water: each week, or at once where that takes no more.

    Parameters
    ----------
    season : Season
        A season that was run.
    loop : str
        Name of the loop.

    Returns
    -------
    list of Change
        Without what the keeper forbids; empty where nitrate passes nothing. No water while ammonia or nitrite are too
        high: what mends these changes feed or water, and nitrate with them.
    """
    passed = nitrate_passed(season, loop)
    if passed is None:
        return []
    build = season.build_areas.get(loop)
    found = list(area_to_build(season, loop)) if build is not None and build.side is Side.ROOM else []
    if not is_film_behind(season, loop):
        found += _water(season, passed)
    return allowed(season.site, found)


def is_film_behind(season: Season, loop: str) -> bool:
    """Whether ammonia or nitrite of a loop pass a limit, which comes first."""
    return any(
        finding.is_broken and LIMITS[finding.limit].is_left_by_film and loop_of(season, finding) == loop
        for finding in season.findings
    )


def _water(season: Season, passed: NitratePassed) -> list[Change]:
    """The water to change; none where the source itself passes the level."""
    loop_m3 = float(season.layout.loop_water_m3[season.layout.loops.index(passed.loop)])
    if passed.weekly_m3 is not None:
        days, volume_m3 = season.dates[passed.from_day :: 7], passed.weekly_m3
    elif passed.once_m3 is not None:
        days, volume_m3 = [season.dates[passed.by_day]], passed.once_m3
    else:
        return []
    amounts: dict[str, Any] = {"loop": passed.loop, "volume_m3": volume_m3, "share": volume_m3 / loop_m3}
    is_weekly = passed.weekly_m3 is not None
    if not is_weekly:
        amounts |= {"last": days[-1], "every_days": 0}
    return [
        Change(
            Action.WEEKLY_CHANGES if is_weekly else Action.WATER_CHANGES,
            {f"loops.{passed.loop}.water_changes": _written(season, passed.loop, days, volume_m3)},
            amounts,
            days[0],
            effort=5,
            care=Care.LOST_NITROGEN,
        )
    ]


def _written(season: Season, loop: str, days: list[dt.date], volume_m3: float) -> list[dict[str, Any]]:
    """The file's water changes with those of some more days; one of the file's stays as it is."""
    known = list(season.site.raw["loops"][loop].get("water_changes", []))
    taken = {change["date"] for change in known}
    volume = f"{1000.0 * volume_m3:.6g} L"
    return [*known, *({"date": day, "volume": volume} for day in days if day not in taken)]
